"""Several tests of one piece, years apart, as one belief: the only place where tests are joined."""

from __future__ import annotations

import hashlib
import pickle
import threading
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Belief, Elsewhere, OneTest
from linewright.inference.bench.design import law_of
from linewright.inference.history.fits import ExplanationFits
from linewright.inference.history.model import PieceClaim, PieceTest
from linewright.inference.history.posterior import (
    GoingOn,
    HistoryPosterior,
    PieceEvent,
    belief_of,
    carried,
    changes_of,
    corrected,
    doubted_tests,
    going_on,
    going_on_alone,
    infer,
    p_true,
    p_true_before,
    sessions_off,
)
from linewright.verbs.once import once

MOST_REMEMBERED = 4
"""Joined beliefs that are remembered: each takes about a second with 14 tests."""
LEAST_WEIGHT = 1e-9
"""Explanations less likely than this are not remembered: of 3,000, which take 18 MB, 1,200 stay."""
SAYS_TRUE = 0.9
"""A test that stands alone is believed as it stands while its meters read true with more than this, or with no less
than before the pieces beside it were heard."""
LEAST_U = 0.01
"""No test of a loss is surer than this, as a logarithm: 1 %."""


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
    off : tuple of (int, float)
        Tests whose meters read off that day, as other pieces show, and by how much they read high (ln).
    history : HistoryPosterior, optional
        What the belief comes from; None for a single test.
    """

    belief: Belief
    changes: tuple[PieceEvent, ...] = ()
    doubted: tuple[int, ...] = ()
    off: tuple[tuple[int, float], ...] = ()
    history: HistoryPosterior | None = None


def goes_on(found: Combined) -> GoingOn:
    """Return how a piece goes on after the day of its belief."""
    return going_on(found.history) if found.history is not None else going_on_alone(found.belief.draws)


def combined(tests: Sequence[OneTest], year: float | None = None) -> Combined:
    """Return one belief from several tests of a piece.

    A single test is believed as it stands, carried on to the day, unless other pieces show that its meters read off;
    several are joined by ``inference.history``, which
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
    if len(tests) == 1 and not tests[0].elsewhere:
        return Combined(carried(tests[0].belief, year - tests[0].year))
    return _joined(digest_of(tests, year), tests, year)


def _by_digest(digest: str, *_: object) -> str:
    return digest


@once(MOST_REMEMBERED, key=_by_digest)
def _joined(_: str, tests: Sequence[OneTest], year: float) -> Combined:
    piece = tests[-1].belief.piece
    claim = PieceClaim(law_of(piece), piece.line is not None, piece.length_m, piece.connectors)
    with _ONE:
        post = infer(claim, [message_of(t) for t in tests], year)
    if len(tests) == 1:
        astray = p_true(post) < min(SAYS_TRUE, p_true_before(post))
        only = corrected(post, tests[0].belief) if astray else tests[0].belief
        off = sessions_off(post) if astray else ()
        return Combined(carried(only, year - tests[0].year), (), (), off)
    skipped = len(tests) - len(post.problem.tests)
    told = changes_of(post) if len(tests) > 1 else ()
    changes = tuple(replace(c, first=c.first + skipped, last=c.last + skipped) for c in told)
    doubted = tuple(i + skipped for i in doubted_tests(post))
    off = tuple((i + skipped, by) for i, by in sessions_off(post))
    return Combined(belief_of(post, piece), changes, doubted, off, _likely(post))


_ONE = threading.Lock()
"""One is joined at a time: it takes some 180 MB meanwhile."""


def _likely(post: HistoryPosterior) -> HistoryPosterior:
    """Return a history with the explanations that have any weight."""
    kept = np.flatnonzero(post.weight > LEAST_WEIGHT)
    fits = post.fits
    few = ExplanationFits(
        [fits.explanations[k] for k in kept],
        fits.mode[kept], fits.near[kept], fits.score[kept], fits.residual[kept],
    )  # fmt: skip
    return replace(post, fits=few, weight=post.weight[kept], drawn=np.searchsorted(kept, post.drawn))


def digest_of(tests: Sequence[OneTest], year: float) -> str:
    """Return a digest of all that a joined belief rests on: the piece, the day, and what each test says by itself."""
    found = hashlib.sha256(pickle.dumps((tests[-1].belief.piece, year)))
    for test in tests:
        said = message_of(test)
        told = (said.year, said.frequencies_hz, said.log_loss, said.covariance, said.length_m, said.connectors)
        for part in told:
            found.update(np.asarray(part, dtype=np.float64).tobytes())
        found.update(said.source.encode())
        if said.doubt is not None:
            found.update(repr(said.doubt.meters).encode())
            for part in (said.doubt.slopes, said.doubt.covariance):
                found.update(np.asarray(part, dtype=np.float64).tobytes())
        heard: list[PieceTest | Elsewhere] = [said, *said.elsewhere]
        for where in heard:
            found.update(np.asarray((where.year, *where.meters), dtype=np.float64).tobytes())
            for b in where.beside:
                found.update(b.tag.encode())
                for part in (b.length_m, b.frequencies_hz, b.log_loss, b.covariance):
                    found.update(np.asarray(part, dtype=np.float64).tobytes())
    return found.hexdigest()


def log_loss_of(belief: Belief, frequencies_hz: Floats) -> tuple[Floats, Floats]:
    """Return mean and covariance of ln loss."""
    said = np.log(belief.loss_db(frequencies_hz))
    return said.mean(axis=1), np.atleast_2d(np.cov(said))


def message_of(test: OneTest) -> PieceTest:
    """Return what a test says by itself, as mean and covariance of ln loss."""
    piece = test.belief.piece
    mean, covariance = test.log_loss or log_loss_of(test.belief, test.frequencies_hz)
    return PieceTest(
        test.year, test.frequencies_hz, mean, covariance + LEAST_U**2 * np.eye(len(mean)),
        test.length_m or piece.length_m, test.connectors if test.connectors >= 0 else piece.connectors,
        "bench" if test.log_loss is not None else "sweep", test.meters, test.beside, test.elsewhere, test.doubt,
    )  # fmt: skip
