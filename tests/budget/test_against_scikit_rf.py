"""The walk from the antenna beside scikit-rf cascading the same chain: two roads, one answer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

from budget.chains import DRAWS, HERTZ, cascade, draws, runs
from examples import few
from linewright.link.chain import antenna_state, highest_swr, walk
from linewright.link.sections import sections

# The library spells its own names of old; a warning of its own is no finding here.
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::FutureWarning")


def _walked(run):
    shared = draws(run)
    return walk(sections(run, HERTZ, shared), antenna_state(run.antenna, HERTZ, shared))


def _column(x, k):
    return np.broadcast_to(x, (len(HERTZ), DRAWS))[:, k]


def _power_in_out(s, load):
    """Power into a two-port over power into its load, from its scattering parameters (Pozar, 4th ed., section 12.1)."""
    near = s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] * load / (1 - s[:, 1, 1] * load)
    out = np.abs(s[:, 1, 0]) ** 2 * (1 - np.abs(load) ** 2) / np.abs(1 - s[:, 1, 1] * load) ** 2
    return near, (1 - np.abs(near) ** 2) / out


@given(runs)
@few(60)
def test_loss_and_input_are_those_of_a_cascade(run):
    walked, shared = _walked(run), draws(run)
    ohm = run.antenna.impedance_ohm[0][1]
    load = np.full(len(HERTZ), (ohm - 50) / (ohm + 50))
    for k in range(DRAWS):
        whole = cascade(run, shared, k)
        near, ratio = _power_in_out(whole.s, load)
        z = _column(walked.states[0].impedance_ohm, k)
        assert np.allclose((z - 50) / (z + 50), near, rtol=0, atol=1e-9)
        assert np.allclose(10 ** (_column(walked.total_db, k) / 10), ratio, rtol=1e-9)


@given(runs)
@few(25)
def test_no_total_reflection_shows_more_than_the_highest_swr(run):
    shared = draws(run)
    highest = highest_swr(sections(run, HERTZ, shared), len(HERTZ))
    whole = cascade(run, shared, 1)
    turns = np.exp(2j * np.pi * np.arange(20_000) / 20_000)[:, None]
    s = whole.s
    near = np.abs(s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] * turns / (1 - s[:, 1, 1] * turns)).max(axis=0)
    most = _column(1 - 2 / (highest + 1), 1)
    assert np.all(near <= most + 1e-9)
    assert np.allclose(near, most, rtol=0, atol=3e-4)  # no limit stands for all above 10,000 to 1
