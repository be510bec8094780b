"""Benches and stations with names nobody should give."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from linewright.core.nouns.bench import BenchSheet, Meter, Piece
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.station import Station
from linewright.present.compose.bench import bench_report
from linewright.present.compose.provenance import Input, Made
from linewright.present.compose.station import station_report
from linewright.present.document import Document

DAY = date(2026, 4, 2)
MADE = Made("2026-04-02", "linewright report x.toml --date 2026-04-02", (Input("x.toml", "0" * 64),), "linewright", ())

HOSTILE = (
    "*bold* _it_ #panic(\"no\") $x^2$ <b>blue</b>",
    "<script>alert(1)</script>{{7*7}}{% raw %}&amp;",
    "כחול 7 ארוך",
    "أزرق 7",
    "tower \N{RADIO} 電線",
    "bell\x07 esc\x1b[31m over\u202eride",
    "x" * 200,
    "the long grey one from the old mast behind the club house, with the taped joint 12",
    "a\u0301e\u05b0 \ufeff\u200d end",
    "@label <ref> `code` // comment = heading\\",
)  # fmt: skip
"""Names with markup, directions, signs no font has, and no place to break."""


def crowded(bench: tuple[BenchSheet, BenchResult], pieces: int = 40, bands: int = 12) -> Document:
    """Return the report of a bench with very many pieces and bands, under hostile names."""
    sheet, result = bench
    line, loss, judged = sheet.pieces[0].line, result.losses[0], result.pieces[0]
    tags = [f"{HOSTILE[i % len(HOSTILE)]} {i}" for i in range(pieces)]
    meters = [f"{name} meter" for name in HOSTILE[:4]]
    hertz = [1.9e6 * 1.7**i for i in range(bands)]
    hands = tuple(replace(loss.by_hand[0], meter=m) for m in meters)
    nouns = tuple(Piece(tag, 7.2, line, stock=tag) for tag in tags)
    gear = tuple(Meter(m, rated_hz=(1e6, 6e7)) for m in meters)
    reading = replace(result.readings[0], p_wrong=0.97, why=f"It says so: {HOSTILE[1]}", path=f"{tags[0]}+{tags[-1]}")
    crowd = replace(
        result,
        title=HOSTILE[6] + HOSTILE[0],
        losses=tuple(replace(loss, piece=t, frequency_hz=f, by_hand=hands) for t in tags for f in hertz),
        pieces=tuple(replace(judged, piece=t) for t in tags),
        readings=tuple(replace(reading, row=i, meter=meters[i % 4]) for i in range(1, 121)),
        meters=tuple(replace(result.meters[0], meter=m, frequency_hz=f) for m in meters for f in hertz),
        predictions=tuple(replace(result.predictions[0], piece=t, frequency_hz=f) for t in tags for f in hertz),
    )
    return bench_report(replace(sheet, pieces=nouns, meters=gear), crowd, MADE)


def hostile_station(station: tuple[Station, Plan]) -> Document:
    """Return the report of a station of hostile names and a run of 60 frequencies."""
    found, plan = station
    band = plan.budgets[0].bands[0]
    parts = tuple(replace(band.parts[i % 6], name=name) for i, name in enumerate(HOSTILE))
    named = replace(band, parts=parts, weakest=f"Most is lost in {HOSTILE[6]}.")
    many = tuple(replace(named, frequency_hz=1e6 + 1e5 * i, total_loss_db=0.01 * i) for i in range(60))
    budgets = tuple(replace(plan.budgets[0], run=name, bands=(named,)) for name in HOSTILE[:3])
    wide = replace(plan, station=HOSTILE[2], budgets=(*budgets, replace(plan.budgets[0], run="sweep", bands=many)))
    return station_report(found, wide, MADE)
