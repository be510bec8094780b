"""Radio-frequency exposure in the far field of an antenna: power density, fields, and the distance to a limit.

Estimates: near an antenna, a building or a person the field is another. Local rules and licensed practice decide.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, TWO_PI, VACUUM_IMPEDANCE_OHM

DIPOLE_GAIN: Final = 1.64
"""Gain of a half-wave dipole over an isotropic radiator, 2.15 dB (47 CFR 1.1307(b)(3)(i)(C) counts with 1.64)."""


def _positive(name: str, value: ArrayLike, *, zero: bool = False) -> Floats:
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array) & ((array > 0) | (zero & (array == 0)))):
        raise InputError(name, f"must be {'zero or more' if zero else 'above zero'} and finite")
    return array


def _reflection_factor(value: ArrayLike) -> Floats:
    array = np.asarray(value, dtype=np.float64)
    if not np.all((array >= 1) & (array <= 4)):
        raise InputError("ground_factor", "must lie between 1 (no reflection) and 4 (all of it, in phase)")
    return array


def on_air_share(on_s: float, off_s: float, averaging_s: float) -> float:
    """Return the largest share of any averaging time that overs and pauses of these lengths fill with transmission.

    An averaging time of 0 means that every moment counts alone.

    >>> on_air_share(180.0, 300.0, 360.0), on_air_share(180.0, 300.0, 1800.0), on_air_share(180.0, 300.0, 0.0)
    (0.5, 0.4, 1.0)
    """
    if not (0.0 < on_s < np.inf and 0.0 <= off_s < np.inf and 0.0 <= averaging_s < np.inf):
        raise InputError("on_s", "must be above zero, off_s and averaging_s zero or more, and all finite")
    if averaging_s == 0.0:
        return 1.0
    whole, rest = divmod(averaging_s, on_s + off_s)
    return float((whole * on_s + min(rest, on_s)) / averaging_s)


def longest_over_s(share: float, averaging_s: float) -> float:
    """Return how long one over may last in each averaging time so that its share of it is kept; inf for all of it.

    >>> longest_over_s(0.25, 360.0), longest_over_s(1.2, 360.0), longest_over_s(0.9, 0.0)
    (90.0, inf, 0.0)
    """
    if not (share >= 0.0 and averaging_s >= 0.0):
        raise InputError("share", "must be zero or more, and so must averaging_s")
    return float("inf") if share >= 1.0 else share * averaging_s


def eirp_w(power_w: ArrayLike, gain_dbi: ArrayLike) -> Floats:
    """Return the equivalent isotropically radiated power of a power at the antenna and its gain in dBi.

    >>> float(eirp_w(10.0, 10.0))
    100.0
    """
    gain = np.asarray(gain_dbi, dtype=np.float64)
    if not np.all(np.isfinite(gain)):
        raise InputError("gain_dbi", "must be finite")
    return np.asarray(_positive("power_w", power_w, zero=True) * 10.0 ** (gain / 10.0), dtype=np.float64)


def erp_w(eirp_w: ArrayLike) -> Floats:
    """Return the effective radiated power, over a half-wave dipole, of an EIRP: EIRP/1.64.

    >>> float(erp_w(164.0))
    100.0
    """
    return np.asarray(_positive("eirp_w", eirp_w, zero=True) / DIPOLE_GAIN, dtype=np.float64)


def power_density_w_per_m2(eirp_w: ArrayLike, distance_m: ArrayLike, ground_factor: ArrayLike = 1.0) -> Floats:
    """Return the power density ``g EIRP/(4 π R²)`` in W/m², shaped as the inputs broadcast.

    ``eirp_w`` is averaged over time. ``ground_factor`` is what reflection from the ground may add, in power: 1 none,
    2.56 as the EPA recommends, 4 all of it. OET Bulletin 65, equations 3 to 6 (numbers from memory). Far field, main
    lobe.

    >>> float(power_density_w_per_m2(100.0, 10.0).round(4))
    0.0796
    """
    p, r = _positive("eirp_w", eirp_w, zero=True), _positive("distance_m", distance_m)
    return np.asarray(_reflection_factor(ground_factor) * p / (4.0 * np.pi * r**2), dtype=np.float64)


def electric_field_v_per_m(power_density_w_per_m2: ArrayLike) -> Floats:
    """Return the electric field ``√(S η0)`` in V/m rms of a plane wave.

    >>> float(electric_field_v_per_m(10.0).round(1))
    61.4
    """
    s = _positive("power_density_w_per_m2", power_density_w_per_m2, zero=True)
    return np.asarray(np.sqrt(s * VACUUM_IMPEDANCE_OHM), dtype=np.float64)


def magnetic_field_a_per_m(power_density_w_per_m2: ArrayLike) -> Floats:
    """Return the magnetic field ``√(S/η0)`` in A/m rms of a plane wave.

    >>> float(magnetic_field_a_per_m(10.0).round(3))
    0.163
    """
    s = _positive("power_density_w_per_m2", power_density_w_per_m2, zero=True)
    return np.asarray(np.sqrt(s / VACUUM_IMPEDANCE_OHM), dtype=np.float64)


def equivalent_density_w_per_m2(
    e_v_per_m: ArrayLike = np.nan, h_a_per_m: ArrayLike = np.nan, s_w_per_m2: ArrayLike = np.nan
) -> Floats:
    """Return the smallest power density of a plane wave that reaches any of the limits given, W/m².

    A limit that does not apply is nan. In a plane wave the fields go together, so the strictest decides; where E and H
    must both be met (below 30 MHz) that is what they ask.

    Raises
    ------
    InputError
        If no limit applies, or one is not above zero.

    >>> float(equivalent_density_w_per_m2(e_v_per_m=61.4, h_a_per_m=0.163, s_w_per_m2=10.0))
    10.0
    """
    given = np.broadcast_arrays(*(np.asarray(x, dtype=np.float64) for x in (e_v_per_m, h_a_per_m, s_w_per_m2)))
    if np.any([(x <= 0) | np.isinf(x) for x in given]):
        raise InputError("limit", "must be above zero and finite", cure="A limit that does not apply is nan.")
    if np.any(np.all(np.isnan(given), axis=0)):
        raise InputError("limit", "must hold an electric, a magnetic or a power density limit")
    e, h, s = given
    return np.asarray(np.fmin.reduce([e**2 / VACUUM_IMPEDANCE_OHM, h**2 * VACUUM_IMPEDANCE_OHM, s]), dtype=np.float64)


def compliance_distance_m(eirp_w: ArrayLike, density_w_per_m2: ArrayLike, ground_factor: ArrayLike = 1.0) -> Floats:
    """Return the distance at which the power density has fallen to a limit, ``√(g EIRP/(4 π S))`` in metres.

    The limits of one table become one density by ``equivalent_density_w_per_m2``. Far field: compare the answer with
    ``reactive_near_field_m``; within it the formula does not hold.

    >>> float(compliance_distance_m(1.64, 2.0, 2.56).round(2)), float(compliance_distance_m(1.64, 2.0).round(2))
    (0.41, 0.26)
    """
    p, s = _positive("eirp_w", eirp_w, zero=True), _positive("density_w_per_m2", density_w_per_m2)
    return np.asarray(np.sqrt(_reflection_factor(ground_factor) * p / (4.0 * np.pi * s)), dtype=np.float64)


def reactive_near_field_m(frequency_hz: ArrayLike) -> Floats:
    """Return the reach of the reactive near field of a small antenna, ``λ/2π`` in metres.

    47 CFR 1.1307(b)(3)(i)(C) lets its far-field thresholds hold from there.

    >>> float(reactive_near_field_m(14.2e6).round(2))
    3.36
    """
    wavelength = SPEED_OF_LIGHT_M_PER_S / _positive("frequency_hz", frequency_hz)
    return np.asarray(wavelength / TWO_PI, dtype=np.float64)


def formed_lobe_m(frequency_hz: ArrayLike, antenna_size_m: ArrayLike) -> Floats:
    """Return from where the far-field formula no longer says too much: ``0.6 D²/λ``, and never within ``λ/2π``, metres.

    OET Bulletin 65, equation 16 (number from memory): where the far field begins for power density. Nearer to an
    antenna its gain is not formed yet, and the formula gives too much.

    >>> float(formed_lobe_m(144e6, 10.5).round(1))
    31.8
    """
    f, size = _positive("frequency_hz", frequency_hz), _positive("antenna_size_m", antenna_size_m)
    return np.asarray(np.maximum(0.6 * size**2 * f / SPEED_OF_LIGHT_M_PER_S, reactive_near_field_m(f)))


def implied_size_m(frequency_hz: ArrayLike, gain_dbi: ArrayLike) -> Floats:
    """Return the diameter of the round aperture that has a gain, ``(λ/π) √G`` in metres.

    From the effective area ``G λ²/4π`` of any antenna (C. A. Balanis, Antenna Theory, 4th ed., section 2.16; place from
    memory). An array of wires that has the gain is about as large as that.

    >>> float(implied_size_m(144e6, 24.0).round(1))
    10.5
    """
    gain = 10.0 ** (np.asarray(gain_dbi, dtype=np.float64) / 10.0)
    if not np.all(np.isfinite(gain)):
        raise InputError("gain_dbi", "must be finite")
    wavelength = SPEED_OF_LIGHT_M_PER_S / _positive("frequency_hz", frequency_hz)
    return np.asarray(wavelength / np.pi * np.sqrt(gain))
