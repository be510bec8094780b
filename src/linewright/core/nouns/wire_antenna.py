"""An antenna by the few lengths a person knows, and the wires it is made of.

The antenna stands over the origin, ground is z = 0. Wires that lean or branch lie in the plane y = 0, beam elements
along y; every antenna is its own mirror image in y. A loss is not part of the shape: it only scales the power.
"""

from __future__ import annotations

from itertools import pairwise
from math import cos, hypot, pi, sin, sqrt
from typing import Final

from linewright.core.errors import InputError
from linewright.core.formulas.near_field import Load, Point, Wire
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.quantities import ANNEALED_COPPER_CONDUCTIVITY_S_PER_M, SPEED_OF_LIGHT_M_PER_S

ALUMINIUM_CONDUCTIVITY_S_PER_M: Final = 3.5e7
"""Of the alloys that tubes are made of. Common practice, no source."""
SEGMENTS: Final = 64
"""On all wires together. With 180 the fields half a metre away move by less than 0.2 dB."""
MAX_SEGMENTS: Final = 200
LEAST_HEIGHT_M: Final = 0.2
"""How low a counterpoise hangs that is longer than its feed is high; the rest lies level at this height."""
SIDES: Final = 24
"""Of the polygon that stands for a round loop."""


@dataclass(frozen=True, slots=True)
class Dipole:
    """A wire fed somewhere along it: dipole, doublet, or inverted V where its ends hang lower than the feed."""

    length_m: float
    height_m: float
    end_height_m: float | None = None
    feed_fraction: float = 0.5
    wire_diameter_m: float = 0.002


@dataclass(frozen=True, slots=True)
class EndFed:
    """A wire fed at its lower end against a counterpoise that hangs straight down from there."""

    length_m: float
    height_m: float
    counterpoise_m: float
    end_height_m: float | None = None
    wire_diameter_m: float = 0.002


@dataclass(frozen=True, slots=True)
class Vertical:
    """An upright wire fed at its base.

    On the ground where ``base_m`` is 0, else on ``radials`` level wires. ``top_m`` is the length of each of two level
    wires at its tip; ``coil_m`` the height above the base of a loading coil, which brings the feed to resonance.
    """

    length_m: float
    base_m: float = 0.0
    radials: int = 0
    radial_m: float = 0.0
    top_m: float = 0.0
    coil_m: float = 0.0
    wire_diameter_m: float = 0.002


@dataclass(frozen=True, slots=True)
class Loop:
    """An upright small loop, fed at the bottom; a capacitor at the top brings it to resonance."""

    diameter_m: float
    height_m: float
    wire_diameter_m: float = 0.022


@dataclass(frozen=True, slots=True)
class Beam:
    """Level elements, each as (place along the boom, length); the one numbered ``driven`` is fed in its middle."""

    elements_m: tuple[tuple[float, float], ...]
    height_m: float
    driven: int = 2
    wire_diameter_m: float = 0.02


WireAntenna = Dipole | EndFed | Vertical | Loop | Beam


@dataclass(frozen=True, slots=True)
class Structure:
    """What is solved: wires, which is fed at its start, loads that resonate, and whether ground carries current.

    ``feed_m`` is where the feed is; distances along the ground count from below it.
    """

    wires: tuple[Wire, ...]
    feed: int
    loads: tuple[Load, ...]
    feed_m: Point
    grounded: bool = False


def structure(antenna: WireAntenna, frequency_hz: float) -> Structure:
    """Return the wires of an antenna, cut into segments for a frequency.

    Raises
    ------
    InputError
        If its ends cannot be where they are said to be, or it is so long in wavelengths that nobody solves it here.

    >>> found = structure(Dipole(10.1, 10.0), 14.1e6)
    >>> [wire.end_m for wire in found.wires], sum(wire.segments for wire in found.wires)
    ([(-5.05, 0.0, 10.0), (5.05, 0.0, 10.0)], 64)
    """
    match antenna:
        case Dipole():
            return _dipole(antenna, frequency_hz)
        case EndFed():
            return _end_fed(antenna, frequency_hz)
        case Vertical():
            return _vertical(antenna, frequency_hz)
        case Loop():
            return _loop(antenna, frequency_hz)
        case Beam():
            return _beam(antenna, frequency_hz)


def _dipole(a: Dipole, frequency_hz: float) -> Structure:
    feed: Point = (0.0, 0.0, a.height_m)
    ends = []
    for arm, side in ((a.length_m * a.feed_fraction, -1.0), (a.length_m * (1.0 - a.feed_fraction), 1.0)):
        reach, height = _slope(arm, a.height_m, a.end_height_m)
        ends.append((feed, (side * reach, 0.0, height)))
    return Structure(_cut(ends, a.wire_diameter_m, frequency_hz), 1, (), feed)


def _end_fed(a: EndFed, frequency_hz: float) -> Structure:
    feed: Point = (0.0, 0.0, a.height_m)
    reach, height = _slope(a.length_m, a.height_m, a.end_height_m)
    down = min(a.counterpoise_m, max(a.height_m - LEAST_HEIGHT_M, 0.5 * a.height_m))
    foot: Point = (0.0, 0.0, a.height_m - down)
    spans = [(feed, (reach, 0.0, height)), (feed, foot)]
    if a.counterpoise_m - down > 0.1:
        spans.append((foot, (down - a.counterpoise_m, 0.0, foot[2])))
    return Structure(_cut(spans, a.wire_diameter_m, frequency_hz), 0, (), feed)


def _vertical(a: Vertical, frequency_hz: float) -> Structure:
    base, tip = (0.0, 0.0, a.base_m), (0.0, 0.0, a.base_m + a.length_m)
    spans: list[tuple[Point, Point]] = [(base, tip)]
    loads: tuple[Load, ...] = ()
    if a.coil_m > 0.0:
        if not a.coil_m < a.length_m:
            raise InputError(
                "coil",
                say(
                    "must lie below the tip, {length_m} m above the base; got {value} m",
                    length_m=format(a.length_m, ".3g"),
                    value=format(a.coil_m, ".3g"),
                ),
            )
        coil: Point = (0.0, 0.0, a.base_m + a.coil_m)
        spans, loads = [(base, coil), (coil, tip)], (Load(1, 0j, resonates=True),)
    if a.top_m > 0.0:
        spans += [(tip, (side * a.top_m, 0.0, tip[2])) for side in (-1.0, 1.0)]
    if a.base_m > 0.0:
        turns = [2.0 * pi * i / a.radials for i in range(a.radials)]
        spans += [(base, (a.radial_m * cos(t), a.radial_m * sin(t), a.base_m)) for t in turns]
    return Structure(_cut(spans, a.wire_diameter_m, frequency_hz), 0, loads, base, grounded=a.base_m == 0.0)


def _loop(a: Loop, frequency_hz: float) -> Structure:
    radius = a.diameter_m / 2.0
    turns = [2.0 * pi * (i + 0.5) / SIDES for i in range(SIDES)]
    corners: list[Point] = [(radius * sin(t), 0.0, a.height_m - radius * cos(t)) for t in turns]
    bottom, top = (0.0, 0.0, corners[0][2]), (0.0, 0.0, corners[SIDES // 2][2])
    path = [bottom, *corners[: SIDES // 2], top, *corners[SIDES // 2 :], bottom]
    spans = list(pairwise(path))
    wires = _cut(spans, a.wire_diameter_m, frequency_hz)
    return Structure(wires, 0, (Load(SIDES // 2 + 1, 0j, resonates=True),), bottom)


def _beam(a: Beam, frequency_hz: float) -> Structure:
    if not 1 <= a.driven <= len(a.elements_m):
        raise InputError(
            "driven",
            say("must be the number of an element, 1 to {count}; got {value}", count=len(a.elements_m), value=a.driven),
        )
    middle = a.elements_m[a.driven - 1][0]
    spans: list[tuple[Point, Point]] = [
        ((place - middle, 0.0, a.height_m), (place - middle, side * length / 2.0, a.height_m))
        for place, length in a.elements_m
        for side in (-1.0, 1.0)
    ]
    wires = _cut(spans, a.wire_diameter_m, frequency_hz, ALUMINIUM_CONDUCTIVITY_S_PER_M)
    return Structure(wires, 2 * a.driven - 1, (), (0.0, 0.0, a.height_m))


def _slope(length_m: float, height_m: float, end_height_m: float | None) -> tuple[float, float]:
    """Return how far out a straight wire ends, and how high."""
    end = height_m if end_height_m is None else end_height_m
    if abs(height_m - end) >= length_m:
        rule = say(
            "must be less than the {length_m} m of the wire away from {height_m} m; got {value} m",
            length_m=format(length_m, ".3g"),
            height_m=format(height_m, ".3g"),
            value=format(end, ".3g"),
        )
        raise InputError("end_height", rule)
    return sqrt(length_m**2 - (height_m - end) ** 2), end


def _cut(
    spans: list[tuple[Point, Point]],
    diameter_m: float,
    frequency_hz: float,
    conductivity_s_per_m: float = ANNEALED_COPPER_CONDUCTIVITY_S_PER_M,
) -> tuple[Wire, ...]:
    """Return wires along the spans, of segments about as long as each other, and short against the wavelength."""
    lengths = [hypot(*(b - a for a, b in zip(*span, strict=True))) for span in spans]
    wavelength = SPEED_OF_LIGHT_M_PER_S / frequency_hz
    segment = max(sum(lengths) / MAX_SEGMENTS, min(sum(lengths) / SEGMENTS, wavelength / 20.0), 2.0 * diameter_m)
    if segment > wavelength / 8.0:
        rule = say(
            "must be at most {most} wavelengths of wire in all, and thin, to be solved here", most=MAX_SEGMENTS // 8
        )
        raise InputError("antenna", rule, cure=say("Leave out its lengths; the distance then needs a measurement."))
    return tuple(
        Wire(*span, diameter_m / 2.0, max(round(length / segment), 1), conductivity_s_per_m)
        for span, length in zip(spans, lengths, strict=True)
    )
