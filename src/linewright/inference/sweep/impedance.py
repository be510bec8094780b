"""Characteristic impedance along a sweep, without the half waves at which a line hides it.

``Z0² = R² N/D``: N and D are known at every point, and both vanish together near whole half waves. Per bin Z0² is the
least-squares slope of N over D, so a point counts for as much as it knows. The skin effect gives Z0 the same share of
resistance and reactance, ``Z0 = Zc (1 + (1 - j) u)`` with ``u = α_c l/(ω τ)`` (D. M. Pozar, Microwave Engineering,
4th ed., equation 2.7, with R = ω Li and R << ω L; place from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.sweep import BandImpedance, Interval
from linewright.core.quantities import DB_PER_NEPER, TWO_PI
from linewright.inference.sweep.correlated import CorrelatedPrior, Series, fit
from linewright.inference.sweep.traces import axis_of, calmed, edges, tailed

DIRECTIVITY = 0.01
"""What a calibration leaves on a reflection (40 dB): common practice, no source."""
DIRECTIVITY_OHM = 0.65
"""What a good calibration still leaves on an impedance near 50 ohms: common practice, no source."""
SKIN_SPREAD = 0.3
"""Relative spread of the skin effect's reactance against what the loss lets expect: tinning, braid, cladding."""
LEVEL_SPREAD = 0.2
"""Relative spread of Zc about a first look at it."""
ADAPTERS_OHM, CONNECTORS_PER_HZ, ADAPTERS_PER_HZ = 50.0, 2e-10, 2.5e-9
"""Connectors and adapters shift what a line shows by a share that grows with frequency: a little on a line of their own
impedance, and by so much more for each unit of reflection between it and theirs. Common practice, no source; the shares
by sound simulated lines."""
KNOWN_AT_ALL = 0.25
"""A bin whose impedance is off by more than this share tells nothing of it."""
SEED = 20_240_222


@dataclass(frozen=True, slots=True)
class ImpedancePoints:
    """Z0 squared in ohms squared per bin, and the standard deviation of each part of Z0."""

    frequency_hz: Floats
    square: Complexes
    noise_ohm: Floats

    @property
    def ohm(self) -> Complexes:
        """Return Z0 per bin, its real part above zero."""
        return np.sqrt(self.square)


@dataclass(frozen=True, slots=True)
class Skin:
    """The skin effect as loss and delay know it: k1 in dB at 1 MHz and the delay in seconds, one way both."""

    k1_db: float
    delay_s: float

    def share(self, frequency_hz: Floats) -> Floats:
        """Return u, shaped as the frequency; nothing where the delay is not known."""
        if not (self.delay_s > 0 and self.k1_db > 0):
            return np.zeros_like(frequency_hz)
        f = np.maximum(frequency_hz, 1.0)
        alpha = self.k1_db / DB_PER_NEPER * np.sqrt(f / 1e6)
        return np.asarray(np.minimum(alpha / (TWO_PI * f * self.delay_s), 1.0))


def through_terms(s: Complexes, reference_ohm: complex) -> tuple[Complexes, Complexes]:
    """Return N and D of a two-port between equal references, in ohms squared and bare: ``B/C = R² N/D``.

    From B and C of its chain matrix (see ``physics.sparameters.abcd_from_s``); what they share drops out.
    """
    s11, s22, both = s[:, 0, 0], s[:, 1, 1], s[:, 0, 1] * s[:, 1, 0]
    return ((1 + s11) * (1 + s22) - both) * reference_ohm**2, (1 - s11) * (1 - s22) - both


def one_port_terms(opened: Complexes, shorted: Complexes, reference_ohm: complex) -> tuple[Complexes, Complexes]:
    """Return N and D of a line seen open and shorted: ``Z0² = Zo Zs``, both without their poles."""
    return (1 + opened) * (1 + shorted) * reference_ohm**2, (1 - opened) * (1 - shorted)


def points(frequency_hz: Floats, above: Complexes, below: Complexes) -> ImpedancePoints:
    """Return Z0² per bin from N and D; stray points count less."""
    starts = edges(frequency_hz)
    size = np.diff(np.append(starts, len(frequency_hz)))
    rough = _slope(above, below, np.ones(len(above)), starts)
    rest = np.abs(above - np.repeat(rough, size) * below)
    level = np.maximum(_level(rest), 1e-9)
    weight = np.minimum(1.0, 1.5 * level / np.maximum(rest, 1e-300))
    square = _slope(above, below, weight, starts)
    power = np.add.reduceat(weight * np.abs(below) ** 2, starts)
    ohm = np.sqrt(square)
    # Z0² is off by δ/√Σ|D|², and Z0 by half of that over itself.
    at = (starts + np.append(starts[1:], len(frequency_hz)) - 1) // 2
    noise = level[at] / np.sqrt(power) / (2.0 * np.abs(ohm))
    # What the calibration left weighs most where N or D is small, near half waves and for short lines.
    usual = float(np.median(np.abs(ohm)))
    weak = usual**2 * size / np.add.reduceat(np.abs(above) ** 2 / usual**2, starts) + size / power
    noise = np.hypot(noise, 0.7 * usual * DIRECTIVITY * np.sqrt(weak))
    sound = np.isfinite(ohm) & (noise < 0.5 * np.abs(ohm)) & (ohm.real > np.abs(ohm.imag))
    centre = np.add.reduceat(np.sqrt(frequency_hz), starts) ** 2 / size**2
    return ImpedancePoints(centre[sound], square[sound], np.maximum(noise[sound], 1e-6))


def steady(frequency_hz: Floats, z0_ohm: Complexes, noise_ohm: Floats) -> ImpedancePoints:
    """Return points from Z0 as it is, those that can be no line's left out."""
    sound = np.isfinite(z0_ohm) & (z0_ohm.real > np.abs(z0_ohm.imag)) & (noise_ohm < 0.5 * np.abs(z0_ohm))
    return ImpedancePoints(frequency_hz[sound], z0_ohm[sound] ** 2, np.maximum(noise_ohm[sound], 1e-6))


def _slope(above: Complexes, below: Complexes, weight: Floats, starts: NDArray[np.int64]) -> Complexes:
    top = np.add.reduceat(weight * above * np.conj(below), starts)
    bottom = np.add.reduceat(weight * np.abs(below) ** 2, starts)
    return np.asarray(top / np.maximum(bottom, 1e-300))


def _level(rest: Floats) -> Floats:
    """Return the usual size of the residuals about every point: medians of blocks, interpolated."""
    blocks = np.array_split(np.arange(len(rest)), min(12, max(1, len(rest) // 8)))
    level = [np.median(rest[b]) for b in blocks]
    return np.asarray(np.interp(np.arange(len(rest)), [b.mean() for b in blocks], level))


def course(found: ImpedancePoints, skin: Skin) -> complex:
    """Return a first Zc in ohms: the middle of the lower bins that know it well, with the skin effect taken out.

    Connectors show more the higher the frequency.
    """
    flat = found.ohm / (1.0 + (1.0 - 1.0j) * skin.share(found.frequency_hz))
    doubt = _doubt(found)
    good = np.flatnonzero(doubt <= 2.0 * float(np.min(doubt)))
    return complex(np.median(flat.real[good[: max(4, len(good) // 8)]]))


def _doubt(found: ImpedancePoints) -> Floats:
    """Return the noise of each bin with what connectors and adapters may shift there, ohms."""
    sure = np.flatnonzero(found.noise_ohm < KNOWN_AT_ALL * np.abs(found.ohm))
    lowest = found.ohm.real[sure[: max(4, len(sure) // 8)]] if len(sure) else found.ohm.real
    zc = float(np.median(lowest))
    share = CONNECTORS_PER_HZ + ADAPTERS_PER_HZ * abs(zc - ADAPTERS_OHM) / (zc + ADAPTERS_OHM)
    return np.hypot(found.noise_ohm, share * found.frequency_hz * zc)


def along(zc_ohm: complex, skin: Skin, frequency_hz: Floats) -> Complexes:
    """Return Z0 in ohms along a sweep, shaped as the frequency."""
    return np.asarray(zc_ohm * (1.0 + (1.0 - 1.0j) * skin.share(frequency_hz)))


@dataclass(frozen=True, slots=True)
class ImpedanceFit:
    """Zc with its interval, and Z0 near the frequencies asked for."""

    ohm: Interval
    rows: tuple[BandImpedance, ...]


def fit_impedance(found: ImpedancePoints, skin: Skin, at_hz: Floats, off_ohm: float) -> ImpedanceFit:
    """Return Zc, the level that skin effect and wander leave, and Z0 at frequencies, from bins of Z0.

    ``off_ohm`` is how far all of it may be off alike, which nothing in the sweep shows. Zc is the line's; Z0 near a
    frequency is what stands there, connectors and all.
    """
    level, _ = _part(found, skin, at_hz, True, off_ohm, _doubt(found))
    _, real = _part(found, skin, at_hz, True, off_ohm, found.noise_ohm)
    _, imaginary = _part(found, skin, at_hz, False, off_ohm, found.noise_ohm)
    rows = [BandImpedance(float(f), Interval.of(real[:, i]), Interval.of(imaginary[:, i])) for i, f in enumerate(at_hz)]
    return ImpedanceFit(Interval.of(level), tuple(rows))


def _part(
    found: ImpedancePoints, skin: Skin, at_hz: Floats, resistance: bool, off_ohm: float, doubt_ohm: Floats
) -> tuple[Floats, Floats]:
    """Return draws of the level of one part of Z0, its resistance or its reactance, and of that part at frequencies."""
    f, zc = found.frequency_hz, course(found, skin).real
    value = found.ohm.real if resistance else found.ohm.imag
    design = np.stack([np.ones_like(f), skin.share(f)], axis=-1)
    across = np.stack([np.ones_like(at_hz), skin.share(at_hz)], axis=-1)
    mean = np.array([zc, zc]) if resistance else np.array([0.0, -zc])
    sd = np.array([[LEVEL_SPREAD * zc if resistance else DIRECTIVITY_OHM, SKIN_SPREAD * zc]])
    series = Series(axis_of(f, f), value, calmed(value - design @ mean, doubt_ohm))
    places = np.clip(axis_of(at_hz, f), 0.0, 1.0)
    prior = CorrelatedPrior(sd, np.array([1.0]), DIRECTIVITY_OHM, mean)
    rng = np.random.default_rng(SEED + resistance)
    got = fit(series, design, prior, (places, across), rng)
    off = off_ohm * tailed(rng, len(got.draws))
    return got.draws[:, 0] + off, got.draws @ across.T + got.places + off[:, None]
