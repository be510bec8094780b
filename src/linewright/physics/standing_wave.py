"""Where along a mismatched line voltage and heat are greatest.

On a line of complex impedance ``Z0 = R0 (1 - j x)`` with waves of amplitude ``e^γs`` and ``Γ e^-γs`` at distance s from
the load, ``|V|²`` is ``|V+|² (e^2αs + r² e^-2αs + 2 r cos(2βs - φ))`` and ``|Z0 I|²`` the same with a minus sign. Any
mixture of the two, such as heat, has the form ``e^2αs + r² e^-2αs + w 2 r cos(2βs - φ)`` with w between -1 and 1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewright.units.constants import TWO_PI

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

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
