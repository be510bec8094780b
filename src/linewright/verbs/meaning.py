"""What a decibel means on the air: power, S units, range."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

from linewright.catalogue.cautions import cautions
from linewright.core.errors import InputError, UnitError
from linewright.core.formatting import away, digits, frequency, plain, prefixed, quantity
from linewright.core.formulas import meaning as physics
from linewright.core.formulas.exposure import DIPOLE_GAIN, erp_w, power_density_w_per_m2
from linewright.core.messages import mark, say, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.meaning import Level, Meaning, Radiated, Signal
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, TWO_PI, length_m, loss_db, ratio_db
from linewright.core.quantities import frequency_hz as frequency_hz_of
from linewright.core.quantities import power_w as power_in_w
from linewright.files.station_fields import gain_dbi as gain_dbi_of

# A change of decibels in words a person can quote, and how each figure was worked out

IARU: Final = "IARU Region 1 Technical Recommendation R.1: VHF Managers Handbook, 8.6.1; HF handbook V9.0, 4.1.3"
DECIBEL: Final = say("definition of the decibel")
P525: Final = say("ITU-R P.525-2, equation 1; P.525 for the loss between isotropic antennas")
SPLIT_HZ: Final = 30e6
VHF_HZ: Final = 144e6
"""Below the first frequency S9 is 50 µV, from there up 5 µV: IARU Region 1; the second stands for the upper range."""
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


def size_words(change_db: float) -> str:
    """Write the size of a change: with two decimals, a tiny one with two figures.

    >>> size_words(6.0206), size_words(3.0), size_words(0.004)
    ('6.02', '3', '0.004')
    """
    return digits(round(change_db, 2)) if change_db >= 0.1 else digits(change_db, 2)


def _less(m: Meaning) -> tuple[str, str]:
    near, far = (percent(r) for r in (m.free_space_range_ratio, m.plane_earth_range_ratio))
    return (
        say("{change} less leaves {share} of the power, like turning {power} down to {equivalent}.",
            change=quantity(size_words(-m.change_db), "dB"), share=percent(m.power_ratio), power=watts(m.power_w),
            equivalent=watts(m.equivalent_power_w)),
        say("That is {units} less; the range falls to {near} in free space, to {far} over plane earth.",
            units=s_units(m), near=near, far=far),
    )  # fmt: skip


def _more(m: Meaning) -> tuple[str, str]:
    near, far = (figure(r) for r in (m.free_space_range_ratio, m.plane_earth_range_ratio))
    return (
        say("{change} more is {times} times the power, like turning {power} up to {equivalent}.",
            change=quantity(size_words(m.change_db), "dB"), times=figure(m.power_ratio), power=watts(m.power_w),
            equivalent=watts(m.equivalent_power_w)),
        say("That is {units} more; the range grows to {near} times in free space, to {far} times over plane earth.",
            units=s_units(m), near=near, far=far),
    )  # fmt: skip


def remarks(m: Meaning, *, in_a_line: bool = True) -> tuple[str, ...]:
    """Return what a person should know before quoting it; ``in_a_line`` where a loss may be that of a feed line."""
    said = [say("Few S meters keep to 6 dB per S unit, and few paths follow either law of range.")]
    if m.frequency_hz is not None and 30e6 <= m.frequency_hz < 144e6:
        said.append(say("An older wording gives S9 as -93 dBm above 144 MHz only and says nothing from 30 to 144 MHz."))
    if m.change_db < 0 and in_a_line:
        said.append(say(
            "In the feed line, a transmitted signal loses this much. Reception loses less, because noise comes down "
            "the same line: next to nothing on a noisy short-wave band."
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
        return say("S9+{over} dB", over=digits(round(over_db, 1)))
    return say("S{units}", units=digits(abs(round(s_reading, 1)))) if s_reading >= -0.05 else say("below S0")


def s_units(m: Meaning) -> str:
    """Write how many S units a change is, without its sign."""
    size = abs(m.s_units)
    if figure(size) == "0.5":
        return say("half an S unit")
    return (
        say("{units} S unit", units=figure(size)) if figure(size) == "1" else say("{units} S units", units=figure(size))
    )


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
_VOLTS: Final = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*([nuµμm]?V)\s*$", re.IGNORECASE)
VOLTS: Final = {"nv": 1e-9, "uv": 1e-6, "µv": 1e-6, "mv": 1e-3, "v": 1.0}
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
        The change in dB; below zero it is a loss.
    power_w : float
        The transmitter power it is compared with, watts, above zero.
    frequency_hz : float, optional
        In hertz; says which level S9 has. Without it S readings still change, but have no level.
    signal : str, optional
        A received signal before the change: "S7", "S9+20", "-97 dBm", "10 µV" across 50 ohm.

    Returns
    -------
    Meaning
        Power ratio, S-units, ratio of ranges, and the same in a sentence.

    Raises
    ------
    InputError
        If a number is out of range, or the signal cannot be read.

    References
    ----------
    S-units of 6 dB, S9 at 50 µV in 50 ohm below 30 MHz and -93 dBm above: IARU Region 1 Technical Recommendation R.1.
    Range goes with the square root of power in free space (ITU-R P.525-2), with its fourth root over plane earth.

    >>> meaning_of(-2.0).text
    '2 dB less leaves 63 % of the power, like turning 100 W down to 63 W. That is 0.33 S units less; the range falls to
    79 % in free space, to 89 % over plane earth.'
    """
    if not (math.isfinite(change_db) and abs(change_db) <= MOST_DB):
        raise InputError(
            "change_db",
            say(
                "must lie within -{most_db} and {most_db} dB; got {value}",
                most_db=format(MOST_DB, "g"),
                value=repr(change_db),
            ),
        )
    if not (math.isfinite(power_w) and power_w > 0):
        raise InputError("power_w", say("must be above zero and finite; got {value}", value=repr(power_w)))
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
    level_dbm = _level_dbm(text)
    if level_dbm is None:
        cure = say('Write S7, S9+20, -97dBm or "10 µV".')
        raise UnitError("signal", say("is no S reading and no level; got {value}", value=repr(text)), cure=cure)
    if frequency_hz is None:
        raise InputError(
            "frequency", say("is needed to say which S reading a level is"), cure=say('Add it: --at "144 MHz".')
        )
    return _shown(level_dbm, frequency_hz)


def _level_dbm(text: str) -> float | None:
    """Return a written level: dBm, or volts across 50 ohm; None where it is neither."""
    if match := _DBM.match(text):
        return float(match[1].replace(",", "."))
    if match := _VOLTS.match(text):
        volts = float(match[1].replace(",", ".")) * VOLTS[match[2].lower().replace("μ", "µ")]
        return float(physics.voltage_level_dbm(volts))
    return None


def _shown(level_dbm: float, frequency_hz: float | None) -> Signal:
    s, over = (float(x) for x in physics.s_reading(level_dbm, frequency_hz or ANY_BAND_HZ))
    known = frequency_hz is not None
    volts = float(physics.level_voltage_v(level_dbm)) if known else None
    return Signal(s, over, level_dbm if known else None, s_words(s, over), volts)


def _changed(before: Signal, change_db: float, frequency_hz: float | None) -> Signal:
    above_s9_db = before.over_db + physics.DB_PER_S_UNIT * (before.s_reading - 9.0)
    return _shown(float(physics.s9_dbm(frequency_hz or ANY_BAND_HZ)) + above_s9_db + change_db, frequency_hz)


# From one figure to another: powers, signals or distances

_FROM_TO: Final = re.compile(r"^\s*(.+?)\s+(?:to|bis|→)\s+(.+?)\s*$", re.IGNORECASE)
_RADIATED: Final = re.compile(r"^\s*(.+?)\s*\b(EIRP|ERP)\s*$", re.IGNORECASE)
EXAMPLES: Final = mark('Write 3dB, "100 W to 25 W", "S9 to S7", "10 km to 20 km", "10 µV" or "100 W EIRP".')
CHANGES: Final = "3dB, +6dB, 100 W to 25 W, S9 to S7, 10 km to 20 km"


def meaning_between(before: str, after: str, frequency_hz: float | None = None, power_w: float = 100.0) -> Meaning:
    """Return what it means to go from one figure to another of its kind: powers, received signals, or distances.

    Parameters
    ----------
    before, after : str
        Two powers ("100 W"), two signals ("S9", "-97 dBm", "10 µV"), or two distances ("10 km"): farther away is less.
    frequency_hz : float, optional
        Says which level S9 has; needed where an S reading meets a level.
    power_w : float
        The transmitter power that other changes are compared with.

    Raises
    ------
    InputError
        If the two are not of one kind, or cannot be read.

    >>> found = meaning_between("100 W", "25 W")
    >>> round(found.change_db, 2), round(found.equivalent_power_w, 6), found.power_w
    (-6.02, 25.0, 100.0)
    >>> meaning_between("S9", "S7").change_db, round(meaning_between("10 km", "20 km").change_db, 2)
    (-12.0, -6.02)
    """
    if "" not in (_kind(before), _kind(after)) and _kind(before) == _kind(after):
        return _BETWEEN[_kind(before)](before, after, frequency_hz, power_w)
    rule = say(
        "must go from one figure to another of its kind; got {value} and {after}", value=repr(before), after=repr(after)
    )
    raise InputError("change", rule, cure=say(EXAMPLES))


def _kind(text: str) -> str:
    """Return what a written figure is: a signal, a power, a length; empty for anything else."""
    if _S_READING.match(text) or _level_dbm(text) is not None:
        return "signal"
    for kind, read in (("power", power_in_w), ("distance", length_m)):
        try:
            read(text, kind)
        except InputError:
            continue
        return kind
    return ""


def _between_powers(before: str, after: str, frequency_hz: float | None, power_w: float) -> Meaning:
    first, then = power_in_w(before, "power before"), power_in_w(after, "power after")
    return _no_line(meaning_of(-loss_db(first, then), first, frequency_hz))


def _no_line(found: Meaning) -> Meaning:
    """Return a change that is not that of a feed line."""
    return replace(found, remarks=remarks(found, in_a_line=False))


def _between_signals(before: str, after: str, frequency_hz: float | None, power_w: float) -> Meaning:
    bands_differ = bool(_S_READING.match(before)) != bool(_S_READING.match(after))
    if bands_differ and frequency_hz is None:
        raise InputError(
            "frequency", say("is needed between an S reading and a level"), cure=say('Add it: --at "144 MHz".')
        )
    first, then = (_any_dbm(text, frequency_hz) for text in (before, after))
    named = frequency_hz is not None or _S_READING.match(before)
    return _no_line(meaning_of(then - first, power_w, frequency_hz, before if named else None))


def _any_dbm(text: str, frequency_hz: float | None) -> float:
    """Return the level of a signal, on any band where none is named: for a change it does not matter which."""
    level_dbm = _level_dbm(text)
    if level_dbm is not None:
        return level_dbm
    shown = _signal(text, frequency_hz or ANY_BAND_HZ)
    assert shown.level_dbm is not None
    return shown.level_dbm


def _between_distances(before: str, after: str, frequency_hz: float | None, power_w: float) -> Meaning:
    first, then = (_distance_m(text) for text in (before, after))
    free_db = 20.0 * math.log10(first / then)
    found = _no_line(meaning_of(free_db, power_w, frequency_hz))
    words = {
        "before": before.strip(),
        "after": after.strip(),
        "free": _size_db(free_db),
        "plane": _size_db(2 * free_db),
    }
    told = (
        say("From {before} to {after} a signal loses {free} in free space, {plane} over plane earth.", **words)
        if free_db < 0
        else say("From {before} to {after} a signal gains {free} in free space, {plane} over plane earth.", **words)
    )
    return replace(found, text=together([told, found.text]))


def _size_db(change_db: float) -> str:
    return quantity(plain(abs(change_db), 1), "dB")


def _distance_m(text: str) -> float:
    found = length_m(text, "distance")
    if not found > 0:
        raise InputError("distance", say("must be above zero; got {value}", value=repr(text)))
    return found


Between = Callable[[str, str, "float | None", float], Meaning]
_BETWEEN: Final[Mapping[str, Between]] = {
    "power": _between_powers, "signal": _between_signals, "distance": _between_distances,
}  # fmt: skip


# A signal by itself, and what an EIRP is at a distance


def level_of(signal: str, frequency_hz: float | None = None) -> Level:
    """Return what a received signal is at the receiver's input: S reading, level, voltage across 50 ohm.

    Parameters
    ----------
    signal : str
        "S7", "S9+20", "-97 dBm", "10 µV".
    frequency_hz : float, optional
        Says which level S9 has; without it both are told.

    Raises
    ------
    InputError
        If the signal cannot be read.

    >>> level_of("50 µV", 7e6).text
    '50 µV across 50 ohm is -73.0 dBm: S9 at 7 MHz.'
    """
    name = " ".join(signal.split())
    low = (
        None if frequency_hz is not None and frequency_hz >= SPLIT_HZ else _signal(signal, frequency_hz or ANY_BAND_HZ)
    )
    high = None if frequency_hz is not None and frequency_hz < SPLIT_HZ else _signal(signal, frequency_hz or VHF_HZ)
    found = Level(name, frequency_hz, low, high, "", remarks=(say("Few S meters keep to 6 dB per S unit."),))
    return replace(found, text=_level_text(found), workings=_level_workings(found))


def _level_text(found: Level) -> str:
    if found.frequency_hz is not None:
        shown = found.below_30_mhz or found.from_30_mhz
        assert shown is not None
        return _at_band(shown, frequency(found.frequency_hz))
    assert found.below_30_mhz is not None
    assert found.from_30_mhz is not None
    split = frequency(SPLIT_HZ)
    if found.below_30_mhz.reading == found.from_30_mhz.reading:
        return say(
            "{reading} is {low} across 50 ohm ({low_dbm}) below {split}, {high} ({high_dbm}) from there up.",
            reading=found.below_30_mhz.reading, low=volts(found.below_30_mhz), split=split,
            low_dbm=level_words(found.below_30_mhz), high=volts(found.from_30_mhz),
            high_dbm=level_words(found.from_30_mhz),
        )  # fmt: skip
    return say(
        "{volts} across 50 ohm is {level}: {low} below {split}, {high} from there up.",
        volts=volts(found.below_30_mhz), level=level_words(found.below_30_mhz), split=split,
        low=found.below_30_mhz.reading, high=found.from_30_mhz.reading,
    )  # fmt: skip


def _at_band(shown: Signal, band: str) -> str:
    return say("{volts} across 50 ohm is {level}: {reading} at {frequency}.", volts=volts(shown),
               level=level_words(shown), reading=shown.reading, frequency=band)  # fmt: skip


def level_words(signal: Signal) -> str:
    """Write the level of a signal: "-97.0 dBm"."""
    return quantity(plain(signal.level_dbm or 0.0, 1), "dBm")


def volts(signal: Signal) -> str:
    """Write the voltage of a signal, in microvolts where it is weak."""
    return prefixed(signal.voltage_v or 0.0, "V", least=1e-6)


def _level_workings(found: Level) -> tuple[Working, ...]:
    shown = found.below_30_mhz or found.from_30_mhz
    assert shown is not None
    hertz = found.frequency_hz or ANY_BAND_HZ
    return (
        Working(
            say("voltage: {volts}", volts=volts(shown)), say("√(50 ohm · P), P = 1 mW · 10^(level/10)"),
            ((say("level"), level_words(shown)),), DECIBEL, ("signal voltage",),
        ),
        Working(
            say("S reading: {reading}", reading=shown.reading), say("S9 + (level - level of S9)/6 dB; above S9 in dB"),
            ((say("level of S9"), quantity(digits(float(physics.s9_dbm(hertz))), "dBm")),), IARU, ("S reading",),
        ),
    )  # fmt: skip


def radiated_at(eirp_w: float, distance_m: float, frequency_hz: float | None = None, gain_dbi: float = 0.0) -> Radiated:
    """Return what an EIRP is at a distance in free space: field, power density, and what an antenna there takes up.

    Parameters
    ----------
    eirp_w : float
        Equivalent isotropically radiated power, above zero.
    distance_m : float
        In the far field and the main lobe.
    frequency_hz : float, optional
        Needed for what an antenna takes up.
    gain_dbi : float
        Gain of that antenna.

    Raises
    ------
    InputError
        If a figure is out of range, or the distance lies within λ/2π: there no far-field formula holds.

    >>> found = radiated_at(100.0, 10e3, 144e6)
    >>> round(1e3 * found.field_v_per_m, 2), round(found.path_loss_db, 1), found.received.reading
    (5.48, 95.6, 'S9+47.4 dB')
    """
    for name, value in (("eirp_w", eirp_w), ("distance_m", distance_m)):
        if not (math.isfinite(value) and value > 0):
            raise InputError(name, say("must be above zero and finite; got {value}", value=repr(value)))
    if frequency_hz is not None:
        least_m = SPEED_OF_LIGHT_M_PER_S / frequency_hz / TWO_PI
        if distance_m < least_m:
            rule = say(
                "must lie beyond λ/2π, {least_m} m at {frequency_hz}; got {value} m",
                least_m=format(least_m, ".3g"),
                frequency_hz=frequency(frequency_hz),
                value=format(distance_m, "g"),
            )
            cure = say("Nearer than that, the field depends on the antenna's wires: linewright exposure calculates it.")
            raise InputError("distance", rule, cure=cure)
    loss = None if frequency_hz is None else float(physics.free_space_loss_db(frequency_hz, distance_m))
    level = None if frequency_hz is None else float(
        physics.received_dbm(eirp_w, distance_m, frequency_hz, gain_dbi)
    )  # fmt: skip
    found = Radiated(
        eirp_w=eirp_w,
        erp_w=float(erp_w(eirp_w)),
        distance_m=distance_m,
        field_v_per_m=float(physics.field_strength_v_per_m(eirp_w, distance_m)),
        density_w_per_m2=float(power_density_w_per_m2(eirp_w, distance_m)),
        frequency_hz=frequency_hz,
        path_loss_db=loss,
        gain_dbi=gain_dbi,
        received=None if level is None else _shown(level, frequency_hz),
        text="",
        remarks=(
            say("This is for free space, the far field and the main lobe: the ground may add to it or cancel it."),
        ),
        cautions=cautions("exposure"),
    )
    return replace(found, text=_radiated_text(found), workings=_radiated_workings(found))


def _radiated_text(r: Radiated) -> str:
    said = say(
        "{power} EIRP makes {field} and {density} at {distance} in free space.",
        power=watts(r.eirp_w), field=prefixed(r.field_v_per_m, "V/m"), density=prefixed(r.density_w_per_m2, "W/m²"),
        distance=away(r.distance_m),
    )  # fmt: skip
    if r.received is None or r.frequency_hz is None:
        return said
    return together([said, say(
        "At {frequency} an antenna of {gain} there receives {volts} across 50 ohm, {level}: {reading}.",
        frequency=frequency(r.frequency_hz), gain=quantity(digits(r.gain_dbi), "dBi"), volts=volts(r.received),
        level=level_words(r.received), reading=r.received.reading,
    )])  # fmt: skip


def _radiated_workings(r: Radiated) -> tuple[Working, ...]:
    power, distance = (say("EIRP"), watts(r.eirp_w)), (say("distance"), away(r.distance_m))
    field, density = prefixed(r.field_v_per_m, "V/m"), prefixed(r.density_w_per_m2, "W/m²")
    found = [
        Working(say("field: {field}", field=field), say("√(30 EIRP)/d"), (power, distance), P525, ("field",)),
        Working(
            say("power density: {density}", density=density), say("EIRP/(4 π d²)"), (power, distance), P525,
            ("power density",),
        ),
    ]  # fmt: skip
    if r.received is not None and r.frequency_hz is not None and r.path_loss_db is not None:
        at, loss = (say("frequency"), frequency(r.frequency_hz)), quantity(plain(r.path_loss_db, 1), "dB")
        gain = (say("gain"), quantity(digits(r.gain_dbi), "dBi"))
        found += [
            Working(
                say("free-space loss: {loss}", loss=loss), say("20 lg(4 π d f/c)"), (distance, at), P525, ("path loss",)
            ),
            Working(
                say("received level: {level}", level=level_words(r.received)), say("EIRP - loss + gain"),
                (power, (say("free-space loss"), loss), gain), P525, ("received level",),
            ),
        ]  # fmt: skip
    return tuple(found)


# Whatever a person may ask of decibels on the air, as it is written at a door


def what_it_means(
    asked: str,
    power_w: float = 100.0,
    frequency_hz: float | None = None,
    signal: str | None = None,
    distance_m: float | None = None,
    gain_dbi: float = 0.0,
) -> Meaning | Level | Radiated:
    """Return what something written means on the air: a change, a way from one figure to another, a signal, an EIRP.

    Parameters
    ----------
    asked : str
        "3 dB", "100 W to 25 W", "S7 to S9", "S9+20", "100 W EIRP".
    power_w : float
        The transmitter power a change is compared with, watts.
    frequency_hz : float, optional
        In hertz; says which level S9 has.
    signal : str, optional
        A received signal before a change.
    distance_m : float, optional
        How far from the antenna an EIRP is told, metres.
    gain_dbi : float
        Gain of an antenna there, dB over isotropic.

    Raises
    ------
    InputError
        If it cannot be read; the cure says what can.

    References
    ----------
    As of ``meaning_of``, ``level_of`` and ``radiated_at``.

    >>> what_it_means("100 W to 25 W").text[:28]
    '6.02 dB less leaves 25 % of '
    >>> what_it_means("10 W EIRP", distance_m=3.0).text
    '10 W EIRP makes 5.77 V/m and 88.4 mW/m² at 3 m in free space.'
    """
    radiated = _RADIATED.match(asked)
    if radiated is None and distance_m is not None:
        raise InputError("distance", say("goes with an EIRP or an ERP alone"), cure=say('Write "100 W EIRP".'))
    if radiated is not None:
        if distance_m is None:
            raise InputError(
                "distance", say("is needed to say what an EIRP is"), cure=say('Add it: --distance "10 m".')
            )
        power = power_in_w(radiated[1], "EIRP")
        eirp = power * (DIPOLE_GAIN if radiated[2].upper() == "ERP" else 1.0)
        return radiated_at(eirp, distance_m, frequency_hz, gain_dbi)
    if ends := _ends(asked):
        if signal is not None:
            raise InputError(
                "signal", say("stands beside a change that names both its ends"), cure=say("Leave one of them out.")
            )
        return meaning_between(*ends, frequency_hz, power_w)
    if _kind(asked) == "signal":
        return level_of(asked, frequency_hz)
    return meaning_of(read_change_db(asked), power_w, frequency_hz, signal)


def _ends(asked: str) -> tuple[str, str] | None:
    """Return the figures that a change goes from and to: with "to" between, or two of a kind side by side.

    >>> _ends("100 W to 25 W"), _ends("50W 100W"), _ends("3 dB")
    (('100 W', '25 W'), ('50W', '100W'), None)
    """
    if match := _FROM_TO.match(asked):
        return match[1], match[2]
    words = asked.split()
    pairs = ((" ".join(words[:i]), " ".join(words[i:])) for i in range(1, len(words)))
    return next((pair for pair in pairs if _kind(pair[0]) and _kind(pair[0]) == _kind(pair[1])), None)


def written_meaning(
    asked: str, given: Mapping[str, str | None], names: Mapping[str, str] | None = None
) -> Meaning | Level | Radiated:
    """Return what ``what_it_means`` does, of figures as people write them.

    Parameters
    ----------
    asked : str
        As there.
    given : mapping
        ``power``, ``at``, ``signal``, ``distance`` and ``gain``, or None where nothing is stated.
    names : mapping, optional
        What a door calls them.

    Raises
    ------
    InputError
        If one of them cannot be read.

    >>> written_meaning("3 dB", {"power": "50 W"}).equivalent_power_w.__round__(1)
    25.1
    """

    def read(name: str, reader: Callable[[str, str], float]) -> float | None:
        text = given.get(name)
        return None if text is None else reader(text, (names or {}).get(name, name))

    power, gain = read("power", power_in_w), read("gain", gain_dbi_of)
    return what_it_means(
        asked,
        100.0 if power is None else power,
        read("at", frequency_hz_of),
        given.get("signal"),
        read("distance", length_m),
        0.0 if gain is None else gain,
    )
