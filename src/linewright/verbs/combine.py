"""Several tests of one piece, years apart, as one belief: the only place where tests are joined."""

from __future__ import annotations

import hashlib
import pickle
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.nouns.belief import Belief
from linewright.inference.bench.design import law_of
from linewright.inference.history.fits import Fits
from linewright.inference.history.model import PieceClaim, PieceTest
from linewright.inference.history.posterior import (
    Change,
    HistoryPosterior,
    belief_of,
    carried,
    changes_of,
    doubted_tests,
    infer,
)
from linewright.verbs.once import once

MOST_REMEMBERED = 4
"""Joined beliefs that are remembered: each takes about a second with 14 tests."""
LEAST_WEIGHT = 1e-9
"""Explanations less likely than this are not remembered: of 3,000, which take 18 MB, 1,200 stay."""
LEAST_U = 0.01
"""No test of a loss is surer than this, as a logarithm: 1 %."""


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
        What it lets one believe, the catalogue included.
    before : Belief, optional
        What was believed before it, where the belief holds that too; None for a test that speaks alone.
    log_loss : pair of ndarray, shapes (f) and (f, f), optional
        Mean and covariance of what it says of ln loss beyond what was believed of the piece before; None for a test
        that speaks alone.
    length_m, connectors : float, int
        The piece as it was in the test; 0 for as it is now, -1 for as many as now.
    """

    year: float
    frequencies_hz: Floats
    belief: Belief
    before: Belief | None = None
    log_loss: tuple[Floats, Floats] | None = None
    length_m: float = 0.0
    connectors: int = -1


@dataclass(frozen=True, slots=True, eq=False)
class Combined:
    """One belief from several tests.

    Attributes
    ----------
    belief : Belief
        Of the day asked for.
    changes : tuple of Change
        What may have happened to the piece, likeliest first; tests by their numbers.
    doubted : tuple of int
        Tests that are more likely of another piece, or wrong, than not.
    history : HistoryPosterior, optional
        What the belief comes from; None for a single test.
    """

    belief: Belief
    changes: tuple[Change, ...] = ()
    doubted: tuple[int, ...] = ()
    history: HistoryPosterior | None = None


def combined(tests: Sequence[OneTest], year: float | None = None) -> Combined:
    """Return one belief from several tests of a piece.

    A single test is believed as it stands, carried on to the day; several are joined by ``inference.history``, which
    holds rival explanations against each other: nothing happened, steady ageing, a step, a repair, a test of another
    piece. The newest has no privilege.

    Parameters
    ----------
    tests : sequence of OneTest
        At least one, of the same piece; oldest first.
    year : float, optional
        The day; without it, that of the last test.
    """
    year = max(tests[-1].year, year if year is not None else tests[-1].year)
    if len(tests) == 1:
        return Combined(carried(tests[0].belief, year - tests[0].year))
    return _joined(_Asked(digest_of(tests, year), tuple(tests), year))


@dataclass(frozen=True, slots=True)
class _Asked:
    """Tests to join, and the day; the same tests are known by their digest."""

    digest: str
    tests: tuple[OneTest, ...] = field(compare=False)
    year: float = field(compare=False)


@once(MOST_REMEMBERED)
def _joined(asked: _Asked) -> Combined:
    tests, piece = asked.tests, asked.tests[-1].belief.piece
    claim = PieceClaim(law_of(piece), piece.line is not None, piece.length_m, piece.connectors)
    with _ONE:
        post = infer(claim, [message_of(t) for t in tests], asked.year)
    skipped = len(tests) - len(post.problem.tests)
    changes = tuple(replace(c, first=c.first + skipped, last=c.last + skipped) for c in changes_of(post))
    doubted = tuple(i + skipped for i in doubted_tests(post))
    return Combined(belief_of(post, piece), changes, doubted, _likely(post))


_ONE = threading.Lock()
"""One is joined at a time: it takes some 180 MB meanwhile."""


def _likely(post: HistoryPosterior) -> HistoryPosterior:
    """Return a history with the explanations that have any weight."""
    kept = np.flatnonzero(post.weight > LEAST_WEIGHT)
    fits = post.fits
    few = Fits(
        [fits.explanations[k] for k in kept],
        fits.mode[kept], fits.covariance[kept], fits.score[kept], fits.residual[kept],
    )  # fmt: skip
    return replace(post, fits=few, weight=post.weight[kept], drawn=np.searchsorted(kept, post.drawn))


def digest_of(tests: Sequence[OneTest], year: float) -> str:
    """Return a digest of all that a joined belief rests on: the piece, the day, and what each test says by itself."""
    found = hashlib.sha256(pickle.dumps((tests[-1].belief.piece, year)))
    for test in tests:
        said = message_of(test)
        for part in (said.year, said.frequencies_hz, said.log_loss, said.covariance, said.length_m, said.connectors):
            found.update(np.asarray(part, dtype=np.float64).tobytes())
        found.update(said.source.encode())
    return found.hexdigest()


def message_of(test: OneTest) -> PieceTest:
    """Return what a test says by itself, as mean and covariance of ln loss."""
    piece = test.belief.piece
    if test.log_loss is not None:
        mean, covariance = test.log_loss
    else:
        said = np.log(test.belief.loss_db(test.frequencies_hz))
        mean, covariance = said.mean(axis=1), np.atleast_2d(np.cov(said))
    return PieceTest(
        test.year, test.frequencies_hz, mean, covariance + LEAST_U**2 * np.eye(len(mean)),
        test.length_m or piece.length_m, test.connectors if test.connectors >= 0 else piece.connectors,
        "bench" if test.log_loss is not None else "sweep",
    )  # fmt: skip
