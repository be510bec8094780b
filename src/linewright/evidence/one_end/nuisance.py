"""Instrument, connectors and far end as drawn: the coefficients that turn a line's loss into what is shown.

What an instrument shows is a ratio of two terms linear in g, the share of the wave that a round trip through the line
leaves: ``(p + q g)/(u + v g)`` (``physics.one_end.seen_reflection`` written out).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.one_end import draws as d
from linewright.evidence.one_end.draws import Complexes, Floats, Singles, draws, normal, rayleigh, turn
from linewright.evidence.one_end.priors import OneEndPriors
from linewright.evidence.one_end.targets import AT_HZ, Target, directivity_of, plugs, range_of
from linewright.model.one_end import OneEndReading, OneEndTest

MOST_PLUG = 0.3
"""No connector in working order reflects more."""


@dataclass(frozen=True, slots=True)
class Bench:
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


def bench_at(test: OneEndTest, frequency_hz: float, number: int, priors: OneEndPriors) -> Bench:
    """Return the instrument and near end at the number-th frequency of a test."""
    got, f = draws(), frequency_hz
    stated = directivity_of(test, priors)
    typical = stated * priors.directivity_size * np.exp(priors.directivity_spread * got.normal(d.DIRECTIVITY))
    known = test.line is not None and test.impedance_ohm is None
    spread = priors.impedance_known if known else priors.impedance_unknown
    ratio = impedance_of(test) / test.reference_ohm * np.exp(spread * got.normal(d.IMPEDANCE))
    error = typical * rayleigh(got.worlds[d.D_SIZE])
    source = _source(test, stated, priors) * rayleigh(got.worlds[d.S_SIZE])
    return Bench(
        number=number,
        frequency_hz=f,
        step=(ratio - 1.0) / (ratio + 1.0),
        plug=plugs(f, priors) * np.exp(priors.connector_spread * got.normal(d.PLUGS)),
        directivity=error * got.phasor(d.D_PHASE, d.D_DELAY, f, priors.delay_s),
        source=source * got.phasor(d.S_PHASE, d.S_DELAY, f, priors.delay_s),
        scale=np.exp(priors.tracking_share * stated * got.normal(d.SCALE)),
        knee=stated * priors.knee_share * np.exp(priors.knee_spread * got.normal(d.KNEE)),
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


def shown(reading: OneEndReading, test: OneEndTest, bench: Bench, target: Target, priors: OneEndPriors) -> Shown:
    """Return what an instrument would show of a line, as a function of its loss."""
    if reading.method == "resonance":
        return _resonance(test, bench, target)
    near = bench.step + 1j * _plug(bench, d.PLUG)
    return _cascade(near, bench.directivity, bench.source, _far_end(reading, test, bench, near, target, priors))


def _plug(bench: Bench, which: int) -> Floats:
    """Return draws of the reactance of one connector, as a reflection of either sign."""
    return np.asarray(np.clip(bench.plug * normal(draws().turned(bench.number, which)), -MOST_PLUG, MOST_PLUG))


def _cascade(near: Complexes, directivity: Complexes, source: Complexes, far: Complexes) -> Shown:
    through = 1.0 - source * near
    back = (near.conj() - source) * far
    return Shown(directivity * through + near, directivity * back + far, through, back)


def _resonance(test: OneEndTest, bench: Bench, target: Target) -> Shown:
    """Return what shows at a resonance: the line's reflection is real there, and reactances are tuned out."""
    sign = -1.0 if _ohm(target.middle, test) < impedance_of(test) else 1.0
    near, far = bench.step.astype(np.complex128), np.full(len(bench.step), sign, dtype=np.complex128)
    cascade = _cascade(near, bench.directivity.real.astype(complex), bench.source.real.astype(complex), far)
    return Shown(cascade.p, cascade.q, cascade.u, cascade.v, real=True)


def _ohm(reflection: float, test: OneEndTest) -> float:
    return test.reference_ohm * (1.0 + reflection) / max(1.0 - reflection, 1e-9)


def _far_end(
    reading: OneEndReading, test: OneEndTest, bench: Bench, near: Complexes, target: Target, priors: OneEndPriors
) -> Complexes:
    got, n = draws(), bench.number
    far = turn(got.turned(n, d.FAR_PHASE))
    if reading.far_end == "open":
        return far
    if reading.far_end == "short":
        off = priors.opposite_rad * bench.frequency_hz / AT_HZ * normal(got.turned(n, d.OPPOSITE))
        return np.asarray(-far * np.exp(1j * np.clip(off, -1.5, 1.5)))
    if reading.far_end == "antenna":
        return _antenna(bench, near, min(max(target.middle, 0.0), 1.0), priors)
    load = load_reflection(reading, test, bench, priors)
    plug = 1j * _plug(bench, d.END_PLUG) - bench.step
    return np.asarray((load + plug) / (1.0 + plug.conj() * load) * far)


def _antenna(bench: Bench, near: Complexes, seen: float, priors: OneEndPriors) -> Complexes:
    """Return an antenna away from its band, at a peak of SWR: nearly all comes back, the ripple near its top."""
    got = draws()
    own, shared = normal(got.turned(bench.number, d.DEFICIT)), got.normal(d.ANTENNA)
    z = np.sqrt(priors.antenna_shared) * shared + np.sqrt(1.0 - priors.antenna_shared) * own
    deficit_db = priors.antenna_db * np.exp(priors.antenna_spread * z)
    ripple = bench.directivity + near * (1.0 - seen**2) + bench.source.conj() * seen**2
    return np.asarray(10.0 ** (-deficit_db / 20.0) * np.exp(1j * (np.angle(ripple) + _off_peak(bench, priors))))


def _off_peak(bench: Bench, priors: OneEndPriors) -> Floats:
    """Return how far from the top of the ripple a peak was read, radians; now and then it is no ripple's top at all."""
    u, strays = draws().turned(bench.number, d.PEAK), priors.peak_strays
    top = priors.peak_rad * normal(np.clip((u - strays) / (1.0 - strays), 0.001, 0.999))
    return np.asarray(np.where(u < strays, 2.0 * np.pi * u / strays, top))


def _load_phase(frequency_hz: float, priors: OneEndPriors) -> Complexes:
    """Return unit phasors of a load: mostly a resistor behind short leads, low or high; else anything."""
    got, real = draws(), priors.load_resistor
    u = got.worlds[d.LOAD_PHASE]
    at_zero = np.where(u < real, np.where(u < 0.5 * real, 0.0, 0.5), (u - real) / (1.0 - real))
    return turn(at_zero + frequency_hz * priors.load_delay_s * (2.0 * got.worlds[d.LOAD_DELAY] - 1.0))


def load_reflection(reading: OneEndReading, test: OneEndTest, bench: Bench, priors: OneEndPriors) -> Complexes:
    """Return draws of a load's reflection: from what was read right at it, or from its known SWR."""
    got, n = draws(), bench.number + 0.5 * (reading.load_swr or 0.0) + 0.3 * (reading.direct or 0.0)
    phase = _load_phase(bench.frequency_hz, priors)
    size = got.turned(n, d.LOAD_SIZE)
    if reading.direct_ends is None:
        known = 1.0 - 2.0 / ((reading.load_swr or 1.0) + 1.0)
        spread = np.hypot(priors.load_spread * known, priors.load_floor)
        off = np.sqrt(0.5) * (got.normal(d.LOAD) + normal(size))
        return np.asarray(np.clip(known + spread * off, 0.0, 1.0) * phase)
    low, high = range_of(reading.quantity, reading.direct_ends, test.reference_ohm)
    low, high = max(low, 0.0), min(high, 1.0)
    seen = bench.true(low + (high - low) * size) * phase
    left = seen - bench.directivity
    load = left / (1.0 + bench.source * left)
    return np.asarray(load / np.maximum(np.abs(load), 1.0))
