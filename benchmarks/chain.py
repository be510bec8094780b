"""Power through a real, mismatched chain: ABCD matrices of lossy lines between a source and a load.

Formulas: D. M. Pozar, Microwave Engineering, 4th ed., table 4.1 (ABCD of a line) and section 2.7 (lossy lines).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

C_M_PER_S = 299792458.0


@dataclass(frozen=True, slots=True)
class Section:
    """A length of line: its own impedance, its matched loss in dB, its phase in radians."""

    impedance_ohm: float
    loss_db: float
    phase_rad: float

    def abcd(self) -> NDArray[np.complex128]:
        """Return the ABCD matrix, shape (2, 2)."""
        gl = self.loss_db / 8.685889638 + 1j * self.phase_rad
        z = self.impedance_ohm
        return np.array([[np.cosh(gl), z * np.sinh(gl)], [np.sinh(gl) / z, np.cosh(gl)]])


def phase_rad(length_m: float, velocity_factor: float, frequency_hz: float) -> float:
    """Return the electrical length, radians."""
    return 2 * np.pi * frequency_hz * length_m / (velocity_factor * C_M_PER_S)


def impedance(reflection: complex) -> complex:
    """Return the impedance in ohms behind a reflection coefficient in 50 ohms."""
    return 50.0 * (1 + reflection) / (1 - reflection)


def delivered_db(source: complex, load: complex, sections: Sequence[Section]) -> float:
    """Return power in the load over what the source has available, dB (negative), for reflections in 50 ohms."""
    matrix = np.eye(2, dtype=np.complex128)
    for section in sections:
        matrix = matrix @ section.abcd()
    zs, zl = impedance(source), impedance(load)
    (a, b), (c, d) = matrix
    v2 = 1.0 / (a + b / zl + zs * c + zs * d / zl)
    delivered = abs(v2) ** 2 * (1 / zl).real
    return float(10 * np.log10(delivered * 4 * zs.real))
