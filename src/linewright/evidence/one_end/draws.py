"""The unknowns nobody asks for, drawn once and used for every test: the same test always gives the same answer.

A *world* is what stays the same through a test: how far the instrument and the line are off. Inside each world, *turns*
are what differs from frequency to frequency: phases, and sizes about the world's own. All are stratified.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WORLDS, TURNS = 48, 32
SEED = 20_240_611
GOLDEN = 0.618_033_988_749_895
TRACKING, KNEE, DIRECTIVITY, IMPEDANCE, CONNECTOR, ANTENNA, LOAD = range(7)
"""What a world holds, standard normal."""
D_PHASE, D_SIZE, S_PHASE, S_SIZE, FAR_PHASE, OPPOSITE, PLUG, LOAD_PHASE, LOAD_SIZE, PEAK, DEFICIT, END_PLUG = range(12)
"""What a turn holds, uniform from 0 to 1."""


@dataclass(frozen=True, slots=True)
class Draws:
    """``worlds`` (7, WORLDS * TURNS) standard normal, alike within a world; ``turns`` (12, WORLDS * TURNS) uniform."""

    worlds: Floats
    turns: Floats

    def turned(self, number: float, what: int) -> Floats:
        """Return turns of one kind for the number-th frequency or load: a shifted copy, as good as new draws."""
        return np.asarray((self.turns[what] + number * GOLDEN) % 1.0)


@cache
def draws() -> Draws:
    """Return the draws."""
    rng = np.random.default_rng(SEED)
    inverse = np.vectorize(NormalDist().inv_cdf)
    even = inverse((np.arange(WORLDS) + 0.5) / WORLDS)
    worlds = np.array([rng.permutation(even) for _ in range(LOAD + 1)])
    n = WORLDS * TURNS
    turns = np.array([(rng.permutation(n) + rng.random(n)) / n for _ in range(END_PLUG + 1)])
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


def turn(uniform: Floats) -> NDArray[np.complex128]:
    """Return unit phasors, all phases alike likely."""
    return np.asarray(np.exp(2j * np.pi * uniform))


def rayleigh(uniform: Floats) -> Floats:
    """Return magnitudes of complex normal errors with root mean square 1."""
    return np.asarray(np.sqrt(-np.log1p(-np.clip(uniform, 0.0, 0.9999))))
