"""A piece over the years: what each test said of it, whether its loss drifts, and when to test it again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain
from typing import TYPE_CHECKING, Literal
from zlib import crc32

from linewright.catalogue.belief import catalogue_belief
from linewright.catalogue.cautions import cautions_of
from linewright.core.formatting import frequency, interval, plain, signed
from linewright.core.messages import say
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.shelf import Drift, Evidence, HistoryPoint, PieceHistory, Reminder, ShelfPiece
from linewright.present.charts.ladder import Rung
from linewright.present.charts.piece import interval_at
from linewright.store import items
from linewright.store import items as logged
from linewright.store.ledger import Ledger
from linewright.verbs.combine import OneTest, combined
from linewright.verbs.shelf_beliefs import list_shelf, reminder_of, show_piece
from linewright.verbs.shelf_evidence import Shelved, tests_of
from linewright.verbs.shelf_items import notes_in
from linewright.verbs.shelf_open import today
from linewright.verbs.shelf_renames import former
from linewright.verbs.shelf_words import evidence_name

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from linewright.verbs.combine import OneTest

    Floats = NDArray[np.float64]

# A piece over the years: what each test said of it, whether its loss drifts, and when to test it again

PREFERRED_HZ = 144.3e6
SURE = 0.975
LEAST_YEARS = 0.1
REMADE = 0.02
"""A connector made off again, another bench, another day: a test repeats to about this share of the loss
(common practice, no source)."""
SUDDEN = 0.03
"""How likely it is beforehand that a piece changes suddenly between two tests, or that a test is wrong or of another
piece (a guess of ours, no source)."""
JUMP = 0.5
"""How far such a change moves ln loss: the standard deviation (a guess of ours, no source)."""
AGES = 0.05
"""How far steady ageing moves ln loss in a year: the standard deviation (common practice, no source)."""
LEVEL = 10.0
"""The standard deviation of ln loss before any test: next to no opinion."""
SEED = 20_260_403
MOST_CHANGES = 100
SOURCE = say(
    "Weighted least squares over the draws of each test (P. R. Bevington and D. K. Robinson, Data Reduction and Error "
    "Analysis, 3rd ed., chapter 6, from memory); widened where the tests scatter more than their draws allow (R. T. "
    "Birge, Physical Review 40 (1932) 207, from memory)."
)
UPDATE = say(
    "Ensemble form of Kalman's update (G. Evensen, Data Assimilation, 2009, chapter 4, from memory); the prior is "
    "taken out of every older test. 5 % a year: common practice, no source."
)
BELIEVED = "docs/how-the-bench-works.md, docs/how-the-ledger-works.md"
FORMULA = say("ln loss = a + b · years, weights 1 / variance; drift = exp(b) - 1")


def history_of(ledger: Ledger, tag: str, *, on: date | None = None) -> PieceHistory:
    """Return a piece over the years.

    Each sheet or sweep speaks for itself, at the frequency that most of them looked at. With two or more, a tenth of a
    year apart at least, the drift of the loss is told with the probability that it is real; where they do not agree on
    one, that is said instead.

    Parameters
    ----------
    tag : str
        The piece, on the shelf or put away.
    on : date, optional
        The day from which reminders are seen; without it, today.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    """
    row = show_piece(ledger, tag)
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "piece", tag)
        shelf = Shelved.of(snapshot)
        (noun,) = shelf.nouns([item])
        tests = tests_of(shelf, noun, shelf.evidence(tag))
        names = (tag, *former(item))
        notes = notes_in(snapshot, "piece", *names)
        made = tuple(logged.changes(snapshot, kind="piece", key=names, most=MOST_CHANGES))
    at_hz = _common([t for _, t in tests])
    apart = disagreement(tests, at_hz)
    drift, workings = drift_of(tests, at_hz)
    points = tuple(_point(e, t, at_hz) for e, t in tests)
    workings = (*_belief_workings(row, [e for e, _ in tests if f"{e.kind} {e.key}" in row.basis]), *workings)
    reminder = None if row.archived else reminder_of(row, today(on))
    told = cautions_of("shelf show")
    return PieceHistory(row, points, drift, reminder, notes, made, row.remarks, workings, apart, told)


def reminders(ledger: Ledger, *, on: date | None = None) -> tuple[Reminder, ...]:
    """Return which pieces to test again now or soon, the longest overdue first."""
    return list_shelf(ledger, on=on).reminders


def _belief_workings(row: ShelfPiece, evidence: Sequence[Evidence]) -> tuple[Working, ...]:
    """Return how the losses of a piece were worked out."""
    inputs = tuple(
        (evidence_name(e.kind, e.key), say("{what}; measured on {day}", what=e.what, day=e.measured_on))
        for e in evidence
    )
    formula, source = say("length · (k0 + k1 √f + k2 f) + connectors, f in MHz"), BELIEVED
    if len(inputs) > 1:
        formula, source = say("newest test's draws, moved by each older one; ln loss wanders 5 % a year"), UPDATE
    return tuple(
        Working(
            say("loss at {f}: {loss}",
                f=frequency(x.frequency_hz), loss=interval(x.loss_db, x.loss_db_low, x.loss_db_high)),
            formula, inputs or ((say("basis"), row.basis),), source,
        )
        for x in row.losses
    )  # fmt: skip


def _common(tests: Sequence[OneTest]) -> float:
    """Return the frequency that most tests reach, the nearest to 2 m among equals."""
    looked = {float(f) for f in chain.from_iterable(t.frequencies_hz for t in tests)} or {PREFERRED_HZ}

    def reached(f: float) -> int:
        return sum(bool(t.frequencies_hz[0] * 0.92 <= f <= t.frequencies_hz[-1] * 1.08) for t in tests)

    return max(looked, key=lambda f: (reached(f), -abs(f - PREFERRED_HZ)))


def _point(e: Evidence, test: OneTest, at_hz: float) -> HistoryPoint:
    import numpy as np

    low, middle, high = (float(v) for v in np.quantile(test.belief.loss_db(at_hz), [0.025, 0.5, 0.975]))
    return HistoryPoint(e, at_hz, middle, low, high)


def drift_of(tests: Sequence[tuple[Evidence, OneTest]], at_hz: float) -> tuple[Drift | None, tuple[Working, ...]]:
    """Return how the loss moves over the years; None without two tests that lie apart in time, or if they disagree."""
    import numpy as np

    years = np.array([t.year for _, t in tests])
    if len(tests) < 2 or float(np.ptp(years)) < LEAST_YEARS or disagreement(tests, at_hz):
        return None, ()
    slopes, widened = _slopes(years, [t for _, t in tests], at_hz)
    low, middle, high = (float(100.0 * np.expm1(v)) for v in np.quantile(slopes, [0.025, 0.5, 0.975]))
    p = float(np.mean(slopes > 0.0))
    drift = Drift(at_hz, middle, low, high, p, _verdict(p), _why(p, at_hz, middle, float(np.ptp(years))))
    inputs = [(evidence_name(e.kind, e.key), say("year {year}", year=plain(t.year, 2))) for e, t in tests]
    inputs.append((say("scatter beyond the draws, as a factor"), plain(widened, 2)))
    figure = say("drift at {f}: {percent} % a year", f=frequency(at_hz), percent=signed(middle, 1))
    return drift, (Working(figure, FORMULA, tuple(inputs), SOURCE),)


def disagreement(tests: Sequence[tuple[Evidence, OneTest]], at_hz: float) -> str:
    """Return that tests do not agree, and between which days that came about; "" where steady ageing explains them.

    Rival explanations of the log losses, each by its evidence (a normal density, level and rate integrated out): steady
    ageing alone, or with it a step between two tests, one test that stands apart from those before and after it, or
    every test at a level of its own. Ageing is believed while it is likelier than all others together.
    """
    if len(tests) < 2:
        return ""
    import numpy as np

    y = np.stack([np.log(t.belief.loss_db(at_hz)) for _, t in tests])
    years = np.array([t.year for _, t in tests])
    steady = np.diag(y.var(axis=1) + REMADE**2) + LEVEL**2 + AGES**2 * np.outer(years - years[0], years - years[0])
    middle, rivals = y.mean(axis=1), _rivals(len(tests))
    scores = [_log_density(middle, steady)]
    scores += [np.log(r.chance) + _log_density(middle, steady + JUMP**2 * r.shape) for r in rivals]
    against = float(np.logaddexp.reduce(scores[1:]))
    if scores[0] > against:
        return ""
    likeliest = rivals[int(np.argmax(scores[1:]))]
    first, last = (tests[i][0].measured_on for i in (likeliest.first, likeliest.last))
    if first == last:
        return say("These tests do not agree: one of them is wrong, or of another piece. So no rate of ageing is told.")
    return say(
        "These tests do not agree: another piece, or a change between {first} and {last}. So no rate of ageing is"
        " told.",
        first=first, last=last,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Rival:
    """Another explanation than ageing: how likely it is beforehand, its covariance, and the tests it lies between."""

    chance: float
    shape: Floats
    first: int
    last: int


def _rivals(many: int) -> list[_Rival]:
    import numpy as np

    after = [np.where(np.arange(many) > k, 1.0, 0.0) for k in range(many - 1)]
    found = [_Rival(SUDDEN, np.outer(step, step), k, k + 1) for k, step in enumerate(after)]
    alone = np.eye(many)
    found += [_Rival(SUDDEN, np.outer(alone[k], alone[k]), k - 1, k + 1) for k in range(1, many - 1)]
    return [*found, _Rival(SUDDEN**2, alone, 0, many - 1)] if many > 2 else found


def _log_density(y: Floats, covariance: Floats) -> float:
    import numpy as np

    _, size = np.linalg.slogdet(covariance)
    return float(-0.5 * y @ np.linalg.solve(covariance, y) - 0.5 * size)


def _slopes(years: Floats, tests: Sequence[OneTest], at_hz: float) -> tuple[Floats, float]:
    """Return draws of the slope of the log loss a year, and by what its spread was widened.

    The draws of different tests are set beside each other in a random order: the tests are independent.
    """
    import numpy as np

    rng = np.random.default_rng(SEED)
    draws = min(t.belief.draws for t in tests)
    y = np.stack([rng.permutation(np.log(t.belief.loss_db(at_hz)))[:draws] for t in tests])
    y = y + REMADE * rng.standard_normal(y.shape)
    weight = 1.0 / y.var(axis=1)
    centre = years - np.average(years, weights=weight)
    gain = weight * centre / (weight @ centre**2)
    slopes = gain @ y
    middle, best = y.mean(axis=1), float(slopes.mean())
    rest = middle - np.average(middle, weights=weight) - best * centre
    free = len(tests) - 2
    widened = max(1.0, float(np.sqrt(weight @ rest**2 / free))) if free else 1.0
    return best + widened * (slopes - best), widened


def _verdict(p: float) -> Literal["rising", "falling", "cannot tell"]:
    return "rising" if p > SURE else "falling" if p < 1.0 - SURE else "cannot tell"


def _why(p: float, at_hz: float, percent: float, years: float) -> str:
    f, over = frequency(at_hz), plain(years, 1)
    if _verdict(p) == "rising":
        return say(
            "The loss rises over {years} years, at {f}: by {percent} % of itself a year (probability {p}).",
            years=over, f=f, percent=plain(percent, 1), p=plain(p, 3),
        )  # fmt: skip
    if _verdict(p) == "falling":
        return say(
            "The loss seems to fall over {years} years, at {f}. Cable does not heal: suspect an earlier test, or"
            " another piece.",
            years=over, f=f,
        )  # fmt: skip
    return say(
        "The tests do not tell a drift from noise over {years} years, at {f} (probability that it rises: {p}).",
        years=over, f=f, p=plain(p, 2),
    )  # fmt: skip


# The evidence ladder of a piece: what its type says, then each test in time order and the belief after it

DRAWS = 1000


def ladder_of(ledger: Ledger, tag: str, frequency_hz: float) -> tuple[Piece, tuple[Rung, ...]]:
    """Return a piece, and by which steps its loss at a frequency came to be known.

    A piece of unknown type that nobody measured has no steps.
    """
    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        (noun,) = shelf.nouns([items.needed(snapshot, "piece", tag)])
        tests = tests_of(shelf, noun, shelf.evidence(noun.tag))
    beliefs = [combined([t for _, t in tests[: i + 1]]).belief for i in range(len(tests))]
    after = tuple(
        Rung(
            e.what, e.measured_on, interval_at(belief, frequency_hz), interval_at(test.belief, frequency_hz), _sheet(e)
        )
        for (e, test), belief in zip(tests, beliefs, strict=True)
    )
    first = before(noun, tests)
    if first is None:
        return noun, after
    what = say("the catalogue's {line}", line=noun.line.designator) if noun.line else say("cables in general")
    return noun, (Rung(what, "", interval_at(first, frequency_hz)), *after)


def _sheet(evidence: Evidence) -> str:
    return evidence.key if evidence.kind == "sheet" else ""


def before(piece: Piece, tests: Sequence[tuple[Evidence, OneTest]]) -> Belief | None:
    """Return what was believed before the first test."""
    if tests and tests[0][1].before is not None:
        return tests[0][1].before
    if piece.line is None:
        return None
    return catalogue_belief(piece, DRAWS, seed=crc32(piece.line.designator.encode()))
