"""What a decibel means on the air: power, S units, range."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Final

from linewright.errors import InputError, UnitError
from linewright.model.meaning import Meaning, Signal
from linewright.physics import meaning as physics
from linewright.units.quantities import ratio_db
from linewright.workflows.meaning_words import remarks, s_words, sentence, workings

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
