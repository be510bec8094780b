"""What a fault in a line takes between matched ends, in decibels: a lumped element in series or across it.

Insertion loss of a series impedance Z between ends of Z0 is 20 log10 |1 + Z/(2 Z0)|, of an admittance Y across them
20 log10 |1 + Y Z0/2| (D. M. Pozar, *Microwave Engineering*, 4th ed., table 4.1 with the ABCD matrices of section 4.4).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats


def series_resistance_db(ohm: ArrayLike, z0_ohm: float = 50.0) -> Floats:
    """Return the loss of a resistance in series, alike on all bands.

    >>> round(float(series_resistance_db(10.0)), 3)
    0.828
    """
    return np.asarray(20.0 * np.log10(1.0 + np.asarray(ohm) / (2.0 * z0_ohm)))


def series_capacitance_db(farad: ArrayLike, frequency_hz: ArrayLike, z0_ohm: float = 50.0) -> Floats:
    """Return the loss of a conductor broken so that only a capacitance carries on: it falls with frequency.

    >>> round(float(series_capacitance_db(200e-12, 3.6e6)), 2)
    7.7
    """
    reactance = 1.0 / (2.0 * np.pi * np.asarray(frequency_hz) * np.asarray(farad))
    return np.asarray(10.0 * np.log10(1.0 + (reactance / (2.0 * z0_ohm)) ** 2))


def shunt_capacitance_db(farad: ArrayLike, frequency_hz: ArrayLike, z0_ohm: float = 50.0) -> Floats:
    """Return the loss of a capacitance across a line, as wet dirt in a plug is: it rises fast with frequency.

    >>> round(float(shunt_capacitance_db(20e-12, 432e6)), 2)
    4.54
    """
    susceptance = 2.0 * np.pi * np.asarray(frequency_hz) * np.asarray(farad)
    return np.asarray(10.0 * np.log10(1.0 + (susceptance * z0_ohm / 2.0) ** 2))
