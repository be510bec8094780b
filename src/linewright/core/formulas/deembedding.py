"""What the near end of a line tells: its loss, and the load behind it with the line's loss and phase taken out.

Reflections here are of voltage waves, ``(Z - Z0)/(Z + Z0)``, on a line whose Z0 may be complex.
A line whose far end reflects everything sends the wave back through its loss twice, so its return loss is twice its
one-way matched loss; for the loss Z0 is taken as real and as the instrument's.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.formulas.mismatch import input_reflection, swr_from_reflection
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI


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


def loss_from_reflection_db(seen: ArrayLike, far_end: ArrayLike = 1.0) -> Floats:
    """Return the one-way matched loss in dB, ``10 log10(|Γ far end| / |Γ seen|)``; open and shorted ends reflect all.

    With an SWR of S seen at an open or shorted line this is ``10 log10((S + 1)/(S - 1))``, half the return loss
    (the wave passes the loss twice: D. M. Pozar, Microwave Engineering, 4th ed., pages 81 to 82). At a peak with the
    antenna left connected it is an upper bound; two list posts work it there, SWR 9 and 8
    (lists.contesting.com/_towertalk/2004-12/msg00502.html, archives/html/Towertalk/1998-11/msg00371.html). Below zero
    where more is seen than the far end reflects; infinite where nothing is seen.

    Raises
    ------
    InputError
        If a reflection does not lie between 0 and 1, or the far end reflects nothing.

    >>> loss_from_reflection_db([0.8, 7 / 9]).round(2)  # SWR 9 and 8
    array([0.97, 1.09])
    """
    g, end = np.asarray(seen, dtype=np.float64), np.asarray(far_end, dtype=np.float64)
    if not np.all((g >= 0) & (g <= 1)):
        raise InputError("seen", "must be a reflection between 0 and 1")
    if not np.all((end > 0) & (end <= 1)):
        raise InputError("far_end", "must be a reflection above 0 and at most 1", cure="A matched end tells nothing.")
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(end / g) + 0.0)


def loss_from_resonance_db(resistance_ohm: ArrayLike, impedance_ohm: ArrayLike) -> Floats:
    """Return the one-way matched loss in dB from a resistance at resonance, ``8.686 atanh(R/Z0)`` or of ``Z0/R``.

    The lower of the two ratios is taken, so that low and high resonances both serve. Infinite where R equals Z0.

    >>> loss_from_resonance_db([5.73, 436.2], 50.0).round(2)
    array([1., 1.])
    """
    r, z0 = np.asarray(resistance_ohm, dtype=np.float64), np.asarray(impedance_ohm, dtype=np.float64)
    if not np.all(r >= 0):
        raise InputError("resistance_ohm", "must be zero or more")
    if not np.all((z0 > 0) & np.isfinite(z0)):
        raise InputError("impedance_ohm", "must be above zero and finite")
    with np.errstate(divide="ignore"):
        return np.asarray(DB_PER_NEPER * np.arctanh(np.minimum(r / z0, z0 / r)))
