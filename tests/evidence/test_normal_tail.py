"""The normal distribution's tail and the order statistics that stand in for heavy libraries give what those give."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import log_ndtr, ndtr

from linewright.core.arrays import TAIL, distinct, log_normal_cdf, median, normal_cdf, quantile


def test_the_log_of_the_normal_distribution_is_that_of_scipy_in_both_tails():
    x = np.concatenate([np.linspace(-60.0, 30.0, 9001), -np.logspace(2, 6, 20), [TAIL, TAIL - 1e-9, TAIL + 1e-9, 0.0]])
    assert log_normal_cdf(x) == pytest.approx(log_ndtr(x), rel=1e-12, abs=1e-300)
    assert normal_cdf(x) == pytest.approx(ndtr(x), rel=1e-12, abs=1e-300)


@pytest.mark.parametrize("count", [1, 2, 3, 10, 1001])
@pytest.mark.parametrize("axis", [None, 0, 1])
def test_medians_and_quantiles_are_those_of_numpy_to_the_last_bit(count, axis):
    values = np.random.default_rng(count).normal(size=(count, 7))
    shares = [0.0, 0.025, 0.31, 0.5, 0.975, 1.0]
    assert np.array_equal(median(values, axis), np.median(values, axis=axis))
    assert np.array_equal(quantile(values, shares, axis), np.quantile(values, shares, axis=axis))


@pytest.mark.parametrize("values", [[], [4], [3, 1, 3, 2, 1]])
def test_distinct_values_are_those_of_numpy(values):
    given = np.array(values, dtype=np.int64)
    assert np.array_equal(distinct(given), np.unique(given))
