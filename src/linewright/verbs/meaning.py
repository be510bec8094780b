"""What a decibel means on the air: power, S units, range."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Final

from linewright.core.errors import InputError, UnitError
from linewright.core.formatting import digits, frequency, quantity
from linewright.core.formulas import meaning as physics
from linewright.core.messages import say, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.meaning import Meaning, Signal
from linewright.core.quantities import ratio_db

# A change of decibels in words a person can quote, and how each figure was worked out

IARU: Final = "IARU Region 1 Technical Recommendation R.1: VHF Managers Handbook, 8.6.1; HF handbook V9.0, 4.1.3"
DECIBEL: Final = say("definition of the decibel")
WATTS: Final = ((1e3, "kW"), (1.0, "W"), (1e-3, "mW"), (1e-6, "µW"), (1e-9, "nW"))


def sentence(m: Meaning) -> str:
    """Return the change in a few words: power, transmitter power, S units, signal and range."""
    if m.change_db == 0:
        return say("0 dB changes nothing.")
    power, range_ = (_less if m.change_db < 0 else _more)(m)
    heard = ""
    if m.signal_before and m.signal_after:
        heard = say("A signal of {before} becomes {after}.",
                    before=m.signal_before.reading, after=m.signal_after.reading)  # fmt: skip
    return together([power, heard, range_])


def _less(m: Meaning) -> tuple[str, str]:
    near, far = (percent(r) for r in (m.free_space_range_ratio, m.plane_earth_range_ratio))
    return (
        say("{change} less leaves {share} of the power, like turning {power} down to {equivalent}.",
            change=quantity(digits(-m.change_db, 4), "dB"), share=percent(m.power_ratio), power=watts(m.power_w),
            equivalent=watts(m.equivalent_power_w)),
        say("That is {units} less; the range falls to {near} in free space, to {far} over plane earth.",
            units=s_units(m), near=near, far=far),
    )  # fmt: skip


def _more(m: Meaning) -> tuple[str, str]:
    near, far = (figure(r) for r in (m.free_space_range_ratio, m.plane_earth_range_ratio))
    return (
        say("{change} more is {times} times the power, like turning {power} up to {equivalent}.",
            change=quantity(digits(m.change_db, 4), "dB"), times=figure(m.power_ratio), power=watts(m.power_w),
            equivalent=watts(m.equivalent_power_w)),
        say("That is {units} more; the range grows to {near} times in free space, to {far} times over plane earth.",
            units=s_units(m), near=near, far=far),
    )  # fmt: skip


def remarks(m: Meaning) -> tuple[str, ...]:
    """Return what a person should know before quoting it."""
    said = [say("Few S meters keep to 6 dB a unit, and few paths to either law of range.")]
    if m.frequency_hz is not None and 30e6 <= m.frequency_hz < 144e6:
        said.append(say("An older wording gives S9 as -93 dBm above 144 MHz only and says nothing from 30 to 144 MHz."))
    if m.change_db < 0:
        said.append(say(
            "In the feed line this is what a transmitted signal loses. Reception loses less where noise comes down the"
            " same line: next to nothing on a noisy short-wave band."
        ))  # fmt: skip
    return tuple(said)


def workings(m: Meaning) -> tuple[Working, ...]:
    """Return formula, inputs and source of every figure."""
    change = ((say("change"), quantity(digits(m.change_db), "dB")),)
    s9: tuple[tuple[str, str], ...] = ()
    if m.s9_dbm is not None and m.frequency_hz is not None:
        s9 = ((say("S9 at {f}", f=frequency(m.frequency_hz)), quantity(digits(m.s9_dbm), "dBm")),)
    near, far = (digits(r, 4) for r in (m.free_space_range_ratio, m.plane_earth_range_ratio))
    power = (say("power"), quantity(digits(m.power_w), "W"))
    return (
        Working(
            say("power: {times} times", times=digits(m.power_ratio, 4)),
            say("10^(change/10)"),
            change,
            DECIBEL,
            ("power ratio",),
        ),
        Working(
            say("equivalent power: {power}", power=quantity(digits(m.equivalent_power_w, 4), "W")),
            say("power · 10^(change/10)"),
            (*change, power),
            DECIBEL,
            ("equivalent power",),
        ),
        Working(
            say("S units: {units}", units=_s_units(m.s_units)), say("change / 6 dB"), (*change, *s9), IARU, ("S units",)
        ),
        Working(
            say("range in free space: {times} times", times=near),
            say("10^(change/20)"),
            change,
            say("ITU-R P.525: loss grows with 20 log d"),
            ("free space",),
        ),
        Working(
            say("range over plane earth: {times} times", times=far),
            say("10^(change/40)"),
            change,
            say("two-ray model over flat ground: loss grows with 40 log d (from memory)"),
            ("plane earth",),
        ),
    )


def _s_units(units: float) -> str:
    sign = "+" if units >= 0 else ""
    return together([sign, digits(units, 3)], "")


def s_words(s_reading: float, over_db: float) -> str:
    """Write an S reading as operators say it.

    >>> s_words(7.0, 0.0), s_words(6.5, 0.0), s_words(9.0, 20.0), s_words(-2.0, 0.0)
    ('S7', 'S6.5', 'S9+20 dB', 'below S0')
    """
    if over_db >= 0.05:
        return say("S9+{over} dB", over=digits(over_db, 3))
    return say("S{units}", units=digits(abs(round(s_reading, 1)))) if s_reading >= -0.05 else say("below S0")


def s_units(m: Meaning) -> str:
    """Write how many S units a change is, without its sign."""
    size = abs(m.s_units)
    if size == 0.5:
        return say("half an S unit")
    return say("{units} S unit", units=figure(size)) if size == 1 else say("{units} S units", units=figure(size))


def figure(value: float) -> str:
    """Write a number with two figures; from a hundred up with three, from a million up in powers of ten.

    >>> figure(0.6310), figure(1.0), figure(398.1)
    ('0.63', '1', '398')
    """
    return digits(value, 3 if value >= 99.5 else 2)


def percent(ratio: float) -> str:
    """Write a ratio as a percentage.

    >>> percent(0.501), percent(1e-6)
    ('50 %', '0.0001 %')
    """
    return quantity(figure(100 * ratio), "%")


def watts(power_w: float) -> str:
    """Write a power in the unit that suits it.

    >>> watts(63.1), watts(398.1), watts(1500.0), watts(0.005)
    ('63 W', '398 W', '1.5 kW', '5 mW')
    """
    size, unit = next(((size, unit) for size, unit in WATTS if power_w >= 0.9995 * size), WATTS[-1])
    return quantity(figure(power_w / size), unit)


# What a decibel means on the air: power, S units, range

MOST_DB: Final = 200.0
"""No change a station knows is larger."""
ANY_BAND_HZ: Final = 14e6
"""Readings change alike on every band: this one serves where none is named, and its levels are not shown."""

_S_READING: Final = re.compile(r"^\s*S\s*(\d+(?:[.,]\d+)?)\s*(?:\+\s*(\d+(?:[.,]\d+)?)\s*(?:dB)?)?\s*$", re.IGNORECASE)
_DBM: Final = re.compile(r"^\s*([+-]?\d+(?:[.,]\d+)?)\s*dBm\s*$", re.IGNORECASE)


def read_change_db(text: str) -> float:
    """Return a written change in dB; one without a sign is a loss, as losses are written in this package.

    Raises
    ------
    InputError
        If the text is no number of decibels.

    >>> read_change_db("3 dB"), read_change_db("+6dB"), read_change_db("-2.5 dB")
    (-3.0, 6.0, -2.5)
    """
    written = text.strip().replace("−", "-")
    value = ratio_db(written, "change")
    return value if written.startswith(("+", "-")) else -value


def meaning_of(
    change_db: float, power_w: float = 100.0, frequency_hz: float | None = None, signal: str | None = None
) -> Meaning:
    """Return what a change of so many decibels means on the air.

    Parameters
    ----------
    change_db : float
        The change; below zero it is a loss.
    power_w : float
        The transmitter power it is compared with, above zero.
    frequency_hz : float, optional
        Says which level S9 has; without it S readings still change, but have no level.
    signal : str, optional
        A received signal before the change: "S7", "S9+20", "-97 dBm".

    Raises
    ------
    InputError
        If a number is out of range, or the signal cannot be read.

    >>> meaning_of(-2.0).text
    '2 dB less leaves 63 % of the power, like turning 100 W down to 63 W. That is 0.33 S units less; the range falls to
    79 % in free space, to 89 % over plane earth.'
    """
    if not (math.isfinite(change_db) and abs(change_db) <= MOST_DB):
        raise InputError("change_db", f"must lie within -{MOST_DB:g} and {MOST_DB:g} dB; got {change_db!r}")
    if not (math.isfinite(power_w) and power_w > 0):
        raise InputError("power_w", f"must be above zero and finite; got {power_w!r}")
    before = _signal(signal, frequency_hz) if signal is not None else None
    found = Meaning(
        change_db=float(change_db),
        power_ratio=float(physics.power_ratio(change_db)),
        power_w=float(power_w),
        equivalent_power_w=float(physics.equivalent_power_w(power_w, change_db)),
        s_units=float(physics.s_units(change_db)),
        free_space_range_ratio=float(physics.free_space_range_ratio(change_db)),
        plane_earth_range_ratio=float(physics.plane_earth_range_ratio(change_db)),
        frequency_hz=frequency_hz,
        s9_dbm=None if frequency_hz is None else float(physics.s9_dbm(frequency_hz)),
        signal_before=before,
        signal_after=None if before is None else _changed(before, change_db, frequency_hz),
        text="",
    )
    return replace(found, text=sentence(found), remarks=remarks(found), workings=workings(found))


def _signal(text: str, frequency_hz: float | None) -> Signal:
    if match := _S_READING.match(text):
        s, over = (float((part or "0").replace(",", ".")) for part in match.groups())
        return _shown(float(physics.s_reading_dbm(s, over, frequency_hz or ANY_BAND_HZ)), frequency_hz)
    if match := _DBM.match(text):
        if frequency_hz is None:
            raise InputError("frequency", "is needed to say which S reading a level is", cure='Add it: --at "144 MHz".')
        return _shown(float(match[1].replace(",", ".")), frequency_hz)
    raise UnitError("signal", f"is no S reading and no level; got {text!r}", cure="Write S7, S9+20 or -97dBm.")


def _shown(level_dbm: float, frequency_hz: float | None) -> Signal:
    s, over = (float(x) for x in physics.s_reading(level_dbm, frequency_hz or ANY_BAND_HZ))
    return Signal(s, over, None if frequency_hz is None else level_dbm, s_words(s, over))


def _changed(before: Signal, change_db: float, frequency_hz: float | None) -> Signal:
    above_s9_db = before.over_db + physics.DB_PER_S_UNIT * (before.s_reading - 9.0)
    return _shown(float(physics.s9_dbm(frequency_hz or ANY_BAND_HZ)) + above_s9_db + change_db, frequency_hz)
