"""The shapes of a flow: where parts lie along the drawing, and what power is left at each place of it.

Places run from 0 (radio) to 1 (antenna). Between the ends the interval grows as those of the parts do (root of the sum
of squares, in dB), scaled so that at the antenna it is the plan's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from linewright.model.plan import BandFinding, PartFinding
from linewright.physics.mismatch import reflection_from_swr

LEAST_SHARE = 0.075
"""No part is narrower, unless there are so many that all are."""
STEPS = 8


@dataclass(frozen=True, slots=True)
class Left:
    """The power left at a place of the run, W, with its 95 % interval."""

    place: float
    power_w: float
    low_w: float
    high_w: float


def edges(parts: Sequence[PartFinding]) -> list[float]:
    """Return where parts begin and end: lines as long as they are, other parts as narrow as may be."""
    if not parts:
        return [0.0, 1.0]
    least = min(LEAST_SHARE, 0.9 / len(parts))
    lengths = [p.length_m or 0.0 for p in parts]
    whole, free = sum(lengths), 1.0 - least * len(parts)
    places = [0.0]
    for length in lengths:
        places.append(places[-1] + least + free * (length / whole if whole else 1.0 / len(parts)))
    return [*places[:-1], 1.0]


def left_along(x: BandFinding, places: Sequence[float]) -> list[list[Left]]:
    """Return the power left along each part: within one it falls by equal decibels."""
    if not x.parts:
        ends = [(x.power_w,) * 3, (x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high)]
        return [[Left(place, *power) for place, power in zip((0.0, 1.0), ends, strict=True)]]
    reach = _reach_db(x)
    return [_along(part, places[i : i + 2], reach[i : i + 2]) for i, part in enumerate(x.parts)]


def _along(part: PartFinding, ends: Sequence[float], reach_db: Sequence[tuple[float, float]]) -> list[Left]:
    (a, b), ((down0, up0), (down1, up1)) = ends, reach_db
    ratio = part.power_out_w / part.power_in_w if part.power_in_w > 0 else 0.0
    found = []
    for step in range(STEPS + 1):
        t = step / STEPS
        power = part.power_in_w * ratio**t
        down, up = down0 + t * (down1 - down0), up0 + t * (up1 - up0)
        found.append(Left(a + t * (b - a), power, power * 10 ** (-down / 10), power * 10 ** (up / 10)))
    return found


def _reach_db(x: BandFinding) -> list[tuple[float, float]]:
    """Return how far power may lie below and above at each joint, dB."""
    squares = [0.0]
    for part in x.parts:
        squares.append(squares[-1] + (part.loss_db_high - part.loss_db_low) ** 2)
    down = max(0.0, x.total_loss_db_high - x.total_loss_db)
    up = max(0.0, x.total_loss_db - x.total_loss_db_low)
    whole = squares[-1] or 1.0
    return [(down * (s / whole) ** 0.5, up * (s / whole) ** 0.5) for s in squares]


def returned(x: BandFinding) -> list[float]:
    """Return at each joint the share of the wave that comes back, by the SWR seen there."""
    seen = [part.swr_in or 1.0 for part in x.parts] or [x.swr_at_radio]
    return [float(reflection_from_swr(max(1.0, swr)) ** 2) for swr in (*seen, x.swr_at_antenna)]
