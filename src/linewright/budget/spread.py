"""Draws summed up: a middle and a 95 % interval, frequency first."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ENDS = (0.025, 0.975)


class Spread(NamedTuple):
    """A middle and the ends of the 95 % interval, each of shape (f,). The middle lies within."""

    middle: Floats
    low: Floats
    high: Floats


def mean_spread(draws: Floats) -> Spread:
    """Return the mean over the last axis with its interval. Means of the parts add up to the mean of the sum."""
    return _spread(draws, draws.mean(axis=-1))


def median_spread(draws: Floats) -> Spread:
    """Return the median over the last axis with its interval, for what has a long tail."""
    return _spread(draws, np.median(draws, axis=-1))


def upper(draws: Floats) -> Floats:
    """Return the upper end of the 95 % interval over the last axis."""
    return np.asarray(_spread(draws, draws[..., 0]).high)


def _spread(draws: Floats, middle: Floats) -> Spread:
    if draws.shape[-1] == 1:
        return Spread(middle, middle, middle)
    low, high = np.quantile(draws, ENDS, axis=-1)
    return Spread(middle, np.minimum(low, middle), np.maximum(high, middle))
