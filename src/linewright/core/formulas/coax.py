"""Coaxial line from its dimensions and materials.

Diameters, not radii, come in: they are what a caliper gives. Real lines lose more than smooth solid metal does; see
``docs/catalogue.md`` for by how much.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.quantities import (
    ANNEALED_COPPER_CONDUCTIVITY_S_PER_M,
    DB_PER_NEPER,
    SPEED_OF_LIGHT_M_PER_S,
    TWO_PI,
    VACUUM_IMPEDANCE_OHM,
    VACUUM_PERMEABILITY_H_PER_M,
)

LOSS_PER_KELVIN: Final = 0.00198
"""Relative rise of attenuation per kelvin from 20 degrees Celsius: 0.11 % per degree Fahrenheit (an article on coaxial
cable attenuation changes versus temperature, scribd.com/document/206070386). Theory: half of copper's 0.39 %."""


def _positive(**values: ArrayLike) -> tuple[Floats, ...]:
    out = []
    for name, value in values.items():
        array = np.asarray(value, dtype=np.float64)
        if not np.all(np.isfinite(array) & (array > 0)):
            raise InputError(name, "must be above zero and finite")
        out.append(array)
    return tuple(out)


def _log_ratio(inner_diameter_m: ArrayLike, outer_diameter_m: ArrayLike) -> Floats:
    inner, outer = _positive(inner_diameter_m=inner_diameter_m, outer_diameter_m=outer_diameter_m)
    if np.any(outer <= inner):
        raise InputError("outer_diameter_m", "must be larger than inner_diameter_m", cure="Are the two swapped?")
    return np.asarray(np.log(outer / inner), dtype=np.float64)


def skin_depth_m(
    frequency_hz: ArrayLike, conductivity_s_per_m: ArrayLike = ANNEALED_COPPER_CONDUCTIVITY_S_PER_M
) -> Floats:
    """Return the skin depth in metres, ``1/√(π f µ0 σ)``, shaped as the inputs broadcast.

    D. M. Pozar, Microwave Engineering, 4th ed., equation 1.60 (place from memory). Non-magnetic metal.

    >>> float(skin_depth_m(100e6).round(9))
    6.609e-06
    """
    f, sigma = _positive(frequency_hz=frequency_hz, conductivity_s_per_m=conductivity_s_per_m)
    return np.asarray(1.0 / np.sqrt(np.pi * f * VACUUM_PERMEABILITY_H_PER_M * sigma), dtype=np.float64)


def surface_resistance_ohm(
    frequency_hz: ArrayLike, conductivity_s_per_m: ArrayLike = ANNEALED_COPPER_CONDUCTIVITY_S_PER_M
) -> Floats:
    """Return the surface resistance in ohms per square, ``√(π f µ0 / σ)``, shaped as the inputs broadcast.

    Pozar, 4th ed., equation 1.125 (place from memory). Non-magnetic metal much thicker than the skin depth.

    >>> float(surface_resistance_ohm(100e6).round(6))
    0.002609
    """
    f, sigma = _positive(frequency_hz=frequency_hz, conductivity_s_per_m=conductivity_s_per_m)
    return np.asarray(np.sqrt(np.pi * f * VACUUM_PERMEABILITY_H_PER_M / sigma), dtype=np.float64)


def series_resistance_ohm_per_m(
    frequency_hz: ArrayLike,
    inner_diameter_m: ArrayLike,
    outer_diameter_m: ArrayLike,
    conductivity_s_per_m: ArrayLike = ANNEALED_COPPER_CONDUCTIVITY_S_PER_M,
) -> Floats:
    """Return the series resistance of both conductors, ``Rs/(2π) (1/a + 1/b)`` with radii a and b, in ohms per metre.

    Pozar, 4th ed., table 2.1. Smooth solid conductors, skin depth small against the radii.

    >>> float(series_resistance_ohm_per_m(100e6, 0.584e-3, 3.71e-3).round(4))
    1.6459
    """
    _log_ratio(inner_diameter_m, outer_diameter_m)
    a, b = np.asarray(inner_diameter_m, dtype=np.float64) / 2, np.asarray(outer_diameter_m, dtype=np.float64) / 2
    rs = surface_resistance_ohm(frequency_hz, conductivity_s_per_m)
    return np.asarray(rs / TWO_PI * (1.0 / a + 1.0 / b), dtype=np.float64)


def impedance_ohm(inner_diameter_m: ArrayLike, outer_diameter_m: ArrayLike, permittivity: ArrayLike = 1.0) -> Floats:
    """Return the characteristic impedance ``(η0 / 2π) ln(b/a) / √εr`` in ohms; loss is neglected.

    Pozar, 4th ed., equation 2.32.

    >>> float(impedance_ohm(0.91e-3, 3.02e-3, 2.08).round(2))
    49.87
    """
    (er,) = _positive(permittivity=permittivity)
    return np.asarray(
        VACUUM_IMPEDANCE_OHM / TWO_PI * _log_ratio(inner_diameter_m, outer_diameter_m) / np.sqrt(er), dtype=np.float64
    )


def velocity_factor(permittivity: ArrayLike) -> Floats:
    """Return the velocity factor ``1/√εr`` of a line wholly filled with a dielectric.

    >>> float(velocity_factor(2.25).round(4))  # solid polyethylene
    0.6667
    """
    (er,) = _positive(permittivity=permittivity)
    return np.asarray(1.0 / np.sqrt(er), dtype=np.float64)


def conductor_loss_db_per_m(
    frequency_hz: ArrayLike,
    inner_diameter_m: ArrayLike,
    outer_diameter_m: ArrayLike,
    permittivity: ArrayLike = 1.0,
    conductivity_s_per_m: ArrayLike = ANNEALED_COPPER_CONDUCTIVITY_S_PER_M,
) -> Floats:
    """Return the conductor part of the attenuation, ``R/(2 Z0)`` nepers, in dB per metre; it grows with √f.

    Pozar, 4th ed., equation 2.85 and example 2.6. Smooth solid conductors.

    >>> float(conductor_loss_db_per_m(1e9, 0.91e-3, 3.02e-3, 2.08).round(3))
    0.327
    """
    r = series_resistance_ohm_per_m(frequency_hz, inner_diameter_m, outer_diameter_m, conductivity_s_per_m)
    z0 = impedance_ohm(inner_diameter_m, outer_diameter_m, permittivity)
    return np.asarray(DB_PER_NEPER * r / (2.0 * z0), dtype=np.float64)


def dielectric_loss_db_per_m(frequency_hz: ArrayLike, permittivity: ArrayLike, loss_tangent: ArrayLike) -> Floats:
    """Return the dielectric part of the attenuation, ``k tan δ / 2`` nepers, in dB per metre; it grows with f.

    Pozar, 4th ed., section 2.7. A well-known hand formula in dB per 100 ft is printed ten times too small in places.

    >>> float(dielectric_loss_db_per_m(1e9, 2.08, 0.0004).round(3))
    0.053
    """
    f, er = _positive(frequency_hz=frequency_hz, permittivity=permittivity)
    tangent = np.asarray(loss_tangent, dtype=np.float64)
    if not np.all(np.isfinite(tangent) & (tangent >= 0)):
        raise InputError("loss_tangent", "must be zero or more and finite")
    wave_number = TWO_PI * f * np.sqrt(er) / SPEED_OF_LIGHT_M_PER_S
    return np.asarray(DB_PER_NEPER * wave_number * tangent / 2.0, dtype=np.float64)


def temperature_factor(temperature_celsius: ArrayLike, reference_celsius: float = 20.0) -> Floats:
    """Return by what an attenuation at the reference temperature is multiplied at another: 0.20 % per kelvin.

    >>> float((0.055 * temperature_factor(37.78)).round(4))  # 100 degrees Fahrenheit
    0.0569
    """
    t = np.asarray(temperature_celsius, dtype=np.float64)
    if not np.all(np.isfinite(t) & (t > -273.15)):
        raise InputError("temperature_celsius", "must be finite and above absolute zero")
    return np.asarray(1.0 + LOSS_PER_KELVIN * (t - reference_celsius), dtype=np.float64)
