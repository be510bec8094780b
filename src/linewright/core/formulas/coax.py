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
    DB_PER_NEPER,
    SPEED_OF_LIGHT_M_PER_S,
    TWO_PI,
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
