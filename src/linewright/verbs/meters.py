"""How a meter reads, band by band: since when that is known, and from which sessions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from itertools import chain
from math import exp
from typing import TYPE_CHECKING, Any

from linewright.core.errors import InputError
from linewright.core.formatting import digits, plain, signed
from linewright.core.formatting import frequency as written_frequency
from linewright.core.messages import say, together
from linewright.core.nouns.bench import SAME_BAND
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.shelf import BridgeBand, MeterBand, MeterKnown, Meters
from linewright.core.quantities import frequency_hz as frequency
from linewright.store import items
from linewright.store.ledger import Ledger, Snapshot
from linewright.verbs.shelf_evidence import Shelved, meter_tests_before, meters_of, year_of
from linewright.verbs.shelf_items import NOW
from linewright.verbs.shelf_nouns import LOADS, checked_meter, load_ohm
from linewright.verbs.shelf_open import By, today, writing

if TYPE_CHECKING:
    from linewright.core.nouns.bench import KnownBottom, KnownExponent, Meter
    from linewright.inference.history.bridges import KnownBridge
    from linewright.inference.history.meters import BottomTest, GainTest, KnownGain, MeterTest

TRUE = 0.10
"""A detector whose decibels are within a tenth reads true enough for ratios."""


def show_meter(ledger: Ledger, name: str, *, on: date | None = None) -> MeterKnown:
    """Return how a meter reads on every band that some session showed, as the bench takes it on a day.

    Parameters
    ----------
    name : str
        The meter, on the shelf or put away.

    Returns
    -------
    MeterKnown
        Exponent (1 reads true decibels) and gain beside a better meter (dB) with their 95 % intervals on each band,
        since when and from what.

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
    from linewright.inference.history.meters import known_bottoms, known_exponents, known_gains, shows

    until = {k: i for k, i in shelf.sheets.items() if name in meters_of(i) and i.body["measured_on"] <= day}
    exponents, asleep = meter_tests_before(shelf, [name], None)
    tests = [t for t in exponents if t.source in until and shows(t)]
    known = known_exponents(tests, year_of(day))
    asleep = [t for t in asleep if t.source in until]
    bottoms = known_bottoms(asleep, year_of(day))
    gains = known_gains(_gain_tests(shelf, name, until), year_of(day))
    sessions = tuple(sorted(until, key=lambda key: (until[key].body["measured_on"], key)))
    bands: list[float] = []
    found_on = ((k.frequency_hz for k in known), (g.frequency_hz for g in gains), (b.frequency_hz for b in bottoms))
    for f in sorted(chain.from_iterable(found_on)):
        if not bands or f / bands[-1] - 1.0 > SAME_BAND:
            bands.append(f)
    found = tuple(_band(shelf, f, (known, tests), gains, (bottoms, asleep)) for f in bands)
    return MeterKnown(name, sessions, found, _bridges(items.needed(shelf.reading, "meter", name), day))


def _gain_tests(shelf: Shelved, name: str, until: Iterable[str]) -> Iterator[GainTest]:
    from linewright.inference.history.meters import gain_tests

    for key in until:
        if shelf.kept[key] and len(meters_of(shelf.sheets[key])) > 1:
            year = year_of(shelf.sheets[key].body["measured_on"])
            yield from (t for t in gain_tests(shelf.written(key).sheet(), year, key) if t.meter == name)


def _band(
    shelf: Shelved,
    frequency_hz: float,
    exponents: tuple[Sequence[KnownExponent], Sequence[MeterTest]],
    gains: Sequence[KnownGain],
    bottoms: tuple[Sequence[KnownBottom], Sequence[BottomTest]],
) -> MeterBand:
    known = next((k for k in exponents[0] if abs(frequency_hz / k.frequency_hz - 1.0) < SAME_BAND), None)
    mine = [t.source for t in exponents[1] if known and abs(t.frequency_hz / known.frequency_hz - 1.0) < SAME_BAND]
    beside = [g for g in gains if abs(frequency_hz / g.frequency_hz - 1.0) < SAME_BAND]
    gain = min(beside, key=lambda g: g.sd_db, default=None)
    asleep = next((k for k in bottoms[0] if k.covers(frequency_hz)), None)
    slept = [t.source for t in bottoms[1] if asleep and asleep.covers(t.frequency_hz)]
    sources = tuple(dict.fromkeys([*mine, *(gain.sources if gain else ()), *slept]))
    since = min(shelf.sheets[key].body["measured_on"] for key in sources)
    middle, low, high = (exp(known.log_mean + k * known.log_sd) if known else None for k in (0.0, -1.96, 1.96))
    gained, least, most = (gain.gain_db + k * gain.sd_db if gain else None for k in (0.0, -1.96, 1.96))
    said = [_why(known, middle, low, high)] if known and middle and low and high else []
    said += [_gain_words(gain, first=not said)] if gain else []
    ends = _bottom_ends(asleep, shelf.written(slept[-1]).sheet().meter(asleep.meter)) if asleep else (None,) * 3
    said += [_bottom_words(frequency_hz, ends, first=not said)] if asleep else []
    return MeterBand(
        frequency_hz, middle, low, high, since, sources, together(said), gained, least, most,
        gain.against if gain else None, gain.peers if gain else False, *ends,
    )  # fmt: skip


Ends = tuple[float | None, float | None, float | None]


def _bottom_ends(known: KnownBottom, meter: Meter) -> Ends:
    """Return below which reading, on its own scale, a meter shows nothing: middle, low and high."""
    from linewright.inference.bench.observations import shown

    middle, low, high = (shown(meter, known.level_db + k * known.sd_db) for k in (0.0, -1.96, 1.96))
    return middle, low, high


def _bottom_words(frequency_hz: float, ends: Ends, *, first: bool) -> str:
    middle, low, high = (digits(v or 0.0, 2) for v in ends)
    said = say("It shows nothing below about {reading} on its scale ({low} to {high}).",
               reading=middle, low=low, high=high)  # fmt: skip
    return together([say("On {f}:", f=written_frequency(frequency_hz)), said]) if first else said


def _gain_words(gain: KnownGain, *, first: bool) -> str:
    """Return how much power a meter shows beside another; ``first`` where the band is still to be named."""
    ends = [gain.gain_db + k * gain.sd_db for k in (-1.96, 0.0, 1.96)]
    if ends[0] < 0.0 < ends[2]:
        said = say("It agrees with {other}, within {low} to {high} dB.",
                   other=gain.against, low=signed(ends[0], 1), high=signed(ends[2], 1))  # fmt: skip
    else:
        low, middle, high = sorted(map(abs, ends))
        told = {"size": plain(middle, 1), "other": gain.against, "low": plain(low, 1), "high": plain(high, 1)}
        more = say("It shows {size} dB more power than {other} ({low} to {high}).", **told)
        less = say("It shows {size} dB less power than {other} ({low} to {high}).", **told)
        cure = say("Both are in their rated band: nothing shows which is right.") if gain.peers else say(
            "Multiply its watts by {times}.", times=plain(10.0 ** (-gain.gain_db / 10.0), 2))  # fmt: skip
        said = together([more if gain.gain_db > 0 else less, cure])
    return together([say("On {f}:", f=written_frequency(gain.frequency_hz)), said]) if first else said


def _why(known: KnownExponent, middle: float, low: float, high: float) -> str:
    parts = {"f": written_frequency(known.frequency_hz), "share": plain(100 * abs(middle - 1.0), 0),
             "low": plain(low, 2), "high": plain(high, 2)}  # fmt: skip
    if low > 1.0 - TRUE and high < 1.0 + TRUE:
        return say("On {f} its dB scale is right within a tenth ({low} to {high} times the true value).", **parts)
    if low > 1.0:
        return say("On {f} it over-reads dB differences by about {share} % ({low} to {high}).", **parts)
    if high < 1.0:
        return say("On {f} it under-reads dB differences by about {share} % ({low} to {high}).", **parts)
    return say(
        "On {f} its dB scale may be {low} to {high} times the true value; a known attenuator would show it.", **parts
    )


# SWR meters against known loads


def calibrate_meter(
    ledger: Ledger,
    name: str,
    frequency_hz: float,
    readings: Sequence[tuple[str, float]],
    *,
    on: date | None = None,
    by: By = NOW,
) -> MeterKnown:
    """Keep what an SWR meter showed of known loads on a band, and return how it reads since.

    Two loads on either side of 50 ohms, such as 25 and 100 ohms, tell how much its bridge leaks and how long it shows a
    reflection. A meter that is not on the shelf is put there.

    Parameters
    ----------
    name : str
        The meter.
    frequency_hz : float
        The band, in hertz.
    readings : sequence of (str, float)
        Loads, by their impedance ("25 ohm") or as a kept load is called, each with the SWR that the meter showed.
    on : date, optional
        When; without it, today.

    Returns
    -------
    MeterKnown
        ``bridges`` has the directivity in dB and the scale, with 95 % intervals.

    Raises
    ------
    InputError
        If nothing was read, or a load or an SWR breaks a rule.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     known = calibrate_meter(ledger, "bridge", 144e6, [("25 ohm", 2.1), ("100 ohm", 1.9)])
    >>> known.bridges[0].scale_low < 1.0 < known.bridges[0].scale_high
    True
    """
    if not readings:
        raise InputError(
            "readings", say("are missing"), cure=say("Give a load and the SWR that the meter shows for it.")
        )
    with writing(ledger, by) as w:
        old = items.find(w.connection, "meter", name)
        body = dict(old.body) if old else {"name": name}
        day, at = today(on) if on else by.day, f"{frequency_hz:.0f} Hz"
        rows = [[day, at, _load_text(w.connection, load), swr] for load, swr in readings]
        key, sound = checked_meter(body | {LOADS: [*body.get(LOADS, []), *rows]}, ())
        items.put(w, "meter", key, sound, expect=old.version if old else 0)
    return show_meter(ledger, key, on=on)


def _load_text(snapshot: Snapshot, load: str) -> str:
    """Return a load's impedance as it is written: of a kept one by its tag, else as it was given."""
    kept = items.find(snapshot, "load", " ".join(load.split()))
    if kept is None:
        return load
    if "impedance" not in kept.body:
        raise InputError(
            "load",
            say("must be stated with its impedance; {load} has only an SWR, which leaves its phase open", load=load),
        )
    return str(kept.body["impedance"])


def _bridges(meter: Item, day: str) -> tuple[BridgeBand, ...]:
    rows = [row for row in meter.body.get(LOADS, ()) if row[0] <= day]
    if not rows:
        return ()
    from linewright.inference.history.bridges import LoadTest, known_bridges

    tests = [LoadTest(year_of(on), frequency(at, "at"), load_ohm(load), swr) for on, at, load, swr in rows]
    return tuple(_bridge(b, rows) for b in known_bridges(tests, year_of(day)))


def _bridge(known: KnownBridge, rows: Sequence[Sequence[Any]]) -> BridgeBand:
    import numpy as np

    mine = [row for row in rows if abs(frequency(row[1], "at") / known.frequency_hz - 1.0) < SAME_BAND]
    low, middle, high = (float(v) for v in np.quantile(known.directivity_db, [0.025, 0.5, 0.975]))
    least, scale, most = (float(v) for v in np.quantile(known.scale, [0.025, 0.5, 0.975]))
    since, f = min(row[0] for row in mine), written_frequency(known.frequency_hz)
    if not known.agree:
        why = say("On {f} no bridge could show all these readings: read the loads again, and check their plugs.", f=f)
    else:
        why = say(
            "On {f} the directivity of its bridge is about {directivity} dB ({low} to {high}), and it shows a "
            "reflection as {scale} times its true size ({least} to {most}); from {count} readings of known loads.",
            f=f, directivity=plain(middle, 0), low=plain(low, 0), high=plain(high, 0), scale=plain(scale, 2),
            least=plain(least, 2), most=plain(most, 2), count=known.tests,
        )  # fmt: skip
    return BridgeBand(known.frequency_hz, middle, low, high, scale, least, most, known.tests, since, why)


def directivity_at(ledger: Ledger, name: str, frequency_hz: float | None, *, on: date | None = None) -> float:
    """Return the directivity of a meter that known loads showed, dB, at a frequency: the low end of its interval.

    Raises
    ------
    InputError
        If no load was read with it on that band.
    """
    bands = show_meter(ledger, name, on=on).bridges
    near = [b for b in bands if frequency_hz is None or abs(frequency_hz / b.frequency_hz - 1.0) < NEAR]
    if not near:
        at = f" near {written_frequency(frequency_hz)}" if frequency_hz else ""
        cure = say(
            'Read 25 and 100 ohms with it: linewright shelf calibrate "{name}" --at FREQ --load "25 ohm" 2.1 ...',
            name=name,
        )
        raise InputError(
            "meter", say("must have been calibrated with known loads{at}; {name} was not", at=at, name=name), cure=cure
        )
    return min(b.directivity_db_low for b in near)


NEAR = 0.15
"""A bridge leaks alike over this share of frequency."""
