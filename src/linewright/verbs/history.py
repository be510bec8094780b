"""A piece over the years: what each test said of it, whether its loss drifts, and when to test it again."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from itertools import chain
from typing import Any, Literal
from zlib import crc32

from linewright.catalogue.belief import catalogue_belief
from linewright.catalogue.cautions import cautions_of
from linewright.core.formatting import frequency, interval, plain, signed
from linewright.core.messages import say
from linewright.core.nouns.belief import Belief, OneTest
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.shelf import (
    Drift,
    Evidence,
    HistoryPoint,
    Passing,
    PieceChange,
    PieceHistory,
    Reminder,
    ShelfPiece,
)
from linewright.inference.history.posterior import p_ages, p_rising, rate_draws, years_until
from linewright.present.charts.ladder import LadderStep
from linewright.present.charts.piece import interval_at
from linewright.store import items
from linewright.store import items as logged
from linewright.store import items as steps
from linewright.store.ledger import Ledger
from linewright.verbs.combine import Combined, combined, digest_of, goes_on
from linewright.verbs.once import ENGINE
from linewright.verbs.shelf_beliefs import (
    evidence_until,
    is_now,
    list_shelf,
    remember_answers,
    reminder_of,
    show_piece,
)
from linewright.verbs.shelf_evidence import Shelved, tests_of, year_of
from linewright.verbs.shelf_items import notes_in
from linewright.verbs.shelf_open import today
from linewright.verbs.shelf_renames import former
from linewright.verbs.shelf_words import change_words, evidence_name, passing_words

# A piece over the years: what each test said of it, whether its loss drifts, and when to test it again

Ends = tuple[float, float, float]
Tests = Sequence[tuple[Evidence, OneTest]]
Progress = Callable[[float, str], None]
PREFERRED_HZ = 144.3e6
SURE = 0.95
"""A drift is called real from this probability on."""
LEAST_YEARS = 0.1
MOST_CHANGES = 100
UPDATE = say(
    "All tests together as one Gaussian problem for each explanation, weighted by evidence (R. E. Kalman, 1960; D. J."
    " C. MacKay, Information Theory, Inference, and Learning Algorithms, 2003, chapter 28, both from memory)."
)
BELIEVED = "docs/how-the-bench-works.md, docs/how-the-ledger-works.md"
FORMULA = say("ln loss of each test = law, dielectric and joints on that day + errors; drift = exp(rate) - 1")


def history_of(
    ledger: Ledger,
    tag: str,
    *,
    on: date | None = None,
    limits: Sequence[tuple[float, float]] = (),
    progress: Progress | None = None,
) -> PieceHistory:
    """Return a piece over the years.

    Each sheet or sweep speaks for itself, at the frequency that most of them looked at. With two or more, what happened
    between them is told with its probability: nothing, steady ageing, a step, or a test of another piece. Steady ageing
    has a rate; where another explanation is likelier, that is said instead.

    Parameters
    ----------
    tag : str
        The piece, on the shelf or put away.
    on : date, optional
        The day of the belief, and from which reminders are seen; without it, today.
    limits : sequence of (float, float)
        Frequencies in hertz with limits in dB: when the loss passes each is told. Without any, the next of 1, 3 and
        6 dB at the frequency of the tests (what a home station, a portable one and a receiver bear; common practice).
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    PieceHistory
        Each test alone (dB, 95 % interval), what happened with its probability, and when to test again.

    Raises
    ------
    UnknownNameError
        If there is no such piece.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     history_of(ledger, "blue 7").piece.tag
    'blue 7'
    """
    with ledger.one_moment(), ledger.reads() as snapshot:
        row = show_piece(ledger, tag, on=on, progress=progress)
        item = items.needed(snapshot, "piece", tag)
        shelf = Shelved.of(snapshot)
        (noun,) = shelf.nouns([item])
        tests = tests_of(shelf, noun, evidence_until(shelf, tag, on))
        names = (tag, *former(item))
        notes = notes_in(snapshot, "piece", *names)
        made = tuple(logged.changes(snapshot, kind="piece", key=names, most=MOST_CHANGES))
    at_hz = _common([t for _, t in tests])
    found = combined([t for _, t in tests], year_of(today(on))) if tests else None
    passes = passings_of(found, limits or _next_limit(found, at_hz)) if found else ()
    changes = changes_in(found, tests)
    drift, workings, apart = drift_of(found, tests, at_hz)
    points = tuple(_point(e, t, at_hz) for e, t in tests)
    workings = (*_belief_workings(row, [e for e, _ in tests if f"{e.kind} {e.key}" in row.basis]), *workings)
    reminder = None if row.archived else reminder_of(row, today(on))
    told = cautions_of("shelf show")
    return PieceHistory(row, points, drift, reminder, notes, changes, made, row.remarks, workings, apart, told,
                        passes, today(on))  # fmt: skip


BORNE_DB = (1.0, 3.0, 6.0)
"""What a home station, a portable one and a receiver bear (common practice, no source; the bench judges uses by it)."""


def _next_limit(found: Combined, at_hz: float) -> tuple[tuple[float, float], ...]:
    """Return the first of the usual limits that a piece has not passed."""
    import numpy as np

    now = float(np.median(found.belief.loss_db(at_hz)))
    return tuple((at_hz, limit) for limit in BORNE_DB if limit > now)[:1]


def passings_of(found: Combined, limits: Sequence[tuple[float, float]]) -> tuple[Passing, ...]:
    """Return when the loss of a piece passes limits, (hertz, dB) each, out of the same explanations as its belief."""
    return tuple(_passing(found, f, limit) for f, limit in limits)


def _passing(found: Combined, frequency_hz: float, limit_db: float) -> Passing:
    import numpy as np

    years = years_until(found.belief, goes_on(found), frequency_hz, limit_db)
    now, one, five = (float(np.mean(years <= t)) for t in (0.0, 1.0, 5.0))
    ends = np.quantile(years, [0.025, 0.5, 0.975], method="inverted_cdf")
    low, middle, high = (None if np.isinf(v) else float(v) for v in ends)
    why = passing_words(frequency_hz, limit_db, (low, middle, high), (now, five))
    return Passing(frequency_hz, limit_db, now, one, five, low, middle, high, why)


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
        formula, source = (
            say("state of the piece on each day from all tests together; ln loss wanders 1 % a year"),
            UPDATE,
        )
    return tuple(
        Working(
            say("loss at {f}: {loss}",
                f=frequency(x.frequency_hz), loss=interval(x.loss_db, x.loss_db_low, x.loss_db_high)),
            formula, inputs or ((say("basis"), row.basis),), source, ("loss", x.frequency_hz),
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


def changes_in(found: Combined | None, tests: Sequence[tuple[Evidence, OneTest]]) -> tuple[PieceChange, ...]:
    """Return what may have happened to a piece, likeliest first, with a sentence for each."""
    if found is None:
        return ()
    days = [e.measured_on for e, _ in tests]
    return tuple(
        PieceChange(
            c.kind, c.p, days[c.first], days[c.last], c.rate_per_year, c.rate_low, c.rate_high,
            change_words(c, evidence_name(tests[c.first][0].kind, tests[c.first][0].key), days[c.first], days[c.last],
                         unsure=c.first == 0 or c.last == len(days) - 1),
        )
        for c in found.changes
        if c.p >= LEAST_P
    )  # fmt: skip


LEAST_P = 0.02
"""A change less likely than this is not worth a line."""


def drift_of(
    found: Combined | None, tests: Sequence[tuple[Evidence, OneTest]], at_hz: float
) -> tuple[Drift | None, tuple[Working, ...], str]:
    """Return how the loss moves over the years, how that was worked out, and what speaks against any drift.

    No drift is told without two tests that lie apart in time, nor where something else than ageing is likelier.
    """
    years = [t.year for _, t in tests]
    if found is None or found.history is None or max(years) - min(years) < LEAST_YEARS:
        return None, (), _doubts(found, tests)
    first = found.changes[0]
    if first.kind in ("step", "other piece"):
        return None, (), changes_in(found, tests)[0].why
    import numpy as np

    p = p_rising(found.history)
    steadily = min(p, p_ages(found.history)) > SURE
    rates = rate_draws(found.history, if_it_ages=steadily)
    low, middle, high = (float(100.0 * np.expm1(v)) for v in np.quantile(rates, [0.025, 0.5, 0.975]))
    drift = Drift(at_hz, middle, low, high, p, _verdict(p),
                  _why(p, at_hz, max(years) - min(years), steadily=steadily))  # fmt: skip
    inputs = [(evidence_name(e.kind, e.key), say("year {year}", year=plain(t.year, 2))) for e, t in tests]
    figure = say("drift at {f}: {percent} % a year", f=frequency(at_hz), percent=signed(middle, 1))
    return drift, (Working(figure, FORMULA, tuple(inputs), UPDATE, ("drift", at_hz)),), ""


def _doubts(found: Combined | None, tests: Sequence[tuple[Evidence, OneTest]]) -> str:
    """Return what is said of tests of one day, or of one test alone."""
    if found is None or not found.changes or found.changes[0].kind != "other piece":
        return ""
    return changes_in(found, tests)[0].why


def _verdict(p: float) -> Literal["rising", "cannot tell"]:
    return "rising" if p > SURE else "cannot tell"


def _why(p: float, at_hz: float, years: float, *, steadily: bool) -> str:
    """Return what is said of a drift, ``steadily`` where it is sure that the piece ages so; its rate stands beside."""
    f, over = frequency(at_hz), plain(years, 1)
    if _verdict(p) == "rising" and not steadily:
        return say(
            "The loss has risen over {years} years, at {f} (probability {p}); the tests do not show whether steadily "
            "or in one step.",
            years=over, f=f, p=plain(p, 3),
        )  # fmt: skip
    if _verdict(p) == "rising":
        return say(
            "The loss has risen steadily over {years} years, at {f} (probability {p}).", years=over, f=f, p=plain(p, 3),
        )  # fmt: skip
    return say(
        "The tests cannot tell a drift from noise over {years} years, at {f} (probability that the loss rises: {p}).",
        years=over, f=f, p=plain(p, 2),
    )  # fmt: skip


# The evidence ladder of a piece: what its type says, then each test in time order and the belief after it

DRAWS = 1000
MOST_STEPS = 12
"""Steps of a ladder: each joins all tests up to it, and takes about a second of work the first time."""
STEPS = "step"
"""The kind under which they are remembered."""


def ladder_of(
    ledger: Ledger, tag: str, frequency_hz: float, *, on: date | None = None, progress: Progress | None = None
) -> tuple[Piece, tuple[LadderStep, ...]]:
    """Return a piece, and by which steps its loss at a frequency came to be known, each on the day of its test.

    The last step is the belief of the day asked for; without one, of today. Of more tests than ``MOST_STEPS`` those of
    one day are one step, and those before the newest steps as well. Steps are remembered in the ledger, so a further
    test costs one.

    A piece of unknown type that nobody measured has no steps.
    """
    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        (noun,) = shelf.nouns([items.needed(snapshot, "piece", tag)])
        tests = tests_of(shelf, noun, evidence_until(shelf, noun.tag, on))
        kept = steps.known(snapshot, STEPS, ENGINE).get(tag, ("", {}))[1]
    names = _names(tests, frequency_hz, year_of(today(on)))
    new = {} if set(names) <= set(kept) else _believed_after(tests, frequency_hz, names, kept, progress)
    if new and is_now(on):
        remember_answers(ledger, STEPS, {tag: ("", {name: kept.get(name) or new[name] for name in names})})
    found, heard = [], 0
    for name, (many, _) in names.items():
        low, middle, high = kept.get(name) or new[name]
        e, test = tests[many - 1]
        if many == heard + 1:
            alone = interval_at(test.belief, frequency_hz)
            found.append(LadderStep(e.what, e.measured_on, (low, middle, high), alone, _sheet(e)))
        else:
            found.append(LadderStep(_together(tests[heard:many]), e.measured_on, (low, middle, high)))
        heard = many
    first = before(noun, tests)
    if first is not None:
        what = say("the catalogue's {line}", line=noun.line.designator) if noun.line else say("cables in general")
        found.insert(0, LadderStep(what, "", interval_at(first, frequency_hz)))
    return noun, tuple(found)


def _steps(years: Sequence[float]) -> list[int]:
    """Return how many tests each step has heard; a long history goes by days, which have no order within them.

    >>> _steps([2024.0, 2025.0, 2025.0]), _steps([2024.0, *(15 * [2025.0]), 2026.0])
    ([1, 2, 3], [1, 16, 17])
    """
    counts = list(range(1, len(years) + 1))
    if len(counts) > MOST_STEPS + 1:
        counts = [n for n in counts if n == len(years) or years[n] > years[n - 1]]
    return counts[-MOST_STEPS - 1 :]


def _together(tests: Tests) -> str:
    """Return what a step of several tests is called."""
    first, last = tests[0][0].measured_on, tests[-1][0].measured_on
    if first == last:
        return say("{many} tests of one day", many=len(tests))
    return say("{many} earlier tests, from {first} on", many=len(tests), first=first)


def _names(tests: Tests, frequency_hz: float, day: float) -> dict[str, tuple[int, float]]:
    """Return the steps that are shown, by names that change with what they rest on: how many tests, and the day."""
    found = {}
    for many in _steps([t.year for _, t in tests]):
        heard = [t for _, t in tests[:many]]
        year = max(day, heard[-1].year) if many == len(tests) else heard[-1].year
        found[f"{digest_of(heard, year)} {frequency_hz:.0f}"] = (many, year)
    return found


def _believed_after(
    tests: Tests,
    frequency_hz: float,
    names: Mapping[str, tuple[int, float]],
    kept: Mapping[str, Any],
    progress: Progress | None,
) -> dict[str, Ends]:
    """Return the steps that are not remembered, worked out."""
    found: dict[str, Ends] = {}
    for n, (name, (many, year)) in enumerate(names.items()):
        if name not in kept:
            if progress:
                progress(n / len(names), say("joining the tests"))
            found[name] = interval_at(combined([t for _, t in tests[:many]], year).belief, frequency_hz)
    return found


def _sheet(evidence: Evidence) -> str:
    return evidence.key if evidence.kind == "sheet" else ""


def before(piece: Piece, tests: Sequence[tuple[Evidence, OneTest]]) -> Belief | None:
    """Return what was believed before the first test."""
    if tests and tests[0][1].before is not None:
        return tests[0][1].before
    if piece.line is None:
        return None
    return catalogue_belief(piece, DRAWS, seed=crc32(piece.line.designator.encode()))
