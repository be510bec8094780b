"""Twelve antennas as wires, for checks against published formulas, other hands' figures and an independent solver.

Lengths in metres, z up, ground at z = 0, 100 W. ``rays`` start on a conductor (or at a loop's centre) and lead away.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from math import cos, pi, radians, sin

from linewright.core.formulas.near_field import PERFECT_GROUND, Load, Solution, Wire, solve

Point = tuple[float, float, float]
ALUMINIUM = 3.5e7


@dataclass(frozen=True)
class Case:
    frequency_hz: float
    wires: tuple[Wire, ...]
    feed: int
    loads: tuple[Load, ...] = ()
    rays: dict[str, tuple[Point, Point]] = field(default_factory=dict)


def _copper(start: Point, end: Point, segments: int, radius: float = 0.001) -> Wire:
    return Wire(start, end, radius, segments)


def _dipole(z: float) -> tuple[Wire, ...]:
    return _copper((0, 0, z), (-5.05, 0, z), 40), _copper((0, 0, z), (5.05, 0, z), 40)


def _dipole_rays(z: float, half: float) -> dict[str, tuple[Point, Point]]:
    return {
        "mid down": ((0, 0, z), (0, 0, -1)),
        "mid side": ((0, 0, z), (0, 1, 0)),
        "quarter down": ((half / 2, 0, z), (0, 0, -1)),
        "end down": ((half, 0, z), (0, 0, -1)),
        "beyond end": ((half, 0, z), (1, 0, 0)),
    }


def _inverted_v() -> Case:
    x, z = 0.15 + 9.95 * cos(radians(30)), 10 - 9.95 * sin(radians(30))
    wires = (
        _copper((0, 0, 10), (-0.15, 0, 10), 2), _copper((0, 0, 10), (0.15, 0, 10), 2),
        _copper((-0.15, 0, 10), (-x, 0, z), 40), _copper((0.15, 0, 10), (x, 0, z), 40),
    )  # fmt: skip
    rays = {
        "apex down": ((0, 0, 10), (0, 0, -1)), "end down": ((x, 0, z), (0, 0, -1)),
        "end side": ((x, 0, z), (0, 1, 0)), "beyond end": ((x, 0, z), (cos(radians(30)), 0, -sin(radians(30)))),
    }  # fmt: skip
    return Case(7.1e6, wires, 1, (), rays)


def _tee(frequency_hz: float, loss: float) -> Case:
    wires = (_copper((0, 0, 0), (0, 0, 10), 40), *(_copper((0, 0, 10), (x, 0, 10), 40) for x in (-10, 10)))
    rays = {f"side at {z} m": ((0, 0, z), (0, 1, 0)) for z in (1, 2, 5)}
    rays |= {"top arm end down": ((10, 0, 10), (0, 0, -1)), "beyond arm end": ((10, 0, 10), (1, 0, 0))}
    return Case(frequency_hz, wires, 0, (Load(0, loss),), rays)


def _vertical() -> Case:
    rays = {f"side at {z} m": ((0, 0, z), (0, 1, 0)) for z in (0.5, 2, 5)}
    rays |= {"side at tip": ((0, 0, 10.1), (0, 1, 0)), "above tip": ((0, 0, 10.1), (0, 0, 1))}
    return Case(7.1e6, (_copper((0, 0, 0), (0, 0, 10.1), 60),), 0, (Load(0, 10),), rays)


def _ground_plane() -> Case:
    radials = [_copper((0, 0, 3), (x, y, 3), 24) for x, y in ((10, 0), (-10, 0), (0, 10), (0, -10))]
    rays = {
        "radial end down": ((10, 0, 3), (0, 0, -1)), "beyond radial end": ((10, 0, 3), (1, 0, 0)),
        "radial mid down": ((5, 0, 3), (0, 0, -1)), "base side 45deg": ((0, 0, 3), (cos(pi / 4), sin(pi / 4), 0)),
    }  # fmt: skip
    return Case(7.1e6, (_copper((0, 0, 3), (0, 0, 13.1), 48), *radials), 0, (), rays)


def _end_fed() -> Case:
    wires = (_copper((0, 0, 2.5), (8.4711, 0, 8), 80), _copper((0, 0, 2.5), (0, 0, 1.5), 8))
    rays = {
        "feed end side": ((0, 0, 2.5), (0, 1, 0)), "behind feed": ((0, 0, 2.5), (-1, 0, 0)),
        "counterpoise end down": ((0, 0, 1.5), (0, 0, -1)), "mid side": ((4.23555, 0, 5.25), (0, 1, 0)),
        "far end down": ((8.4711, 0, 8), (0, 0, -1)),
    }  # fmt: skip
    return Case(14.1e6, wires, 0, (), rays)


def _loop() -> Case:
    corners = [(0.5 * sin(2 * pi * (i + 0.5) / 24), 0.0, 2 - 0.5 * cos(2 * pi * (i + 0.5) / 24)) for i in range(24)]
    bottom, top = (0.0, 0.0, corners[0][2]), (0.0, 0.0, corners[11][2])
    path = [bottom, *corners[:12], top, *corners[12:], bottom]
    wires = tuple(_copper(a, b, 1 if a in (bottom, top) or b in (bottom, top) else 2, 0.011) for a, b in pairwise(path))
    rays = {
        "axis from centre": ((0, 0, 2), (0, 1, 0)), "in plane from centre": ((0, 0, 2), (1, 0, 0)),
        "above from centre": ((0, 0, 2), (0, 0, 1)), "45 deg": ((0, 0, 2), (cos(pi / 4), sin(pi / 4), 0)),
    }  # fmt: skip
    return Case(14.1e6, wires, 0, (Load(13, 0.03, resonates=True),), rays)


def _beam(frequency_hz: float, radius: float) -> Case:
    wavelength = 299_792_458.0 / frequency_hz
    places = [(x * wavelength, share * wavelength / 2) for x, share in ((-0.18, 0.49), (0, 0.47), (0.15, 0.445))]
    wires = tuple(
        Wire((x, 0, 10), (x, side * half, 10), radius, 20, ALUMINIUM) for x, half in places for side in (-1, 1)
    )
    (back, reflector), (_, driver), (front, director) = places
    rays = {
        "director mid forward": ((front, 0, 10), (1, 0, 0)), "driver mid down": ((0, 0, 10), (0, 0, -1)),
        "director end side": ((front, director, 10), (0, 1, 0)), "driver end side": ((0, driver, 10), (0, 1, 0)),
        "reflector end side": ((back, reflector, 10), (0, 1, 0)), "driver end down": ((0, driver, 10), (0, 0, -1)),
    }  # fmt: skip
    return Case(frequency_hz, wires, 3, (), rays)


def _doublet() -> Case:
    wires = _copper((0, 0, 10), (-13.5, 0, 10), 54), _copper((0, 0, 10), (13.5, 0, 10), 54)
    return Case(1.85e6, wires, 1, (Load(1, 20),), _dipole_rays(10, 13.5))


CASES = {
    "A": Case(14.1e6, _dipole(10), 1, (), _dipole_rays(10, 5.05)),
    "B": Case(14.1e6, _dipole(5), 1, (), _dipole_rays(5, 5.05)),
    "C": _inverted_v(),
    "D": _doublet(),
    "E": _tee(0.475e6, 30),
    "F": _tee(1.85e6, 10),
    "G": _vertical(),
    "H": _ground_plane(),
    "I": _end_fed(),
    "J": _loop(),
    "K": _beam(14.15e6, 0.0125),
    "L": _beam(28.5e6, 0.008),
}
"""A, B dipoles; C inverted V; D short doublet; E, F top-loaded verticals; G quarter-wave vertical; H the same raised on
radials; I end-fed half wave; J small loop; K, L three-element beams."""


@cache
def solved(name: str) -> Solution:
    case = CASES[name]
    return solve(case.wires, case.frequency_hz, feed=case.feed, loads=case.loads, ground=PERFECT_GROUND)
