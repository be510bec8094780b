"""Fields near wires against closed textbook forms, and against twelve antennas solved by another hand."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from math import pi, sqrt

import numpy as np
import pytest

from linewright.catalogue.exposure_limits import limits_at
from linewright.core.formulas import near_field as nf
from linewright.core.formulas.near_field import Wire, solve
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S
from linewright.link.near_exposure import Levels, Places, reach_along
from physics.near_field_antennas import CASES, solved
from published.reader import agrees, checks, label

F = 14.1e6
K = 2 * pi * F / SPEED_OF_LIGHT_M_PER_S
POWER = sqrt(100.0)


@cache
def _point_source():
    half = pi / K / 1000
    arms = [Wire((0, 0, 0), (0, 0, z), 1e-5, 4, 1e25) for z in (-half, half)]
    return solve(arms, F, feed=1, ground=None)


def _hertz(i, which, *, along=False):
    r = i["kr"] / K
    return POWER * float(_point_source().fields([(0, 0, r) if along else (r, 0, 0)])[which][0])


def _given(wires, start_a, end_a, point_m):
    """E and H, rms, of currents that are given, not solved: peak values at both ends of each segment."""
    segments = nf._split(wires, F, None)
    ends = nf._ends_of(segments, np.asarray(start_a, complex), np.asarray(end_a, complex))
    return [float(field[0]) for field in nf._resultants(np.array([point_m], float), segments, ends, None)]


def _half_wave(i, which):
    # The current that the closed form assumes, on 40 segments that hold a sinusoid exactly.
    z = np.linspace(-pi / 2 / K, pi / 2 / K, 41)
    current = 1.169779 * sqrt(2) * np.cos(K * z)
    wire = Wire((0, 0, z[0]), (0, 0, z[-1]), 1e-9, 40)
    return _given([wire], current[:-1], current[1:], (i["rho_m"], 0, i["z_m"]))[which]


def _loop_axis(i):
    turn = np.linspace(0, 2 * pi, 361)
    # The corners lie outside the circle, so that polygon and circle enclose the same area.
    radius = 0.5 * sqrt(pi / (180 * np.sin(pi / 180)))
    corners = [(radius * np.cos(t), radius * np.sin(t), 0.0) for t in turn]
    wires = [Wire(a, b, 1e-9, 1) for a, b in pairwise(corners)]
    ones = np.full(360, sqrt(2))
    return _given(wires, ones, ones, (0, 0, i["z_m"]))[1]


def _field(i, which):
    return POWER * float(solved(i["antenna"]).fields([i["at"]])[which][0])


def _reach_m(i):
    start, way = CASES[i["antenna"]].rays[i["ray"]]
    steps = np.geomspace(0.05, 100.0, 56)
    points = np.asarray(start) + steps[:, None] * np.asarray(way)
    above = points[:, 2] > 0
    fields = np.asarray(solved(i["antenna"]).fields(points[above]))[:, None, None]
    level = limits_at(i["standard"], i["who"], CASES[i["antenna"]].frequency_hz)
    places = Places(steps[above], steps[above][None], *fields)
    return reach_along(places, np.array([100.0]), Levels(level.e_v_per_m, level.h_a_per_m)).distance_m


FUNCTIONS = {
    "reach_m": _reach_m,
    "hertz_e_v_per_m": lambda i: _hertz(i, 0),
    "hertz_h_a_per_m": lambda i: _hertz(i, 1),
    "hertz_e_along_v_per_m": lambda i: _hertz(i, 0, along=True),
    "half_wave_e_v_per_m": lambda i: _half_wave(i, 0),
    "half_wave_h_a_per_m": lambda i: _half_wave(i, 1),
    "loop_axis_h_a_per_m": _loop_axis,
    "e_v_per_m": lambda i: _field(i, 0),
    "h_a_per_m": lambda i: _field(i, 1),
    "resistance_ohm": lambda i: solved(i["antenna"]).impedance_ohm.real,
    "feed_a": lambda i: POWER * solved(i["antenna"]).feed_a,
    "radiated_w": lambda i: 100 * solved(i["antenna"]).radiated_fraction,
}


@pytest.mark.parametrize("check", checks("near_field"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


def test_every_antenna_is_checked_in_both_fields():
    for function in ("e_v_per_m", "h_a_per_m"):
        assert {c["inputs"]["antenna"] for c in checks("near_field", function)} == set(CASES)
