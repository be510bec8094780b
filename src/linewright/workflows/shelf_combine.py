"""Several tests of one piece, years apart, as one belief."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.model.belief import Belief

Floats = NDArray[np.float64]
LEAST_U = 0.01
"""No test of a loss is surer than this, as a logarithm: 1 %."""
AGEING = 0.05
"""A line's loss wanders by about this share in a year, by more with the root of the years (common practice,
no source): so an old test counts, but less."""
UNLIKELY = 0.01
SEED = 20_260_402


@dataclass(frozen=True, slots=True, eq=False)
class OneTest:
    """What one test says of a piece.

    Attributes
    ----------
    year : float
        When, in years.
    frequencies_hz : ndarray, shape (f,)
        Where it looked; at least one.
    belief : Belief
        What it lets one believe.
    before : Belief, optional
        What was believed before it, where the belief holds that too; None for a test that speaks alone.
    """

    year: float
    frequencies_hz: Floats
    belief: Belief
    before: Belief | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Said:
    """What a test adds to what was believed before: directions over its frequencies, values and variances."""

    directions: Floats
    values: Floats
    variances: Floats


def combined(tests: Sequence[OneTest]) -> tuple[Belief, tuple[int, ...]]:
    """Return one belief from several tests, and which of them contradict it and are left out.

    The newest test is taken as it is. Each older one is turned into what it said beyond the belief it began with (its
    information less that of the prior, so that no prior counts twice), made less sure by the years between, and moves
    the draws by the gain that the covariances make (the ensemble form of Kalman's update: G. Evensen, Data
    Assimilation, 2009, chapter 4, from memory).

    Parameters
    ----------
    tests : sequence of OneTest
        At least one, of the same piece; oldest first.
    """
    *older, newest = tests
    belief, left_out = newest.belief, []
    for i in reversed(range(len(older))):
        said = _said(older[i])
        moved = _moved(belief, older[i], said, newest.year - older[i].year) if len(said.values) else belief
        if moved is None:
            left_out.append(i)
        else:
            belief = moved
    return belief, tuple(reversed(left_out))


def _log_loss(belief: Belief, f: Floats) -> Floats:
    return np.log(belief.loss_db(f))


def _said(test: OneTest) -> _Said:
    """Return a test's own information, by direction: those in which it says nothing new are dropped."""
    y = _log_loss(test.belief, test.frequencies_hz)
    mean, precision = y.mean(axis=1), np.linalg.inv(_covariance(y))
    told = precision @ mean
    if test.before is not None:
        y0 = _log_loss(test.before, test.frequencies_hz)
        precision0 = np.linalg.inv(_covariance(y0))
        precision, told = precision - precision0, told - precision0 @ y0.mean(axis=1)
    size, directions = np.linalg.eigh(precision)
    new = size > 1.0
    size, directions = size[new], directions[:, new]
    return _Said(directions, (directions.T @ told) / size, 1.0 / size)


def _covariance(draws: Floats) -> Floats:
    return np.atleast_2d(np.cov(draws)) + LEAST_U**2 * np.eye(len(draws))


def _moved(belief: Belief, test: OneTest, said: _Said, years: float) -> Belief | None:
    """Return the belief moved by an older test; None if the two contradict each other."""
    shared = said.directions.sum(axis=0)
    noise = np.diag(said.variances) + AGEING**2 * max(years, 0.0) * np.outer(shared, shared)
    state = belief.state()
    shown = said.directions.T @ _log_loss(belief, test.frequencies_hz)
    steps, swings = state - state.mean(axis=1, keepdims=True), shown - shown.mean(axis=1, keepdims=True)
    spread = np.atleast_2d(np.cov(shown)) + noise
    off = said.values - shown.mean(axis=1)
    if _tail(float(off @ np.linalg.solve(spread, off)), len(off)) < UNLIKELY:
        return None
    gain = (steps @ swings.T / (belief.draws - 1)) @ np.linalg.inv(spread)
    rng = np.random.default_rng(SEED)
    told = said.values[:, None] + rng.multivariate_normal(np.zeros(len(off)), noise, belief.draws).T
    return belief.at_state(state + gain @ (told - shown))


def _tail(square: float, degrees: int) -> float:
    from scipy.stats import chi2

    return float(chi2.sf(square, degrees))
