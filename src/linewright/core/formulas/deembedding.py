"""Looking through a line: what a load is, from what is seen at the near end, with the line's loss and phase taken out.

Reflections here are of voltage waves, ``(Z - Z0)/(Z + Z0)``, on a line whose Z0 may be complex.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.formulas.mismatch import input_reflection, swr_from_reflection
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, TWO_PI


def highest_swr(matched_loss_db: ArrayLike) -> Floats:
    """Return the highest SWR the near end of a line can show, ``(1 + L)/(1 - L)`` with ``L = 10^(-loss/10)``.

    Whatever stands at the far end reflects no more than everything. Infinite for a line without loss. Source:
    ham.stackexchange.com question 9722.

    >>> highest_swr([1.0, 3.0, 10.0]).round(2)
    array([8.72, 3.01, 1.22])
    """
    return swr_from_reflection(input_reflection(matched_loss_db, 1.0))


def plain_far_reflection(matched_loss_db: ArrayLike, near_reflection: ArrayLike) -> Floats:
    """Return the magnitude of the reflection at the far end by the plain formula, ``|Γ| 10^(loss/10)``.

    It takes both figures as exact, so it may exceed 1: then one of them is wrong. Inverse of ``input_reflection``.

    >>> plain_far_reflection(3.0, [0.13, 0.6]).round(3)
    array([0.259, 1.197])
    """
    loss = np.asarray(matched_loss_db, dtype=np.float64)
    if not np.all(loss >= 0):
        raise InputError("matched_loss_db", "must be zero or more", cure="A passive line's loss is positive.")
    return np.asarray(np.abs(np.asarray(near_reflection)) * 10.0 ** (loss / 10.0), dtype=np.float64)


def phase_constant_rad_per_m(frequency_hz: ArrayLike, velocity_factor: ArrayLike) -> Floats:
    """Return the phase constant ``β = 2πf/(v c)`` in radians per metre, shaped as the inputs broadcast.

    >>> float(phase_constant_rad_per_m(144e6, 0.66).round(3))
    4.573
    """
    f, v = np.asarray(frequency_hz, dtype=np.float64), np.asarray(velocity_factor, dtype=np.float64)
    if not (np.all(f > 0) and np.all((v > 0) & (v <= 1))):
        raise InputError("velocity_factor", "must lie above 0 and at most at 1, and the frequency above 0")
    return np.asarray(TWO_PI * f / (v * SPEED_OF_LIGHT_M_PER_S), dtype=np.float64)


def lossy_impedance_ohm(
    impedance_ohm: ArrayLike, conductor_neper: ArrayLike, dielectric_neper: ArrayLike, phase_rad: ArrayLike
) -> Complexes:
    """Return the complex characteristic impedance of a lossy line, ``R0 (1 - j (αc - αd)/β)``, in ohms.

    The first order of ``√((R + jωL)/(G + jωC))`` with ``αc = R/(2 R0)`` and ``αd = G R0/2`` (D. M. Pozar, Microwave
    Engineering, 4th ed., section 2.7, equations 2.82 to 2.85). A line without dielectric loss has the known
    ``X0 = -(α/β) R0``. What the conductors add to the inductance at low frequency is neglected.

    Parameters
    ----------
    impedance_ohm : array_like
        R0, the impedance at high frequency.
    conductor_neper, dielectric_neper, phase_rad : array_like
        What the line loses in its conductors and dielectric, and its phase: per metre or over the whole length alike.

    >>> beta = phase_constant_rad_per_m(1.83e6, 0.915)
    >>> complex(lossy_impedance_ohm(402.75, 0.095 / 8.686 / 30.48, 0.0, beta).round(3))
    (402.75-3.448j)
    """
    r0, phase = np.asarray(impedance_ohm, dtype=np.float64), np.asarray(phase_rad, dtype=np.float64)
    if not (np.all(r0 > 0) and np.all(phase > 0)):
        raise InputError("impedance_ohm", "must be above zero, as must the phase")
    more = np.asarray(conductor_neper, dtype=np.float64) - np.asarray(dielectric_neper, dtype=np.float64)
    return np.asarray(r0 * (1.0 - 1j * more / phase), dtype=np.complex128)


def far_impedance_ohm(near_ohm: ArrayLike, line_ohm: ArrayLike, propagation: ArrayLike) -> Complexes:
    """Return the load behind a line, ``Z0 (Zin - Z0 tanh γl)/(Z0 - Zin tanh γl)``, in ohms.

    Inverse of ``lossy_line.input_impedance_ohm``: loss and phase are taken out of both ways at once. A line that loses
    more than it shows has no passive load behind it: the real part comes out negative.

    >>> complex(far_impedance_ohm(36.534 - 61.119j, 100.0, 0.3j * 2 * np.pi).round(1))
    (40+70j)
    """
    z0 = np.asarray(line_ohm, dtype=np.complex128)
    gamma = _reflection(near_ohm, z0) * np.exp(2.0 * np.asarray(propagation, dtype=np.complex128))
    return _impedance(gamma, z0)


def _reflection(impedance_ohm: ArrayLike, z0: Complexes) -> Complexes:
    z = np.asarray(impedance_ohm, dtype=np.complex128)
    far = ~np.isfinite(z)
    near = np.where(far, 0.0, z)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(far, 1.0 + 0.0j, (near - z0) / (near + z0)))


def _impedance(gamma: Complexes, z0: Complexes) -> Complexes:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(gamma == 1.0, complex(np.inf), z0 * (1.0 + gamma) / (1.0 - gamma)))
