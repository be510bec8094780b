"""A reading of nothing: how far it speaks of the level, and how much it is trusted."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.inference.bench.censored import Bottom, as_observations, out_of_the_way

ONE = Bottom(np.array([1]), np.array([-20.0]), np.array([0.0]))


def at(level_db):
    """Return levels of three observations of which the second shows nothing."""
    return np.array([3.0, level_db, 5.0])


def test_three_in_a_hundred_mean_nothing_at_all():
    """However far above the scale's bottom the level should be, nothing is shown three times in a hundred."""
    log, _, _ = ONE.terms(at(40.0))
    assert np.exp(log) == pytest.approx(0.03)
    log, _, _ = ONE.terms(at(-80.0))
    assert np.exp(log) == pytest.approx(1.0)


@pytest.mark.parametrize(("level_db", "wrong"), [(-80.0, 0.03), (-20.0, 0.03 / (0.03 + 0.97 / 2)), (40.0, 1.0)])
def test_a_reading_is_as_doubtful_as_nothing_was_unlikely(level_db, wrong):
    assert ONE.wrong(at(level_db)[None]) == pytest.approx(wrong)


def test_a_meter_wakes_up_within_half_a_decibel():
    """The normal distribution of one step: 84 % half a decibel below the bottom, 16 % as much above."""
    below, above = (float(ONE.likelihood(at(-20.0 + off))[0]) for off in (-0.5, 0.5))
    assert (below, above) == pytest.approx((0.8413, 0.1587), abs=1e-4)
    unsure = Bottom(ONE.rows, ONE.upper_db, np.array([1.2]))
    assert float(unsure.likelihood(at(-20.0 + 1.3))[0]) == pytest.approx(0.1587, abs=1e-4)  # 0.5 and 1.2 make 1.3


@pytest.mark.parametrize("level_db", [-22.0, -20.3, -19.5, -17.0])
def test_slope_and_curvature_are_those_of_the_log_likelihood(level_db):
    step = 1e-4
    low, middle, high = (float(ONE.terms(at(level_db + off))[0][0]) for off in (-step, 0.0, step))
    _, slope, curvature = ONE.terms(at(level_db))
    assert slope[0] == pytest.approx((high - low) / (2 * step), abs=1e-6)
    bent = -(high - 2 * middle + low) / step**2
    assert curvature[0] == pytest.approx(max(bent, 0.0), abs=1e-4)


def test_it_amounts_to_the_observation_that_its_parabola_is():
    residual, extra = as_observations(ONE, at(-20.3), 3)
    _, slope, curvature = ONE.terms(at(-20.3))
    assert residual[0] == pytest.approx(slope[0] / curvature[0])
    assert extra.tolist() == [0.0, pytest.approx(1 / curvature[0]), 0.0]
    residual, extra = as_observations(ONE, at(40.0), 3)
    assert (residual[0], extra[1]) == (0.0, 1e6)  # far above it says nothing
    assert out_of_the_way(ONE, 3).tolist() == [0.0, 1e6, 0.0]
