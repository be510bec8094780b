"""The loss of a piece on the shelf against frequency: what all its evidence together lets one believe."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from math import exp, log
from typing import Any, Final

import numpy as np

from linewright.core.formatting import digits, frequency, interval
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.core.nouns.bench_result import BenchResult, LossFinding, Prediction
from linewright.core.nouns.shelf import Drift, HistoryPoint, PieceHistory
from linewright.inference.bench.findings import catalogue_db
from linewright.inference.priors import DEFAULT
from linewright.present.charts.frame import KeyEntry, Sample, between, framed, in_manner, key, layer, looked_up
from linewright.present.charts.loss import loss_chart
from linewright.present.charts.strips import Rows, headed
from linewright.present.charts.theme import LIGHT, Palette, Spec

# The loss of a piece on the shelf against frequency: what all its evidence together lets one believe

SHOWN_HZ = (14.2e6, 50.1e6, 144.3e6, 432.1e6)
DRAWN = 24
"""Points the ribbon is drawn through."""


def interval_at(belief: Belief, frequency_hz: float) -> tuple[float, float, float]:
    """Return the low end, the middle and the high end of the 95 % interval of a loss, dB."""
    low, middle, high = (float(v) for v in np.quantile(belief.loss_db(frequency_hz), [0.025, 0.5, 0.975]))
    return low, middle, high


def piece_chart(
    piece: Piece,
    belief: Belief,
    *,
    width_px: int = 660,
    height_px: int = 210,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return the believed loss of a piece against frequency, beside what its type specifies.

    Parameters
    ----------
    piece : Piece
        Which piece; its type's law is drawn where it has one.
    belief : Belief
        What is believed of it.
    width_px : int
        Width of the whole figure.
    height_px : int
        Height of the axes.

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    roots = np.linspace(np.sqrt(1.8e6), np.sqrt(SHOWN_HZ[-1]), DRAWN)
    grid_hz = between([1.8e6, SHOWN_HZ[-1]], (roots**2).tolist())
    result = BenchResult(
        title=piece.tag,
        losses=tuple(_loss(piece, belief, f) for f in SHOWN_HZ),
        pieces=(),
        readings=(),
        meters=(),
        predictions=tuple(_prediction(piece, belief, f) for f in grid_hz),
        next=(),
        cautions=(),
    )
    sheet = BenchSheet(piece.tag, (), (piece,), ())
    return loss_chart(result, sheet, width_px=width_px, height_px=height_px, palette=palette, manner=manner)


def _prediction(piece: Piece, belief: Belief, frequency_hz: float) -> Prediction:
    low, middle, high = interval_at(belief, frequency_hz)
    return Prediction(piece.tag, frequency_hz, middle, low, high)


def _loss(piece: Piece, belief: Belief, frequency_hz: float) -> LossFinding:
    low, middle, high = interval_at(belief, frequency_hz)
    return LossFinding(
        piece=piece.tag,
        frequency_hz=frequency_hz,
        loss_db=middle,
        loss_db_low=low,
        loss_db_high=high,
        delivered_fraction=float(10 ** (-middle / 10)),
        catalogue_db=catalogue_db(piece, frequency_hz, DEFAULT) if piece.line else None,
        ratio=None,
        ratio_low=None,
        ratio_high=None,
        p_worse_1_1=None,
        p_worse_1_25=None,
    )


# A piece's loss over the years: each test with its interval, and where the loss drifts, the trend

AXIS_PX: Final = 32
HEIGHT_PX: Final = 210
STEPS: Final = 24
LONG_YEARS: Final = 3.0
"""From here on the axis counts years, below it months."""
MOST_MONTHS: Final = 5
"""Marks of months there is room for."""
YEAR_DAYS: Final = 365.2425
LEAST_WIDTH: Final = 0.01
"""No test counts as surer than this share of its loss."""
_ABOUT: Final = mark("Loss over the years: each test with its 95 % interval, and the trend.")


@in_manner
def years_chart(
    history: PieceHistory,
    *,
    width_px: int = 660,
    height_px: int = HEIGHT_PX,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return a piece's loss over the years, with its key.

    Parameters
    ----------
    history : PieceHistory
        The piece: each test alone, and the drift where two tests or more tell one.
    width_px : int
        Width of the whole figure.
    height_px : int
        Height of the axes; the key over low ones is low as well.
    palette : Palette
        The inks.
    manner : Manner
        How its words and figures are written.

    Returns
    -------
    dict
        A Vega-Lite specification; decibels from zero against the day of the test. The trend runs through the middle of
        the tests, the surer ones counting more; its ribbon is the 95 % interval of its slope.
    """
    inner = width_px - 20 - AXIS_PX
    rows = [_row(p) for p in history.points]
    trend, levels, steps = _trend(history.points, history.drift), _levels(history), _steps(history)
    panel: Spec = {
        "title": headed(history.piece.tag, _subtitle(history), inner),
        "width": inner,
        "height": height_px,
        "layer": _layers(rows, trend, levels, steps),
    }
    abreast = 2 if height_px < HEIGHT_PX else 1
    legend = _key(inner, _Shown(rows, trend, levels, steps), history.disagreement, abreast)
    return framed({"vconcat": [legend, panel]}, say(_ABOUT), palette)


@dataclass(frozen=True, slots=True)
class _Shown:
    """The data to draw: tests, the trend, the loss of a new piece and its multiples, and the date of a step."""

    rows: Rows
    trend: Rows
    levels: Rows
    steps: Rows


LOOK_AGAIN, NOT_AT_HOME = 1.25, 1.5
"""Multiples of what a type should lose: worth a second look; no cable for the home station (common practice)."""
LIKELY = 0.5
"""From this chance on a step is drawn."""


def _levels(history: PieceHistory) -> Rows:
    """Return what a new piece of the type loses, and the multiples of that which are limits."""
    if not history.points:
        return []
    at_hz = history.points[0].frequency_hz
    new = next((x.loss_db / x.ratio for x in history.piece.losses if x.frequency_hz == at_hz and x.ratio), None)
    if new is None:
        return []
    return [{"loss_db": new, "times": 1.0}, *({"loss_db": t * new, "times": t} for t in (LOOK_AGAIN, NOT_AT_HOME))]


def _steps(history: PieceHistory) -> Rows:
    """Return between which tests a step lies, where that is what most likely happened."""
    found = history.changes[0] if history.changes else None
    if found is None or found.kind != "step" or found.p < LIKELY:
        return []
    return [{"day": _day(found.first_on), "until": _day(found.last_on)}]


def _day(written: str) -> int:
    return date.fromisoformat(written).toordinal()


def _row(p: HistoryPoint) -> dict[str, Any]:
    return {
        "day": _day(p.evidence.measured_on), "loss_db": p.loss_db, "low": p.loss_db_low, "high": p.loss_db_high,
        "name": say("{day}, {what}", day=p.evidence.measured_on, what=p.evidence.what),
        "said": interval(p.loss_db, p.loss_db_low, p.loss_db_high),
    }  # fmt: skip


def _subtitle(history: PieceHistory) -> str:
    if not history.points:
        return say("It was never tested.")
    at = frequency(history.points[0].frequency_hz)
    d = history.drift
    if d is None:
        return say("loss at {frequency}", frequency=at)
    drift = interval(d.percent_per_year, d.percent_per_year_low, d.percent_per_year_high, "%")
    return say("loss at {frequency}; drift {drift} a year", frequency=at, drift=drift)


def _trend(points: Sequence[HistoryPoint], drift: Drift | None) -> Rows:
    """Return the trend as rows over the time of the tests; none without a drift."""
    if drift is None or len(points) < 2:
        return []
    years = [_day(p.evidence.measured_on) / YEAR_DAYS for p in points]
    widths = [max(LEAST_WIDTH, log(p.loss_db_high / max(p.loss_db_low, 1e-6))) for p in points]
    weights = [1.0 / w**2 for w in widths]
    centre = sum(w * t for w, t in zip(weights, years, strict=True)) / sum(weights)
    level = sum(w * log(p.loss_db) for w, p in zip(weights, points, strict=True)) / sum(weights)
    slopes = [
        log(1.0 + pc / 100.0)
        for pc in (drift.percent_per_year_low, drift.percent_per_year, drift.percent_per_year_high)
    ]
    span = max(years) - min(years)
    return [_along(min(years) + span * i / STEPS, centre, level, slopes) for i in range(STEPS + 1)]


def _along(year: float, centre: float, level: float, slopes: Sequence[float]) -> dict[str, Any]:
    one, middle, other = (exp(level + slope * (year - centre)) for slope in slopes)
    low, high = min(one, other), max(one, other)
    day = date.fromordinal(round(year * YEAR_DAYS)).isoformat()
    return {
        "day": year * YEAR_DAYS, "low": low, "loss_db": middle, "high": high,
        "name": say("by the trend, {day}", day=day), "said": interval(middle, low, high),
    }  # fmt: skip


def _layers(rows: Rows, trend: Rows, levels: Rows, steps: Rows) -> list[Spec]:
    tops = [row["high"] for row in rows] + [row["loss_db"] for row in levels]
    x, y = _x([row["day"] for row in rows]), _y(max([0.1, *tops]))
    new, limits = [r for r in levels if r["times"] == 1.0], [r for r in levels if r["times"] > 1.0]
    between = {"x": x, "x2": {"field": "until"}, "y": {"value": 0}, "y2": {"value": HEIGHT_PX}}
    ends = {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}
    tip = [{"field": "name", "title": say("test")}, {"field": "said", "title": say("loss")}]
    return [
        layer("rect", "step-band", steps, between, clip=True),
        layer("rule", "spec-line", new, {"y": y}),
        layer("rule", "limit-dots", limits, {"y": y}),
        layer("area", "belief-band", trend, ends, clip=True),
        layer("line", "belief-line", trend, {"x": x, "y": y, "tooltip": tip}, clip=True),
        layer("rule", "hand-bar", rows, ends),
        layer("point", "hand-point", rows, {"x": x, "y": y, "tooltip": tip}),
    ]


def _x(days: Sequence[int]) -> Spec:
    first, last = (min(days), max(days)) if days else (_day("2000-01-01"), _day("2001-01-01"))
    pad = max(30, round(0.06 * (last - first)))
    marks = _marks(first - pad, last + pad)
    axis = {
        "values": list(marks), "labelExpr": looked_up(marks), "title": None, "labelOverlap": "greedy",
        "labelSeparation": 6, "labelFlush": False,
    }  # fmt: skip
    scale = {"domain": [first - pad, last + pad], "nice": False, "zero": False}
    return {"field": "day", "type": "quantitative", "scale": scale, "axis": axis}


def _marks(first: int, last: int) -> dict[float, str]:
    """Return the marks of the axis: years, or months as "2026-04" where the tests lie near each other."""
    years = range(date.fromordinal(first).year, date.fromordinal(last).year + 1)
    span = (last - first) / YEAR_DAYS
    if span >= LONG_YEARS:
        found = {_day(f"{y}-01-01"): f"{y}" for y in years}
    else:
        step = next((s for s in (1, 2, 3, 4) if 12 * span / s <= MOST_MONTHS), 6)
        found = {_day(f"{y}-{m:02}-01"): f"{y}-{m:02}" for y in years for m in range(1, 13, step)}
    return {at: label for at, label in found.items() if first <= at <= last}


def _y(top_db: float) -> Spec:
    axis = {"title": "dB", "tickCount": 5, "titleAngle": 0, "titleAlign": "right", "titleAnchor": "end",
            "titleX": -8, "titleY": -9}  # fmt: skip
    scale = {"domain": [0, 1.12 * top_db], "nice": False, "zero": True}
    return {"field": "loss_db", "type": "quantitative", "scale": scale, "axis": axis}


def _key(width_px: float, shown: _Shown, disagreement: str, abreast: int) -> Spec:
    rows, trend = shown.rows, shown.trend
    test = (Sample("bar", "hand-bar", 7, 7), Sample("point", "hand-point"))
    entries = [KeyEntry(say("one test, with 95 % interval"), test)]
    if trend:
        ribbon = (Sample("band", "belief-band", 6, 6), Sample("span", "belief-line"))
        entries.append(KeyEntry(say("trend, with the 95 % interval of its slope"), ribbon))
    elif disagreement:
        entries.append(KeyEntry(say("no trend: it changed at once, or a test is of another piece"), ()))
    elif rows:
        entries.append(KeyEntry(say("too few tests, or too near in time, for a trend"), ()))
    if shown.steps:
        entries.append(KeyEntry(say("a step lies between these tests"), (Sample("band", "step-band", 6, 6),)))
    if shown.levels:
        times = say("{first} and {second} times that", first=digits(LOOK_AGAIN), second=digits(NOT_AT_HOME))
        entries.append(KeyEntry(say("a new one"), (Sample("span", "spec-line"),)))
        entries.append(KeyEntry(times, (Sample("span", "limit-dots"),)))
    return key(entries, width_px, abreast)
