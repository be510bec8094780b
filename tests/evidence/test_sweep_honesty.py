"""Intervals hold the truth as often as they say, and nothing wrong is said plainly, on worlds made by scikit-rf."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from linewright.inference.sweep.one_port import read_one_port
from linewright.inference.sweep.two_port import read_two_port
from sweep_worlds import KINDS, draw

WORLDS = {"too few points": 10}


@cache
def _read(kind: str):
    """Return (world, finding) pairs, through and from one end."""
    one = next(k for k in KINDS if k.name == kind)
    worlds = [draw(np.random.default_rng([7000 + i, KINDS.index(one)]), one) for i in range(WORLDS.get(kind, 16))]
    return [(w, read_two_port(w.through), read_one_port({"open": w.open, "short": w.short})) for w in worlds]


slow = [pytest.param(kind, marks=pytest.mark.slow) for kind in ("interference", "jumpers below 1 m")]


@pytest.mark.parametrize("kind", ["plain", "every law holds", *slow])
@pytest.mark.parametrize("way", [1, 2])
def test_nine_in_ten_losses_lie_in_their_interval(kind, way):
    inside = [
        row.matched_loss_db.holds(case[0].truth.loss_at(row.frequency_hz))
        for case in _read(kind)
        for row in case[way].losses
    ]
    assert len(inside) > 100
    # Losses of one sweep share their errors: 16 worlds of a true 95 % fall below 0.85 once in hundreds.
    assert np.mean(inside) > 0.85


@pytest.mark.parametrize("way", [1, 2])
def test_impedances_lie_in_their_interval(way):
    inside = [
        case[way].impedance_ohm.holds(case[0].truth.zc_ohm)
        for kind in ("plain", "every law holds")
        for case in _read(kind)
        if case[way].impedance_ohm is not None
    ]
    assert np.mean(inside) > 0.85


def test_the_fit_errs_less_than_the_bare_insertion_loss():
    pairs = [
        (row.matched_loss_db.value - truth, row.insertion_loss_db.value - truth)
        for world, through, _ in _read("plain")
        for row in through.losses
        for truth in [world.truth.loss_at(row.frequency_hz)]
    ]
    fit, bare = np.sqrt(np.mean(np.square(pairs), axis=0))
    assert fit < 0.5 * bare


@pytest.mark.parametrize("way", [1, 2])
def test_a_coarse_sweep_gives_the_true_delay_or_a_list_that_holds_it(way):
    lacking = 0
    for case in _read("too few points"):
        world, found = case[0], case[way]
        truth, turn = world.truth.group_delay_s(0.0, np.inf), 1.0 / float(np.diff(world.through.frequency_hz).min())
        if found.delay_s is not None:
            assert abs(found.delay_s.value - truth) < 0.1 * turn
        else:
            lacking += not any(abs(c.delay_s - truth) < 0.1 * turn for c in found.candidates)
    assert lacking <= 1


def test_most_coarse_sweeps_are_recognised_as_such():
    assert np.mean([through.delay_s is None for _, through, _ in _read("too few points")]) > 0.4
