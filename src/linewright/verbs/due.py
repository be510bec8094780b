"""What to test first: the pieces whose test the plans stand to gain most by."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

from linewright.core.formatting import frequency, plain
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.shelf import Due, DueList, Reminder
from linewright.core.nouns.station import LinePart, Run, Station
from linewright.store.ledger import Ledger
from linewright.verbs.beliefs import Beliefs
from linewright.verbs.shelf_beliefs import Progress, list_shelf, reminder_of
from linewright.verbs.shelf_open import today
from linewright.verbs.shelf_stations import station_of, stations

if TYPE_CHECKING:
    from linewright.core.nouns.belief import Belief

DRAWS = 1000
WIDE = 3.92
"""Width of a 95 % interval in standard deviations."""
TEST_LOG, TEST_DB = 0.06, 0.05
"""What a bench with two meters and two lengths leaves open of a loss: a share of it, and decibels at least
(docs/how-the-bench-works.md, median over made-up benches)."""
LEAST_DB = 0.05
"""A piece that is not due and gains the plans less is not listed."""


@dataclass(frozen=True, slots=True)
class _Gain:
    """By how much a test of a piece narrows the interval of a run's loss at a frequency."""

    run: str
    frequency_hz: float
    width_db: float
    after_db: float

    @property
    def db(self) -> float:
        return self.width_db - self.after_db


def due_first(ledger: Ledger, *, on: date | None = None, progress: Progress | None = None) -> DueList:
    """Return what to test first: pieces by what the plans stand to gain, then by how long they are due.

    The gain is by how much one bench test would narrow the 95 % interval of what the runs of the kept stations lose
    that a piece lies in, each run at its frequency where that is most. Listed are the pieces that are due now or soon,
    and those whose test gains the plans a twentieth of a decibel or more.

    Parameters
    ----------
    on : date, optional
        The day from which reminders are seen; without it, today.

    Returns
    -------
    DueList
        Gains and widths in dB.

    Raises
    ------
    InputError
        If a kept station or sweep cannot be read.

    References
    ----------
    Widths by the sum of variances: JCGM 100:2008, 5.1.2.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     first = due_first(ledger).due[0]
    ...     first.piece, first.urgency, first.due_on
    ('blue 18', 'due', '2026-03-15')
    """
    shelf = list_shelf(ledger, on=on, progress=progress)
    gains: dict[str, list[_Gain]] = {}
    for item in stations(ledger):
        for tag, gain in _of_station(station_of(ledger, item.key, progress=progress)):
            gains.setdefault(tag, []).append(gain)
    reminders = {p.tag: reminder_of(p, today(on)) for p in shelf.pieces}
    found = [_due(reminders[tag], gains.get(tag, [])) for tag in reminders]
    chosen = [d for d in found if d.urgency != "later" or d.gain_db >= LEAST_DB]
    return DueList(tuple(sorted(chosen, key=lambda d: (-round(d.gain_db, 2), d.due_on, d.piece))))


def _of_station(station: Station) -> Iterator[tuple[str, _Gain]]:
    beliefs = Beliefs(station, DRAWS)
    for run in station.runs:
        whole, known = beliefs.of_run(run)
        yield from _of_run(whole, known)


def _of_run(run: Run, known: dict[str, Belief]) -> Iterator[tuple[str, _Gain]]:
    """Yield the pieces of a run with what a test of each gains, at the frequency where that is most."""
    import numpy as np

    parts = [p for p in run.chain if isinstance(p, LinePart) and p.piece.tag in known]
    if not parts:
        return
    draws = np.stack([known[p.piece.tag].loss_db(run.frequencies_hz) for p in parts])
    variance, middle = draws.var(axis=2), np.median(draws, axis=2)
    whole = variance.sum(axis=0)
    left = np.maximum(TEST_LOG * middle, TEST_DB) ** 2
    after = whole - variance + variance * left / (variance + left)
    for i, part in enumerate(parts):
        if part.measured:
            at = int(np.argmax(np.sqrt(whole) - np.sqrt(after[i])))
            ends = WIDE * float(np.sqrt(whole[at])), WIDE * float(np.sqrt(after[i, at]))
            yield part.piece.tag, _Gain(run.name, float(run.frequencies_hz[at]), *ends)


def _due(reminder: Reminder, gains: list[_Gain]) -> Due:
    total = sum(g.db for g in gains)
    if not gains:
        why = say("It lies in no run. {why}", why=reminder.why)
        return Due(reminder.piece, reminder.due_on, reminder.urgency, 0.0, None, None, None, None, why)
    best = max(gains, key=lambda g: g.db)
    why = _narrowing(best.run, best.frequency_hz, best.width_db, best.after_db, reminder.why)
    ends = best.run, best.frequency_hz, best.width_db, best.after_db
    return Due(reminder.piece, reminder.due_on, reminder.urgency, total, *ends, why)


def _narrowing(run: str, frequency_hz: float, width_db: float, after_db: float, why: str) -> str:
    """Return by how much a test would narrow an interval, in so many decimals that a change shows.

    >>> _narrowing("home", 144e6, 0.31, 0.28, "It is worn.")
    'A test would narrow the interval of home on 144 MHz from 0.31 dB to 0.28 dB. It is worn.'
    >>> _narrowing("home", 144e6, 0.3104, 0.3096, "It is worn.")
    'A test would hardly narrow the interval of home on 144 MHz, 0.3 dB. It is worn.'
    """
    told = ((plain(width_db, places), plain(after_db, places)) for places in (1, 2))
    before, after = next((ends for ends in told if ends[0] != ends[1]), ("", ""))
    at = frequency(frequency_hz)
    if before:
        return say("A test would narrow the interval of {run} on {f} from {before} dB to {after} dB. {why}",
                   run=run, f=at, before=before, after=after, why=why)  # fmt: skip
    return say("A test would hardly narrow the interval of {run} on {f}, {before} dB. {why}",
               run=run, f=at, before=plain(width_db, 1), why=why)  # fmt: skip
