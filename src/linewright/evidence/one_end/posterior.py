"""Frequencies joined through the law: what all readings say of the loss at each, and of the law itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from linewright.evidence.one_end.draws import Floats, Places
from linewright.evidence.one_end.law import Laws, laws_of
from linewright.evidence.one_end.likelihood import Site, sites_of
from linewright.evidence.one_end.priors import OneEndPriors
from linewright.model.one_end import OneEndTest

NATS = 14.0
"""Laws so far below the likeliest are dropped."""
NOTHING = 1e-300


@dataclass(frozen=True, slots=True)
class Place:
    """Where the laws meet one site: the points of its grid beside each law, and how far between them."""

    at: Places
    between: Floats

    def pick(self, rows: Floats) -> Floats:
        """Return values at the laws of rows over the grid: (rows, grid) to (rows, laws)."""
        return np.asarray(rows[:, self.at] * (1.0 - self.between) + rows[:, self.at + 1] * self.between)

    def put(self, weight: Floats, size: int) -> Floats:
        """Return weights of laws shared out over the grid: (rows, laws) to (rows, grid)."""
        share = np.zeros((len(self.at), size))
        rows = np.arange(len(self.at))
        share[rows, self.at] = 1.0 - self.between
        share[rows, self.at + 1] = self.between
        return np.asarray(weight @ share)


def place(grid_db: Floats, loss_db: Floats) -> Place:
    """Find losses on a grid."""
    at = np.clip(np.searchsorted(grid_db, loss_db, side="right") - 1, 0, len(grid_db) - 2)
    return Place(at, np.clip((loss_db - grid_db[at]) / (grid_db[at + 1] - grid_db[at]), 0.0, 1.0))


def ripple(site: Site, priors: OneEndPriors) -> Floats:
    """Return how a law's loss spreads over the grid at a single frequency, rows summing to 1, (grid, grid)."""
    a = site.grid_db
    spread = np.hypot(priors.ripple * a, priors.ripple_db)[:, None]
    kernel = np.exp(-0.5 * ((a[None, :] - a[:, None]) / spread) ** 2) * site.weight_db
    return np.asarray(kernel / kernel.sum(axis=1, keepdims=True))


@dataclass(frozen=True)
class Posterior:
    """All that is believed after the readings.

    ``weight`` (laws,) of the laws sums to 1. ``before`` holds, per site, what everything but its own readings says of
    the loss there, (worlds, grid), in any scale; ``after`` (grid,) is the whole answer, summing to 1.
    """

    test: OneEndTest
    priors: OneEndPriors
    sites: tuple[Site, ...]
    laws: Laws
    weight: Floats
    before: tuple[Floats, ...]
    after: tuple[Floats, ...]

    @property
    def laws_known(self) -> bool:
        """Return whether type and length are known, so that there is a loss it should have."""
        return self.test.line is not None and self.test.length_m is not None


def infer(test: OneEndTest, priors: OneEndPriors) -> Posterior:
    """Return what all readings of a test say together."""
    sites = sites_of(test, priors)
    at = [s.frequency_hz for s in sites]
    laws = laws_of(test, at, priors)
    laws = replace(laws, log_prior=laws.log_prior + laws.service(at, priors.service_db))
    kernels = [ripple(s, priors) for s in sites]
    spread = [s.likelihood @ k.T for s, k in zip(sites, kernels, strict=True)]
    laws = laws.kept(_near(sites, laws, spread))
    places = [place(s.grid_db, laws.loss_db(s.frequency_hz)) for s in sites]
    logs = [np.log(p.pick(x) + NOTHING) for p, x in zip(places, spread, strict=True)]
    whole = laws.log_prior + sum(logs)
    before = []
    for site, kernel, spot, log in zip(sites, kernels, places, logs, strict=True):
        others = whole - log
        before.append(spot.put(np.exp(others - others.max()), len(site.grid_db)) @ kernel)
    after = [_normed((b * s.likelihood).sum(axis=0)) for b, s in zip(before, sites, strict=True)]
    weight = _normed(np.exp(whole - whole.max()).sum(axis=0))
    return Posterior(test, priors, sites, laws, weight, tuple(before), tuple(after))


def _near(sites: tuple[Site, ...], laws: Laws, spread: list[Floats]) -> Places:
    """Return which laws are near enough to the likeliest to count, all worlds taken together."""
    log = laws.log_prior.copy()
    for site, x in zip(sites, spread, strict=True):
        spot = place(site.grid_db, laws.loss_db(site.frequency_hz))
        log += np.log(spot.pick(x.mean(axis=0, keepdims=True))[0] + NOTHING)
    return np.flatnonzero(log > log.max() - NATS)


def _normed(weight: Floats) -> Floats:
    return np.asarray(weight / weight.sum())


def quantiles(values: Floats, weight: Floats, levels: tuple[float, ...] = (0.025, 0.5, 0.975)) -> tuple[float, ...]:
    """Return quantiles of weighted values; each value stands at the middle of its weight.

    >>> quantiles(np.array([1.0, 2.0, 3.0]), np.array([0.25, 0.5, 0.25]), (0.5,))
    (2.0,)
    """
    order = np.argsort(values)
    v, w = values[order], weight[order]
    middle = np.cumsum(w) - 0.5 * w
    return tuple(float(x) for x in np.interp(levels, middle, v))


def grid_quantiles(grid_db: Floats, mass: Floats, levels: tuple[float, ...] = (0.025, 0.5, 0.975)) -> tuple[float, ...]:
    """Return quantiles of losses whose masses, those of trapezoids, stand on a grid."""
    edges = np.concatenate([[grid_db[0]], 0.5 * (grid_db[1:] + grid_db[:-1]), [grid_db[-1]]])
    return tuple(float(x) for x in np.interp(levels, np.concatenate([[0.0], np.cumsum(mass)]), edges))
