"""Readings at the bottom of a scale: not numbers, but the news that the level was below what the meter wakes up at."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np

from linewright.core.arrays import Floats, normal_cdf
from linewright.core.frozen import dataclass
from linewright.inference.bench.design import Ints, Layout

WAKING_DB = 0.5
"""How sharply a meter wakes up at the bottom of its scale."""
WRONG_P = 0.03
"""Chance that such a reading means nothing at all: a switch left over, a lead off."""
NO_WEIGHT = 1e6
"""Variance (dB²) that takes a reading out of its block's plain noise."""
LEAST_CURVATURE = 1e-4


@dataclass(frozen=True, slots=True)
class Bottom:
    """Where such readings stand, the level each was below (dB), and how unsure that is beyond how a meter wakes up."""

    rows: Ints
    upper_db: Floats
    unsure_db: Floats

    def likelihood(self, level_db: Floats, waking_db: float = WAKING_DB) -> Floats:
        """Return the chance of seeing nothing at the expected levels, shape (..., rows), all being in order."""
        out: Floats = normal_cdf((self.upper_db - level_db[..., self.rows]) / np.hypot(waking_db, self.unsure_db))
        return out

    def terms(
        self, level_db: Floats, waking_db: float = WAKING_DB, wrong_p: float = WRONG_P
    ) -> tuple[Floats, Floats, Floats]:
        """Return log likelihood, its slope against the expected level and its curvature (not below 0), (..., rows).

        The likelihood is ``(1 - q) Φ((upper - level)/s) + q``: a probit edge that a wrong reading may cross.
        """
        wide = np.hypot(waking_db, self.unsure_db)
        z = (self.upper_db - level_db[..., self.rows]) / wide
        whole = (1.0 - wrong_p) * normal_cdf(z) + wrong_p
        g = (1.0 - wrong_p) * np.exp(-0.5 * z * z) / sqrt(2.0 * pi) / whole
        return np.log(whole), -g / wide, np.maximum(g * (z + g), 0.0) / wide**2

    def wrong(self, level_db: Floats) -> Floats:
        """Return the chance that each reading means nothing, averaged over draws of the levels (draws, n)."""
        fine = (1.0 - WRONG_P) * self.likelihood(level_db)
        out: Floats = np.mean(WRONG_P / (WRONG_P + fine), axis=0)
        return out


def bottom_of(lay: Layout) -> Bottom:
    """Return the readings of a layout that stand at the bottom of their scales."""
    rows = np.flatnonzero(lay.bottom)
    return Bottom(rows, lay.upper_db[rows], lay.unsure_db[rows])


def as_observations(bottom: Bottom, level_db: Floats, size: int) -> tuple[Floats, Floats]:
    """Return what such readings amount to near the expected levels (n): residuals (rows) and extra variance (n).

    The log likelihood is replaced by its parabola there, which is that of a plain observation.
    """
    soft = np.zeros(size)
    _, slope, curvature = bottom.terms(level_db)
    held = np.maximum(curvature, LEAST_CURVATURE)
    soft[bottom.rows] = np.where(curvature > LEAST_CURVATURE, 1.0 / held, NO_WEIGHT)
    return np.where(curvature > LEAST_CURVATURE, slope / held, 0.0), soft


def out_of_the_way(bottom: Bottom, size: int) -> Floats:
    """Return extra variance (n) that leaves such readings to ``Bottom.terms``."""
    soft = np.zeros(size)
    soft[bottom.rows] = NO_WEIGHT
    return soft
