"""A chain walked from the load to the source: voltage and current at one end of a part give those at the other.

The state is (V, I), complex arrays, I flowing toward the load. Its scale is free: only ratios count. Power passing is
``Re(V I*)``, so the losses of the parts multiply to that of the chain, to the last digit. The chain matrix of a
reciprocal part has AD - BC = 1; it relates ``(V1, I1) = M (V2, I2)`` (D. M. Pozar, Microwave Engineering, 4th ed.,
section 4.4). Frequency is the first axis, draws the next.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.quantities import DB_PER_NEPER

Flags = NDArray[np.bool_]
Entry = NDArray[Any] | complex


class VoltageCurrent(NamedTuple):
    """Voltage and current at one place of a chain, to a common scale."""

    voltage: Complexes
    current: Complexes

    @property
    def power(self) -> Floats:
        """Power passing toward the load, ``Re(V I*)``, to the scale of the state."""
        v, i = self
        return np.asarray(v.real * i.real + v.imag * i.imag)

    @property
    def impedance_ohm(self) -> Complexes:
        """What is seen toward the load."""
        return np.asarray(self.voltage / self.current)


class Matrix(NamedTuple):
    """A chain matrix, entry by entry, so that each broadcasts against a state."""

    a: Entry
    b: Entry
    c: Entry
    d: Entry

    def then(self, next_: Matrix) -> Matrix:
        """Return the matrix of this part followed, toward the load, by the next."""
        (a, b, c, d), (e, f, g, h) = self, next_
        return Matrix(a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h)


def load_state(reflection: ArrayLike, reference_ohm: float = 50.0) -> VoltageCurrent:
    """Return the state at a load of this reflection.

    >>> complex(load_state(0.5).impedance_ohm)
    (150+0j)
    """
    g = np.asarray(reflection, dtype=np.complex128)
    return VoltageCurrent(1.0 + g, (1.0 - g) / reference_ohm)


def through_matrix(state: VoltageCurrent, m: Matrix) -> VoltageCurrent:
    """Return the state at the source's end of a part."""
    v, i = state
    return VoltageCurrent(np.asarray(m.a * v + m.b * i), np.asarray(m.c * v + m.d * i))


def through_line(
    state: VoltageCurrent, nepers: Floats, turn: Entry, impedance_ohm: float, skew: Entry = 0.0
) -> VoltageCurrent:
    """Return the state at the near end of a line.

    The two waves ``(V ± Z0 I)/2`` grow and shrink by ``e^(αl + jβl)``. Cheaper than a matrix: loss varies over draws,
    phase over frequency alone.

    Parameters
    ----------
    state : VoltageCurrent
        At the far end.
    nepers : ndarray
        αl, varying over frequency and draws.
    turn : ndarray of complex, or complex
        ``e^(jβl)``, varying over frequency.
    impedance_ohm, skew : float, ndarray
        R0 and x of the characteristic impedance ``R0 (1 - j x)``.

    >>> state = through_line(VoltageCurrent(100 + 0j, 1 + 0j), np.array(0.0), np.array(1j), 50.0)  # a quarter wave
    >>> complex(state.impedance_ohm)
    (25+0j)
    """
    v, i = state
    z0 = impedance_ohm * (1.0 - 1j * skew)
    grown = np.exp(nepers)
    zi = z0 * i
    forth = (v + zi) * (0.5 * grown * turn)
    back = (v - zi) * (np.conj(turn) * (0.5 / grown))
    return VoltageCurrent(forth + back, (forth - back) / z0)


def attenuator(loss_db: ArrayLike, impedance_ohm: float = 50.0) -> Matrix:
    """Return a matched attenuator: a line of loss without length.

    >>> m = attenuator(10.0)
    >>> round(float(m.a * 50 + m.b) / 50, 4)  # voltage ratio into 50 ohms, root of ten
    3.1623
    """
    nepers = np.asarray(loss_db, dtype=np.float64) / DB_PER_NEPER
    same, cross = np.cosh(nepers), np.sinh(nepers)
    return Matrix(same, impedance_ohm * cross, cross / impedance_ohm, same)


def lossless_line(turn_rad: ArrayLike, impedance_ohm: float) -> Matrix:
    """Return a lossless line of this electrical length in radians (Pozar, 4th ed., table 4.1)."""
    theta = np.asarray(turn_rad, dtype=np.float64)
    same, cross = np.cos(theta), 1j * np.sin(theta)
    return Matrix(same, impedance_ohm * cross, cross / impedance_ohm, same)


def transformer(ratio: float) -> Matrix:
    """Return an ideal transformer by its impedance ratio, load side over source side.

    >>> complex(through_matrix(VoltageCurrent(200 + 0j, 1 + 0j), transformer(4.0)).impedance_ohm)
    (50+0j)
    """
    turns = np.sqrt(ratio)
    return Matrix(1.0 / turns, 0.0, 0.0, turns)


def splitter(ways: int, *, matched: bool) -> Matrix:
    """Return what stands between the source and one of several equal branches; the others take as much each.

    A plain tee puts the branches in parallel. A matched splitter keeps the impedance: a tee behind an ideal
    transformer. By symmetry no power reaches the resistors of a matched splitter. Power of the source's end is
    ``ways`` times that of the branch.

    >>> complex(through_matrix(VoltageCurrent(50 + 0j, 1 + 0j), splitter(2, matched=False)).impedance_ohm)
    (25+0j)
    """
    tee = Matrix(1.0, 0.0, 0.0, float(ways))
    return transformer(1.0 / ways).then(tee) if matched else tee


def mismatch_step(swr: float, phase_rad: ArrayLike, impedance_ohm: float = 50.0) -> Matrix:
    """Return a lossless part whose SWR into a match is given, its reflection of unknown phase.

    An ideal transformer of impedance ratio ``swr`` behind a line of half that phase.

    >>> z = through_matrix(VoltageCurrent(50 + 0j, 1 + 0j), mismatch_step(1.5, 0.3)).impedance_ohm
    >>> float(abs((z - 50) / (z + 50)).round(6))
    0.2
    """
    return lossless_line(np.asarray(phase_rad) / 2.0, impedance_ohm).then(transformer(swr))


def shunt_and_series(series_ohm: Complexes, shunt_siemens: Complexes, *, shunt_at_load: Flags) -> Matrix:
    """Return an L network; where ``shunt_at_load`` the shunt arm stands on the load's side, elsewhere the source's."""
    both = 1.0 + series_ohm * shunt_siemens
    return Matrix(np.where(shunt_at_load, both, 1.0), series_ohm, shunt_siemens, np.where(shunt_at_load, 1.0, both))
