"""Where a line ends, and what it loses on the way: what the echo search needs to begin with."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.formulas.time_domain import kaiser_window
from linewright.core.frozen import dataclass
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, TWO_PI
from linewright.inference.sweep.echoes import KAISER, LOW_PASS, EchoFit, Rate, find_echoes

# Where a line ends, and what it loses on the way: what the echo search needs to begin with


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


# A line as one port sees it: where it ends, and what echoes come back

MAX_SEARCH_POINTS = 1000
WIDER = 4.0
"""A thinned sweep keeps a range so many times as long as the line."""


@dataclass(frozen=True, slots=True)
class LineScale:
    """How delays become metres: velocity factor, its relative standard uncertainty, and whether it was only assumed."""

    velocity_factor: float
    relative_u: float
    assumed: bool = False

    @property
    def m_per_s(self) -> float:
        """Return the speed of the wave."""
        return self.velocity_factor * SPEED_OF_LIGHT_M_PER_S


@dataclass(frozen=True, slots=True)
class SeenPair:
    """The echoes from one port, where the line ends, and whether that end is total (sign of it) or not (0).

    ``mismatch`` is what the line's own impedance reflects in that of the sweep, a magnitude.
    """

    fit: EchoFit
    end: LineEnd | None
    total: int
    mismatch: float = 0.0


def look(
    frequency_hz: Floats,
    reflection: Complexes,
    through: LineEnd | None,
    rate: Rate | None,
    end_delay_s: float | None,
    *,
    most_s: float | None = None,
) -> SeenPair:
    """Return the echoes seen from one port.

    Parameters
    ----------
    through : LineEnd or None
        The end as a sweep through the line shows it.
    rate : Rate or None
        The line's attenuation if known; else the sweep's own, if it shows one, or none.
    end_delay_s : float or None
        Delay of the far end if known from elsewhere; used where the sweep does not show the end itself.
    most_s : float, optional
        How far to look, one way, where no end is known.
    """
    mirror = None if through else end_by_reflection(frequency_hz, reflection)
    end = through or mirror
    delay = end.delay_s if end else end_delay_s
    own = end.rate if end else rate
    f, s = thinned(frequency_hz, reflection, delay or most_s)
    fit = find_echoes(f, s, own or Rate(0.0, 0.0), delay, most_s=most_s, total=mirror is not None)
    sign = 0 if mirror is None else (1 if mirror.reflection > 0 else -1)
    return SeenPair(fit, end, sign)


def thinned(f: Floats, s: Complexes, delay_s: float | None) -> tuple[Floats, Complexes]:
    """Return a sweep of at most some thousand points, or of so many that its range stays well beyond the line."""
    points = MAX_SEARCH_POINTS
    if delay_s:
        points = max(points, int(np.ceil(2.0 * WIDER * delay_s * (f[-1] - f[0]))))
    return means(f, s, delay_s or 0.0, points)
