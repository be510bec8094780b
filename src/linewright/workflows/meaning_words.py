"""A change of decibels in words a person can quote, and how each figure was worked out."""

from __future__ import annotations

from typing import Final

from linewright.model.meaning import Meaning
from linewright.model.result import Working
from linewright.units.said import say, together
from linewright.units.writing import digits, frequency, quantity

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
        Working(say("power: {times} times", times=digits(m.power_ratio, 4)), say("10^(change/10)"), change, DECIBEL),
        Working(
            say("equivalent power: {power}", power=quantity(digits(m.equivalent_power_w, 4), "W")),
            say("power · 10^(change/10)"),
            (*change, power),
            DECIBEL,
        ),
        Working(say("S units: {units}", units=_s_units(m.s_units)), say("change / 6 dB"), (*change, *s9), IARU),
        Working(
            say("range in free space: {times} times", times=near),
            say("10^(change/20)"),
            change,
            say("ITU-R P.525: loss grows with 20 log d"),
        ),
        Working(
            say("range over plane earth: {times} times", times=far),
            say("10^(change/40)"),
            change,
            say("two-ray model over flat ground: loss grows with 40 log d (from memory)"),
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
