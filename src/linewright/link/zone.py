"""The zone to keep clear around an antenna known by its lengths, seen from above and from the side."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from linewright.catalogue.exposure_limits import Limit
from linewright.core.arrays import Floats, distinct
from linewright.core.frozen import dataclass
from linewright.core.nouns.exposure import Span, Zone
from linewright.core.nouns.wire_antenna import WireAntenna
from linewright.link.exposure import Emitter, levels_of, losses, share_of_peak
from linewright.link.near_exposure import HEIGHTS_M, Levels, fields_each, kept, radiating_w, reach_from_wire, solved

CELLS: Final = (44, 22, 18)
"""Along x, along half of y, along z."""
BETWEEN: Final = 3
"""Rows of the picture to a row that was reckoned."""
ROOM: Final = 1.15
"""How much farther than the zone the picture reaches."""
LEAST_ROOM_M: Final = 1.0


@dataclass(frozen=True, slots=True)
class Demand:
    """Field levels, and the power that must keep them over each ground."""

    power_w: tuple[float, ...]
    levels: Levels


def zone(antenna: WireAntenna, frequency_hz: float, demands: Sequence[Demand], reach_m: float) -> Zone:
    """Return where any of the demands is not kept.

    ``reach_m`` is how far from the wires that may be; the picture is drawn somewhat wider.
    """
    room_m = max(ROOM * reach_m, LEAST_ROOM_M)
    grid = _grid(antenna, frequency_hz, round(room_m, 2))
    worst = np.zeros(grid.e_v_per_m.shape[1:])
    for demand in demands:
        root = np.sqrt(np.asarray(demand.power_w))[:, None, None, None]
        e = np.max(grid.e_v_per_m * root, axis=0) / demand.levels.e_v_per_m
        h = np.max(grid.h_a_per_m * root, axis=0) / demand.levels.h_a_per_m
        worst = np.maximum(worst, np.maximum(e, h))
    low = grid.z_m <= HEIGHTS_M[-1] + 1e-9
    made = solved(antenna, frequency_hz).structure
    return Zone(
        above=_spans(grid.x_m, grid.y_m, worst.max(axis=2), mirrored=True),
        people=_spans(grid.x_m, grid.y_m, worst[:, :, low].max(axis=2), mirrored=True),
        side=_spans(grid.x_m, grid.z_m, worst.max(axis=1)),
        wires_m=tuple((w.start_m, w.end_m) for w in made.wires),
        feed_m=made.feed_m,
    )


def zone_about(emitter: Emitter, limits: Sequence[Limit]) -> Zone | None:
    """Return where any of some limits is reached, at the upper end of the power's interval.

    None where the antenna's lengths are not known, or a limit reaches too far to be drawn. No more loss is counted
    than is stated.
    """
    shape, f = emitter.shape, emitter.frequency_hz
    if shape is None or not limits:
        return None
    loss_ohm, _ = losses(emitter, shape)
    demands, reaches = [], []
    for limit in limits:
        power_w = emitter.power_high_w * share_of_peak(emitter, limit.averaging_s)
        radiating = radiating_w(shape, f, power_w, loss_ohm)
        demands.append(Demand(tuple(float(p) for p in radiating), levels_of(limit)))
        reaches.append(reach_from_wire(shape, f, radiating, levels_of(limit)).distance_m)
    known = [reach for reach in reaches if reach is not None]
    return zone(shape, f, demands, max(known)) if len(known) == len(reaches) else None


@dataclass(frozen=True, slots=True)
class _FieldGrid:
    """E and H at 1 W over each ground, (grounds, x, y, z); y from 0."""

    x_m: Floats
    y_m: Floats
    z_m: Floats
    e_v_per_m: Floats
    h_a_per_m: Floats


@lru_cache(maxsize=16)
def _grid(antenna: WireAntenna, frequency_hz: float, room_m: float) -> _FieldGrid:
    found = solved(antenna, frequency_hz)
    ends = np.array([end for w in found.structure.wires for end in (w.start_m, w.end_m)])
    low, high = ends.min(axis=0) - room_m, ends.max(axis=0) + room_m
    x = np.linspace(low[0], high[0], CELLS[0])
    y = np.linspace(0.0, high[1], CELLS[1])
    # Where people stand is looked at closely; above that in even steps, from as low as the zone may hang.
    floor = max(low[2], HEIGHTS_M[-1])
    z = distinct(np.concatenate([HEIGHTS_M, np.linspace(floor, max(high[2], floor + 1.0), CELLS[2])]))
    half = x[len(x) // 2 :] if found.is_even else x

    def make() -> dict[str, NDArray[Any]]:
        points = np.stack(np.meshgrid(half, y, z, indexing="ij"), axis=-1)
        e, h = (part.reshape(-1, *points.shape[:3]) for part in fields_each(found, points.reshape(-1, 3)))
        return {"e_v_per_m": np.asarray(e, dtype="<f4"), "h_a_per_m": np.asarray(h, dtype="<f4")}

    held = kept("grid", antenna, frequency_hz, room_m, make)
    e, h = (np.asarray(held[name], dtype=np.float64) for name in ("e_v_per_m", "h_a_per_m"))
    if found.is_even:
        e, h = (np.concatenate([part[:, ::-1], part], axis=1) for part in (e, h))
    return _FieldGrid(x, y, z, e, h)


def _spans(level: Floats, upright: Floats, quotient: Floats, *, mirrored: bool = False) -> tuple[Span, ...]:
    """Return where each row is over 1, its ends interpolated; ``mirrored`` adds the rows of the other half.

    Between the rows that were reckoned others are put in, the logarithm interpolated, so that outlines look like what
    they are.
    """
    log = np.log(np.maximum(quotient, 1e-12))
    fine = np.interp(np.arange(BETWEEN * (len(upright) - 1) + 1) / BETWEEN, np.arange(len(upright)), upright)
    log = np.array([np.interp(fine, upright, row) for row in log])
    edges = np.concatenate([[fine[0]], (fine[1:] + fine[:-1]) / 2.0, [fine[-1]]])
    found: list[Span] = []
    for j in range(len(fine)):
        over = np.concatenate([[False], log[:, j] >= 0.0, [False]]).astype(int)
        for start, stop in zip(np.flatnonzero(np.diff(over) == 1), np.flatnonzero(np.diff(over) == -1), strict=True):
            row = log[:, j]
            ends = (_edge(level, row, int(start) - 1, int(start)), _edge(level, row, int(stop), int(stop) - 1))
            found.append((float(edges[j]), float(edges[j + 1]), *ends))
            if mirrored:
                found.append((-float(edges[j + 1]), -float(edges[j]), *ends))
    return tuple(sorted(found))


def _edge(level: Floats, row: Floats, outside: int, inside: int) -> float:
    """Return where the logarithm of the quotient is 0 between a cell outside and one inside; its edge at the border."""
    if not 0 <= outside < len(row):
        return float(level[inside])
    share = row[inside] / (row[inside] - row[outside])
    return float(level[inside] + share * (level[outside] - level[inside]))
