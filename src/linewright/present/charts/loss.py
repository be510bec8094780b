"""Loss against frequency, on an axis where a cable's √f law is a straight line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from linewright.core.formatting import digits, frequency, interval, metres, plain, quantity
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, together
from linewright.core.nouns.bench import BenchSheet, Limits, Piece
from linewright.core.nouns.bench_result import BenchResult, ByHand, LossFinding, Prediction
from linewright.present.charts.frame import (
    LETTER_PX,
    band_labels,
    bands,
    between,
    columns_of,
    framed,
    in_manner,
    in_order,
    layer,
    looked_up,
    loss_key,
    told,
)
from linewright.present.charts.strips import headed
from linewright.present.charts.theme import LIGHT, Palette, Spec, shape_of

# What the loss chart shows of one piece, as rows: the belief, the type's specification, the plain by-hand figures

DOUBTED: Final = 0.5
"""A reading more likely wrong than right is drawn as doubted."""

NORMAL_95: Final = 1.96
"""Half width of a 95 % interval in standard deviations."""

BEYOND: Final = 1.25
"""How far past the highest measured frequency the belief is drawn."""

NUDGE_PX: Final = 7
"""By-hand points of one band stand side by side, this far apart at most."""

PANEL_PX: Final = 280
"""Width of a usual panel, for judging how close two bands stand."""

Rows = list[dict[str, Any]]


def described(noun: Piece | None, length_m: float | None) -> str:
    """Return how long a piece is and of what type, in words; of neither what is not known."""
    long = metres(length_m) if length_m is not None else ""
    if noun is None:
        return long
    if noun.line is None:
        return say("{length}, type unknown", length=long) if long else say("type unknown")
    return say("{length} of {line}", length=long, line=noun.line.designator) if long else noun.line.designator


def losses_of(result: BenchResult, piece: str) -> list[LossFinding]:
    """Return the losses of a piece, rising in frequency."""
    return sorted((x for x in result.losses if x.piece == piece), key=lambda x: x.frequency_hz)


def piece_of(sheet: BenchSheet | None, tag: str) -> Piece | None:
    """Return the piece a sheet lists under a tag, if there is a sheet and it does."""
    return next((p for p in sheet.pieces if p.tag == tag), None) if sheet else None


def belief(result: BenchResult, piece: str) -> Rows:
    """Return the believed loss and its 95 % interval at every measured and predicted band worth drawing."""
    measured = losses_of(result, piece)
    top_hz = BEYOND * max((x.frequency_hz for x in measured), default=float("inf"))
    known = {x.frequency_hz for x in measured}
    predicted = [
        x for x in result.predictions if x.piece == piece and x.frequency_hz not in known and x.frequency_hz <= top_hz
    ]
    points: list[LossFinding | Prediction] = [*measured, *predicted]
    return [
        {
            "piece": piece,
            "frequency_hz": x.frequency_hz,
            "loss_db": x.loss_db,
            "loss_db_low": x.loss_db_low,
            "loss_db_high": x.loss_db_high,
            "measured": isinstance(x, LossFinding),
            "band": frequency(x.frequency_hz),
            "said": interval(x.loss_db, x.loss_db_low, x.loss_db_high),
        }
        for x in sorted(points, key=lambda x: x.frequency_hz)
    ]


STOPS: Final = 64
"""Places between the measured bands at which a line is drawn and read."""


def along(rows: Rows) -> Rows:
    """Return the belief between its bands as well, where a cable's law, k1 √f + k2 f, carries it.

    Loss over √f is a straight line against √f for such a law, so it is interpolated there: the middle follows the law
    that runs through its two neighbours, and the ends of the interval do.

    >>> ends = [{"frequency_hz": f, "loss_db": db, "loss_db_low": db, "loss_db_high": db} for f, db in
    ...         ((1e6, 0.1 + 0.01), (100e6, 1.0 + 1.0))]
    >>> round(next(row["loss_db"] for row in along(ends) if row["frequency_hz"] == 25e6), 6)
    0.75
    """
    if len(rows) < 2:
        return rows
    known_hz = np.array([row["frequency_hz"] for row in rows])
    roots = np.sqrt(known_hz)
    stops_hz = between(known_hz[[0, -1]].tolist(), (np.linspace(roots[0], roots[-1], STOPS) ** 2).tolist())
    new_hz = np.array([f for f in stops_hz if not np.any(np.isclose(known_hz, f, rtol=2e-3))])
    sides = {
        side: np.sqrt(new_hz) * np.interp(np.sqrt(new_hz), roots, np.array([row[side] for row in rows]) / roots)
        for side in ("loss_db", "loss_db_low", "loss_db_high")
    }
    new: Rows = [
        {"frequency_hz": float(f), **{side: float(values[i]) for side, values in sides.items()}}
        for i, f in enumerate(new_hz)
    ]
    return sorted([*rows, *new], key=lambda row: row["frequency_hz"])


def by_law(rows: Rows, band: str) -> Rows:
    """Return rows with what is read on their line; ``band`` says which line it is, with a place for the frequency."""
    return [
        {
            **row, "band": say(band, frequency=frequency(row["frequency_hz"])),
            "said": interval(row["loss_db"], row["loss_db_low"], row["loss_db_high"]),
        } if row["frequency_hz"] > 0 else row
        for row in rows
    ]  # fmt: skip


def specification(result: BenchResult, sheet: BenchSheet | None, piece: str) -> Rows:
    """Return what a good piece of the claimed type loses, connectors included, with the spread of its tables.

    With no sheet there is no law at hand: the figures at the measured bands are all, and they carry no spread.
    """
    known = [(x.frequency_hz, x.catalogue_db) for x in losses_of(result, piece) if x.catalogue_db is not None]
    if not known:
        return []
    noun = piece_of(sheet, piece)
    line = noun.line if noun else None
    if noun is None or line is None:
        return [{"frequency_hz": f, "loss_db": db, "loss_db_low": db, "loss_db_high": db} for f, db in known]
    at_hz, at_db = np.array(known, dtype=np.float64).T
    fittings = float(np.mean((at_db - noun.length_m * line.law.db_per_m(at_hz)) / np.sqrt(at_hz)))
    top_hz = float(at_hz.max() * BEYOND)
    grid_hz = np.array(between([0.0, top_hz], ((np.linspace(0.0, 1.0, 41) ** 2) * top_hz).tolist()))
    loss = noun.length_m * line.law.db_per_m(grid_hz)
    low, high = line.law.interval_db_per_m(np.maximum(grid_hz, 1.0))
    whole = loss + fittings * np.sqrt(grid_hz)
    ends = (whole + noun.length_m * low - loss, whole + noun.length_m * high - loss)
    return [
        {"frequency_hz": float(f), "loss_db": float(db), "loss_db_low": float(a), "loss_db_high": float(b)}
        for f, db, a, b in zip(grid_hz, whole, *ends, strict=True)
    ]


def _blocked(result: BenchResult, piece: str, meter: str, frequency_hz: float) -> bool:
    """Return whether a reading behind this by-hand figure, or the meter at this band, is doubted."""
    meters = [m for m in result.meters if m.meter == meter and m.frequency_hz == frequency_hz]
    readings = [r for r in result.readings if r.meter == meter and r.frequency_hz == frequency_hz]
    return any(m.trust in ("doubtful", "none") for m in meters) or any(
        r.p_wrong >= DOUBTED for r in readings if r.path in (piece, "reference")
    )


def by_hand(result: BenchResult, piece: str, meters: list[str]) -> Rows:
    """Return the by-hand figures of a piece: 95 % bar, whether doubted, and place within the band."""
    losses = losses_of(result, piece)
    steps = _steps_px([x.frequency_hz for x in losses], len(meters))
    return [
        _hand_row(result, x, hand, (meters.index(hand.meter) - (len(meters) - 1) / 2) * step)
        for x, step in zip(losses, steps, strict=True)
        for hand in x.by_hand
    ]


def _steps_px(frequencies_hz: list[float], meters: int) -> list[float]:
    """Return how far apart the points of each band may stand before they run into the next band."""
    if not frequencies_hz:
        return []
    roots = np.sqrt(frequencies_hz)
    gaps = np.concatenate([[np.inf], np.diff(roots), [np.inf]])
    room = np.minimum(gaps[:-1], gaps[1:]) * PANEL_PX / roots.max(initial=1.0)
    return [float(step) for step in np.minimum(NUDGE_PX, 0.8 * room / max(1, meters - 1))]


def _hand_row(result: BenchResult, loss: LossFinding, hand: ByHand, nudge_px: float) -> dict[str, Any]:
    half = NORMAL_95 * hand.loss_db_u
    low, high = hand.loss_db - half, hand.loss_db + half
    return {
        "piece": loss.piece,
        "meter": hand.meter,
        "frequency_hz": loss.frequency_hz,
        "loss_db": hand.loss_db,
        "loss_db_low": low,
        "loss_db_high": high,
        "doubted": _blocked(result, loss.piece, hand.meter, loss.frequency_hz),
        "nudge_px": nudge_px,
        "band": frequency(loss.frequency_hz),
        "said": interval(hand.loss_db, low, high),
    }


def top_of_scale(rows: Iterable[Rows], hand: Rows, limits: Limits) -> float:
    """Return the top of the loss axis: the belief and the specification whole, by-hand points within reason."""
    core = max((row["loss_db_high"] for group in rows for row in group), default=limits.home_db)
    reach = max((row["loss_db"] for row in hand), default=0.0)
    top = max(core, min(reach, 2.0 * core))
    return float(1.06 * max(top, limits.home_db if top > 0.3 * limits.home_db else top))


# Loss against frequency, on an axis where a cable's √f law is a straight line

AXIS_PX = 32
"""Room for the numbers of the loss axis."""

HEIGHT_PX = 210
CROWD = 6
"""With more bands than this the by-hand points are drawn small."""

BESIDE_PX = 32
"""Least room beside the axes for the figure of a limit whose words have no place in them."""

WORDS_PX = 13
"""Limits nearer to each other than this share one line of words."""

_ABOUT = mark(
    "Loss in decibels against frequency, square-root axis: believed, as the type specifies, and as read by hand."
)


def _x(top_hz: float, marks_hz: list[float]) -> Spec:
    return {
        "field": "frequency_hz",
        "type": "quantitative",
        "scale": {"type": "sqrt", "domain": [0, top_hz], "nice": False, "zero": True},
        "axis": {
            "values": marks_hz,
            "labelExpr": looked_up(band_labels(marks_hz)),
            "labelOverlap": "greedy",
            "labelSeparation": 3,
            "labelFlush": False,
            "title": "MHz",
            "titleAnchor": "end",
        },
    }


def _y(low_db: float, top_db: float) -> Spec:
    return {
        "field": "loss_db",
        "type": "quantitative",
        "scale": {"domain": [low_db, top_db], "nice": False, "zero": True},
        "axis": {
            "title": "dB",
            "tickCount": 5,
            "titleAngle": 0,
            "titleAlign": "right",
            "titleAnchor": "end",
            "titleX": -8,
            "titleY": -9,
        },
    }


_TIP = [{"field": "band", "title": say("at")}, {"field": "said", "title": say("loss")}]


def _belief_layers(rows: Rows, x: Spec, y: Spec) -> list[Spec]:
    ribbon = {"x": x, "y": {**y, "field": "loss_db_low"}, "y2": {"field": "loss_db_high"}}
    dots = [row for row in rows if row["measured"]]
    drawn = by_law(along(rows), mark("by the law, {frequency}"))
    lines = (
        [
            layer("area", "belief-band", drawn, ribbon, clip=True),
            layer("line", "belief-line", drawn, {"x": x, "y": y, "tooltip": _TIP}, clip=True),
        ]
        if len(rows) > 1
        else []
    )
    whiskers = [layer("rule", "belief-bar", dots, ribbon)] if len(rows) == 1 else []
    return [*lines, *whiskers, layer("point", "belief-mark", dots, {"x": x, "y": y, "tooltip": _TIP})]


def _specification_layers(rows: Rows, x: Spec, y: Spec) -> list[Spec]:
    if not rows:
        return []
    edges = [
        layer("line", "spec-edge", rows, {"x": x, "y": {**y, "field": f"loss_db_{side}"}}, clip=True)
        for side in ("low", "high")
        if any(row["loss_db_high"] > row["loss_db_low"] for row in rows)
    ]
    kind = "line" if len(rows) > 1 else "tick"
    told = by_law(rows, mark("as the type specifies, {frequency}"))
    encoding = {"x": x, "y": y, "tooltip": _TIP} if kind == "line" else {"x": x, "y": y}
    return [*edges, layer(kind, f"spec-{kind}", told, encoding, clip=True)]


def _hand_layers(rows: Rows, meters: list[str], x: Spec, y: Spec) -> list[Spec]:
    top = y["scale"]["domain"][1]
    shape = {
        "field": "meter",
        "scale": {"domain": meters, "range": [shape_of(i) for i in range(len(meters))]},
        "legend": None,
    }
    nudge = {"expr": "datum.nudge_px"}
    small = {"size": 24} if len(bands(row["frequency_hz"] for row in rows)) > CROWD else {}
    tip = [{"field": "meter", "title": say("by hand")}, *_TIP]
    layers: list[Spec] = []
    for doubted, style in ((False, "hand"), (True, "doubt")):
        some = [row for row in rows if row["doubted"] is doubted and row["loss_db"] <= top]
        bar = {"x": x, "y": {**y, "field": "loss_db_low"}, "y2": {"field": "loss_db_high"}}
        layers.append(layer("rule", f"{style}-bar", some, bar, clip=True, xOffset=nudge))
        point = {"x": x, "y": y, "shape": shape, "tooltip": tip}
        layers.append(layer("point", f"{style}-point", some, point, xOffset=nudge, **small))
    away = [{**row, "note": together(["▲", plain(row["loss_db"], 1)])} for row in rows if row["loss_db"] > top]
    words = {"x": x, "y": {"value": 4}, "text": {"field": "note"}, "tooltip": tip}
    return [*layers, layer("text", "doubt-text", away, words, xOffset=nudge)]


@dataclass(frozen=True, slots=True)
class _Frame:
    """The axes of a panel: where a frequency and a loss lie, pixels from the upper left."""

    width_px: float
    height_px: float
    top_hz: float
    low_db: float
    top_db: float

    def at(self, frequency_hz: float, loss_db: float) -> tuple[float, float]:
        """Return the place of a point."""
        down = (self.top_db - loss_db) / (self.top_db - self.low_db)
        return self.width_px * (frequency_hz / self.top_hz) ** 0.5, self.height_px * down


Box = tuple[float, float, float, float]
"""Left, top, right and bottom, pixels."""


def _taken(frame: _Frame, curves: Iterable[Rows], hand: Rows) -> list[Box]:
    """Return what is drawn in a panel, as boxes: each curve in short steps, each point with its bar."""
    found = []
    for rows in curves:
        for one, other in pairwise(rows):
            steps = np.linspace(0.0, 1.0, 9)
            hertz, low, high = (
                one[name] + steps * (other[name] - one[name])
                for name in ("frequency_hz", "loss_db_low", "loss_db_high")
            )
            for f, least, most in zip(hertz, low, high, strict=True):
                (x, bottom), (_, top) = frame.at(float(f), float(least)), frame.at(float(f), float(most))
                found.append((x - 3.0, top - 2.0, x + 3.0, bottom + 2.0))
    for row in hand:
        x, bottom = frame.at(row["frequency_hz"], row["loss_db_low"])
        _, top = frame.at(row["frequency_hz"], row["loss_db_high"])
        _, y = frame.at(row["frequency_hz"], row["loss_db"])
        x += row["nudge_px"]
        found.append((x - 5.0, min(top, y - 5.0), x + 5.0, max(bottom, y + 5.0)))
    return found


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _figure(loss_db: float) -> str:
    return told(quantity(digits(loss_db), "dB"))


def _limit_rows(limits: Limits, frame: _Frame, taken: Sequence[Box]) -> Rows:
    """Return each limit with its words where nothing else is drawn: else its figure alone, beside the axes."""
    uses = (
        (say("home station"), limits.home_db),
        (say("portable"), limits.portable_db),
        (say("receive only"), limits.receive_db),
    )
    marks: Rows = [
        {"loss_db": db, "note": told(together([use, quantity(digits(db), "dB")]))}
        for use, db in uses
        if db <= frame.top_db
    ]
    filled = [
        *taken,
        *((0.0, top - 1.0, frame.width_px, top + 1.0) for top in (frame.at(0, m["loss_db"])[1] for m in marks)),
    ]
    for row in marks:
        at = frame.at(0.0, row["loss_db"])[1]
        wide = LETTER_PX * len(row["note"])
        row["side"] = "beside"
        for side, left, top in _places(wide, at, frame):
            box = (left, top, left + wide, top + WORDS_PX - 1.5)
            inside = left >= 0.0 and 0.0 <= top < frame.height_px - WORDS_PX
            if inside and not any(_meet(box, other) for other in filled):
                row["side"] = side
                filled.append(box)
                break
        else:
            row["note"] = _figure(row["loss_db"])
    return marks


def _limit_layers(marks: Rows, y: Spec) -> list[Spec]:
    """Draw each limit as a thin rule with its words."""
    text = {"y": y, "text": {"field": "note"}}
    return [
        layer("rule", "limit-rule", marks, {"y": y}),
        *(
            layer("text", "limit-text", [row for row in marks if row["side"] == side], text | {"x": x}, **style)
            for side, (x, style) in _SIDES.items()
        ),
    ]


_SIDES: Final[dict[str, tuple[Spec, dict[str, Any]]]] = {
    "left": ({"value": 4}, {"align": "left", "baseline": "bottom", "dy": -2}),
    "right": ({"value": "width"}, {"align": "right", "baseline": "bottom", "dy": -2, "dx": -2}),
    "left below": ({"value": 4}, {"align": "left", "baseline": "top", "dy": 3}),
    "right below": ({"value": "width"}, {"align": "right", "baseline": "top", "dy": 3, "dx": -2}),
    "beside": ({"value": "width"}, {"align": "left", "baseline": "middle", "dx": 4}),
}
"""Where the words of a limit may stand, and how they are set there."""


def _places(wide_px: float, at_px: float, frame: _Frame) -> Iterator[tuple[str, float, float]]:
    """Yield the places of words beside a rule: side, left and top."""
    right = frame.width_px - wide_px - 2.0
    for ending, top in (("", at_px - WORDS_PX), (" below", at_px + 1.5)):
        yield f"left{ending}", 4.0, top
        yield f"right{ending}", right, top


def _heading(result: BenchResult, sheet: BenchSheet | None, piece: str, width_px: float) -> Spec:
    found = next((p for p in result.pieces if p.piece == piece), None)
    noun = piece_of(sheet, piece)
    return headed(piece, described(noun, found.length_m if found else None), width_px)


def loss_panel(
    result: BenchResult,
    piece: str,
    sheet: BenchSheet | None = None,
    *,
    width_px: int = 300,
    height_px: int = HEIGHT_PX,
) -> Spec:
    """Return one panel: the loss of one piece against frequency. A part of a figure; ``loss_chart`` frames it."""
    limits = sheet.limits if sheet else Limits()
    meters = in_order(hand.meter for loss in result.losses for hand in loss.by_hand)
    believed, specified = belief(result, piece), specification(result, sheet, piece)
    hand = by_hand(result, piece, meters)
    marks = bands(x.frequency_hz for x in losses_of(result, piece))
    top_db = top_of_scale((believed, specified), hand, limits)
    low_db = min([0.0, *(1.15 * row["loss_db"] for row in hand), *(row["loss_db_low"] for row in believed)])
    top_hz = 1.08 * marks[-1] if marks else 30e6
    x, y = _x(top_hz, marks), _y(low_db, top_db)
    frame = _Frame(width_px, height_px, top_hz, low_db, top_db)
    shown = [row for row in hand if row["loss_db"] <= top_db]
    named = _limit_rows(limits, frame, _taken(frame, (believed, specified), shown))
    if any(row["side"] == "beside" for row in named):
        longest = max(len(_figure(row["loss_db"])) for row in named)
        frame = replace(frame, width_px=width_px - max(BESIDE_PX, 4 + LETTER_PX * longest))
        named = _limit_rows(limits, frame, _taken(frame, (believed, specified), shown))
    return {
        "title": _heading(result, sheet, piece, width_px),
        "width": frame.width_px,
        "height": height_px,
        "layer": [
            *_limit_layers(named, y),
            *_specification_layers(specified, x, y),
            *_belief_layers(believed, x, y),
            *_hand_layers(hand, meters, x, y),
        ],
    }


@in_manner
def loss_chart(
    result: BenchResult,
    sheet: BenchSheet | None = None,
    *,
    width_px: int = 660,
    height_px: int = HEIGHT_PX,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return the loss of every piece against frequency, one panel a piece, with its key.

    Parameters
    ----------
    result : BenchResult
        What the bench said.
    sheet : BenchSheet, optional
        The sheet it came from: it names types and carries their laws and the limits. Without it the specification is
        drawn at the measured bands alone, with no spread.
    width_px : int
        Width of the whole figure; below 520 px the panels stand in one column.
    height_px : int
        Height of the axes of each panel; the key over low ones is low as well.

    Returns
    -------
    dict
        A Vega-Lite specification. Panels carry a loss scale each, from 0 dB.
    """
    pieces = in_order([*(p.piece for p in result.pieces), *(x.piece for x in result.losses)])
    columns = 1 if width_px < 520 or len(pieces) == 1 else 2
    gap_px = AXIS_PX + 20
    inner = int((width_px - 20 - AXIS_PX - gap_px * (columns - 1)) / columns)
    panels = [loss_panel(result, piece, sheet, width_px=inner, height_px=height_px) for piece in pieces]
    meters = in_order(hand.meter for loss in result.losses for hand in loss.by_hand)
    legend = loss_key(meters, width_px - 20 - AXIS_PX, 2 if height_px < HEIGHT_PX else 1)
    body: Spec = {"vconcat": [legend, *([columns_of(panels, columns, gap_px)] if panels else [])]}
    return framed(body, say(_ABOUT), palette)
