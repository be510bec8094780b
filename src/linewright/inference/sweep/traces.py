"""A wave that went along the line, once or there and back, brought down to few points without losing what they say.

The wave is turned back by a pilot of its own delay and loss, so that what is left stands nearly still: then whole
bins of it can be averaged as complex numbers. Noise has no phase: it averages out, and the noise floor with it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.formulas.delay import slope_delay_s, turned_back
from linewright.core.frozen import dataclass
from linewright.core.nouns.sweep import Sweep
from linewright.core.quantities import DB_PER_NEPER, TWO_PI

# A wave that went along the line, once or there and back, brought down to few points without losing what they say


BINS = 100
"""Equal steps of √f. More say nothing new: what changes faster than a bin is ripple, and is averaged."""
BLOCKS = 12
"""Stretches of the sweep that each have a noise of their own."""
LEAST_SNR = 4.0
"""A bin whose mean does not stand so far above its own noise says nothing."""
COHERENT, LEAST_REACH = 0.75, 16
LEAST_SHARE = 1.5
"""Nor one whose mean is not so many times what turns within it: another, nearer reflection."""
LEAST_NOISE = 1e-5
"""Relative noise below which nobody's trace lies: rounding of the file at best."""


@dataclass(frozen=True, slots=True)
class Trace:
    """A wave against frequency, ``e^(-passes γl)`` but for errors; ``passes`` is 1 through and 2 there and back.

    ``mended_db`` is how much loss by reflection was taken out of it, at every point; None for none. ``off`` is the
    share of the wave that what the calibration left may be, the same way all along the sweep; ``rippled`` says that
    nearer reflections ride on it.
    """

    frequency_hz: Floats
    wave: Complexes
    passes: int
    mended_db: Floats | None = None
    off: float = 0.0
    rippled: bool = False

    def sound(self) -> Trace:
        """Return the trace without points that are no numbers."""
        kept = np.isfinite(self.wave)
        if kept.all():
            return self
        mended = None if self.mended_db is None else self.mended_db[kept]
        return replace(self, frequency_hz=self.frequency_hz[kept], wave=self.wave[kept], mended_db=mended)

    def mended_at(self, frequency_hz: Floats) -> Floats:
        """Return the loss by reflection taken out near frequencies, dB: the mean of a bin."""
        if self.mended_db is None:
            return np.zeros_like(frequency_hz)
        starts = edges(self.frequency_hz)
        size = np.diff(np.append(starts, len(self.frequency_hz)))
        mean = np.add.reduceat(self.mended_db, starts) / size
        return np.asarray(np.interp(frequency_hz, np.add.reduceat(self.frequency_hz, starts) / size, mean))


@dataclass(frozen=True, slots=True)
class Pilot:
    """A rough smooth course of a trace: its delay, and loss ``k0 + k1 √f + k2 f`` in dB with f in MHz, all passes."""

    delay_s: float
    phase_rad: float
    loss: Floats

    def loss_db(self, frequency_hz: Floats) -> Floats:
        """Return the loss in dB, shaped as the frequency."""
        return np.asarray(law_design(frequency_hz) @ self.loss)


@dataclass(frozen=True, slots=True)
class Bins:
    """Means of a turned-back trace: ``ratio`` to its pilot, complex, with the standard deviation of each part of it.

    ``dropped_hz`` are the frequencies of bins that lie in the noise, ``spikes`` how many points stood far apart.
    """

    frequency_hz: Floats
    ratio: Complexes
    noise: Floats
    count: NDArray[np.int64]
    dropped_hz: Floats
    spikes: int


def axis_of(frequency_hz: Floats, sweep_hz: Floats) -> Floats:
    """Return where frequencies stand along a sweep, 0 at its start and 1 at its end, in √f."""
    low, high = np.sqrt(sweep_hz[0]), np.sqrt(sweep_hz[-1])
    return np.asarray((np.sqrt(frequency_hz) - low) / (high - low))


def law_design(frequency_hz: Floats) -> Floats:
    """Return the columns 1, √f and f, f in MHz, shape (f, 3)."""
    f = np.asarray(frequency_hz, dtype=np.float64) / 1e6
    return np.stack([np.ones_like(f), np.sqrt(f), f], axis=-1)


def pilot(trace: Trace) -> Pilot:
    """Return the rough course of a trace: a robust fit to its decibels and its phase, as far as it stands out."""
    far = reach(trace.frequency_hz, trace.wave)
    f, wave = trace.frequency_hz[:far], trace.wave[:far]
    delay = slope_delay_s(f, wave)
    phase = np.unwrap(np.angle(turned_back(f, wave, delay)))
    slope, start = _line(f, phase)
    db = -20.0 * np.log10(np.maximum(np.abs(wave), 1e-12))
    return Pilot(delay - slope / TWO_PI, start, robust(law_design(f), db))


def reach(f: Floats, wave: Complexes) -> int:
    """Return how many points, from the first on, hear the far end louder than all that lies nearer.

    Turned back by the delay of the lowest points, a wave from the far end stands still over a ripple; others do not.
    """
    low = max(LEAST_REACH, len(f) // 8)
    delay = slope_delay_s(f[:low], wave[:low])
    still = turned_back(f, wave, delay)
    turn = 1.0 / max(abs(delay) * float(np.median(np.diff(f))), 1e-9)
    window = int(np.clip(np.ceil(turn), 8, max(8, len(f) // 4)))
    starts = np.arange(0, len(f), window)
    sure = np.abs(np.add.reduceat(still, starts)) >= COHERENT * np.add.reduceat(np.abs(still), starts)
    return len(f) if sure.all() else max(int(starts[int(np.argmin(sure))]), LEAST_REACH)


def _line(x: Floats, y: Floats) -> tuple[float, float]:
    design = np.stack([x / x[-1], np.ones_like(x)], axis=-1)
    slope, start = robust(design, y)
    return float(slope / x[-1]), float(start)


def robust(design: Floats, value: Floats, rounds: int = 6) -> Floats:
    """Return coefficients of a fit that a minority of stray points does not move (Huber weights, MAD scale)."""
    step = max(1, len(value) // 4000)
    x, y = design[::step], value[::step]
    root = np.asarray(np.ones(len(y)), dtype=np.float64)
    b: Floats = np.zeros(x.shape[1])
    for _ in range(rounds):
        b = np.asarray(np.linalg.lstsq(x * root[:, None], y * root, rcond=None)[0], dtype=np.float64)
        rest = np.abs(y - x @ b)
        scale = 1.4826 * float(np.median(rest)) + 1e-15
        root = np.asarray(np.sqrt(np.minimum(1.0, 1.5 * scale / np.maximum(rest, 1e-300))), dtype=np.float64)
    return b


def bins(trace: Trace, course: Pilot) -> Bins:
    """Return means over equal steps of √f, stray points left out, bins in the noise dropped."""
    f = trace.frequency_hz
    grown = 10.0 ** (course.loss_db(f) / 20.0)
    ratio = turned_back(f, trace.wave, course.delay_s) * np.exp(-1j * course.phase_rad) * grown
    starts = edges(f)
    sigma = noise_of(ratio)
    mean = _mean(ratio, np.ones(len(f)), starts)
    size = np.diff(np.append(starts, len(f)))
    apart = np.abs(ratio - np.repeat(mean, size)) > 8.0 * np.maximum(sigma, _spread(ratio, mean, size))
    kept = np.where(apart, 0.0, 1.0)
    count = np.add.reduceat(kept, starts)
    kept[np.repeat(count == 0, size)] = 1.0
    count = np.add.reduceat(kept, starts)
    mean = _mean(ratio, kept, starts)
    noise = np.sqrt(np.add.reduceat(kept * sigma**2, starts)) / count
    centre = np.add.reduceat(kept * np.sqrt(f), starts) ** 2 / count**2
    apart2 = np.add.reduceat(kept * np.abs(ratio - np.repeat(mean, size)) ** 2, starts) / count
    rippled = np.sqrt(np.maximum(apart2 - 3.0 * noise**2 * count, 0.0))
    seen = np.abs(mean) > np.maximum(LEAST_SNR * noise, LEAST_SHARE * rippled)
    seen &= np.isfinite(mean) & np.isfinite(noise) & np.isfinite(centre)
    return Bins(
        centre[seen], mean[seen], noise[seen], count[seen].astype(np.int64), centre[~seen], int(apart.sum())
    )  # fmt: skip


def edges(frequency_hz: Floats) -> NDArray[np.int64]:
    """Return where each bin starts: equal steps of √f, none of them empty."""
    which = np.floor(axis_of(frequency_hz, frequency_hz) * BINS * (1.0 - 1e-12)).astype(np.int64)
    return np.flatnonzero(np.diff(which, prepend=-1))


def _mean(value: Complexes, weight: Floats, starts: NDArray[np.int64]) -> Complexes:
    return np.asarray(np.add.reduceat(weight * value, starts) / np.add.reduceat(weight, starts))


def _spread(ratio: Complexes, mean: Complexes, size: NDArray[np.int64]) -> float:
    """Return the typical distance of points from the mean of their bin: ripple counts as well as noise."""
    return float(np.median(np.abs(ratio - np.repeat(mean, size)))) / 1.1774


def noise_of(ratio: Complexes) -> Floats:
    """Return the standard deviation of real and imaginary part at every point, from differences of neighbours.

    Per block of the sweep the median of their magnitude counts (for two Gaussian parts of standard deviation √2 σ it
    is 1.665 σ), so a few strays do not; between blocks it is interpolated.
    """
    n = len(ratio)
    step = np.abs(np.diff(ratio)) / 1.665
    blocks = np.array_split(np.arange(n - 1), min(BLOCKS, max(1, (n - 1) // 8)))
    level = np.array([np.median(step[b]) for b in blocks])
    place = np.array([b.mean() + 0.5 for b in blocks])
    return np.asarray(np.maximum(np.interp(np.arange(n), place, level), LEAST_NOISE))


def tailed(rng: np.random.Generator, count: int) -> Floats:
    """Return draws of spread 1 with long tails: some calibrations are far worse.

    Student's t of four degrees at evenly spaced probabilities, by its closed quantile (W. T. Shaw, Sampling Student's T
    distribution, J. Computational Finance 9, 2006, equation 36; place from memory), in random order.
    """
    p = (np.arange(count) + 0.5) / count
    alpha = np.sqrt(4.0 * p * (1.0 - p))
    size = 2.0 * np.sqrt(np.maximum(np.cos(np.arccos(np.minimum(alpha, 1.0)) / 3.0) / alpha - 1.0, 0.0))
    return np.asarray(rng.permutation(np.sign(p - 0.5) * size) / np.sqrt(2.0))


def in_db(found: Bins, course: Pilot, passes: int) -> tuple[Floats, Floats]:
    """Return loss of one pass and its noise, dB, at the bins."""
    loss = course.loss_db(found.frequency_hz) - 20.0 * np.log10(np.abs(found.ratio))
    return loss / passes, DB_PER_NEPER * found.noise / np.abs(found.ratio) / passes


def calmed(rest: Floats, noise: Floats) -> Floats:
    """Return the noise with bins that stand far from both their neighbours trusted less."""
    pad = np.pad(rest, 2, mode="edge")
    local = np.median(np.lib.stride_tricks.sliding_window_view(pad, 5), axis=1)
    away: Floats = np.abs(rest - local)
    usual = 1.4826 * float(np.median(away))
    return np.asarray(np.where(away > 5.0 * np.maximum(usual, noise), away, noise))


# Very long sweeps as shorter ones that say the same: neighbouring points averaged where the phase hardly moves

MANY, ENOUGH = 25_000, 10_000
"""From how many points on a sweep is averaged, and how many are left at least."""
TURN_RAD = 0.1
"""How far the phase may turn over the points averaged: the mean then loses less than a part in two thousand."""


def coarser(sweep: Sweep) -> Sweep:
    """Return the sweep itself, or the means of so many neighbours that their phases differ by no more than 0.1 rad.

    The phase step is that of the strongest column, taken twice for a transmission, since reflections pass the line
    twice. Noise falls as the mean of independent points has it.
    """
    points = len(sweep.frequency_hz)
    if points < MANY:
        return sweep
    i, j = np.unravel_index(int(np.argmax(np.abs(sweep.s[::50]).mean(axis=0))), sweep.s.shape[1:])
    wave = sweep.s[:, i, j]
    step = float(np.quantile(np.abs(np.angle(wave[1::7] * np.conj(wave[:-1:7]))), 0.9)) * (2.0 if i != j else 1.0)
    together = min(int(TURN_RAD / max(step, 1e-9)), points // ENOUGH)
    if together < 2:
        return sweep
    kept = points // together * together
    ports = sweep.s.shape[1:]
    return replace(
        sweep,
        frequency_hz=sweep.frequency_hz[:kept].reshape(-1, together).mean(axis=1),
        s=sweep.s[:kept].reshape(-1, together, *ports).mean(axis=1),
    )
