"""Very long sweeps say the same when neighbours are averaged."""

import numpy as np
import pytest

from linewright.core.nouns.sweep import Sweep
from linewright.inference.sweep.traces import MANY, coarser
from linewright.inference.sweep.two_port import read_two_port


def line(points, delay_s=150e-9, noise=1e-3):
    rng, f = np.random.default_rng(3), np.linspace(1e6, 1e9, points)
    through = np.exp(-0.05 * np.sqrt(f / 1e6) / 8.686 - 2j * np.pi * f * delay_s)
    s = noise * (rng.standard_normal((points, 2, 2)) + 1j * rng.standard_normal((points, 2, 2)))
    s[:, 1, 0] += through
    s[:, 0, 1] += through
    return Sweep("made", f, s, np.full(2, 50.0 + 0j))


def test_law_and_delay_stay():
    whole = line(60_000)
    short = coarser(whole)
    assert len(short.frequency_hz) < 0.6 * len(whole.frequency_hz)
    one, other = read_two_port(whole), read_two_port(short)
    assert other.delay_s.value == pytest.approx(one.delay_s.value, rel=2e-5)
    for x, y in zip(one.losses, other.losses, strict=True):
        assert y.matched_loss_db.value == pytest.approx(x.matched_loss_db.value, abs=0.004)


def test_a_sweep_of_usual_size_is_left_alone():
    sweep = line(MANY - 1)
    assert coarser(sweep) is sweep


def test_so_is_one_whose_phase_turns_fast():
    sweep = line(MANY, delay_s=3e-6)
    assert coarser(sweep) is sweep
