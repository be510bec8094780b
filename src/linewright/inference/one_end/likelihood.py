"""The likelihood of a line's loss at one frequency, summed over everything nobody asks for."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, cached_property, reduce
from math import isfinite, log10
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.formulas.deembedding import loss_from_reflection_db, loss_from_resonance_db
from linewright.core.frozen import dataclass
from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.inference.one_end.priors import OneEndPriors
from linewright.inference.one_end.targets import (
    AT_HZ,
    Target,
    directivity_of,
    plugs,
    range_of,
    reflection_of,
    target_of,
)

# The unknowns nobody asks for, drawn once and used for every test: the same test always gives the same answer

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
class WorldDraws:
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
def draws() -> WorldDraws:
    """Return the draws."""
    rng = np.random.default_rng(SEED)
    worlds = np.array([(rng.permutation(WORLDS) + 0.5) / WORLDS for _ in range(LOAD_DELAY + 1)])
    n = WORLDS * TURNS
    turns = np.array([(rng.permutation(n) + rng.random(n)) / n for _ in range(DEFICIT + 1)])
    return WorldDraws(np.repeat(worlds, TURNS, axis=1), turns)


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


# Instrument, connectors and far end as drawn: the coefficients that turn a line's loss into what is shown

MOST_PLUG = 0.3
"""No connector in working order reflects more."""


@dataclass(frozen=True, slots=True)
class NearEnd:
    """The instrument and the near end of the line at one frequency, all (draws,)."""

    number: int
    frequency_hz: float
    step: Floats
    plug: Floats
    directivity: Complexes
    source: Complexes
    scale: Floats
    knee: Floats

    def true(self, shown: Floats | float) -> Floats:
        """Return the reflections behind shown ones, scale and detector put right; signs and beyond-all ends stay.

        The detector shows ``m² (1 + k)/(m + k)`` of a reflection m: square below its knee k, true far above it.
        """
        m = np.abs(shown) / self.scale
        k = self.knee
        true = 0.5 * (m + np.sqrt(m * (m + 4.0 * k * (1.0 + k)))) / (1.0 + k)
        return np.asarray(np.where(np.abs(shown) > 1.5, shown, np.sign(shown) * true))


def bench_at(test: OneEndTest, frequency_hz: float, number: int, priors: OneEndPriors) -> NearEnd:
    """Return the instrument and near end at the number-th frequency of a test."""
    got, f = draws(), frequency_hz
    stated = directivity_of(test, priors)
    typical = stated * priors.directivity_size * np.exp(priors.directivity_spread * got.normal(DIRECTIVITY))
    known = test.line is not None and test.impedance_ohm is None
    spread = priors.impedance_known if known else priors.impedance_unknown
    ratio = impedance_of(test) / test.reference_ohm * np.exp(spread * got.normal(IMPEDANCE))
    error = typical * rayleigh(got.worlds[D_SIZE])
    source = _source(test, stated, priors) * rayleigh(got.worlds[S_SIZE])
    return NearEnd(
        number=number,
        frequency_hz=f,
        step=(ratio - 1.0) / (ratio + 1.0),
        plug=plugs(f, priors) * np.exp(priors.connector_spread * got.normal(PLUGS)),
        directivity=error * got.phasor(D_PHASE, D_DELAY, f, priors.delay_s),
        source=source * got.phasor(S_PHASE, S_DELAY, f, priors.delay_s),
        scale=np.exp(priors.tracking_share * stated * got.normal(SCALE)),
        knee=stated * priors.knee_share * np.exp(priors.knee_spread * got.normal(KNEE)),
    )


def impedance_of(test: OneEndTest) -> float:
    """Return the impedance of the line as far as it is known, ohms."""
    if test.impedance_ohm is not None:
        return test.impedance_ohm
    return test.reference_ohm if test.line is None else test.line.impedance_ohm


def _source(test: OneEndTest, directivity: float, priors: OneEndPriors) -> float:
    if test.source_swr is not None:
        return (test.source_swr - 1.0) / (test.source_swr + 1.0)
    return min(priors.source_over_directivity * directivity, 0.3)


@dataclass(frozen=True, slots=True)
class Shown:
    """The coefficients of what is shown, (draws,); ``real`` where only a signed real part can be (a resonance)."""

    p: Complexes
    q: Complexes
    u: Complexes
    v: Complexes
    real: bool = False

    def at(self, g: Floats) -> Singles:
        """Return what is shown for shares ``g`` of shape (grid,), shaped (draws, grid)."""
        if self.real:
            top = self.p.real[:, None] + self.q.real[:, None] * g
            return np.asarray(top / (self.u.real[:, None] + self.v.real[:, None] * g), dtype=np.float32)
        powers = np.stack([np.ones_like(g), g, g * g]).astype(np.float32)
        return np.asarray(
            np.sqrt(np.maximum((_square(self.p, self.q) @ powers) / (_square(self.u, self.v) @ powers), 0.0))
        )


def _square(a: Complexes, b: Complexes) -> Singles:
    """Return the coefficients of ``|a + b g|²`` in g, (draws, 3)."""
    return np.stack([np.abs(a) ** 2, 2.0 * (a.conj() * b).real, np.abs(b) ** 2], axis=1).astype(np.float32)


def shown(reading: OneEndReading, test: OneEndTest, bench: NearEnd, target: Target, priors: OneEndPriors) -> Shown:
    """Return what an instrument would show of a line, as a function of its loss."""
    if reading.method == "resonance":
        return _resonance(test, bench, target)
    near = bench.step + 1j * _plug(bench, PLUG)
    return _cascade(near, bench.directivity, bench.source, _far_end(reading, test, bench, near, target, priors))


def _plug(bench: NearEnd, which: int) -> Floats:
    """Return draws of the reactance of one connector, as a reflection of either sign."""
    return np.asarray(np.clip(bench.plug * normal(draws().turned(bench.number, which)), -MOST_PLUG, MOST_PLUG))


def _cascade(near: Complexes, directivity: Complexes, source: Complexes, far: Complexes) -> Shown:
    through = 1.0 - source * near
    back = (near.conj() - source) * far
    return Shown(directivity * through + near, directivity * back + far, through, back)


def _resonance(test: OneEndTest, bench: NearEnd, target: Target) -> Shown:
    """Return what shows at a resonance: the line's reflection is real there, and reactances are tuned out."""
    sign = -1.0 if _ohm(target.middle, test) < impedance_of(test) else 1.0
    near, far = bench.step.astype(np.complex128), np.full(len(bench.step), sign, dtype=np.complex128)
    cascade = _cascade(near, bench.directivity.real.astype(complex), bench.source.real.astype(complex), far)
    return Shown(cascade.p, cascade.q, cascade.u, cascade.v, real=True)


def _ohm(reflection: float, test: OneEndTest) -> float:
    return test.reference_ohm * (1.0 + reflection) / max(1.0 - reflection, 1e-9)


def _far_end(
    reading: OneEndReading, test: OneEndTest, bench: NearEnd, near: Complexes, target: Target, priors: OneEndPriors
) -> Complexes:
    got, n = draws(), bench.number
    far = turn(got.turned(n, FAR_PHASE))
    if reading.far_end == "open":
        return far
    if reading.far_end == "short":
        off = priors.opposite_rad * bench.frequency_hz / AT_HZ * normal(got.turned(n, OPPOSITE))
        return np.asarray(-far * np.exp(1j * np.clip(off, -1.5, 1.5)))
    if reading.far_end == "antenna":
        return _antenna(bench, near, min(max(target.middle, 0.0), 1.0), priors)
    load = load_reflection(reading, test, bench, priors)
    plug = 1j * _plug(bench, END_PLUG) - bench.step
    return np.asarray((load + plug) / (1.0 + plug.conj() * load) * far)


def _antenna(bench: NearEnd, near: Complexes, seen: float, priors: OneEndPriors) -> Complexes:
    """Return an antenna away from its band, at a peak of SWR: nearly all comes back, the ripple near its top."""
    got = draws()
    own, shared = normal(got.turned(bench.number, DEFICIT)), got.normal(ANTENNA)
    z = np.sqrt(priors.antenna_shared) * shared + np.sqrt(1.0 - priors.antenna_shared) * own
    deficit_db = priors.antenna_db * np.exp(priors.antenna_spread * z)
    ripple = bench.directivity + near * (1.0 - seen**2) + bench.source.conj() * seen**2
    return np.asarray(10.0 ** (-deficit_db / 20.0) * np.exp(1j * (np.angle(ripple) + _off_peak(bench, priors))))


def _off_peak(bench: NearEnd, priors: OneEndPriors) -> Floats:
    """Return how far from the top of the ripple a peak was read, radians; now and then it is no ripple's top at all."""
    u, strays = draws().turned(bench.number, PEAK), priors.peak_strays
    top = priors.peak_rad * normal(np.clip((u - strays) / (1.0 - strays), 0.001, 0.999))
    return np.asarray(np.where(u < strays, 2.0 * np.pi * u / strays, top))


def _load_phase(frequency_hz: float, priors: OneEndPriors) -> Complexes:
    """Return unit phasors of a load: mostly a resistor behind short leads, low or high; else anything."""
    got, real = draws(), priors.load_resistor
    u = got.worlds[LOAD_PHASE]
    at_zero = np.where(u < real, np.where(u < 0.5 * real, 0.0, 0.5), (u - real) / (1.0 - real))
    return turn(at_zero + frequency_hz * priors.load_delay_s * (2.0 * got.worlds[LOAD_DELAY] - 1.0))


def load_reflection(reading: OneEndReading, test: OneEndTest, bench: NearEnd, priors: OneEndPriors) -> Complexes:
    """Return draws of a load's reflection: from what was read right at it, or from its known SWR."""
    got, n = draws(), bench.number + 0.5 * (reading.load_swr or 0.0) + 0.3 * (reading.direct or 0.0)
    phase = _load_phase(bench.frequency_hz, priors)
    size = got.turned(n, LOAD_SIZE)
    if reading.direct_ends is None:
        known = 1.0 - 2.0 / ((reading.load_swr or 1.0) + 1.0)
        spread = np.hypot(priors.load_spread * known, priors.load_floor)
        off = np.sqrt(0.5) * (got.normal(LOAD) + normal(size))
        return np.asarray(np.clip(known + spread * off, 0.0, 1.0) * phase)
    low, high = range_of(reading.quantity, reading.direct_ends, test.reference_ohm)
    low, high = max(low, 0.0), min(high, 1.0)
    seen = bench.true(low + (high - low) * size) * phase
    left = seen - bench.directivity
    load = left / (1.0 + bench.source * left)
    return np.asarray(load / np.maximum(np.abs(load), 1.0))


# The plain figure a careful person works out from one reading, and the mean of several


def plain_db(reading: OneEndReading, test: OneEndTest) -> float | None:
    """Return the plain formula's loss, dB; None where the reading gives a limit only, or no figure at all.

    An antenna is taken to reflect everything, so its figure is an upper bound.
    """
    if reading.bound != "is" or not isfinite(reading.value):
        return None
    if reading.quantity == "resistance_ohm":
        found = float(loss_from_resonance_db(reading.value, impedance_of(test)))
        return found if isfinite(found) else None
    seen = reflection_of(reading.quantity, reading.value, test.reference_ohm)
    end = far_reflection(reading, test)
    return float(loss_from_reflection_db(seen, end)) if seen > 0.0 and end > 0.0 else None


def far_reflection(reading: OneEndReading, test: OneEndTest) -> float:
    """Return what the far end reflects by the plain formula: a load as read directly, or as known; else everything."""
    if reading.far_end != "load":
        return 1.0
    if reading.direct is not None:
        return reflection_of(reading.quantity, reading.direct, test.reference_ohm)
    return reflection_of("swr", reading.load_swr or 1.0, test.reference_ohm)


def mean_db(readings: Sequence[OneEndReading], test: OneEndTest) -> float | None:
    """Return the mean of the plain figures of one frequency; peaks of an antenna only where there is nothing else."""
    sure = [r for r in readings if r.far_end != "antenna" or r.method == "resonance"] or readings
    found = [x for x in (plain_db(r, test) for r in sure) if x is not None]
    return sum(found) / len(found) if found else None


# The likelihood of a line's loss at one frequency, summed over everything nobody asks for

LEAST_DB, MOST_DB, KNEE_DB = 0.005, 45.0, 0.3
COARSE, FINE = 30, 50
"""Points of a grid over all losses, and of the one where the readings point to."""
RIPPLE_MOST = 1.3
"""A peak is read up to so many times above what the middle of the ripple would show."""
LOGISTIC = 0.551_329
"""A logistic distribution of standard deviation 1 has this scale, √3/π."""


@dataclass(frozen=True, slots=True)
class SeenReading:
    """One reading: what would be shown of it, (draws, grid), how well that fits, and with its chance of a misread."""

    index: int
    reading: OneEndReading
    target: Target
    shown: Singles
    fit: Singles
    term: Singles
    misread: float


@dataclass(frozen=True)
class Site:
    """All readings at one frequency, with the grid of losses they are weighed on, (grid,)."""

    frequency_hz: float
    grid_db: Floats
    seen: tuple[SeenReading, ...]

    @cached_property
    def weight_db(self) -> Floats:
        """Return the width each point of the grid stands for."""
        edges = np.diff(self.grid_db)
        return np.asarray(0.5 * (np.append(edges, 0.0) + np.insert(edges, 0, 0.0)))

    @cached_property
    def likelihood(self) -> Floats:
        """Return the likelihood, (worlds, grid)."""
        return self.of([s.term for s in self.seen])

    def product(self, terms: Sequence[Singles]) -> Singles:
        """Return the product of terms, (draws, grid); of none, ones."""
        if not terms:
            return np.ones((WORLDS * TURNS, len(self.grid_db)), dtype=np.float32)
        return reduce(np.multiply, terms)

    def of(self, terms: Sequence[Singles]) -> Floats:
        """Return the mean over each world's turns of a product of terms, (worlds, grid)."""
        return np.asarray(self.product(terms).reshape(WORLDS, TURNS, -1).mean(axis=1), dtype=np.float64)


def site_at(readings: Sequence[tuple[int, OneEndReading]], test: OneEndTest, number: int, priors: OneEndPriors) -> Site:
    """Return what the readings of one frequency say. ``readings`` come with their places in the test."""
    f = readings[0][1].frequency_hz
    bench = bench_at(test, f, number, priors)
    targets = [target_of(r, test, len(readings) - 1, priors) for _, r in readings]
    grid = _grid(readings, targets, test, priors)
    g = 10.0 ** (-grid / 10.0)
    return Site(f, grid, tuple(
        _seen(i, r, t, shown(r, test, bench, t, priors).at(g), bench, priors)
        for (i, r), t in zip(readings, targets, strict=True)
    ))  # fmt: skip


def _seen(
    index: int, reading: OneEndReading, target: Target, x: Singles, bench: NearEnd, priors: OneEndPriors
) -> SeenReading:
    low, high = bench.true(target.low), bench.true(target.high)
    scale = target.noise * LOGISTIC
    fit = np.maximum(_below(x, high, scale) - _below(x, low, scale), 0.0) * np.float32(1.0 - priors.misread_p)
    misread = priors.misread_p * target.width
    return SeenReading(index, reading, target, x, fit, fit + np.float32(misread), misread)


def _below(x: Singles, end: Floats, scale: float) -> Singles:
    """Return the chance that a reading of ``x``, with its noise, comes out below an end."""
    half = np.float32(0.5)
    z = x * np.float32(-0.5 / scale)
    z += (end * (0.5 / scale)).astype(np.float32)[:, None]
    np.tanh(z, out=z)
    z *= half
    z += half
    return z


def _grid(
    readings: Sequence[tuple[int, OneEndReading]], targets: Sequence[Target], test: OneEndTest, priors: OneEndPriors
) -> Floats:
    """Return losses in dB: all there are, coarsely, and finely where any reading points to."""
    low, high = MOST_DB, LEAST_DB
    for (_, reading), target in zip(readings, targets, strict=True):
        ends = _window_db(reading, target, test, priors)
        low, high = min(low, ends[0]), max(high, ends[1])
    low, high = min(low, 0.5 * MOST_DB), max(high, 2.0 * LEAST_DB)
    return np.unique(
        np.concatenate([_even(LEAST_DB, MOST_DB, COARSE), _even(max(low, LEAST_DB), min(high, MOST_DB), FINE)])
    )


def _even(low: float, high: float, count: int) -> Floats:
    """Return losses evenly spaced below the knee, and in even ratios above it."""
    return np.asarray(KNEE_DB * np.sinh(np.linspace(np.arcsinh(low / KNEE_DB), np.arcsinh(high / KNEE_DB), count)))


def _window_db(reading: OneEndReading, target: Target, test: OneEndTest, priors: OneEndPriors) -> tuple[float, float]:
    """Return the losses a reading leaves open, errors of the instrument taken generously."""
    errors = directivity_of(test, priors) + plugs(reading.frequency_hz, priors)
    step = abs(impedance_of(test) - test.reference_ohm) / (impedance_of(test) + test.reference_ohm)
    loose = 2.5 * errors + step + 0.03 + 4.0 * target.noise
    least, most = (target.low, target.high) if target.middle >= 0 else (-target.high, -target.low)
    far = max(far_reflection(reading, test), 0.01)
    back = RIPPLE_MOST if reading.far_end == "antenna" else 1.0
    return _loss_db(most + loose, far), _loss_db((least - loose) / back, far)


def _loss_db(seen: float, far: float) -> float:
    return LEAST_DB if seen >= far else min(10.0 * log10(far / max(seen, 1e-6)), MOST_DB)


def sites_of(test: OneEndTest, priors: OneEndPriors) -> tuple[Site, ...]:
    """Return every frequency of a test, rising."""
    by_frequency: dict[float, list[tuple[int, OneEndReading]]] = {}
    for i, reading in enumerate(test.readings):
        by_frequency.setdefault(reading.frequency_hz, []).append((i, reading))
    return tuple(site_at(by_frequency[f], test, n, priors) for n, f in enumerate(sorted(by_frequency)))


@dataclass(frozen=True, slots=True)
class FrequencyLikelihood:
    """What the readings of one frequency say of the loss, nothing else listened to.

    ``grid_db`` (grid,) and ``log_likelihood`` (grid,), its top at 0; ``mean_db`` and ``sd_db`` stand in for it where a
    figure is wanted. ``rows`` are the readings behind it. ``one_sided`` where they give a limit only: mean and standard
    deviation then say little.
    """

    frequency_hz: float
    grid_db: NDArray[np.float64]
    log_likelihood: NDArray[np.float64]
    mean_db: float
    sd_db: float
    rows: tuple[int, ...]
    one_sided: bool
