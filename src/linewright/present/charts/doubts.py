"""Doubted readings: each against what the rest of the bench expected, in decibels."""

from __future__ import annotations

from math import isfinite
from typing import Any, Final

from linewright.core.formatting import chance, digits, frequency, interval, quantity, signed
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, together
from linewright.core.nouns.bench import BenchSheet, Meter
from linewright.core.nouns.bench_result import BenchResult, ReadingFinding
from linewright.inference.bench.observations import level_db
from linewright.present.charts.frame import KeyEntry, Sample, framed, in_manner, key, quoted, wrapped
from linewright.present.charts.loss import DOUBTED
from linewright.present.charts.strips import across, clipped, down, even_ticks, points, whiskers, words
from linewright.present.charts.theme import LIGHT, Palette, Spec

UNITS: Final = {
    "watts": "W", "milliwatts": "mW", "dBm": "dBm", "dB": "dB", "volts": "V", "card": mark("on the scale"),
}  # fmt: skip
PERHAPS: Final = 0.2
"""Readings at least this likely to be wrong are drawn; from ``DOUBTED`` on they are called doubted."""
MOST: Final = 40
FARTHEST_DB: Final = 12.0
LINE_PX: Final = 15
BAR_PX: Final = 24
_ABOUT = mark("Readings to doubt, each in decibels from what the rest of the bench expected of it.")


def doubted(result: BenchResult, least: float = PERHAPS) -> list[ReadingFinding]:
    """Return the readings at least so likely to be wrong, that the bench has a figure for, gravest first."""
    some = [r for r in result.readings if r.checked and r.expected is not None and r.p_wrong >= least]
    return sorted(some, key=lambda r: (-round(r.p_wrong, 2), r.row))[:MOST]


def _shown(r: ReadingFinding, meter: Meter) -> str:
    reading = quantity(digits(r.reading), say(UNITS[meter.scale]))
    if r.expected is None or r.expected_low is None or r.expected_high is None:
        return say("reads {reading}", reading=reading)
    expected = interval(r.expected, r.expected_low, r.expected_high, "")
    return say("reads {reading}; expected {expected}", reading=reading, expected=expected)


def _heads(r: ReadingFinding, meter: Meter, width_px: float) -> list[tuple[str, str]]:
    name = together([say("row {number}", number=r.row), r.path, r.meter, frequency(r.frequency_hz)], ", ")
    likely, shown = chance(r.p_wrong), _shown(r, meter)
    if r.p_wrong >= DOUBTED:
        says = say("doubted ({chance}): {shown}", chance=likely, shown=shown)
    else:
        says = say("perhaps ({chance}): {shown}", chance=likely, shown=shown)
    return [("word", line) for line in wrapped(name, width_px, most=2)] + [
        ("small", line) for line in wrapped(says, width_px)
    ]


def _offsets(r: ReadingFinding, meter: Meter) -> tuple[float, float, float]:
    """Return the reading and the ends of its expected interval, dB from the expected level."""
    values = (r.reading, r.expected_low or 0.0, r.expected_high or 0.0)
    centre = level_db(meter, r.expected or 0.0)
    read, low, high = (level_db(meter, v) - centre for v in values)
    return read, low, high


def _domain(offsets: list[tuple[float, float, float]]) -> tuple[float, float]:
    far = max([1.0, *(abs(v) for row in offsets for v in row if isfinite(v))])
    reach = 1.12 * min(far, FARTHEST_DB)
    return -reach, reach


def _entries(found: list[ReadingFinding], sheet: BenchSheet, width_px: float) -> tuple[list[dict[str, Any]], float]:
    """Return the lines of words and the drawn rows, each with its place, and the height they take."""
    y, rows = 0.0, []
    for r in found:
        for style, line in _heads(r, sheet.meter(r.meter), width_px):
            rows.append({"kind": style, "words": line, "y_px": y + LINE_PX / 2})
            y += LINE_PX
        rows.append({"kind": "drawn", "finding": r, "y_px": y + BAR_PX / 2 - 2})
        y += BAR_PX + 8
    return rows, max(y, LINE_PX)


def _drawn(row: dict[str, Any], meter: Meter, domain: tuple[float, float]) -> dict[str, Any]:
    r = row["finding"]
    read, low, high = _offsets(r, meter)
    low, high = clipped(low, high, domain)
    out = not domain[0] <= read <= domain[1]
    return {
        "y_px": row["y_px"],
        "low": low,
        "high": high,
        "middle": min(max(read, domain[0]), domain[1]),
        "off": _off(read) if out else "",
        "name": say("row {number}", number=r.row),
        "said": r.why,
    }


def _off(read_db: float) -> str:
    """Return where a reading lies that is beyond the drawing."""
    far = quantity(signed(read_db, 1), "dB") if isfinite(read_db) else say("shows nothing")
    return together(["◄" if read_db < 0 else "►", far])


def _key(width_px: float) -> Spec:
    return key(
        [
            KeyEntry(say("expected from the rest of the bench, 95 %"), (Sample("span", "belief-bar"),)),
            KeyEntry(say("as written down"), (Sample("point", "doubt-cross"),)),
        ],
        width_px,
    )


@in_manner
def doubts_chart(
    result: BenchResult,
    sheet: BenchSheet,
    *,
    width_px: int = 660,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return the readings to doubt, each beside what was expected of it.

    Parameters
    ----------
    result : BenchResult
        What the bench said.
    sheet : BenchSheet
        The sheet it came from: it carries the scales, without which a reading is no level.
    width_px : int
        Width of the whole figure.

    Returns
    -------
    dict
        A Vega-Lite specification; with no reading to doubt, one line that says so.
    """
    inner, found = width_px - 20, doubted(result)
    if found:
        return framed({"vconcat": [_key(inner), _view(found, sheet, inner)]}, say(_ABOUT), palette)
    said = [{"words": say("No reading on this sheet is doubted."), "y_px": LINE_PX / 2}]
    calm = words("word", said, "words", 0, down(LINE_PX))
    return framed({"width": inner, "height": LINE_PX, "layer": [calm]}, say(_ABOUT), palette)


def _view(found: list[ReadingFinding], sheet: BenchSheet, width_px: float) -> Spec:
    """Return the drawing itself: words and a bar for each reading, over one axis."""
    rows, height = _entries(found, sheet, width_px)
    domain = _domain([_offsets(r, sheet.meter(r.meter)) for r in found])
    middle = say("expected")
    labels = f"datum.value == 0 ? {quoted(middle)} : format(datum.value, '+~g')"
    axis = {"values": even_ticks(*domain), "labelExpr": labels, "title": say("dB from expected")}
    x, y = across("middle", domain, (6, width_px - 6), axis), down(height)
    drawn = [_drawn(r, sheet.meter(r["finding"].meter), domain) for r in rows if r["kind"] == "drawn"]
    left, right = ([r for r in drawn if r["off"] and (r["middle"] < 0) is side] for side in (True, False))
    return {
        "width": width_px,
        "height": height,
        "layer": [
            whiskers("hair", [{**r, "low": domain[0], "high": domain[1]} for r in drawn if not r["off"]], x, y),
            points("tick", [{**r, "middle": 0.0} for r in drawn], x, y),
            whiskers("belief-bar", drawn, x, y),
            points("doubt-cross", [r for r in drawn if not r["off"]], x, y),
            words("doubt-text", left, "off", 0, y),
            words("doubt-text", right, "off", width_px, y, right=True),
            words("word", [r for r in rows if r["kind"] == "word"], "words", 0, y),
            words("small", [r for r in rows if r["kind"] == "small"], "words", 0, y),
        ],
    }
