"""The unknowns nobody asks for, drawn once and used for every test: the same test always gives the same answer.

A *world* is what stays the same through a test: how far the instrument, the line and what hangs on it are off. Inside
each world, *turns* are what differs from frequency to frequency: phases along the line, and what one reading adds. All
are stratified.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Singles = NDArray[np.float32]
Places = NDArray[np.intp]

WORLDS, TURNS = 96, 16
SEED = 20_240_611
GOLDEN = 0.618_033_988_749_895
SCALE, KNEE, DIRECTIVITY, D_SIZE, D_PHASE, D_DELAY, S_SIZE, S_PHASE, S_DELAY, IMPEDANCE, PLUGS, ANTENNA = range(12)
LOAD, LOAD_PHASE, LOAD_DELAY = 12, 13, 14
"""What a world holds, uniform from 0 to 1."""
FAR_PHASE, OPPOSITE, PLUG, END_PLUG, LOAD_SIZE, PEAK, DEFICIT = range(7)
"""What a turn holds, uniform from 0 to 1."""


@dataclass(frozen=True, slots=True)
class Draws:
    """``worlds`` (15, draws), alike within a world, and ``turns`` (7, draws): uniform, WORLDS * TURNS draws."""

    worlds: Floats
    turns: Floats

    def normal(self, what: int) -> Floats:
        """Return a world's unknown as standard normal."""
        return normal(self.worlds[what])

    def turned(self, number: float, what: int) -> Floats:
        """Return turns of one kind for the number-th frequency or load: a shifted copy, as good as new draws."""
        return np.asarray((self.turns[what] + number * GOLDEN) % 1.0)

    def phasor(self, phase: int, delay: int, frequency_hz: float, most_s: float) -> Complexes:
        """Return a world's unit phasor: any phase, turning with frequency by a delay of at most so many seconds."""
        return turn(self.worlds[phase] + frequency_hz * most_s * self.worlds[delay])


@cache
def draws() -> Draws:
    """Return the draws."""
    rng = np.random.default_rng(SEED)
    worlds = np.array([(rng.permutation(WORLDS) + 0.5) / WORLDS for _ in range(LOAD_DELAY + 1)])
    n = WORLDS * TURNS
    turns = np.array([(rng.permutation(n) + rng.random(n)) / n for _ in range(DEFICIT + 1)])
    return Draws(np.repeat(worlds, TURNS, axis=1), turns)


@cache
def _table() -> tuple[Floats, Floats]:
    p = np.linspace(0.0005, 0.9995, 1000)
    return p, np.vectorize(NormalDist().inv_cdf)(p)


def normal(uniform: Floats) -> Floats:
    """Return standard normal draws for uniform ones, from a table.

    >>> normal(np.array([0.5, 0.975])).round(2)
    array([0.  , 1.96])
    """
    return np.asarray(np.interp(uniform, *_table()))


def turn(uniform: Floats) -> Complexes:
    """Return unit phasors, all phases alike likely."""
    return np.asarray(np.exp(2j * np.pi * uniform))


def rayleigh(uniform: Floats) -> Floats:
    """Return magnitudes of complex normal errors with root mean square 1."""
    return np.asarray(np.sqrt(-np.log1p(-np.clip(uniform, 0.0, 0.9999))))
