"""Distributions propagated by drawing from them (JCGM 101:2008)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewright.errors import InputError

Floats = NDArray[np.float64]
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
