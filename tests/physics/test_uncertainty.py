"""Properties of the propagation of uncertainty."""

from __future__ import annotations

from math import inf, log, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import uncertainty as mc
from linewright.core.formulas import uncertainty as un

half_widths = st.floats(1e-6, 1e3)
powers = st.floats(1e-3, 1e3)


@pytest.mark.parametrize(
    ("formula", "draw"),
    [
        (un.uniform_sd, lambda g, n: g.uniform(-1, 1, n)),
        (un.triangular_sd, lambda g, n: g.triangular(-1, 0, 1, n)),
        (un.arcsine_sd, lambda g, n: np.sin(g.uniform(0, 2 * np.pi, n))),
    ],
)
def test_each_standard_deviation_is_that_of_its_draws(formula, draw):
    assert formula(1.0) == pytest.approx(draw(np.random.default_rng(3), 400_000).std(), rel=0.005)


@given(half_widths)
def test_the_more_a_distribution_sits_at_its_limits_the_wider(half_width):
    assert un.triangular_sd(half_width) < un.uniform_sd(half_width) < un.arcsine_sd(half_width) < half_width


@given(powers, powers, st.floats(0.001, 0.3), st.floats(0.001, 0.3), st.floats(-1, 1))
def test_a_ratio_is_what_first_order_propagation_says(p1, p2, a, b, r):
    _, u = un.ratio_db_uncertainty((p1, a * p1), (p2, b * p2), correlation=r)
    _, v = un.propagate(lambda x, y: 10 / log(10) * (x - y), [0.0, 0.0], un.covariance_of([a, b], [[1, r], [r, 1]]))
    assert u == pytest.approx(sqrt(max(v[0, 0], 0.0)), abs=1e-6)


@given(powers, powers, st.floats(0.001, 0.3))
def test_a_scale_error_common_to_both_readings_cancels(p1, p2, share):
    _, u = un.ratio_db_uncertainty((p1, share * p1), (p2, share * p2), correlation=1.0)
    assert u == pytest.approx(0.0, abs=1e-6)


@given(powers, powers, st.floats(1e-3, 1e3))
def test_a_ratio_does_not_mind_the_unit(p1, p2, unit):
    one = un.ratio_db_uncertainty((p1, 0.1 * p1), (p2, 0.1 * p2), other_db=[0.1])
    other = un.ratio_db_uncertainty((unit * p1, unit * 0.1 * p1), (unit * p2, unit * 0.1 * p2), other_db=[0.1])
    assert one == pytest.approx(other, abs=1e-9)


def test_exactly_known_components_leave_the_degrees_of_freedom_infinite():
    assert un.effective_degrees_of_freedom([(1.0, inf), (2.0, inf)]) == inf


def test_adaptive_draws_stop_once_they_are_stable_and_agree_with_the_formula():
    got = mc.adaptive_monte_carlo(lambda g, n: g.normal(10, 0.35, n), np.random.default_rng(5))
    assert 20_000 <= got.draws < 10_000_000
    assert got.sd == pytest.approx(0.35, abs=mc.tolerance(0.35))
    assert (got.low, got.high) == pytest.approx((10 - 1.96 * 0.35, 10 + 1.96 * 0.35), abs=0.01)


def test_adaptive_draws_stop_at_the_most_blocks_when_nothing_settles():
    got = mc.adaptive_monte_carlo(lambda g, n: g.standard_cauchy(n), np.random.default_rng(5), most_blocks=4)
    assert got.draws == 40_000


@given(st.lists(st.floats(-1e3, 1e3), min_size=20, max_size=200), st.floats(0.05, 0.95))
def test_the_shortest_interval_is_no_longer_than_any_other_with_as_many_draws(draws, probability):
    low, high = mc.shortest_interval(draws, probability)
    inside = sum(low <= d <= high for d in draws)
    assert inside >= max(round(probability * len(draws)), 1)
    ordered = sorted(draws)
    k = max(round(probability * len(draws)), 1)
    assert high - low <= min(ordered[i + k - 1] - ordered[i] for i in range(len(draws) - k + 1)) + 1e-9


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: un.uniform_sd(-1.0), "half_width"),
        (lambda: un.covariance_of([1.0, float("nan")]), "sd"),
        (lambda: un.covariance_of([1.0, 1.0], [[1, 2], [2, 1]]), "correlation"),
        (lambda: un.covariance_of([1.0], [[1, 0], [0, 1]]), "correlation"),
        (lambda: un.mean_and_covariance([[1.0, 2.0]]), "readings"),
        (lambda: un.ratio_db_uncertainty((0.0, 0.1), (1.0, 0.1)), "power"),
        (lambda: un.ratio_db_uncertainty((1.0, 0.1), (1.0, 0.1), correlation=2.0), "correlation"),
        (lambda: un.ratio_db_uncertainty((1.0, -0.1), (1.0, 0.1)), "sd"),
        (lambda: mc.monte_carlo(lambda g, n: g.normal(size=n), np.random.default_rng(1), 10), "draws"),
        (lambda: mc.monte_carlo(lambda g, n: np.full(n, np.nan), np.random.default_rng(1), 200), "draw"),
        (lambda: mc.shortest_interval([1.0, 2.0], 1.5), "probability"),
    ],
)
def test_nonsense_is_refused_by_name(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
