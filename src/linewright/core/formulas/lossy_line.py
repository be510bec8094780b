"""A lossy line with any load: its impedance, and what it makes of the load.

Closed formulas for one line. What it loses, and a chain of several things, is ``two_port``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI

# A lossy line with any load: its impedance, what it makes of the load, and what it loses exactly


def phase_rad(frequency_hz: ArrayLike, length_m: ArrayLike, velocity_factor: ArrayLike) -> Floats:
    """Return the electrical length ``β l = 2π f l/(v c)`` in radians, shaped as the inputs broadcast.

    >>> float(np.degrees(phase_rad(14.2e6, 20.0, 0.66)).round(1))
    516.7
    """
    v = np.asarray(velocity_factor, dtype=np.float64)
    if not np.all((v > 0) & (v <= 1)):
        raise InputError("velocity_factor", "must lie above 0 and be at most 1")
    wave = TWO_PI * np.asarray(frequency_hz, dtype=np.float64) / SPEED_OF_LIGHT_M_PER_S
    return np.asarray(wave * np.asarray(length_m, dtype=np.float64) / v)


def impedance_skew(conductor_db: ArrayLike, dielectric_db: ArrayLike, phase: ArrayLike) -> Floats:
    """Return x of a line's complex impedance ``R0 (1 - j x)``: ``x = (αc - αd)/β``.

    First order of ``√((R + jωL)/(G + jωC))`` in R/ωL and G/ωC (D. M. Pozar, Microwave Engineering, 4th ed., equations
    2.7 and 2.85; places from memory). With it and ``γ = αc + αd + jβ``, R and G of the line are exactly ``2 αc R0`` and
    ``2 αd/(R0 (1 + x²))``: such a line never gains. All loss in the conductors: ``X0 = -(α/β) R0``, as in the
    conference paper "A transmission line power paradox and its resolution" (2014).

    Parameters
    ----------
    conductor_db, dielectric_db : array_like
        Matched loss of the same length of line, in dB, that grows as the conductors' and as the dielectric's.
    phase : array_like
        Electrical length of that length, in radians, above zero.

    >>> float((402.75 * impedance_skew(0.095, 0.0, phase_rad(1.83e6, 30.48, 0.915))).round(3))
    3.448
    """
    difference = np.asarray(conductor_db, dtype=np.float64) - np.asarray(dielectric_db, dtype=np.float64)
    return np.asarray(difference / DB_PER_NEPER / np.asarray(phase, dtype=np.float64))


def input_impedance_ohm(load_ohm: ArrayLike, impedance_ohm: ArrayLike, propagation: ArrayLike) -> Complexes:
    """Return ``Z0 (Zl + Z0 tanh γl)/(Z0 + Zl tanh γl)`` in ohms, shaped as the inputs broadcast.

    Pozar, 4th ed., equation 2.91. ``propagation`` is γl: nepers + j radians.

    >>> complex(input_impedance_ohm(40 + 70j, 100.0, 0.6j * np.pi).round(2))  # 0.3 wavelengths, lossless
    (36.53-61.12j)
    """
    load, z0, gl = (np.asarray(x, dtype=np.complex128) for x in (load_ohm, impedance_ohm, propagation))
    t = np.tanh(gl)
    return np.asarray(z0 * (load + z0 * t) / (z0 + load * t))


def swr_in(impedance_ohm: ArrayLike, reference_ohm: ArrayLike = 50.0) -> Floats:
    """Return the SWR of an impedance on a line of this (real or complex) impedance; infinite where it takes no power.

    ``Γ = (Z - Z0)/(Z + Z0)``. In a complex reference |Γ| may pass 1: the SWR is infinite there too.

    >>> float(swr_in(38 - 12j).round(2))
    1.47
    """
    z, z0 = np.asarray(impedance_ohm, dtype=np.complex128), np.asarray(reference_ohm, dtype=np.complex128)
    back, forth = np.abs(z - z0), np.abs(z + z0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(back < forth, (forth + back) / (forth - back), np.inf)


# Where along a mismatched line voltage and heat are greatest

STEPS = 4
"""Rounds of the fixed point that moves a crest off the place a lossless line would have it; each gains a factor α/β.
Thin cable on 160 m has an α/β of a twentieth."""


def greatest(reflection: Complexes, nepers: ArrayLike, phase_rad: ArrayLike, swing: ArrayLike = 1.0) -> Floats:
    """Return the largest of ``e^2αs + r² e^-2αs + w 2 r cos(2βs - φ)`` along a line, over a unit wave at the load.

    Between the ends the form has a crest in each half wave; as loss grows toward the ends of the line, the greatest
    crest is the first or the last. Both are found, and compared with the ends.

    Parameters
    ----------
    reflection : ndarray of complex
        Γ at the load, in the line's own (complex) impedance.
    nepers, phase_rad : array_like
        αl and βl of the whole line.
    swing : array_like
        w: 1 for ``|V|²``, -1 for ``|Z0 I|²``.

    >>> float(greatest(np.array(0.5 + 0j), 0.0, 10.0))  # lossless, SWR 3: crest (1 + r)²
    2.25
    """
    r, phi = np.abs(reflection), np.angle(reflection)
    a, b = np.asarray(nepers, dtype=np.float64), np.asarray(phase_rad, dtype=np.float64)
    w = np.asarray(swing, dtype=np.float64)
    phi = phi + np.pi * (w < 0)
    w = np.abs(w)

    def height(turn: Floats) -> Floats:
        """Return the form where ``βs`` is ``turn``."""
        grown = np.exp(2.0 * a * (turn / b))
        return np.asarray(grown + r * r / grown + 2.0 * w * r * np.cos(2.0 * turn - phi))

    first = np.mod(phi, TWO_PI) / 2.0
    last = first + np.pi * np.floor((b - first) / np.pi)
    best = np.maximum(height(np.zeros_like(first)), height(b))
    for crest in (first, last):
        best = np.maximum(best, height(np.clip(_moved(crest, r, a / b, w), 0.0, b)))
    return best


def _moved(crest: Floats, r: Floats, ratio: Floats, w: Floats) -> Floats:
    """Return the crest where the slope vanishes: ``sin(2βs - φ) = (α/β)(e^2αs - r² e^-2αs)/(2 w r)``."""
    turn = crest
    for _ in range(STEPS):
        grown = np.exp(2.0 * ratio * turn)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = ratio * (grown - r * r / grown) / (2.0 * w * r)
        turn = crest + 0.5 * np.arcsin(np.clip(np.nan_to_num(slope, nan=0.0, posinf=1.0, neginf=-1.0), -1.0, 1.0))
    return np.asarray(turn)
