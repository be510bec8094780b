"""What a decibel means: power, S units and range. A change is above zero for more signal, below zero for less."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S

DB_PER_S_UNIT: Final = 6.0
"""IARU Region 1 Technical Recommendation R.1, adopted Brighton 1981 (VHF Managers Handbook, section 8.6.1)."""
S9_BELOW_30_MHZ_DBM: Final = -73.0
"""50 µV in 50 ohm (IARU Region 1 HF handbook V9.0, paragraph 4.1.3, as quoted)."""
S9_ABOVE_30_MHZ_DBM: Final = -93.0
"""5 µV in 50 ohm (the same; an older wording speaks of bands above 144 MHz only)."""


def _finite(name: str, value: ArrayLike) -> Floats:
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array)):
        raise InputError(name, "must be finite")
    return array


def _positive(name: str, value: ArrayLike, *, zero: bool = False) -> Floats:
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array) & ((array > 0) | (zero & (array == 0)))):
        raise InputError(name, f"must be {'zero or more' if zero else 'above zero'} and finite")
    return array


def power_ratio(change_db: ArrayLike) -> Floats:
    """Return the power after a change over the power before it, ``10^(change/10)``.

    >>> power_ratio([-3.0, 0.0, 10.0]).round(3)
    array([ 0.501,  1.   , 10.   ])
    """
    return np.asarray(10.0 ** (_finite("change_db", change_db) / 10.0), dtype=np.float64)


def equivalent_power_w(power_w: ArrayLike, change_db: ArrayLike) -> Floats:
    """Return the transmitter power that would have the same effect as the change, watts.

    >>> float(equivalent_power_w(100.0, -2.0).round(1))  # 2 dB of line is like turning 100 W down to 63 W
    63.1
    """
    return np.asarray(_positive("power_w", power_w, zero=True) * power_ratio(change_db), dtype=np.float64)


def s_units(change_db: ArrayLike) -> Floats:
    """Return a change in S units of 6 dB. Source: see ``DB_PER_S_UNIT``; few S meters keep to it.

    >>> float(s_units(-3.0))
    -0.5
    """
    return np.asarray(_finite("change_db", change_db) / DB_PER_S_UNIT, dtype=np.float64)


def s9_dbm(frequency_hz: ArrayLike) -> Floats:
    """Return the level of S9 at the receiver's input, dBm: -73 below 30 MHz, -93 from there up.

    >>> s9_dbm([14.2e6, 144e6])
    array([-73., -93.])
    """
    f = _positive("frequency_hz", frequency_hz)
    return np.asarray(np.where(f < 30e6, S9_BELOW_30_MHZ_DBM, S9_ABOVE_30_MHZ_DBM), dtype=np.float64)


def s_reading_dbm(s_reading: ArrayLike, over_db: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Return the level of an S reading, dBm: S7 is (7, 0), S9+20 is (9, 20).

    Raises
    ------
    InputError
        If the reading is not within 0 and 9, or decibels are added to one below S9.

    >>> float(s_reading_dbm(9, 20, 14.2e6)), float(s_reading_dbm(1, 0, 144e6))
    (-53.0, -141.0)
    """
    s, over = _finite("s_reading", s_reading), _positive("over_db", over_db, zero=True)
    if not np.all((s >= 0) & (s <= 9)):
        raise InputError("s_reading", "must lie within S0 and S9", cure="Write what is above S9 as S9+20.")
    if np.any((over > 0) & (s < 9)):
        raise InputError("over_db", "is added to S9 only", cure="Write S9+20, or a plain S7.")
    return np.asarray(s9_dbm(frequency_hz) + DB_PER_S_UNIT * (s - 9.0) + over, dtype=np.float64)


def s_reading(level_dbm: ArrayLike, frequency_hz: ArrayLike) -> tuple[Floats, Floats]:
    """Return the S reading of a level, and the decibels over S9; below S0 the reading is negative: not heard by it.

    >>> [float(x) for x in s_reading(-53.0, 14.2e6)], [float(x) for x in s_reading(-76.0, 14.2e6)]
    ([9.0, 20.0], [8.5, 0.0])
    """
    above = _finite("level_dbm", level_dbm) - s9_dbm(frequency_hz)
    s = np.minimum(9.0 + above / DB_PER_S_UNIT, 9.0)
    return np.asarray(s, dtype=np.float64), np.asarray(np.maximum(above, 0.0), dtype=np.float64)


SYSTEM_OHM: Final = 50.0
"""The input that S9 is stated for (see above)."""


def level_voltage_v(level_dbm: ArrayLike) -> Floats:
    """Return the rms voltage across 50 ohm at a level in dBm, ``√(50 ohm · P)``.

    >>> (1e6 * level_voltage_v([-73.0, -93.0])).round(1)  # S9 below 30 MHz and from there up, in microvolts
    array([50.1,  5. ])
    """
    return np.asarray(np.sqrt(SYSTEM_OHM * 10.0 ** (_finite("level_dbm", level_dbm) / 10.0 - 3.0)), dtype=np.float64)


def voltage_level_dbm(voltage_v: ArrayLike) -> Floats:
    """Return the level in dBm of an rms voltage across 50 ohm.

    >>> float(voltage_level_dbm(50e-6).round(2))
    -73.01
    """
    v = _positive("voltage_v", voltage_v)
    return np.asarray(10.0 * np.log10(v**2 / SYSTEM_OHM) + 30.0, dtype=np.float64)


def received_dbm(eirp_w: ArrayLike, distance_m: ArrayLike, frequency_hz: ArrayLike, gain_dbi: ArrayLike) -> Floats:
    """Return the level an antenna of a gain takes up from an EIRP in free space: EIRP - loss + gain, dBm.

    ITU-R P.525: the free-space basic transmission loss is that between isotropic antennas.

    >>> float(received_dbm(100.0, 10e3, 144e6, 0.0).round(1))
    -45.6
    """
    p, gain = _positive("eirp_w", eirp_w), _finite("gain_dbi", gain_dbi)
    return np.asarray(10.0 * np.log10(p) + 30.0 - free_space_loss_db(frequency_hz, distance_m) + gain)


def free_space_range_ratio(change_db: ArrayLike) -> Floats:
    """Return by what the range is multiplied where loss grows with 20 log d, ``10^(change/20)``.

    ITU-R P.525: nothing but distance between the antennas (space, a clear short path).

    >>> float(free_space_range_ratio(-6.0).round(2))
    0.5
    """
    return np.asarray(10.0 ** (_finite("change_db", change_db) / 20.0), dtype=np.float64)


def plane_earth_range_ratio(change_db: ArrayLike) -> Floats:
    """Return by what the range is multiplied where loss grows with 40 log d, ``10^(change/40)``.

    The direct and the ground-reflected wave nearly cancel: antennas low over flat ground, far from each other (two-ray
    model; source from memory).

    >>> float(plane_earth_range_ratio(-6.0).round(2))
    0.71
    """
    return np.asarray(10.0 ** (_finite("change_db", change_db) / 40.0), dtype=np.float64)


def free_space_loss_db(frequency_hz: ArrayLike, distance_m: ArrayLike) -> Floats:
    """Return the free-space basic transmission loss, ``20 log10(4 π d f / c)`` dB, shaped as the inputs broadcast.

    ITU-R P.525, which prints the constant as 32.4 (f in MHz, d in km). Far field, isotropic antennas.

    >>> float(free_space_loss_db(144e6, 10e3).round(1))
    95.6
    """
    f, d = _positive("frequency_hz", frequency_hz), _positive("distance_m", distance_m)
    return np.asarray(20.0 * np.log10(4.0 * np.pi * d * f / SPEED_OF_LIGHT_M_PER_S), dtype=np.float64)


def field_strength_v_per_m(eirp_w: ArrayLike, distance_m: ArrayLike) -> Floats:
    """Return the field strength in free space, ``√(30 p)/d`` in V/m rms. ITU-R P.525-2, equation 1. Far field.

    >>> float(field_strength_v_per_m(100.0, 10.0).round(3))
    5.477
    """
    p, d = _positive("eirp_w", eirp_w, zero=True), _positive("distance_m", distance_m)
    return np.asarray(np.sqrt(30.0 * p) / d, dtype=np.float64)
