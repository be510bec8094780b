"""Straight-line fits through data whose errors hang together along the frequency axis.

``y = X b + g + e``: g is a smooth wander (calibration that drifts, connectors, a cable that leaves the plain law), e is
noise of its own at every point. How far and how slowly g wanders is not known: every answer is averaged over a grid of
such possibilities, each weighed by its evidence. One eigendecomposition a kernel makes the rest of the grid cheap
(C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, 2006, sections 2.2, 2.7 and 5.4).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass

REACHES = (0.05, 0.16, 0.5)
"""How far the wander keeps its sign, as a share of the axis."""
GROWTHS = (0.0, 1.5)
"""Alike along the axis, or growing from its start to its end (as its third power, or f to the power of 1.5)."""
NOISE_SCALES = (0.7, 1.0, 1.4, 2.0, 3.0, 5.0, 8.0)
STEPS = 12
"""Sizes of wander tried, from the least to the whole scatter of the data."""


@dataclass(frozen=True, slots=True)
class Series:
    """Data to fit: an axis from 0 to 1, rising; values; the standard deviation of each one's own noise."""

    axis: Floats
    value: Floats
    noise: Floats


@dataclass(frozen=True, slots=True)
class CorrelatedPrior:
    """What is believed of the coefficients, one row a possibility: standard deviations (inf: nothing) and their odds.

    ``wander`` is the least wander anyone may rule out, in the unit of the values.
    """

    sd: Floats
    weight: Floats
    wander: float
    mean: Floats | None = None


@dataclass(frozen=True, slots=True)
class Fit:
    """Draws of the coefficients (draws, k) and of the wander at the places asked for (draws, places).

    ``chance`` is the probability of each row of the prior; ``wander`` the mean standard deviation of g; ``evidence``
    the log of the whole evidence, up to a constant of the data.
    """

    draws: Floats
    places: Floats
    chance: Floats
    wander: float
    evidence: float


@dataclass(frozen=True, slots=True)
class _Kernel:
    """A kernel in the eigenbasis of the whitened data: y, X and the way to the places."""

    spread: Floats
    y: Floats
    design: Floats
    across: Floats
    own: Floats


@dataclass(frozen=True, slots=True)
class _Grid:
    """Every possibility of one kernel: log evidence, coefficient means and covariances, the scales behind them."""

    score: Floats
    mean: Floats
    covariance: Floats
    noise: Floats
    wander: Floats
    row: NDArray[np.int64]
    kernel: NDArray[np.int64]


def fit(series: Series, design: Floats, prior: CorrelatedPrior, at: tuple[Floats, Floats], rng: np.random.Generator,
        draws: int = 1000) -> Fit:  # fmt: skip
    """Return draws of the coefficients of ``design`` (n, k), and of the wander at the axis places ``at[0]``.

    ``at[1]`` is the design there; the wander at a place is what stands beside ``at[1] @ b``.
    """
    kernels = [_kernel(series, design, at[0], reach, growth) for reach in REACHES for growth in GROWTHS]
    sizes = _sizes(series, design, prior.wander)
    grid = _joined([_weighed(kernel, i, prior, sizes) for i, kernel in enumerate(kernels)])
    weight = np.exp(grid.score - grid.score.max())
    evidence = float(grid.score.max() + np.log(weight.sum()))
    weight /= weight.sum()
    b, g = _drawn(kernels, grid, weight, rng, draws)
    chance: Floats = np.bincount(grid.row, weights=weight, minlength=len(prior.weight)).astype(np.float64)
    return Fit(b, g, chance, float(weight @ grid.wander), evidence)


def _matern(a: Floats, b: Floats, reach: float, growth: float) -> Floats:
    """Return the Matérn kernel of smoothness 3/2 (Rasmussen and Williams, equation 4.17), grown along the axis."""
    r = np.sqrt(3.0) * np.abs(a[:, None] - b[None, :]) / reach
    return np.asarray((1.0 + r) * np.exp(-r) * (a[:, None] ** 2 * b[None, :] ** 2) ** growth)


def _kernel(series: Series, design: Floats, places: Floats, reach: float, growth: float) -> _Kernel:
    white = 1.0 / series.noise
    spread, basis = np.linalg.eigh(_matern(series.axis, series.axis, reach, growth) * white[:, None] * white)
    across = (_matern(places, series.axis, reach, growth) * white) @ basis
    return _Kernel(
        np.maximum(spread, 0.0), basis.T @ (series.value * white), basis.T @ (design * white[:, None]), across,
        _matern(places, places, reach, growth),
    )  # fmt: skip


def _sizes(series: Series, design: Floats, least: float) -> Floats:
    """Return the sizes of wander to try: from the least to three times the scatter about a plain fit."""
    rest = series.value - design @ np.linalg.lstsq(design, series.value, rcond=None)[0]
    most = max(3.0 * float(np.std(rest)), 3.0 * least)
    return np.geomspace(least, most, STEPS)


def _weighed(kernel: _Kernel, which: int, prior: CorrelatedPrior, sizes: Floats) -> _Grid:
    """Return every possibility of one kernel, all at once: noise scale, size of wander, row of the prior."""
    noise, wander = (a.ravel() for a in np.meshgrid(NOISE_SCALES, sizes, indexing="ij"))
    variance = noise[:, None] ** 2 + wander[:, None] ** 2 * kernel.spread
    share = 1.0 / variance
    start = np.zeros(kernel.design.shape[1]) if prior.mean is None else prior.mean
    rest = kernel.y - kernel.design @ start
    gram = np.einsum("gm,mi,mj->gij", share, kernel.design, kernel.design, optimize=True)
    moment = share @ (kernel.design * rest[:, None])
    # A noise scale is half as likely for each doubling.
    plain = -0.5 * (np.log(variance).sum(axis=1) + share @ rest**2) - np.log(noise)
    parts = []
    for row, (sd, odds) in enumerate(zip(prior.sd, prior.weight, strict=True)):
        tight = 1.0 / np.square(sd)
        precision = gram + np.diag(tight)
        covariance = np.linalg.inv(precision)
        mean = np.einsum("gij,gj->gi", covariance, moment)
        score = plain + 0.5 * np.einsum("gi,gi->g", mean, moment) - 0.5 * np.linalg.slogdet(precision)[1]
        score += 0.5 * np.log(tight[tight > 0]).sum() + np.log(odds)
        one = np.ones(len(noise), dtype=np.int64)
        parts.append(_Grid(score, mean + start, covariance, noise, wander, row * one, which * one))
    return _joined(parts)


def _joined(parts: list[_Grid]) -> _Grid:
    return _Grid(*(np.concatenate([getattr(p, name) for p in parts]) for name in _Grid.__slots__))


def _drawn(
    kernels: list[_Kernel], grid: _Grid, weight: Floats, rng: np.random.Generator, draws: int
) -> tuple[Floats, Floats]:
    """Return draws from the mixture: each possibility gets its share of them."""
    edges = np.round(np.concatenate([[0.0], np.cumsum(weight)]) * draws).astype(int)
    b, g = [], []
    for i in np.flatnonzero(np.diff(edges)):
        n, kernel = int(edges[i + 1] - edges[i]), kernels[int(grid.kernel[i])]
        mine = grid.mean[i] + rng.standard_normal((n, grid.mean.shape[1])) @ _root(grid.covariance[i]).T
        b.append(mine)
        g.append(_wandered(kernel, mine, float(grid.noise[i]), float(grid.wander[i]), rng))
    order = rng.permutation(draws)
    return np.concatenate(b)[order], np.concatenate(g)[order]


def _wandered(kernel: _Kernel, b: Floats, noise: float, wander: float, rng: np.random.Generator) -> Floats:
    """Return the wander at the places for each draw of the coefficients, (draws, places)."""
    gain = wander**2 * kernel.across / (noise**2 + wander**2 * kernel.spread)
    mean = (kernel.y - b @ kernel.design.T) @ gain.T
    covariance = wander**2 * (kernel.own - gain @ kernel.across.T)
    return np.asarray(mean + rng.standard_normal(mean.shape) @ _root(covariance).T)


def _root(covariance: Floats) -> Floats:
    """Return a square root of a covariance, whatever rounding has done to its smallest values."""
    value, vector = np.linalg.eigh((covariance + covariance.T) / 2.0)
    return np.asarray(vector * np.sqrt(np.maximum(value, 0.0)))
