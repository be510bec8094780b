"""How far the field of an antenna known by its lengths reaches: from its wires, along the ground, at a window.

Where wires are clear of ground, three grounds are reckoned, none, perfect and average, and whichever reaches farthest
counts: against an exact half space that is 2 % too near at worst and 21 % too far.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from math import pi
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Complexes, Floats, distinct
from linewright.core.formulas.near_field import AVERAGE_GROUND, PERFECT_GROUND, Solution, Wire, solve_over
from linewright.core.frozen import dataclass
from linewright.core.nouns.wire_antenna import Loop, Structure, WireAntenna, structure

STEPS_M: Final = np.geomspace(0.1, 200.0, 56)
"""Along each way out. A step is 15 %; between two the field is taken as a power of the distance. With 300 steps the
distances of the check antennas move by less than 0.1 %; with 42 a way out of a T vertical misses its arm by 3 %."""
HEIGHTS_M: Final = (0.1, 0.5, 1.0, 1.5, 2.0)
"""Above ground, where people stand."""
AZIMUTHS_RAD: Final = np.linspace(0.0, pi, 13)
"""Every antenna is its own mirror image in y, so half a turn is enough; of one that is so in x too, a quarter."""
CLEARANCE: Final = 1.5
"""Where a height is farther from the wires than a level reaches, by so much to spare, it is not looked at."""
SAMPLES: Final = 24
"""Places on the wires that ways lead out from."""
SHORT_OHM: Final = 10.0
"""Radiation resistance below which an antenna is short: its losses decide the current."""
COIL_Q: Final = 100.0
"""Of whatever tunes an antenna out of resonance. Common practice, no source."""
GROUND_LOSS_OHM: Final = 10.0
"""Of a vertical on the ground. Common practice, no source; from 2 with many radials to 100."""
CAPACITOR_OHM: Final = 0.03
"""Of a small loop's capacitor and joints. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Places:
    """Ways out (rows) in steps (columns): how far along, what distance that is, E and H there at 1 W, by ground."""

    path_m: Floats
    distance_m: Floats
    e_v_per_m: Floats
    h_a_per_m: Floats


@dataclass(frozen=True, slots=True)
class Levels:
    """An electric and a magnetic field not to be exceeded, rms; either may be infinite."""

    e_v_per_m: float
    h_a_per_m: float


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a level reaches; ``distance_m`` is 0 where it is reached nowhere, None beyond the last step."""

    distance_m: float | None
    electric: bool


Arrays = Mapping[str, NDArray[Any]]


class Keeper(Protocol):
    """Keeps arrays by a key from one process to the next; it may forget, and never fails."""

    def get(self, key: str) -> Arrays | None:
        """Return the arrays of a key, or None."""
        ...

    def put(self, key: str, arrays: Arrays) -> None:
        """Keep arrays."""
        ...


_keepers: list[Keeper] = []


def keep_fields_in(keeper: Keeper | None) -> None:
    """Ask a keeper before anything is worked out, from now on; None: ask nobody. What is in memory stays."""
    _keepers[:] = [] if keeper is None else [keeper]


def kept(
    kind: str, antenna: WireAntenna, frequency_hz: float, more: object, make: Callable[[], dict[str, NDArray[Any]]]
) -> Arrays:
    """Return arrays that were worked out before, or make and keep them."""
    key = f"{kind}|{antenna!r}|{frequency_hz!r}|{more!r}"
    for keeper in _keepers:
        if (found := keeper.get(key)) is not None:
            return found
    made = make()
    for keeper in _keepers:
        keeper.put(key, made)
    return made


@dataclass(frozen=True, slots=True)
class Solved:
    """An antenna over each of its grounds, with the losses of its wires only.

    ``impedance_ohm`` and ``radiated_fraction`` have a row a ground; the currents are solved when a field is asked for.
    """

    structure: Structure
    impedance_ohm: Complexes
    radiated_fraction: Floats
    antenna: WireAntenna
    frequency_hz: float

    @property
    def solutions(self) -> tuple[Solution, ...]:
        """The currents over each ground."""
        return _solutions(self.antenna, self.frequency_hz)

    @property
    def resistance_ohm(self) -> Floats:
        """At the feed, over each ground."""
        return self.impedance_ohm.real

    @property
    def is_even(self) -> bool:
        """Whether it is its own mirror image in x as well."""
        return _is_even(self.structure)

    @property
    def is_short(self) -> bool:
        """Whether its radiation resistance is so low that what is lost decides the current."""
        return bool(np.any(self.resistance_ohm * self.radiated_fraction < SHORT_OHM))


def _is_even(made: Structure) -> bool:
    if abs(made.feed_m[0]) > 1e-9 or any(abs(made.wires[load.wire].start_m[0]) > 1e-9 for load in made.loads):
        return False

    def spans(side: float) -> list[tuple[object, ...]]:
        ends = [
            [(round(side * x, 6) + 0.0, round(y, 6), round(z, 6)) for x, y, z in (w.start_m, w.end_m)]
            for w in made.wires
        ]
        return sorted((*sorted(pair), w.radius_m, w.segments) for pair, w in zip(ends, made.wires, strict=True))

    return spans(1.0) == spans(-1.0)


@lru_cache(maxsize=64)
def solved(antenna: WireAntenna, frequency_hz: float) -> Solved:
    """Return the solved antenna; each is worked out once."""

    def make() -> dict[str, NDArray[Any]]:
        found = _solutions(antenna, frequency_hz)
        return {
            "impedance_ohm": np.array([s.impedance_ohm for s in found]),
            "radiated_fraction": np.array([s.radiated_fraction for s in found]),
        }

    made, at_feed = structure(antenna, frequency_hz), kept("feed", antenna, frequency_hz, None, make)
    return Solved(made, at_feed["impedance_ohm"], at_feed["radiated_fraction"], antenna, frequency_hz)


@lru_cache(maxsize=64)
def _solutions(antenna: WireAntenna, frequency_hz: float) -> tuple[Solution, ...]:
    made = structure(antenna, frequency_hz)
    grounds = (PERFECT_GROUND,) if made.grounded else (None, PERFECT_GROUND, AVERAGE_GROUND)
    return solve_over(made.wires, frequency_hz, grounds, feed=made.feed, loads=made.loads)


def typical_loss_ohm(antenna: WireAntenna, frequency_hz: float) -> float:
    """Return what a short antenna commonly loses in series with its feed: tuner, ground, capacitor.

    >>> from linewright.core.nouns.wire_antenna import Vertical
    >>> round(typical_loss_ohm(Vertical(10.0, top_m=10.0), 475e3))
    29
    """
    if isinstance(antenna, Loop):
        return CAPACITOR_OHM
    found = solved(antenna, frequency_hz)
    ground = GROUND_LOSS_OHM if found.structure.grounded else 0.0
    return float(np.max(np.abs(found.impedance_ohm.imag))) / COIL_Q + ground


def radiating_w(antenna: WireAntenna, frequency_hz: float, power_w: float, loss_ohm: float) -> Floats:
    """Return the power that reaches the wires, over each ground, of that into a loss in series with the feed."""
    resistance = solved(antenna, frequency_hz).resistance_ohm
    return np.asarray(power_w * resistance / (resistance + loss_ohm))


def reach_from_wire(antenna: WireAntenna, frequency_hz: float, power_w: Floats, levels: Levels) -> Reach:
    """Return how far from the nearest conductor a level reaches, anywhere about the antenna."""
    return reach_along(_about_wires(antenna, frequency_hz), power_w, levels)


def reach_on_ground(antenna: WireAntenna, frequency_hz: float, power_w: Floats, levels: Levels) -> Reach:
    """Return how far from below the feed a level reaches, 0.1 to 2 m above ground.

    >>> from linewright.core.nouns.wire_antenna import Vertical
    >>> antenna, level = Vertical(10.0, top_m=10.0), Levels(83.0, 21.0)  # the public's, ICNIRP 2010
    >>> near = reach_on_ground(antenna, 475e3, radiating_w(antenna, 475e3, 100.0, 30.0), level)
    >>> near.distance_m is not None and round(near.distance_m, 1), near.electric
    (5.2, True)
    """
    return _reach_level(antenna, frequency_hz, power_w, levels, HEIGHTS_M)


def reach_at_height(
    antenna: WireAntenna, frequency_hz: float, power_w: Floats, levels: Levels, height_m: float
) -> Reach:
    """Return how far from the feed, level, a level reaches at a height: a neighbour's window."""
    return _reach_level(antenna, frequency_hz, power_w, levels, (height_m,))


def _reach_level(
    antenna: WireAntenna, frequency_hz: float, power_w: Floats, levels: Levels, heights_m: tuple[float, ...]
) -> Reach:
    near = reach_from_wire(antenna, frequency_hz, power_w, levels)
    if near.distance_m is not None and CLEARANCE * near.distance_m < clearance_m(antenna, frequency_hz, heights_m):
        return Reach(0.0, near.electric)
    return reach_along(_level_places(antenna, frequency_hz, heights_m), power_w, levels)


@lru_cache(maxsize=64)
def fields_from(
    antenna: WireAntenna, frequency_hz: float, distance_m: float, heights_m: tuple[float, ...] = HEIGHTS_M
) -> tuple[Floats, Floats]:
    """Return E and H at 1 W, over each ground: the greatest at all heights and directions from a distance outwards.

    The distance is level, from below the feed. Farther out it may be worse: under the low end of a wire, say.

    >>> from linewright.core.nouns.wire_antenna import Dipole
    >>> v = Dipole(20.2, 10.0, 1.5)  # its ends hang 8.5 m from the feed
    >>> bool(fields_from(v, 7.1e6, 3.0)[0][0] > 10 * fields_from(v, 7.1e6, 20.0)[0][0])
    True
    """
    found = solved(antenna, frequency_hz)
    here = fields_each(found, _circle(found, np.array([distance_m]), heights_m).reshape(-1, 3))
    places = _level_places(antenna, frequency_hz, heights_m)
    outside = places.path_m > distance_m
    e, h = (
        np.maximum(one.max(axis=1), rest[:, :, outside].max(axis=(1, 2), initial=0.0))
        for one, rest in zip(here, (places.e_v_per_m, places.h_a_per_m), strict=True)
    )
    return e, h


def reach_along(places: Places, power_w: Floats, levels: Levels) -> Reach:
    """Return how far out a level reaches at a power over each ground: the outermost place on any way."""
    root = np.sqrt(power_w)[:, None, None]
    electric = np.max(places.e_v_per_m * root, axis=0) / levels.e_v_per_m
    magnetic = np.max(places.h_a_per_m * root, axis=0) / levels.h_a_per_m
    quotient = np.maximum(electric, magnetic)
    over = quotient >= 1.0
    rows = np.flatnonzero(over.any(axis=1))
    if not len(rows):
        return Reach(0.0, bool(np.max(electric) >= np.max(magnetic)))
    last = over.shape[1] - 1 - np.argmax(over[rows, ::-1], axis=1)
    if np.any(last == over.shape[1] - 1):
        return Reach(None, bool(electric[rows, -1].max() >= magnetic[rows, -1].max()))
    inner, outer = quotient[rows, last], quotient[rows, last + 1]
    share = np.log(inner) / (np.log(inner) - np.log(np.maximum(outer, 1e-30)))
    step = np.log(places.path_m[last + 1] / places.path_m[last])
    part = np.expm1(share * step) / np.expm1(step)
    near, far = places.distance_m[rows, last], places.distance_m[rows, last + 1]
    distance = near + part * (far - near)
    best = int(np.argmax(distance))
    return Reach(float(distance[best]), bool(electric[rows, last][best] >= magnetic[rows, last][best]))


@lru_cache(maxsize=64)
def _about_wires(antenna: WireAntenna, frequency_hz: float) -> Places:
    """Return the field on ways out of the wires, square to them and off their ends."""
    return _kept_places("wires", solved(antenna, frequency_hz), None, _places_about)


def _places_about(found: Solved) -> Places:
    wires = found.structure.wires
    ways = _ways(wires, even=found.is_even)
    points = np.concatenate([start + STEPS_M[:, None] * some[:, None] for start, some in ways])
    return _places(found, points, STEPS_M, _from_nearest(wires, points))


@lru_cache(maxsize=64)
def _level_places(antenna: WireAntenna, frequency_hz: float, heights_m: tuple[float, ...]) -> Places:
    """Return the field on level ways out from the feed, in steps fine enough to meet what hangs over them."""
    return _kept_places("level", solved(antenna, frequency_hz), heights_m, lambda found: _places_at(found, heights_m))


def _kept_places(kind: str, found: Solved, more: object, make: Callable[[Solved], Places]) -> Places:
    def arrays() -> dict[str, NDArray[Any]]:
        p = make(found)
        # As single figures, seven digits: kept or fresh, they are the same.
        e, h = (np.asarray(x, dtype="<f4") for x in (p.e_v_per_m, p.h_a_per_m))
        return {"path_m": p.path_m, "distance_m": np.asarray(p.distance_m, dtype="<f4"), "e_v_per_m": e, "h_a_per_m": h}

    held = kept(kind, found.antenna, found.frequency_hz, more, arrays)
    return Places(*(np.asarray(held[x], dtype=np.float64) for x in ("path_m", "distance_m", "e_v_per_m", "h_a_per_m")))


def _places_at(found: Solved, heights_m: tuple[float, ...]) -> Places:
    ends = np.array([end for w in found.structure.wires for end in (w.start_m, w.end_m)])
    extent = float(np.max(np.hypot(*(ends - found.structure.feed_m)[:, :2].T)))
    fine = np.arange(0.3, extent + 3.0, max(0.3, extent / 25.0))
    steps = distinct(np.concatenate([STEPS_M, fine]))
    points = _circle(found, steps, heights_m)
    return _places(found, points, steps, np.broadcast_to(steps, points.shape[:2]))


def _circle(found: Solved, radii_m: Floats, heights_m: Sequence[float]) -> Floats:
    """Return points around the feed: a row for each height and direction, a column for each radius."""
    feed = found.structure.feed_m
    azimuths = AZIMUTHS_RAD[: len(AZIMUTHS_RAD) // 2 + 1] if found.is_even else AZIMUTHS_RAD
    x = feed[0] + radii_m * np.cos(azimuths)[:, None]
    y = feed[1] + radii_m * np.sin(azimuths)[:, None]
    return np.concatenate([np.stack([x, y, np.full_like(x, height)], axis=-1) for height in heights_m])


def _places(found: Solved, points: Floats, steps: Floats, distance_m: Floats) -> Places:
    above = points[..., 2] > 0.0
    e, h = (np.zeros((len(found.solutions), *points.shape[:2])) for _ in range(2))
    e[:, above], h[:, above] = fields_each(found, points[above])
    return Places(steps, distance_m, e, h)


def fields_each(found: Solved, points: Floats) -> tuple[Floats, Floats]:
    """Return E and H at 1 W, (grounds, points)."""
    each = [s.fields(points) for s in found.solutions]
    return np.array([e for e, _ in each]), np.array([h for _, h in each])


def _ways(wires: Sequence[Wire], *, even: bool) -> list[tuple[Floats, Floats]]:
    """Return places on the wires, each with the unit vectors that lead away from it.

    y below 0 is left out, and of what is ``even`` in x places with x below 0.
    """
    total = sum(w.length_m for w in wires)
    ends = [tuple(np.round(end, 6)) for w in wires for end in (w.start_m, w.end_m)]
    found: dict[tuple[float, ...], list[Floats]] = {}
    along: dict[tuple[float, ...], list[Floats]] = {}
    for w in wires:
        start, span = np.asarray(w.start_m), np.subtract(w.end_m, w.start_m)
        u = span / w.length_m
        side = np.cross(u, (0.0, 0.0, 1.0) if abs(u[2]) < 0.9 else (0.0, 1.0, 0.0))
        side /= np.linalg.norm(side)
        other = np.cross(u, side)
        around = [np.cos(t) * side + np.sin(t) * other for t in np.arange(8) * pi / 4.0]
        for share in np.linspace(0.0, 1.0, max(round(SAMPLES * w.length_m / total), 1) + 1):
            place = tuple(np.round(start + share * span, 6))
            if any(abs(u @ v) > np.cos(pi / 4.0) for v in along.setdefault(place, [])):
                continue  # another wire goes on from here much as this one does
            along[place].append(u)
            found.setdefault(place, []).extend(around)
            if ends.count(place) == 1:
                out = u if share == 1.0 else -u
                found[place] += [out, *((out + a) / np.sqrt(2.0) for a in around[::2])]
    return [
        (np.array(p), np.array([w for w in ways if w[1] > -1e-9]))
        for p, ways in found.items()
        if p[1] > -1e-6 and not (even and p[0] < -1e-6)
    ]


def clearance_m(antenna: WireAntenna, frequency_hz: float, heights_m: Sequence[float]) -> float:
    """Return the least upright distance of an antenna's wires from the heights between the lowest and the highest."""
    ends = [end[2] for w in solved(antenna, frequency_hz).structure.wires for end in (w.start_m, w.end_m)]
    return max(min(ends) - max(heights_m), min(heights_m) - max(ends), 0.0)


def _from_nearest(wires: Sequence[Wire], points: Floats) -> Floats:
    """Return the distance from each point to the nearest wire's axis."""
    nearest = np.full(points.shape[:-1], np.inf)
    for w in wires:
        u = np.subtract(w.end_m, w.start_m) / w.length_m
        apart = points - np.asarray(w.start_m)
        along = np.clip(apart @ u, 0.0, w.length_m)
        nearest = np.minimum(nearest, np.linalg.norm(apart - along[..., None] * u, axis=-1))
    return nearest
