"""What a person states at some frequencies, at those of a run; nothing is carried on beyond what was stated."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from linewright.errors import InputError
from linewright.model.sweep import Sweep
from linewright.units.writing import frequency

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Value = TypeVar("Value", float, complex)

REACH = 1e-6
"""Frequencies closer than a part in a million are the same."""


def curve_at(what: str, curve: Sequence[tuple[float, Value]], frequency_hz: Floats) -> NDArray[np.complex128]:
    """Return a curve between its points by straight lines; a single point holds for all frequencies.

    Raises
    ------
    InputError
        If a frequency lies outside several points.

    >>> curve_at("swr", ((14.0e6, 1.2), (14.4e6, 1.6)), np.array([14.1e6])).real.round(6)
    array([1.3])
    """
    hertz, value = np.array([f for f, _ in curve]), np.array([v for _, v in curve], np.complex128)
    if len(value) == 1:
        return np.full(frequency_hz.shape, value[0])
    _within(what, "the figures given", (float(hertz[0]), float(hertz[-1])), frequency_hz)
    return np.asarray(np.interp(frequency_hz, hertz, value))


def sweep_at(what: str, sweep: Sweep, frequency_hz: Floats, ports: int) -> Complexes:
    """Return the scattering parameters of a sweep at other frequencies, shape (f, ports, ports).

    Reflections go along straight lines in the complex plane, which pass through zero unharmed. Transmissions go by
    magnitude and unwrapped phase: a length of line turns the phase evenly and keeps the magnitude, where a straight
    line would cut the corner and show loss that is not there. At the sweep's own frequencies both are exact.

    Raises
    ------
    InputError
        If the sweep has another number of ports, or a frequency lies outside it.
    """
    if sweep.ports != ports:
        raise InputError(what, f"must be a sweep of {ports} port{'s' * (ports > 1)}; {sweep.name} has {sweep.ports}")
    _within(what, sweep.name, (float(sweep.frequency_hz[0]), float(sweep.frequency_hz[-1])), frequency_hz)
    out = np.empty((len(frequency_hz), ports, ports), np.complex128)
    for i in range(ports):
        for j in range(ports):
            s = sweep.s[:, i, j]
            out[:, i, j] = _straight(frequency_hz, sweep, s) if i == j else _turned(frequency_hz, sweep, s)
    return out


def _straight(f: Floats, sweep: Sweep, s: Complexes) -> Complexes:
    return np.asarray(np.interp(f, sweep.frequency_hz, s))


def _turned(f: Floats, sweep: Sweep, s: Complexes) -> Complexes:
    size = np.interp(f, sweep.frequency_hz, np.abs(s))
    turn = np.interp(f, sweep.frequency_hz, np.unwrap(np.angle(s)))
    return np.asarray(size * np.exp(1j * turn))


def _within(what: str, whose: str, ends: tuple[float, float], frequency_hz: Floats) -> None:
    low, high = ends[0] * (1 - REACH), ends[1] * (1 + REACH)
    outside = frequency_hz[(frequency_hz < low) | (frequency_hz > high)]
    if len(outside):
        raise InputError(
            what,
            f"must reach over the frequencies of the run; {frequency(float(outside[0]))} lies outside {whose},"
            f" {frequency(ends[0])} to {frequency(ends[1])}",
            cure="Nothing is guessed beyond it: sweep wider, or take the frequency out of the run.",
        )
