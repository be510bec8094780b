"""How a meter reads, band by band: since when that is known, and from which sessions."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from math import exp
from typing import TYPE_CHECKING

from linewright.core.formatting import frequency, plain
from linewright.core.messages import say
from linewright.core.nouns.bench import SAME_BAND
from linewright.core.nouns.shelf import MeterBand, MeterKnown, Meters
from linewright.store import items
from linewright.store.ledger import Ledger
from linewright.verbs.shelf_evidence import Shelved, meter_tests_before, meters_of, year_of
from linewright.verbs.shelf_open import today

if TYPE_CHECKING:
    from linewright.core.nouns.bench import KnownExponent
    from linewright.inference.history.meters import MeterTest

TRUE = 0.10
"""A detector whose decibels are within a tenth reads true enough for ratios."""


def show_meter(ledger: Ledger, name: str, *, on: date | None = None) -> MeterKnown:
    """Return how a meter reads on every band that some session showed, as the bench takes it on a day.

    Parameters
    ----------
    ledger : Ledger
        An open ledger; see ``open_ledger``.
    ledger : Ledger
        An open ledger; see ``open_ledger``.
    name : str
        The meter, on the shelf or put away.
    on : date, optional
        The day; without it, today.

    Returns
    -------
    MeterKnown
        Exponent (1 reads true decibels) with its 95 % interval on each band, since when and from what.

    Raises
    ------
    UnknownNameError
        If there is no such meter.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     show_meter(ledger, "desk meter").meter
    'desk meter'
    """
    with ledger.reads() as snapshot:
        items.needed(snapshot, "meter", name)
        return _known(Shelved.of(snapshot), name, today(on))


def list_meters(ledger: Ledger, *, on: date | None = None) -> Meters:
    """Return every meter on the shelf with how it reads.

    Parameters
    ----------
    ledger : Ledger
        An open ledger; see ``open_ledger``.
    ledger : Ledger
        An open ledger; see ``open_ledger``.
    on : date, optional
        The day; without it, today.
    on : date, optional
        The day; without it, today.

    Returns
    -------
    Meters
        Each with its detector exponent and its 95 % interval, band by band.

    Raises
    ------
    CannotError
        If the ledger cannot be read.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     sorted(meter.meter for meter in list_meters(ledger).meters)
    ['desk meter']
    """
    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        names = [i.key for i in items.every(snapshot, "meter", archived=False)]
        return Meters(tuple(_known(shelf, name, today(on)) for name in names))


def _known(shelf: Shelved, name: str, day: str) -> MeterKnown:
    from linewright.inference.history.meters import known_exponents, shows

    until = {k: i for k, i in shelf.sheets.items() if name in meters_of(i) and i.body["measured_on"] <= day}
    tests = [t for t in meter_tests_before(shelf, [name], None) if t.source in until and shows(t)]
    known = known_exponents(tests, year_of(day))
    sessions = tuple(sorted(until, key=lambda key: (until[key].body["measured_on"], key)))
    return MeterKnown(name, sessions, tuple(_band(shelf, k, tests) for k in known))


def _band(shelf: Shelved, known: KnownExponent, tests: Sequence[MeterTest]) -> MeterBand:
    mine = [t for t in tests if abs(t.frequency_hz / known.frequency_hz - 1.0) < SAME_BAND]
    since = min(shelf.sheets[t.source].body["measured_on"] for t in mine)
    middle, low, high = (exp(known.log_mean + k * known.log_sd) for k in (0.0, -1.96, 1.96))
    sources = tuple(dict.fromkeys(t.source for t in mine))
    return MeterBand(known.frequency_hz, middle, low, high, since, sources, _why(known, middle, low, high))


def _why(known: KnownExponent, middle: float, low: float, high: float) -> str:
    parts = {"f": frequency(known.frequency_hz), "share": plain(100 * abs(middle - 1.0), 0),
             "low": plain(low, 2), "high": plain(high, 2)}  # fmt: skip
    if low > 1.0 - TRUE and high < 1.0 + TRUE:
        return say("On {f} its decibels are true within a tenth ({low} to {high} of what they should be).", **parts)
    if low > 1.0:
        return say("On {f} it stretches every decibel by about {share} % ({low} to {high}).", **parts)
    if high < 1.0:
        return say("On {f} it shrinks every decibel by about {share} % ({low} to {high}).", **parts)
    return say("On {f} its decibels may be {low} to {high} of what they should be; a known attenuator tells.", **parts)
