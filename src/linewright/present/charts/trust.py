"""Trust by band: which meter to believe where, its detector's exponent against 1."""

from __future__ import annotations

from typing import Any, Final

from linewright.core.formatting import frequency, plain
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, together
from linewright.core.nouns.bench import BenchSheet, Meter
from linewright.core.nouns.bench_result import BenchResult, MeterFinding
from linewright.present.charts.frame import KeyEntry, Sample, bands, columns_of, framed, in_manner, in_order, key, layer
from linewright.present.charts.strips import (
    GAP_PX,
    Rows,
    across,
    clipped,
    columns_in,
    down,
    headed,
    points,
    ratio_ticks,
    room_for,
    upright,
    whiskers,
    words,
)
from linewright.present.charts.theme import LIGHT, Palette, Spec

ROW_PX: Final = 23
NAME_PX: Final = 74
WORDS_PX: Final = 106
WIDEST: Final = (0.4, 2.5)
"""Exponents beyond these run out of the drawing; the words still give the figure."""
WORDS: Final = {
    "good": mark("believe"),
    "doubtful": mark("doubt"),
    "none": mark("do not use"),
    "unknown": mark("cannot tell"),
}
STYLES: Final = {
    "good": ("belief-bar", "belief-dot"),
    "doubtful": ("doubt-bar", "doubt-point"),
    "none": ("over-bar", "none-mark"),
    "unknown": ("unknown-bar", "spec-point"),
}
_ABOUT = mark(
    "Which meter to believe on which band: the exponent of each detector with its 95 % interval, 1 being true."
)


def _domain(result: BenchResult) -> tuple[float, float]:
    """Return the exponents drawn: as far from 1 on either side, at least 0.7 to 1.4."""
    ends = [v for m in result.meters for v in (m.exponent_low, m.exponent_high) if v]
    far = max([1.45, *(max(v, 1 / v) for v in ends)])
    return max(WIDEST[0], 1 / far), min(WIDEST[1], far)


def _row(found: MeterFinding | None, band_hz: float, y_px: float, domain: tuple[float, float]) -> dict[str, Any]:
    row: dict[str, Any] = {"name": frequency(band_hz), "y_px": y_px, "trust": None, "word": say("not used"), "said": ""}
    if found is None:
        return row
    row |= {"trust": found.trust, "word": say(WORDS[found.trust]), "said": found.why}
    g, g_low, g_high = found.exponent, found.exponent_low, found.exponent_high
    if g is None or g_low is None or g_high is None:
        return row
    low, high = clipped(g_low, g_high, domain)
    row |= {"middle": min(max(g, domain[0]), domain[1]), "low": low, "high": high}
    return row | {"word": together([say(WORDS[found.trust]), plain(g, 2)], ", ")}


def _subtitle(meter: Meter | None) -> str:
    if meter is None:
        return ""
    if meter.rated_hz is None:
        return say("rated band not stated")
    low, high = (frequency(f) for f in meter.rated_hz)
    return say("rated {low} to {high}", low=low, high=high)


def _edge(rows: Rows, y: Spec) -> Spec:
    """Return the bar beside the bands a meter is rated for."""
    sides = [{**row, "y_px": row["y_px"] - ROW_PX / 2, "foot_px": row["y_px"] + ROW_PX / 2} for row in rows]
    return layer("rule", "rated", sides, {"x": {"value": NAME_PX - 6}, "y": y, "y2": {"field": "foot_px"}})


def _drawn(rows: Rows, x: Spec, y: Spec) -> list[Spec]:
    """Return the exponents with their intervals, each kind of trust in a style of its own."""
    layers = []
    for trust, (bar, dot) in STYLES.items():
        some = [row for row in rows if row["trust"] == trust and "middle" in row]
        layers += [whiskers(bar, some, x, y), points(dot, some, x, y)]
    return layers


def trust_panel(result: BenchResult, meter: str, sheet: BenchSheet | None = None, *, width_px: int = 300) -> Spec:
    """Return one panel: one meter, a row a band. A part of a figure; ``trust_chart`` frames it."""
    everywhere = bands(m.frequency_hz for m in result.meters)
    found = {m.frequency_hz: m for m in result.meters if m.meter == meter}
    noun = next((m for m in sheet.meters if m.name == meter), None) if sheet else None
    domain, height = _domain(result), ROW_PX * len(everywhere)
    rows = [_row(found.get(f), f, (i + 0.5) * ROW_PX, domain) for i, f in enumerate(everywhere)]
    rated = [row for row, f in zip(rows, everywhere, strict=True) if noun and noun.in_rated_band(f)]
    room_px = room_for((row["word"] for row in rows), WORDS_PX)
    axis = {"values": ratio_ticks(*domain), "format": "~g", "title": say("detector exponent")}
    x, y = across("middle", domain, (NAME_PX, width_px - room_px), axis, log=True), down(height)
    at_px = width_px - room_px + 10
    layers = [
        _edge(rated, y),
        upright("base", 1.0, x, height),
        *_drawn(rows, x, y),
        words("word", rows, "name", NAME_PX - 12, y, right=True),
        words("word", [row for row in rows if row["trust"]], "word", at_px, y),
        words("aside", [row for row in rows if not row["trust"]], "word", at_px, y),
    ]
    return {"title": headed(meter, _subtitle(noun), width_px), "width": width_px, "height": height, "layer": layers}


def _key(width_px: float, rated: bool) -> Spec:
    entries = [
        KeyEntry(say("believe: its decibels are true"), (Sample("span", "belief-bar"), Sample("point", "belief-dot"))),
        KeyEntry(say("doubt: they may be off"), (Sample("span", "doubt-bar"), Sample("point", "doubt-point"))),
        KeyEntry(say("do not use its ratios here"), (Sample("span", "over-bar"), Sample("point", "none-mark"))),
        KeyEntry(say("cannot tell from this bench"), (Sample("span", "unknown-bar"), Sample("point", "spec-point"))),
    ]
    edge = [KeyEntry(say("its rated band"), (Sample("bar", "rated", 8, 8),))] if rated else []
    return key([*entries, *edge], width_px)


@in_manner
def trust_chart(
    result: BenchResult,
    sheet: BenchSheet | None = None,
    *,
    width_px: int = 660,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return which meter to believe on which band, one panel a meter, with its key.

    Parameters
    ----------
    result : BenchResult
        What the bench said.
    sheet : BenchSheet, optional
        The sheet it came from; it carries the rated bands.
    width_px : int
        Width of the whole figure; below 520 px the panels stand in one column.

    Returns
    -------
    dict
        A Vega-Lite specification. Every panel has a row for every band of the bench, so panels compare row by row. An
        exponent of 1 reads true ratios; 1.2 makes every decibel a fifth too large.
    """
    meters = in_order(m.meter for m in result.meters)
    columns, inner = columns_in(width_px, len(meters))
    panels = [trust_panel(result, meter, sheet, width_px=inner) for meter in meters]
    legend = _key(width_px - 20, bool(sheet and any(m.rated_hz for m in sheet.meters)))
    body: Spec = {"vconcat": [legend, *([columns_of(panels, columns, GAP_PX)] if panels else [])]}
    return framed(body, say(_ABOUT), palette)
