"""Uncertainty as JCGM 100:2008 (the GUM) has it."""

from __future__ import annotations

from collections.abc import Iterable
from math import sqrt


def combine(components: Iterable[tuple[float, float]]) -> float:
    """Return the combined standard uncertainty of independent components, ``√Σ (c u)²`` (JCGM 100, equation 10).

    Parameters
    ----------
    components : iterable of (float, float)
        Standard uncertainty and sensitivity coefficient of each.

    >>> combine([(3.0, 1.0), (2.0, -2.0)])
    5.0
    """
    return sqrt(sum((c * u) ** 2 for u, c in components))
