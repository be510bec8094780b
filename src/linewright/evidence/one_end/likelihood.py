"""The likelihood of a line's loss at one frequency, summed over everything nobody asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from math import log10

import numpy as np
from numpy.typing import NDArray

from linewright.evidence.one_end.by_hand import far_reflection
from linewright.evidence.one_end.draws import TURNS, WORLDS, Floats, Singles
from linewright.evidence.one_end.nuisance import Bench, bench_at, impedance_of, shown
from linewright.evidence.one_end.priors import OneEndPriors
from linewright.evidence.one_end.targets import Target, directivity_of, plugs, target_of
from linewright.model.one_end import OneEndReading, OneEndTest

LEAST_DB, MOST_DB, KNEE_DB = 0.005, 45.0, 0.3
COARSE, FINE = 30, 50
"""Points of a grid over all losses, and of the one where the readings point to."""
RIPPLE_MOST = 1.3
"""A peak is read up to so many times above what the middle of the ripple would show."""
LOGISTIC = 0.551_329
"""A logistic distribution of standard deviation 1 has this scale, √3/π."""


@dataclass(frozen=True, slots=True)
class Seen:
    """One reading: what would be shown of it, (draws, grid), how well that fits, and with its chance of a misread."""

    index: int
    reading: OneEndReading
    target: Target
    shown: Singles
    fit: Singles
    term: Singles
    misread: float


@dataclass(frozen=True)
class Site:
    """All readings at one frequency, with the grid of losses they are weighed on, (grid,)."""

    frequency_hz: float
    grid_db: Floats
    seen: tuple[Seen, ...]

    @cached_property
    def weight_db(self) -> Floats:
        """Return the width each point of the grid stands for."""
        edges = np.diff(self.grid_db)
        return np.asarray(0.5 * (np.append(edges, 0.0) + np.insert(edges, 0, 0.0)))

    @cached_property
    def likelihood(self) -> Floats:
        """Return the likelihood, (worlds, grid)."""
        return self.of([s.term for s in self.seen])

    def product(self, terms: Sequence[Singles]) -> Singles:
        """Return the product of terms, (draws, grid); of none, ones."""
        if not terms:
            return np.ones((WORLDS * TURNS, len(self.grid_db)), dtype=np.float32)
        return reduce(np.multiply, terms)

    def of(self, terms: Sequence[Singles]) -> Floats:
        """Return the mean over each world's turns of a product of terms, (worlds, grid)."""
        return np.asarray(self.product(terms).reshape(WORLDS, TURNS, -1).mean(axis=1), dtype=np.float64)


def site_at(readings: Sequence[tuple[int, OneEndReading]], test: OneEndTest, number: int, priors: OneEndPriors) -> Site:
    """Return what the readings of one frequency say. ``readings`` come with their places in the test."""
    f = readings[0][1].frequency_hz
    bench = bench_at(test, f, number, priors)
    targets = [target_of(r, test, len(readings) - 1, priors) for _, r in readings]
    grid = _grid(readings, targets, test, priors)
    g = 10.0 ** (-grid / 10.0)
    return Site(f, grid, tuple(
        _seen(i, r, t, shown(r, test, bench, t, priors).at(g), bench, priors)
        for (i, r), t in zip(readings, targets, strict=True)
    ))  # fmt: skip


def _seen(index: int, reading: OneEndReading, target: Target, x: Singles, bench: Bench, priors: OneEndPriors) -> Seen:
    low, high = bench.true(target.low), bench.true(target.high)
    scale = target.noise * LOGISTIC
    fit = np.maximum(_below(x, high, scale) - _below(x, low, scale), 0.0) * np.float32(1.0 - priors.misread_p)
    misread = priors.misread_p * target.width
    return Seen(index, reading, target, x, fit, fit + np.float32(misread), misread)


def _below(x: Singles, end: Floats, scale: float) -> Singles:
    """Return the chance that a reading of ``x``, with its noise, comes out below an end."""
    half = np.float32(0.5)
    z = x * np.float32(-0.5 / scale)
    z += (end * (0.5 / scale)).astype(np.float32)[:, None]
    np.tanh(z, out=z)
    z *= half
    z += half
    return z


def _grid(
    readings: Sequence[tuple[int, OneEndReading]], targets: Sequence[Target], test: OneEndTest, priors: OneEndPriors
) -> Floats:
    """Return losses in dB: all there are, coarsely, and finely where any reading points to."""
    low, high = MOST_DB, LEAST_DB
    for (_, reading), target in zip(readings, targets, strict=True):
        ends = _window_db(reading, target, test, priors)
        low, high = min(low, ends[0]), max(high, ends[1])
    low, high = min(low, 0.5 * MOST_DB), max(high, 2.0 * LEAST_DB)
    return np.unique(
        np.concatenate([_even(LEAST_DB, MOST_DB, COARSE), _even(max(low, LEAST_DB), min(high, MOST_DB), FINE)])
    )


def _even(low: float, high: float, count: int) -> Floats:
    """Return losses evenly spaced below the knee, and in even ratios above it."""
    return np.asarray(KNEE_DB * np.sinh(np.linspace(np.arcsinh(low / KNEE_DB), np.arcsinh(high / KNEE_DB), count)))


def _window_db(reading: OneEndReading, target: Target, test: OneEndTest, priors: OneEndPriors) -> tuple[float, float]:
    """Return the losses a reading leaves open, errors of the instrument taken generously."""
    errors = directivity_of(test, priors) + plugs(reading.frequency_hz, priors)
    step = abs(impedance_of(test) - test.reference_ohm) / (impedance_of(test) + test.reference_ohm)
    loose = 2.5 * errors + step + 0.03 + 4.0 * target.noise
    least, most = (target.low, target.high) if target.middle >= 0 else (-target.high, -target.low)
    far = max(far_reflection(reading, test), 0.01)
    back = RIPPLE_MOST if reading.far_end == "antenna" else 1.0
    return _loss_db(most + loose, far), _loss_db((least - loose) / back, far)


def _loss_db(seen: float, far: float) -> float:
    return LEAST_DB if seen >= far else min(10.0 * log10(far / max(seen, 1e-6)), MOST_DB)


def sites_of(test: OneEndTest, priors: OneEndPriors) -> tuple[Site, ...]:
    """Return every frequency of a test, rising."""
    by_frequency: dict[float, list[tuple[int, OneEndReading]]] = {}
    for i, reading in enumerate(test.readings):
        by_frequency.setdefault(reading.frequency_hz, []).append((i, reading))
    return tuple(site_at(by_frequency[f], test, n, priors) for n, f in enumerate(sorted(by_frequency)))


@dataclass(frozen=True, slots=True)
class FrequencyLikelihood:
    """What the readings of one frequency say of the loss, nothing else listened to.

    ``grid_db`` (grid,) and ``log_likelihood`` (grid,), its top at 0; ``mean_db`` and ``sd_db`` stand in for it where a
    figure is wanted. ``rows`` are the readings behind it. ``one_sided`` where they give a limit only: mean and standard
    deviation then say little.
    """

    frequency_hz: float
    grid_db: NDArray[np.float64]
    log_likelihood: NDArray[np.float64]
    mean_db: float
    sd_db: float
    rows: tuple[int, ...]
    one_sided: bool
