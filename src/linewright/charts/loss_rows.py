"""What the loss chart shows of one piece, as rows: the belief, the type's specification, the plain by-hand figures."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import numpy as np

from linewright.model.bench import BenchSheet, Limits, Piece
from linewright.model.result import BenchResult, ByHand, LossFinding, Prediction
from linewright.units.said import say
from linewright.units.writing import frequency, interval, metres

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
    grid_hz = (np.linspace(0.0, 1.0, 41) * np.sqrt(at_hz.max() * BEYOND)) ** 2
    loss = noun.length_m * line.law.db_per_m(grid_hz)
    half = NORMAL_95 * line.law.spread * loss
    whole = loss + fittings * np.sqrt(grid_hz)
    return [
        {"frequency_hz": float(f), "loss_db": float(db), "loss_db_low": float(db - h), "loss_db_high": float(db + h)}
        for f, db, h in zip(grid_hz, whole, half, strict=True)
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
