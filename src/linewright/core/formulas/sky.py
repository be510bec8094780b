"""What an antenna hears of the sky and of the ground: galactic noise, the air, the share of the ground, sun and moon.

Temperatures in kelvin, in the sense of Rayleigh and Jeans: noise power is k T B. Arrays have frequency as first axis.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.formulas.noise import BOLTZMANN_J_PER_KELVIN, external_temperature_kelvin, median_noise_db
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S

COSMIC_KELVIN: Final = 2.7
"""The cosmic background as ITU-R P.372-16 counts it, equation 10."""
GALACTIC_C_DB, GALACTIC_D_DB = 52.0, 23.0
"""ITU-R P.372-16, section 4.1, equation 13: the median galactic noise up to about 100 MHz."""
GALACTIC_HZ: Final = 100e6
"""Where that ends."""
GALACTIC_SLOPE: Final = -2.75
"""How brightness falls with frequency above: ITU-R P.372-12, equation 15."""
AIR_KELVIN: Final = 275.0
"""Mean temperature of the air that absorbs: ITU-R P.372-16, equation 11, has 37.34 + 0.81 Ts, which is 275 K for a
surface of 20 degrees Celsius."""
OXYGEN_HEIGHT_M: Final = 6000.0
"""Equivalent height of the oxygen that absorbs below 50 GHz (ITU-R P.676, annex 2; from memory)."""
EARTH_M: Final = 8.5e6
"""Radius of the earth with the bending of rays in the standard atmosphere, four thirds of 6371 km."""
GROUND_KELVIN: Final = 290.0
"""Ground is taken as black, at T0 (common practice)."""


def _at(frequency_hz: ArrayLike) -> Floats:
    f = np.asarray(frequency_hz, dtype=np.float64)
    if not np.all(np.isfinite(f) & (f > 0)):
        raise InputError("frequency_hz", "must be above zero and finite")
    return f


def _within(name: str, value: ArrayLike, low: float, high: float) -> Floats:
    array = np.asarray(value, dtype=np.float64)
    if not np.all((array >= low) & (array <= high)):
        raise InputError(name, f"must lie between {low:g} and {high:g}; got {value!r}")
    return array


def galactic_kelvin(frequency_hz: ArrayLike) -> Floats:
    """Return the galactic noise temperature, the median over the sky, shaped as the frequency.

    ``T0 10^((52 - 23 lg f)/10)`` up to 100 MHz; above, it falls as the power -2.75 of the frequency. Sources: see
    ``GALACTIC_C_DB`` and ``GALACTIC_SLOPE``. A narrow beam hears from a third of it (the coldest sky) to ten times
    (the galactic centre).

    >>> galactic_kelvin([50e6, 144e6, 432e6, 1296e6]).round(1)
    array([5.6855e+03, 4.2350e+02, 2.0600e+01, 1.0000e+00])
    """
    f = _at(frequency_hz)
    below = external_temperature_kelvin(median_noise_db(np.minimum(f, GALACTIC_HZ), GALACTIC_C_DB, GALACTIC_D_DB))
    return np.asarray(below * (np.maximum(f, GALACTIC_HZ) / GALACTIC_HZ) ** GALACTIC_SLOPE)


def air_loss_db(frequency_hz: ArrayLike, elevation_deg: ArrayLike) -> Floats:
    """Return what dry air absorbs on the way to space, dB, shaped as the inputs broadcast.

    The oxygen of ITU-R P.676, annex 2, at sea level (coefficients from memory), over a layer of ``OXYGEN_HEIGHT_M`` on
    a round earth. Water vapour adds little below 10 GHz, rain and cloud are left out: so it is for clear sky, and
    refused above 10 GHz.

    Raises
    ------
    InputError
        If a frequency is not above zero and up to 10 GHz, or an elevation not within 0 and 90 degrees.

    >>> air_loss_db(1.296e9, [90.0, 30.0, 5.0]).round(3)
    array([0.036, 0.072, 0.395])
    """
    f = _at(frequency_hz)
    if np.any(f > 10e9):
        raise InputError("frequency_hz", "must be 10 GHz or less: above, water vapour counts", cure="State the noise.")
    ghz2 = (f / 1e9) ** 2
    db_per_km = (7.2 / (ghz2 + 0.34) + 0.62 / ((54.0 - f / 1e9) ** 1.16 + 0.83)) * ghz2 * 1e-3
    return np.asarray(db_per_km * slant_m(elevation_deg) / 1e3)


def slant_m(elevation_deg: ArrayLike, height_m: float = OXYGEN_HEIGHT_M) -> Floats:
    """Return the way through a layer over a round earth at an elevation, metres.

    ``√((R sin e)² + 2 R h + h²) - R sin e``: plane geometry.

    >>> slant_m([90.0, 0.0]).round(-2)
    array([  6000., 319400.])
    """
    rise = EARTH_M * np.sin(np.radians(_within("elevation_deg", elevation_deg, 0.0, 90.0)))
    return np.asarray(np.sqrt(rise**2 + 2.0 * EARTH_M * height_m + height_m**2) - rise)


def sky_kelvin(frequency_hz: ArrayLike, elevation_deg: ArrayLike) -> Floats:
    """Return the noise temperature of clear sky in a direction: ``Tair (1 - 1/A) + (Tgal + 2.7)/A``, A the air's loss.

    ITU-R P.372-16, equation 10, with the galaxy beside the cosmic background.

    >>> sky_kelvin([144e6, 432e6, 1296e6], 30.0).round(1)
    array([426.1,  25.1,   8.2])
    """
    passed = 10.0 ** (-air_loss_db(frequency_hz, elevation_deg) / 10.0)
    return np.asarray(AIR_KELVIN * (1.0 - passed) + (galactic_kelvin(frequency_hz) + COSMIC_KELVIN) * passed)


def antenna_kelvin(sky: ArrayLike, ground_share: ArrayLike) -> Floats:
    """Return what an antenna hears: the sky, and the ground by the share of its pattern that looks there.

    >>> float(antenna_kelvin(10.0, 0.1).round(1))  # what a dish's feed sees past the rim is most of it
    38.0
    """
    share = _within("ground_share", ground_share, 0.0, 1.0)
    return np.asarray((1.0 - share) * np.asarray(sky, dtype=np.float64) + share * GROUND_KELVIN)


def point_source_kelvin(flux_w_per_m2_hz: ArrayLike, gain_dbi: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Return by how much an unpolarised source smaller than the beam warms an antenna of one polarisation.

    ``S A/(2 k)`` with the aperture ``A = G λ²/(4 π)``: textbook radio astronomy (J. D. Kraus, Radio Astronomy, 2nd
    ed., chapter 3; place from memory). Solar flux is published in units of 1e-22 W/m²Hz.

    >>> float(point_source_kelvin(60e-22, 31.0, 1.296e9).round())  # the quiet sun, a dish of 3 m
    1165.0
    """
    wavelength = SPEED_OF_LIGHT_M_PER_S / _at(frequency_hz)
    aperture = 10.0 ** (np.asarray(gain_dbi, dtype=np.float64) / 10.0) * wavelength**2 / (4.0 * np.pi)
    return np.asarray(np.asarray(flux_w_per_m2_hz, dtype=np.float64) * aperture / (2.0 * BOLTZMANN_J_PER_KELVIN))


def disc_kelvin(brightness_kelvin: ArrayLike, disc_deg: ArrayLike, gain_dbi: ArrayLike) -> Floats:
    """Return by how much a disc smaller than the beam, of one brightness, warms an antenna: ``T G Ω/(4 π)``.

    The moon is about 0.52 degrees wide and 225 K in the mean over its phases (both from memory).

    >>> float(disc_kelvin(225.0, 0.52, 31.0).round(2))  # the moon in a dish of 3 m at 1.3 GHz
    1.46
    """
    steradians = np.pi * (np.radians(np.asarray(disc_deg, dtype=np.float64)) / 2.0) ** 2
    share = 10.0 ** (np.asarray(gain_dbi, dtype=np.float64) / 10.0) * steradians / (4.0 * np.pi)
    return np.asarray(np.asarray(brightness_kelvin, dtype=np.float64) * np.minimum(share, 1.0))


def rise_db(source_kelvin: ArrayLike, system_kelvin: ArrayLike) -> Floats:
    """Return by how many decibels the noise rises as the antenna turns to a source: ``10 lg(1 + Tsource/Tsystem)``.

    >>> float(rise_db(100.0, 100.0).round(2))
    3.01
    """
    system = np.asarray(system_kelvin, dtype=np.float64)
    if not np.all(system > 0):
        raise InputError("system_kelvin", "must be above zero")
    return np.asarray(10.0 * np.log10(1.0 + np.asarray(source_kelvin, dtype=np.float64) / system))
