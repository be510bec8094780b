"""Constants, each with its source."""

from __future__ import annotations

from math import log, pi
from typing import Final

SPEED_OF_LIGHT_M_PER_S: Final = 299_792_458.0
"""Exact, by the definition of the metre (BIPM, The International System of Units, 9th edition, section 2.2)."""

VACUUM_PERMEABILITY_H_PER_M: Final = 1.256_637_062_12e-6
"""CODATA 2018 recommended value."""

VACUUM_IMPEDANCE_OHM: Final = VACUUM_PERMEABILITY_H_PER_M * SPEED_OF_LIGHT_M_PER_S

DB_PER_NEPER: Final = 20.0 / log(10.0)
"""One neper in decibels, 8.686 (ISO 80000-3:2006, item C-3)."""

METRE_PER_FOOT: Final = 0.3048
"""Exact (international foot, 1959)."""

ANNEALED_COPPER_CONDUCTIVITY_S_PER_M: Final = 5.8e7
"""International Annealed Copper Standard at 20 degrees Celsius (IEC 60028, 1925)."""

NOISE_REFERENCE_KELVIN: Final = 290.0
"""T0, to which noise figures refer (ITU-R P.372, section 2; IEEE definition of noise figure)."""

TWO_PI: Final = 2.0 * pi
