"""Middle and ends of draws: what a figure and its interval are read from."""

from __future__ import annotations

import numpy as np

from linewright.evidence.layout import Floats

LOW_MIDDLE_HIGH = np.array([0.025, 0.5, 0.975])
"""The median, and between what 95 % of the draws lie."""


def low_middle_high(draws: Floats) -> Floats:
    """Return the 2.5 %, 50 % and 97.5 % quantiles of draws (draws, ...) along their first axis, shape (3, ...).

    Between two draws it goes in a straight line (R. J. Hyndman and Y. Fan, Sample Quantiles in Statistical Packages,
    The American Statistician 50 (1996), definition 7).

    >>> low_middle_high(np.arange(1001.0))
    array([ 25., 500., 975.])
    """
    ranked = np.sort(draws, axis=0)
    place = LOW_MIDDLE_HIGH * (len(draws) - 1)
    below = place.astype(np.int64)
    above = np.minimum(below + 1, len(draws) - 1)
    share = (place - below).reshape(-1, *[1] * (draws.ndim - 1))
    out: Floats = ranked[below] + share * (ranked[above] - ranked[below])
    return out
