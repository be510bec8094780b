"""A change of decibels in words a person can quote, and how each figure was worked out."""

from __future__ import annotations

from typing import Final

from linewright.model.meaning import Meaning
from linewright.model.result import Working
from linewright.units.writing import frequency

IARU: Final = "IARU Region 1 Technical Recommendation R.1: VHF Managers Handbook, 8.6.1; HF handbook V9.0, 4.1.3"
DECIBEL: Final = "definition of the decibel"
WATTS: Final = ((1e3, "kW"), (1.0, "W"), (1e-3, "mW"), (1e-6, "µW"), (1e-9, "nW"))


def sentence(m: Meaning) -> str:
    """Return the change in a few words: power, transmitter power, S units, signal and range."""
    if m.change_db == 0:
        return "0 dB changes nothing."
    power, range_ = (_less if m.change_db < 0 else _more)(m)
    heard = ""
    if m.signal_before and m.signal_after:
        heard = f" A signal of {m.signal_before.reading} becomes {m.signal_after.reading}."
    return f"{power}.{heard} {range_}"


def _less(m: Meaning) -> tuple[str, str]:
    near, far = (percent(r) for r in (m.free_space_range_ratio, m.plane_earth_range_ratio))
    return (
        f"{-m.change_db:.4g} dB less leaves {percent(m.power_ratio)} of the power, like turning {watts(m.power_w)} down"
        f" to {watts(m.equivalent_power_w)}",
        f"That is {s_units(m)} less; the range falls to {near} in free space, to {far} over plane earth.",
    )


def _more(m: Meaning) -> tuple[str, str]:
    near, far = (figure(r) for r in (m.free_space_range_ratio, m.plane_earth_range_ratio))
    return (
        f"{m.change_db:.4g} dB more is {figure(m.power_ratio)} times the power, like turning {watts(m.power_w)} up to"
        f" {watts(m.equivalent_power_w)}",
        f"That is {s_units(m)} more; the range grows to {near} times in free space, to {far} times over plane earth.",
    )


def remarks(m: Meaning) -> tuple[str, ...]:
    """Return what a person should know before quoting it."""
    said = ["Few S meters keep to 6 dB a unit, and few paths to either law of range."]
    if m.frequency_hz is not None and 30e6 <= m.frequency_hz < 144e6:
        said.append("An older wording gives S9 as -93 dBm above 144 MHz only and says nothing from 30 to 144 MHz.")
    if m.change_db < 0:
        said.append(
            "In the feed line this is what a transmitted signal loses. Reception loses less where noise comes down the"
            " same line: next to nothing on a noisy short-wave band."
        )
    return tuple(said)


def workings(m: Meaning) -> tuple[Working, ...]:
    """Return formula, inputs and source of every figure."""
    change = (("change", f"{m.change_db:g} dB"),)
    known = m.s9_dbm is not None and m.frequency_hz is not None
    s9 = ((f"S9 at {frequency(m.frequency_hz or 0)}", f"{m.s9_dbm:g} dBm"),) if known else ()
    near, far = m.free_space_range_ratio, m.plane_earth_range_ratio
    return (
        Working(f"power: {m.power_ratio:.4g} times", "10^(change/10)", change, DECIBEL),
        Working(
            f"equivalent power: {m.equivalent_power_w:.4g} W",
            "power · 10^(change/10)",
            (*change, ("power", f"{m.power_w:g} W")),
            DECIBEL,
        ),
        Working(f"S units: {m.s_units:+.3g}", "change / 6 dB", (*change, *s9), IARU),
        Working(
            f"range in free space: {near:.4g} times",
            "10^(change/20)",
            change,
            "ITU-R P.525: loss grows with 20 log d",
        ),
        Working(
            f"range over plane earth: {far:.4g} times",
            "10^(change/40)",
            change,
            "two-ray model over flat ground: loss grows with 40 log d (from memory)",
        ),
    )


def s_words(s_reading: float, over_db: float) -> str:
    """Write an S reading as operators say it.

    >>> s_words(7.0, 0.0), s_words(6.5, 0.0), s_words(9.0, 20.0), s_words(-2.0, 0.0)
    ('S7', 'S6.5', 'S9+20 dB', 'below S0')
    """
    if over_db >= 0.05:
        return f"S9+{over_db:.3g} dB"
    return f"S{abs(round(s_reading, 1)):g}" if s_reading >= -0.05 else "below S0"


def s_units(m: Meaning) -> str:
    """Write how many S units a change is, without its sign."""
    size = abs(m.s_units)
    return "half an S unit" if size == 0.5 else f"{figure(size)} S unit{'' if size == 1 else 's'}"


def figure(value: float) -> str:
    """Write a number with two figures; from a hundred up with three, from a million up in powers of ten.

    >>> figure(0.6310), figure(1.0), figure(398.1)
    ('0.63', '1', '398')
    """
    return f"{value:.3g}" if value >= 99.5 else f"{value:.2g}"


def percent(ratio: float) -> str:
    """Write a ratio as a percentage.

    >>> percent(0.501), percent(1e-6)
    ('50 %', '0.0001 %')
    """
    return f"{figure(100 * ratio)} %"


def watts(power_w: float) -> str:
    """Write a power in the unit that suits it.

    >>> watts(63.1), watts(398.1), watts(1500.0), watts(0.005)
    ('63 W', '398 W', '1.5 kW', '5 mW')
    """
    size, unit = next(((size, unit) for size, unit in WATTS if power_w >= 0.9995 * size), WATTS[-1])
    return f"{figure(power_w / size)} {unit}"
