"""Where a line ends, and what it loses on the way: what the echo search needs to begin with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.evidence.sweeps.echoes import KAISER, LOW_PASS, Rate
from linewright.physics.time_domain import kaiser_window
from linewright.units.constants import TWO_PI

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LEAST_BACK, LEAST_THROUGH = 0.12, 0.005
"""Waves smaller than this tell no loss: what connectors reflect, or what leaks past, is as large."""

TOTAL = 0.6
"""A reflection above this, with the line's loss taken back, is total: the line is open or shorted there."""


@dataclass(frozen=True, slots=True)
class LineEnd:
    """One-way delay of a wave's far end, the line's attenuation per second of delay, and the reflection there."""

    delay_s: float
    rate: Rate
    reflection: float


def end_by_transmission(frequency_hz: Floats, transmission: Complexes, reflection: Complexes) -> LineEnd | None:
    """Return the end of a line that was swept through; nothing if too little comes out.

    What is reflected at port 1 did not get lost: it is taken out of the loss.
    """
    if np.median(np.abs(transmission)) < LEAST_THROUGH:
        return None
    entered = np.sqrt(np.maximum(1.0 - np.abs(reflection) ** 2, 0.05))
    return _end(frequency_hz, transmission / entered, ways=1)


def end_by_reflection(frequency_hz: Floats, reflection: Complexes) -> LineEnd | None:
    """Return the end of a line that is open or shorted somewhere; nothing if no echo is total."""
    found = _end(frequency_hz, reflection, ways=2)
    return found if found and abs(found.reflection) > TOTAL else None


def _end(f: Floats, wave: Complexes, ways: int) -> LineEnd | None:
    """Fit one delayed, attenuated wave: its loss from the magnitude, then its delay by a matched filter."""
    nepers = _nepers(f, wave, LEAST_BACK if ways == 2 else LEAST_THROUGH)
    if nepers is None:
        return None
    _, conductor, dielectric = nepers
    mhz = f / 1e6
    loss = conductor * np.sqrt(mhz) + dielectric * mhz
    low_pass = bool(f[0] < LOW_PASS * f[-1])
    weight = kaiser_window(f, KAISER, low_pass=low_pass) ** 2
    # The conductor's inner inductance turns the wave by as many radians as it loses nepers.
    straight = wave * np.exp(-loss + 1j * conductor * np.sqrt(mhz)) * weight
    delay, peak = _delay(f, straight)
    size = float(peak / (np.exp(-2.0 * loss) * weight).sum())
    least = 1.5 / (f[-1] - f[0])
    if delay < least:
        return None
    return LineEnd(delay / ways, Rate(conductor / delay, dielectric / delay), size)


def _nepers(f: Floats, wave: Complexes, least: float) -> Floats | None:
    """Return a constant, a √f part and an f part of the wave's loss in nepers, none below zero, of its louder part."""
    from scipy.optimize import nnls

    size = np.abs(wave)
    width = max(1, len(f) // 40)
    smooth = np.convolve(np.pad(size, width, mode="edge"), np.full(2 * width + 1, 1.0 / (2 * width + 1)), "valid")
    quiet = smooth < least
    last = int(np.argmax(quiet)) if quiet.any() else len(f)
    if last < max(20, len(f) // 20):
        return None
    mhz = f[:last] / 1e6
    design = np.column_stack([np.ones(last), np.sqrt(mhz), mhz])
    return np.asarray(nnls(design, np.maximum(-np.log(np.maximum(size[:last], 1e-6)), 0.0))[0])


def _delay(f: Floats, straight: Complexes) -> tuple[float, float]:
    """Return the delay (of the whole way) at which a wave lines up best, and its signed sum there."""
    step = float(np.median(np.diff(f)))
    n = 1 << int(np.ceil(np.log2(8 * (f[-1] - f[0]) / step)))
    grid = np.zeros(n, dtype=np.complex128)
    np.add.at(grid, np.rint((f - f[0]) / step).astype(int), straight)
    times = np.arange(n) / (n * step)
    turned = np.fft.ifft(grid) * n * np.exp(1j * TWO_PI * f[0] * times)
    found = times[int(np.argmax(turned.real**2))]
    fine = np.linspace(-1.5, 1.5, 61) / (n * step) + found
    heights = (straight @ np.exp(1j * TWO_PI * np.outer(f, fine))).real
    i = int(np.argmax(heights**2))
    if 0 < i < len(fine) - 1:
        left, middle, right = heights[i - 1 : i + 2] ** 2
        shift = 0.5 * (left - right) / (left - 2 * middle + right)
        return float(fine[i] + shift * (fine[1] - fine[0])), float(heights[i])
    return float(fine[i]), float(heights[i])
