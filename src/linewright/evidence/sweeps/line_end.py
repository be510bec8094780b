"""Where a line ends, and what it loses on the way: what the echo search needs to begin with."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from linewright.evidence.sweeps.echoes import KAISER, LOW_PASS, Rate
from linewright.physics.time_domain import kaiser_window
from linewright.units.constants import TWO_PI

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LEAST_BACK, LEAST_THROUGH = 0.12, 0.005
"""Waves smaller than this tell no loss: what connectors reflect, or what leaks past, is as large."""

LEAST_ALONE = 0.02
"""The same, once the far end's wave is taken by itself."""

MOST_POINTS = 1500

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
    coarse = _coarse_delay(f, wave, conductor, dielectric)
    f, wave = means(f, wave, coarse, MOST_POINTS)
    if ways == 2 and (alone := _nepers(f, _gated(f, wave, coarse), LEAST_ALONE)) is not None:
        _, conductor, dielectric = alone
    mhz = f / 1e6
    loss = conductor * np.sqrt(mhz) + dielectric * mhz
    weight = kaiser_window(f, KAISER, low_pass=bool(f[0] < LOW_PASS * f[-1])) ** 2
    delay, peak = _delay(f, _straight(f, wave, conductor, dielectric) * weight, coarse)
    size = float(peak / (np.exp(-2.0 * loss) * weight).sum())
    if delay < 1.5 / (f[-1] - f[0]):
        return None
    return LineEnd(delay / ways, Rate(conductor / delay, dielectric / delay), size)


def _gated(f: Floats, wave: Complexes, delay_s: float) -> Complexes:
    """Return the wave about one delay: turned back, then smoothed over frequency until what is far from it is gone.

    Hann's kernel has its first zero at two over its width: here at the near end's delay.
    """
    width = int(np.ceil(2.0 / (max(delay_s, 1e-12) * float(np.median(np.diff(f))))))
    kernel = np.hanning(min(max(width, 1), len(f) // 3) + 2)[1:-1]
    turned = wave * np.exp(1j * TWO_PI * f * delay_s)
    share = np.convolve(np.ones(len(f)), kernel, "same")
    return np.asarray(np.convolve(turned, kernel, "same") / share)


def means(f: Floats, wave: Complexes, delay_s: float, most: int) -> tuple[Floats, Complexes]:
    """Return a wave thinned to no more than about so many points, by means over blocks after turning back a delay."""
    block = len(f) // most
    if block < 2:
        return f, wave
    n = len(f) // block * block
    turned = wave[:n] * np.exp(1j * TWO_PI * f[:n] * delay_s)
    mean_f = f[:n].reshape(-1, block).mean(axis=1)
    return mean_f, turned.reshape(-1, block).mean(axis=1) * np.exp(-1j * TWO_PI * mean_f * delay_s)


def _straight(f: Floats, wave: Complexes, conductor: float, dielectric: float) -> Complexes:
    """Return a wave weighted as it was attenuated, with the turn of the conductor's inner inductance taken back.

    That inductance turns the wave by as many radians as the conductor loses nepers.
    """
    root = np.sqrt(f / 1e6)
    return np.asarray(wave * np.exp(-conductor * root - dielectric * f / 1e6 + 1j * conductor * root))


def _nepers(f: Floats, wave: Complexes, least: float) -> Floats | None:
    """Return a constant, a √f part and an f part of the wave's loss in nepers, none below zero, of its louder part."""
    block = max(1, len(f) // MOST_POINTS)
    n = len(f) // block * block
    size, mhz = (np.asarray(x[:n]).reshape(-1, block).mean(axis=1) for x in (np.abs(wave), f / 1e6))
    width = max(1, len(mhz) // 40)
    smooth = np.convolve(np.pad(size, width, mode="edge"), np.full(2 * width + 1, 1.0 / (2 * width + 1)), "valid")
    quiet = smooth < least
    last = int(np.argmax(quiet)) if quiet.any() else len(mhz)
    if last < max(20, len(mhz) // 20):
        return None
    design = np.column_stack([np.ones(last), np.sqrt(mhz[:last]), mhz[:last]])
    return _not_negative(design, np.maximum(-np.log(np.maximum(size[:last], 1e-6)), 0.0))


def _not_negative(design: Floats, target: Floats) -> Floats:
    """Return the coefficients of least squares among those that are not negative, by trying every set of columns."""
    gram, seen, columns = design.T @ design, design.T @ target, design.shape[1]
    best, least = np.zeros(columns), 0.0
    for count in range(1, columns + 1):
        for kept in map(list, combinations(range(columns), count)):
            k = np.linalg.solve(gram[np.ix_(kept, kept)], seen[kept])
            if np.all(k >= 0) and -float(k @ seen[kept]) < least:
                best, least = np.zeros(columns), -float(k @ seen[kept])
                best[kept] = k
    return best


def _coarse_delay(f: Floats, wave: Complexes, conductor: float, dielectric: float) -> float:
    """Return the delay of the whole way at which a wave lines up best, to a fraction of a cell, by a transform."""
    weight = kaiser_window(f, KAISER, low_pass=bool(f[0] < LOW_PASS * f[-1])) ** 2
    step = max(float(np.median(np.diff(f))), (f[-1] - f[0]) / (8.0 * len(f)))
    finer = 8 if len(f) < 20_000 else 3
    n = 1 << int(np.ceil(np.log2(finer * (f[-1] - f[0]) / step)))
    grid = np.zeros(n, dtype=np.complex128)
    np.add.at(grid, np.rint((f - f[0]) / step).astype(int), _straight(f, wave, conductor, dielectric) * weight)
    times = np.arange(n) / (n * step)
    turned = np.fft.ifft(grid) * np.exp(1j * TWO_PI * f[0] * times)
    return float(times[int(np.argmax(turned.real**2))])


def _delay(f: Floats, straight: Complexes, coarse: float) -> tuple[float, float]:
    """Return the delay about a coarse one at which a wave lines up best, and its signed sum there."""
    fine = np.linspace(-0.3, 0.3, 81) / (f[-1] - f[0]) + coarse
    heights = (straight @ np.exp(1j * TWO_PI * np.outer(f, fine))).real
    i = int(np.argmax(heights**2))
    if 0 < i < len(fine) - 1:
        left, middle, right = heights[i - 1 : i + 2] ** 2
        shift = 0.5 * (left - right) / (left - 2 * middle + right)
        return float(fine[i] + shift * (fine[1] - fine[0])), float(heights[i])
    return float(fine[i]), float(heights[i])
