"""The antenna's reflection behind a line: draws that agree with a reading, with the bridge and with the line.

The reading of a bridge is ``m = |g A (1 + t) + d|``: g is the antenna's |Γ|, A the way to it and back through the
line, t the bridge's scale error, d its leak at a phase nobody knows. Before the reading g is ``sin² φ`` with φ even
over a quarter turn, so that nothing beyond 1 is believed and the edges keep their due. For each draw of (A, t, d) the
φ that agree with the interval a reading stands for are worked out exactly: their measure is the draw's weight, and one
of them is drawn.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.formulas.deembedding import far_impedance_ohm, lossy_impedance_ohm, phase_constant_rad_per_m
from linewright.core.formulas.mismatch import reflection_from_swr
from linewright.core.formulas.sparameters import impedance_from_reflection, reflection_from_impedance
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import LEAST_DB
from linewright.core.nouns.through import LineBehind, Seen
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI

# The antenna's reflection behind a line: draws that agree with a reading, with the bridge and with the line

METER_SCALE, ANALYSER_SCALE = 0.03, 0.01
"""Relative standard deviation of a bridge's scale (common practice, no source)."""
LEAK_DELAY_S = (2e-8, 3e-7)
"""Where a line's delay is unknown, its leak turns against the reflection by some delay between these."""
STEP = 0.02
"""A line is made to within 2 ohms of its 50, which reflects so much at most (common practice, no source)."""
LEAST_POSSIBLE = 0.01
"""With fewer draws than this share left, the reading contradicts the line."""


@dataclass(frozen=True, slots=True)
class Bridge:
    """Draws of what a bridge adds: its leak d, shaped (f, draws), and 1 + t, shaped (draws,)."""

    leak: Complexes
    scale: Floats


@dataclass(frozen=True, slots=True)
class HiddenAntenna:
    """Draws of the antenna's reflection, shaped (f, draws), with their weights: none for draws that are not possible.

    ``turned_rad`` is the phase by which the bridge's leak turned what is seen. Shaped (draws,): ``possible`` marks the
    draws of the line that no point of the reading rules out, ``room`` is by what a loss could be multiplied before one
    did.
    """

    reflection: Floats
    weight: Floats
    turned_rad: Floats
    possible: NDArray[np.bool_]
    loss_db: Floats
    room: Floats

    @property
    def contradicts(self) -> bool:
        """Whether next to no draw of the line agrees with what was seen."""
        return float(np.mean(self.possible)) < LEAST_POSSIBLE


def bridge_of(seen: Seen, line: LineBehind, loss_db: Floats, rng: np.random.Generator) -> Bridge:
    """Return draws of a bridge's errors, their leak turned so that the reflection itself has no phase.

    The leak is anywhere within its bound. Over a curve it turns against the reflection as the line's two-way delay and
    the antenna's own phase have it. ``loss_db`` is shaped (f, draws).
    """
    draws = loss_db.shape[1]
    scale = np.exp((ANALYSER_SCALE if seen.has_phase else METER_SCALE) * rng.standard_normal(draws))
    leak = _disc(rng, draws) * 10.0 ** (-seen.directivity_db / 20.0) + STEP * _disc(rng, draws)
    if seen.has_phase:
        return Bridge(np.exp(-1j * np.angle(seen.reflection))[:, None] * leak, scale)
    whole = leak + _step(line, seen) * np.exp(1j * TWO_PI * rng.random(draws))
    if seen.frequency_hz is None:
        return Bridge(whole[None], scale)
    turns = np.exp(1j * TWO_PI * seen.frequency_hz[:, None] * _delay_s(line, draws, rng))
    if seen.is_curve:
        own = np.exp(-1j * resonant_phase_rad(seen.magnitude * 10.0 ** (np.median(loss_db, axis=1) / 10.0)))
        turns = turns * own[:, rng.permutation(np.arange(draws) % 2)]
    return Bridge(turns * whole, scale)


def resonant_phase_rad(magnitude: Floats) -> Floats:
    """Return the phase a series circuit has whose |Γ| is as given, (f, 2): its resistance below or above the line's.

    From ``1/(1 - |Γ|²) = ((r + 1)² + x²)/(4 r)`` follows |x|; it changes sign at the lowest point.
    """
    g = np.minimum(magnitude, 0.99)
    bottom = int(np.argmin(g))
    low = (1.0 - g[bottom]) / (1.0 + g[bottom])
    r = np.array([low, 1.0 / low])
    x = np.sqrt(np.maximum(4.0 * r / (1.0 - g[:, None] ** 2) - (r + 1.0) ** 2, 0.0))
    x = x * np.sign(np.arange(len(g)) - bottom)[:, None]
    return np.asarray(np.angle((r - 1.0 + 1j * x) / (r + 1.0 + 1j * x)))


def _disc(rng: np.random.Generator, draws: int) -> Complexes:
    even = (rng.permutation(draws) + 0.5) / draws
    return np.asarray(np.sqrt(even) * np.exp(1j * TWO_PI * rng.random(draws)))


def _delay_s(line: LineBehind, draws: int, rng: np.random.Generator) -> Floats:
    if line.length_m is None or line.velocity_factor is None:
        return rng.uniform(*LEAK_DELAY_S, draws)
    there_and_back = 2.0 * line.length_m / (line.velocity_factor * SPEED_OF_LIGHT_M_PER_S)
    return np.asarray(there_and_back * rng.uniform(0.95, 1.05, draws))


def _step(line: LineBehind, seen: Seen) -> float:
    """Return what a meter of another impedance than the line's adds: the reflection of the step between them."""
    if line.impedance_ohm is None:
        return 0.0
    ratio = line.impedance_ohm / seen.reference_ohm
    return float(reflection_from_swr(max(ratio, 1.0 / ratio)))


def antenna_behind(seen: Seen, loss_db: Floats, bridge: Bridge, rng: np.random.Generator) -> HiddenAntenna:
    """Return draws of the antenna's reflection. ``loss_db`` is shaped (f, draws)."""
    shrunk = 10.0 ** (-loss_db / 10.0) * bridge.scale
    low, high = seen.low[:, None], seen.high[:, None]
    aside, along = np.abs(bridge.leak.imag), bridge.leak.real
    inner = np.sqrt(np.maximum(low**2 - aside**2, 0.0))
    outer = np.sqrt(np.maximum(high**2 - aside**2, 0.0))
    # gA lies between -along ± inner and -along ± outer; below zero there is nothing, above A nothing believed.
    first = _arc(-along - outer, -along - inner, shrunk)
    second = _arc(-along + inner, -along + outer, shrunk)
    left, right = first[1] - first[0], second[1] - second[0]
    weight = np.where(high > aside, left + right, 0.0)
    # One place within its interval for a whole curve: neighbouring readings of a scale are rounded alike.
    at = rng.permutation((np.arange(weight.shape[1]) + 0.5) / weight.shape[1]) * (left + right)
    phi = np.where(at < left, first[0] + at, second[0] + at - left)
    g = np.sin(phi) ** 2
    turned = np.angle(g * shrunk + bridge.leak)
    room = _room(along, inner, outer, bridge.scale, loss_db)
    possible = np.asarray(room >= 1.0)
    kept = weight * possible
    none_left = ~kept.any(axis=1, keepdims=True)
    return HiddenAntenna(g, np.where(none_left, possible, kept), turned, possible, loss_db, room)


def _room(along: Floats, inner: Floats, outer: Floats, scale: Floats, loss_db: Floats) -> Floats:
    """Return by what each draw's loss could be multiplied before the antenna had to reflect more than everything."""
    least = np.where(along + inner < 0, np.maximum(-along - outer, 0.0), np.maximum(-along + inner, 0.0)) / scale
    with np.errstate(divide="ignore"):
        largest_db = np.maximum(-10.0 * np.log10(least), 0.0)
    return np.asarray(np.min(largest_db / np.maximum(loss_db, LEAST_DB), axis=0))


def _arc(low: Floats, high: Floats, shrunk: Floats) -> tuple[Floats, Floats]:
    """Return φ at both ends of an interval of gA, cut to what can be."""
    below, above = (np.arcsin(np.sqrt(np.clip(end / shrunk, 0.0, 1.0))) for end in (low, high))
    return below, np.maximum(above, below)


# The antenna's impedance: the line's two-way loss and phase taken out of a complex reflection

DELAY_SPREAD = 0.01
"""Relative standard deviation of a line's electrical length: velocity factor and tape (common practice, no source)."""


def referred_to_line(seen: Seen, line: LineBehind) -> Seen:
    """Return a complex reading referred to the line's own impedance, where that is another."""
    r0 = line.impedance_ohm
    if not seen.has_phase or r0 is None or r0 == seen.reference_ohm:
        return seen
    gamma = reflection_from_impedance(impedance_from_reflection(seen.reflection, seen.reference_ohm), r0)
    step = (r0 - seen.reference_ohm) / (r0 + seen.reference_ohm)
    stretch = (1.0 - step**2) / np.abs(1.0 - step * seen.reflection) ** 2
    reach, m = stretch * (seen.high - seen.low) / 2.0, np.abs(gamma)
    return replace(seen, reflection=gamma, low=np.maximum(m - reach, 0.0), high=m + reach, reference_ohm=r0)


def antenna_impedance_ohm(
    seen: Seen, line: LineBehind, antenna: HiddenAntenna, rng: np.random.Generator
) -> Complexes | None:
    """Return draws of the antenna's impedance in ohms, (f, draws); None where no phase was seen or can be taken out.

    ``seen`` is referred to the line's impedance. The line's complex characteristic impedance follows from its law.
    """
    belief = line.belief
    if belief is None or line.impedance_ohm is None or line.velocity_factor is None or line.length_m is None:
        return None
    if not seen.has_phase or seen.frequency_hz is None:
        return None
    conductor, dielectric, _ = (part / DB_PER_NEPER for part in belief.parts_db(seen.frequency_hz))
    longer = np.exp(DELAY_SPREAD * rng.standard_normal(conductor.shape[1]))
    radians = phase_constant_rad_per_m(seen.frequency_hz, line.velocity_factor)[:, None] * line.length_m * longer
    z0 = lossy_impedance_ohm(line.impedance_ohm, conductor, dielectric, radians)
    shown = _shown(seen, antenna)
    near = impedance_from_reflection(shown, line.impedance_ohm)
    return far_impedance_ohm(near, z0, antenna.loss_db / DB_PER_NEPER + 1j * radians)


def _shown(seen: Seen, antenna: HiddenAntenna) -> Complexes:
    """Return draws of the reflection at the near end of the line, the bridge's leak taken away."""
    phase: Floats = np.angle(seen.reflection)[:, None] - antenna.turned_rad
    return np.asarray(antenna.reflection * 10.0 ** (-antenna.loss_db / 10.0) * np.exp(1j * phase))
