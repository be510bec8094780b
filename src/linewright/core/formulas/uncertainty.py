"""Uncertainty as the guides have it: first-order propagation, and distributions propagated by Monte Carlo.

The guides: JCGM 100:2008 (the GUM) and JCGM 101:2008 (its supplement 1).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import inf, log, sqrt

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.frozen import dataclass

# Uncertainty as the guides have it: first-order propagation, and distributions propagated by Monte Carlo

Model = Callable[..., ArrayLike]


def uniform_sd(half_width: float) -> float:
    """Return the standard deviation of a rectangular distribution, half width over √3 (JCGM 100, 4.3.7).

    >>> round(uniform_sd(0.05), 5)
    0.02887
    """
    return _half_width(half_width) / sqrt(3.0)


def triangular_sd(half_width: float) -> float:
    """Return the standard deviation of a symmetric triangular distribution, half width over √6 (JCGM 100, 4.3.9).

    >>> round(triangular_sd(0.05), 5)
    0.02041
    """
    return _half_width(half_width) / sqrt(6.0)


def arcsine_sd(half_width: float) -> float:
    """Return the standard deviation of a U-shaped (arcsine) distribution, half width over √2 (JCGM 101, 6.4.6).

    >>> round(arcsine_sd(0.02828), 4)
    0.02
    """
    return _half_width(half_width) / sqrt(2.0)


def _half_width(value: float) -> float:
    if not (np.isfinite(value) and value >= 0):
        raise InputError("half_width", f"must be zero or more and finite; got {value:g}")
    return float(value)


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


def effective_degrees_of_freedom(components: Iterable[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of a sum (Welch and Satterthwaite; JCGM 100, equation G.2b).

    Parameters
    ----------
    components : iterable of (float, float)
        Contribution ``c u`` to the combined uncertainty, and its degrees of freedom (infinite when exactly known).

    >>> effective_degrees_of_freedom([(1.0, 5.0), (1.0, 5.0)])
    10.0
    """
    parts = tuple(components)
    below = sum(u**4 / dof for u, dof in parts)
    return sum(u**2 for u, _ in parts) ** 2 / below if below > 0 else inf


def covariance_of(sd: ArrayLike, correlation: ArrayLike | None = None) -> Floats:
    """Return the covariance matrix, shape (n, n), of n standard deviations and their correlation matrix.

    >>> covariance_of([1.0, 2.0], [[1.0, 0.5], [0.5, 1.0]])
    array([[1., 1.],
           [1., 4.]])
    """
    u = np.atleast_1d(np.asarray(sd, dtype=np.float64))
    if not np.all(np.isfinite(u) & (u >= 0)):
        raise InputError("sd", "must be zero or more and finite")
    r = np.eye(len(u)) if correlation is None else np.asarray(correlation, dtype=np.float64)
    if r.shape != (len(u), len(u)) or not np.allclose(r, r.T) or not np.all(np.abs(r) <= 1):
        raise InputError("correlation", f"must be a symmetric {len(u)} by {len(u)} matrix of values from -1 to 1")
    return np.asarray(u[:, None] * r * u[None, :], dtype=np.float64)


def mean_and_covariance(readings: ArrayLike) -> tuple[Floats, Floats]:
    """Return the means, shape (n,), and the covariance of the means, (n, n), of simultaneous readings (m, n).

    JCGM 100, equations 3, 5 and 17 (experimental variance and covariance of means of m pairs).

    >>> mean, covariance = mean_and_covariance([[1.0], [2.0], [3.0]])
    >>> float(mean[0]), round(float(covariance[0, 0]), 4)
    (2.0, 0.3333)
    """
    x = np.atleast_2d(np.asarray(readings, dtype=np.float64))
    if len(x) < 2:
        raise InputError("readings", f"must be at least two to show a spread; got {len(x)}")
    return x.mean(axis=0), np.atleast_2d(np.cov(x, rowvar=False)) / len(x)


def sensitivities(model: Model, values: ArrayLike, sd: ArrayLike) -> Floats:
    """Return ``∂y/∂x`` of a model by differences of one standard deviation, shape (outputs, inputs).

    JCGM 100, 5.1.3, note 2: half the change of y over x plus and minus its standard uncertainty.

    >>> sensitivities(lambda a, b: a * b, [2.0, 3.0], [0.1, 0.1]).round(9).tolist()
    [[3.0, 2.0]]
    """
    x, u = np.asarray(values, dtype=np.float64), np.asarray(sd, dtype=np.float64)
    columns = []
    for i, step in enumerate(u):
        if step == 0.0:
            step = 1e-6 * max(abs(x[i]), 1.0)  # noqa: PLW2901
        up, down = x.copy(), x.copy()
        up[i] += step
        down[i] -= step
        columns.append((np.atleast_1d(model(*up)) - np.atleast_1d(model(*down))) / (2.0 * step))
    return np.asarray(np.stack(columns, axis=1), dtype=np.float64)


def propagate(model: Model, values: ArrayLike, covariance: ArrayLike) -> tuple[Floats, Floats]:
    """Return a model's output, shape (outputs,), and its covariance, first order: ``C V Cᵀ``.

    JCGM 100, equations 13 and 16. It is blind where a sensitivity vanishes (a reflection estimated as zero): propagate
    by Monte Carlo there.

    Parameters
    ----------
    model : callable
        Takes the n inputs as n arguments, returns one number or several.
    values : array_like, (n,)
    covariance : array_like, (n, n)

    >>> y, v = propagate(lambda a, b: a - b, [3.0, 1.0], covariance_of([0.3, 0.4]))
    >>> y.round(9).tolist(), np.sqrt(v).round(9).tolist()
    ([2.0], [[0.5]])
    """
    v = np.asarray(covariance, dtype=np.float64)
    c = sensitivities(model, values, np.sqrt(np.diag(v)))
    y = np.atleast_1d(model(*np.asarray(values, dtype=np.float64)))
    return np.asarray(y, dtype=np.float64), np.asarray(c @ v @ c.T, dtype=np.float64)


def ratio_db_uncertainty(
    reference: tuple[float, float],
    through: tuple[float, float],
    *,
    correlation: float = 0.0,
    other_db: Sequence[float] = (),
) -> tuple[float, float]:
    """Return a loss by ratio of two powers, ``10 log10(reference/through)`` dB, and its standard uncertainty in dB.

    ``4.343 √(a² + b² - 2 r a b)`` with a and b the relative uncertainties (JCGM 100, 5.1.6 and equation 16), joined in
    square with components that are already in dB. A scale error common to both readings cancels: its part of the
    correlation is one.

    Parameters
    ----------
    reference, through : (float, float)
        Power without and with the piece, and its standard uncertainty, in the same unit.
    correlation : float
        Between the errors of the two readings, -1 to 1.
    other_db : sequence of float
        Further standard uncertainties in dB, such as mismatch and drift.

    >>> loss, u = ratio_db_uncertainty((80.0, 2.887), (50.0, 2.887))  # a 100 W scale, good to 5 W
    >>> round(loss, 3), round(u, 3)
    (2.041, 0.296)
    """
    (p1, u1), (p2, u2) = reference, through
    if not (0 < p1 < inf and 0 < p2 < inf):
        raise InputError("power", f"must be above zero to form a ratio; got {min(p1, p2):g}")
    if not -1.0 <= correlation <= 1.0:
        raise InputError("correlation", f"must lie between -1 and 1; got {correlation:g}")
    covariance_of([u1, u2, *other_db])
    a, b = u1 / p1, u2 / p2
    relative = max(a * a + b * b - 2.0 * correlation * a * b, 0.0)
    scale = 10.0 / log(10.0)
    return scale * log(p1 / p2), sqrt(scale**2 * relative + sum(u * u for u in other_db))


# Distributions propagated by drawing from them (JCGM 101:2008)

Draw = Callable[[np.random.Generator, int], ArrayLike]
"""Takes a generator and a count, returns that many draws of the output quantity."""


@dataclass(frozen=True, slots=True)
class Spread:
    """What draws of a quantity say: mean, standard deviation, a coverage interval, and how many draws."""

    mean: float
    sd: float
    low: float
    high: float
    draws: int


def shortest_interval(draws: ArrayLike, probability: float = 0.95) -> tuple[float, float]:
    """Return the shortest interval that holds a share of the draws (JCGM 101, 5.3.4 and 7.7.4).

    >>> shortest_interval([0.0, 1.0, 1.1, 1.2, 9.0], 0.6)
    (1.0, 1.2)
    """
    y = np.sort(np.asarray(draws, dtype=np.float64).ravel())
    _probability(probability)
    inside = max(round(probability * len(y)), 1)
    widths = y[inside - 1 :] - y[: len(y) - inside + 1]
    first = int(np.argmin(widths))
    return float(y[first]), float(y[first + inside - 1])


def symmetric_interval(draws: ArrayLike, probability: float = 0.95) -> tuple[float, float]:
    """Return the interval with as many draws below it as above (JCGM 101, 5.3.3 and 7.7.2).

    >>> symmetric_interval([0.0, 1.0, 2.0, 3.0, 4.0], 0.5)
    (1.0, 3.0)
    """
    _probability(probability)
    low, high = np.quantile(np.asarray(draws, dtype=np.float64), [(1 - probability) / 2, (1 + probability) / 2])
    return float(low), float(high)


def monte_carlo(
    draw: Draw, rng: np.random.Generator, draws: int = 200_000, *, probability: float = 0.95, shortest: bool = False
) -> Spread:
    """Return what a fixed number of draws says (JCGM 101, 7.1 to 7.7).

    Raises
    ------
    InputError
        If there are fewer than a hundred draws, or the model returns values that are not finite.

    >>> s = monte_carlo(lambda rng, n: rng.normal(3.0, 1.0, n), np.random.default_rng(1), 50_000)
    >>> round(s.mean, 1), round(s.sd, 1)
    (3.0, 1.0)
    """
    if draws < 100:
        raise InputError("draws", f"must be at least 100 to say anything; got {draws}")
    y = np.asarray(draw(rng, draws), dtype=np.float64)
    if not np.all(np.isfinite(y)):
        raise InputError("draw", "must return finite values only")
    low, high = (shortest_interval if shortest else symmetric_interval)(y, probability)
    return Spread(float(y.mean()), float(y.std(ddof=1)), low, high, draws)


def adaptive_monte_carlo(  # a procedure with the guide's own knobs
    draw: Draw, rng: np.random.Generator, *, digits: int = 2, probability: float = 0.95, shortest: bool = False,
    most_blocks: int = 1000,
) -> Spread:  # fmt: skip
    """Return what draws say once every result is stable (JCGM 101, 7.9): blocks of 10 000 until it is.

    Stable: twice the standard deviation of the average over blocks, of mean, standard deviation and either end, is
    within the tolerance that goes with ``digits`` significant digits of the standard deviation (7.9.2). After
    ``most_blocks`` it stops all the same.

    >>> s = adaptive_monte_carlo(lambda rng, n: rng.normal(0.0, 1.0, n), np.random.default_rng(1), digits=1)
    >>> abs(s.sd - 1.0) < 0.05
    True
    """
    blocks: list[Floats] = []
    rows: list[tuple[float, float, float, float]] = []
    while len(blocks) < most_blocks:
        one = monte_carlo(draw_kept(draw, blocks), rng, 10_000, probability=probability, shortest=shortest)
        rows.append((one.mean, one.sd, one.low, one.high))
        if len(rows) < 2:
            continue
        table = np.array(rows)
        unsure = 2.0 * table.std(axis=0, ddof=1) / np.sqrt(len(rows))
        if np.all(unsure <= tolerance(float(table[:, 1].mean()), digits)):
            break
    y = np.concatenate(blocks)
    return monte_carlo(lambda _, __: y, rng, len(y), probability=probability, shortest=shortest)


def draw_kept(draw: Draw, blocks: list[Floats]) -> Draw:
    """Return the same draw, which also keeps what it returned."""

    def kept(rng: np.random.Generator, n: int) -> Floats:
        blocks.append(np.asarray(draw(rng, n), dtype=np.float64))
        return blocks[-1]

    return kept


def tolerance(uncertainty: float, digits: int = 2) -> float:
    """Return the numerical tolerance of an uncertainty given to so many digits (JCGM 101, 7.9.2): half a last digit.

    >>> tolerance(0.35, 2), tolerance(32.0, 2)
    (0.005, 0.5)
    """
    if not uncertainty > 0:
        return 0.0
    exponent = int(np.floor(np.log10(uncertainty))) - digits + 1
    return float(0.5 * 10.0**exponent)


def _probability(value: float) -> None:
    if not 0.0 < value < 1.0:
        raise InputError("probability", f"must lie between 0 and 1; got {value:g}")
