"""Quantiles of weighted draws."""

from __future__ import annotations

import numpy as np

from linewright.model.through import Estimate, Floats

LEVELS = (0.5, 0.025, 0.975)


def estimates(values: Floats, weight: Floats) -> list[Estimate]:
    """Return the median and 95 % interval of each row; not-a-number draws count for nothing.

    Parameters
    ----------
    values, weight : ndarray, shape (f, draws)

    >>> estimates(np.array([[1.0, 2.0, 3.0]]), np.array([[1.0, 1.0, 0.0]]))[0].high
    2.0
    """
    known = ~np.isnan(values)
    w = np.where(known, weight, 0.0)
    order = np.argsort(np.where(known, values, np.inf), axis=1)
    rising = np.take_along_axis(values, order, axis=1)
    heaped = np.cumsum(np.take_along_axis(w, order, axis=1), axis=1)
    return [_one(v, h) for v, h in zip(rising, heaped, strict=True)]


def estimate(values: Floats, weight: Floats) -> Estimate:
    """Return the median and 95 % interval of one row of draws."""
    return estimates(values[None], weight[None])[0]


def _one(rising: Floats, heaped: Floats) -> Estimate:
    if heaped[-1] <= 0:
        return Estimate()
    at = np.searchsorted(heaped, np.array(LEVELS) * heaped[-1])
    middle, low, high = (float(v) for v in rising[np.minimum(at, len(rising) - 1)])
    return Estimate(middle, low, high)
