"""A piece over the years: what each test said of it, whether its loss drifts, and when to test it again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import chain
from typing import TYPE_CHECKING, Literal

from linewright.ledger import changes as logged
from linewright.ledger import items
from linewright.ledger.store import Ledger
from linewright.model.result import Working
from linewright.model.shelf import Drift, Evidence, HistoryPoint, PieceHistory, Reminder, ShelfPiece
from linewright.units.said import say
from linewright.units.writing import frequency, interval, plain, signed
from linewright.workflows.shelf_beliefs import list_shelf, show_piece
from linewright.workflows.shelf_evidence import Shelved, tests_of
from linewright.workflows.shelf_items import notes_in
from linewright.workflows.shelf_open import today
from linewright.workflows.shelf_reminders import reminder_of
from linewright.workflows.shelf_renames import former
from linewright.workflows.shelf_words import evidence_name

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from linewright.workflows.shelf_combine import OneTest

    Floats = NDArray[np.float64]

PREFERRED_HZ = 144.3e6
SURE = 0.975
LEAST_YEARS = 0.1
REMADE = 0.02
"""A connector made off again, another bench, another day: a test repeats to about this share of the loss
(common practice, no source)."""
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
    year apart at least, the drift of the loss is told with the probability that it is real.

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
    drift, workings = drift_of(tests, at_hz)
    points = tuple(_point(e, t, at_hz) for e, t in tests)
    workings = (*_belief_workings(row, [e for e, _ in tests if f"{e.kind} {e.key}" in row.basis]), *workings)
    reminder = None if row.archived else reminder_of(row, today(on))
    return PieceHistory(row, points, drift, reminder, notes, made, row.remarks, workings)


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
    """Return how the loss moves over the years; None with fewer than two tests that lie apart in time."""
    import numpy as np

    years = np.array([t.year for _, t in tests])
    if len(tests) < 2 or float(np.ptp(years)) < LEAST_YEARS:
        return None, ()
    slopes, widened = _slopes(years, [t for _, t in tests], at_hz)
    low, middle, high = (float(100.0 * np.expm1(v)) for v in np.quantile(slopes, [0.025, 0.5, 0.975]))
    p = float(np.mean(slopes > 0.0))
    drift = Drift(at_hz, middle, low, high, p, _verdict(p), _why(p, at_hz, middle, float(np.ptp(years))))
    inputs = [(evidence_name(e.kind, e.key), say("year {year}", year=plain(t.year, 2))) for e, t in tests]
    inputs.append((say("scatter beyond the draws, as a factor"), plain(widened, 2)))
    figure = say("drift at {f}: {percent} % a year", f=frequency(at_hz), percent=signed(middle, 1))
    return drift, (Working(figure, FORMULA, tuple(inputs), SOURCE),)


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
