"""Several tests of one piece, years apart, as one belief."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.nouns.belief import Belief

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


@dataclass(frozen=True, slots=True, eq=False)
class Combined:
    """One belief from several tests; the others are numbers of tests.

    Attributes
    ----------
    left_out : tuple of int
        Older tests that contradict it and do not count.
    at_odds : tuple of int
        Tests that contradict another of the same day: none of them goes first, and the belief is wide enough for all.
    """

    belief: Belief
    left_out: tuple[int, ...] = ()
    at_odds: tuple[int, ...] = ()


def combined(tests: Sequence[OneTest]) -> Combined:
    """Return one belief from several tests, and which of them contradict it.

    The newest test is taken as it is. Each older one is turned into what it said beyond the belief it began with (its
    information less that of the prior, so that no prior counts twice), made less sure by the years between, and moves
    the draws by the gain that the covariances make (the ensemble form of Kalman's update: G. Evensen, Data
    Assimilation, 2009, chapter 4, from memory). An older test that contradicts the belief is left out. Of two tests of
    one day neither came later: both count, and both covariances are widened until they agree (R. T. Birge, Physical
    Review 40 (1932) 207, from memory).

    Parameters
    ----------
    tests : sequence of OneTest
        At least one, of the same piece; oldest first.
    """
    *older, newest = tests
    belief, left_out, at_odds = newest.belief, [], []
    for i in reversed(range(len(older))):
        said, years = _said(older[i]), newest.year - older[i].year
        if not len(said.values):
            continue
        apart = _apart(belief, older[i], said, years)
        if apart > 1.0 and years > 0.0:
            left_out.append(i)
            continue
        if apart > 1.0:
            at_odds.append(i)
        belief = _moved(belief, older[i], said, (years, apart))
    return Combined(belief, tuple(reversed(left_out)), tuple(reversed(at_odds)))


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


def _noise(said: _Said, years: float) -> Floats:
    """Return the covariance of what a test said, as many years on."""
    shared = said.directions.sum(axis=0)
    return np.asarray(np.diag(said.variances) + AGEING**2 * max(years, 0.0) * np.outer(shared, shared))


def _apart(belief: Belief, test: OneTest, said: _Said, years: float) -> float:
    """Return by what both variances would have to grow for a test and a belief to agree; 1 where they do."""
    shown = said.directions.T @ _log_loss(belief, test.frequencies_hz)
    off = said.values - shown.mean(axis=1)
    square = float(off @ np.linalg.solve(np.atleast_2d(np.cov(shown)) + _noise(said, years), off))
    return square / len(off) if _tail(square, len(off)) < UNLIKELY else 1.0


def _moved(belief: Belief, test: OneTest, said: _Said, how: tuple[float, float]) -> Belief:
    """Return the belief moved by an older test; ``how`` holds the years between and the factor on both variances."""
    years, widen = how
    noise, state = widen * _noise(said, years), belief.state()
    steps = np.sqrt(widen) * (state - state.mean(axis=1, keepdims=True))
    if widen > 1.0:
        state = state.mean(axis=1, keepdims=True) + steps
        belief = belief.at_state(state)
    shown = said.directions.T @ _log_loss(belief, test.frequencies_hz)
    swings = shown - shown.mean(axis=1, keepdims=True)
    gain = (steps @ swings.T / (belief.draws - 1)) @ np.linalg.inv(np.atleast_2d(np.cov(shown)) + noise)
    rng = np.random.default_rng(SEED)
    told = said.values[:, None] + rng.multivariate_normal(np.zeros(len(shown)), noise, belief.draws).T
    return belief.at_state(state + gain @ (told - shown))


def _tail(square: float, degrees: int) -> float:
    from scipy.stats import chi2

    return float(chi2.sf(square, degrees))
