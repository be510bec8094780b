"""Delay of a line from the phase of a sweep, and the other delays a coarse sweep cannot tell from it.

On an equally spaced sweep the phase steps of delay τ and of τ + n/Δf are the same. What tells them apart: the phase
must start from a known value at zero frequency; a line of that delay must lose a plausible amount per metre; and, where
given, the length or the velocity factor. Each candidate is weighed by all of it. No candidate, no answer.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.formulas.delay import alias_s, group_delay_s
from linewright.core.frozen import dataclass
from linewright.core.nouns.line import AttenuationLaw
from linewright.core.nouns.sweep import DelayCandidate, Interval, SweepLaw
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI
from linewright.inference.sweep.correlated import CorrelatedPrior, Series, fit
from linewright.inference.sweep.traces import Bins, Pilot, Trace, axis_of, calmed, law_design, tailed

BELOW, ABOVE = 0.7, 1.2
"""Log spread of the loss of cable in general below and above that of a middling one: none is far better."""
LENGTH_M, LENGTH_LOG, FARTHEST = 10.0, 1.6, 2.5
"""How long pieces are, the log spread of that, and beyond how many of those spreads all are alike (an adapter)."""
LEAST_DB = 1e-3
MIDDLING = AttenuationLaw(k1_db_per_m=0.0095, k2_db_per_m=0.00007)
"""Midway between thin and thick solid-PE 50-ohm cable."""
KNOWN_BELOW, KNOWN_ABOVE = 0.2, 0.6
"""Log spread where the type is known: wear."""
VELOCITY, VELOCITY_SPREAD, FASTEST, FAR = 0.77, 0.09, 1.005, 5.0
"""Velocity factor of cable in general, its spread and its limit; so many spreads away is no agreement."""
LENGTH_SPREAD, FACTOR_SPREAD = 0.005, 0.01
"""Relative spread of a length as people measure it, and of a printed velocity factor. Common practice, no source."""
SKIN_SPREAD = 0.3
"""Relative spread of the skin effect's phase against what the loss lets expect."""
START_RAD, RIPPLED_RAD = 0.06, 0.3
"""How far the phase at zero frequency may be off, and that of a wave other reflections ride on."""
PHASE_RAD = 0.003
"""What a good calibration still leaves on a phase: common practice, no source."""
PLANE_S, END = 4e-12, 3.5
"""How far the reference planes of a calibration may be off, as delay, and by how much more an open or shorted end that
is seen alone: common practice, no source."""
CERTAIN = 0.98
MOST = 60
SHOWN = 16
SEED = 20_240_223


@dataclass(frozen=True, slots=True)
class LinePrior:
    """What is known beside the sweep: a length, a velocity factor, the law of a type; None where nothing is."""

    length_m: float | None = None
    velocity_factor: float | None = None
    law: AttenuationLaw | None = None


@dataclass(frozen=True, slots=True)
class Delays:
    """Draws of the one-way group delay and of the delay without the skin effect, seconds; and the candidates.

    The draws are None where the candidates remain; then they are sorted, likeliest first. ``disagrees`` says that the
    length given does not go with the delay that the sweep alone tells; ``by_length`` that the sweep alone would have
    left several. ``score`` is the log of how well the best delay fits, up to a constant of the sweep.
    """

    group_s: Floats | None
    bare_s: Floats | None
    candidates: tuple[DelayCandidate, ...]
    disagrees: bool = False
    score: float = -np.inf
    by_length: bool = False


def delays(trace: Trace, course: Pilot, found: Bins, law: SweepLaw, known: LinePrior) -> Delays:
    """Return the delay of one pass; the law is of one pass. At zero frequency the trace's phase is zero."""
    group, bare, start = _slopes(trace, course, found, max(law.k1_db.value, 0.0))
    turn = alias_s(trace.frequency_hz)
    first = float(np.median(bare))
    # A delay of next to nothing may come out below zero.
    step = np.ceil(-first / turn - 0.25) + np.arange(MOST)
    tries = first + step * turn
    off = np.median(start) + course.phase_rad + TWO_PI * trace.frequency_hz[0] * step * turn
    off = (off + np.pi) % TWO_PI - np.pi
    one_way = tries / trace.passes
    blur = RIPPLED_RAD if trace.rippled else START_RAD
    start_score = -0.5 * off**2 / (blur**2 + float(np.var(start)))
    score = start_score + _plausible(one_way, law, known)
    if not np.isfinite(score).any():
        return _without(trace, course, found, law, known)
    p = _chances(score)
    best = int(np.argmax(p))
    if known.length_m is not None and _misfit(one_way[best : best + 1], known)[0] > FAR:
        return _without(trace, course, found, law, known)
    if p[best] >= CERTAIN:
        shift = (tries[best] - first) / trace.passes
        alone = _chances(start_score + _plausible(one_way, law, replace(known, length_m=None)))
        by_length = known.length_m is not None and bool(alone[best] < CERTAIN)
        told = group / trace.passes + shift, bare / trace.passes + shift
        return Delays(*told, (), score=float(score[best]), by_length=by_length)
    order = [int(i) for i in np.argsort(-p) if p[i] > 0.001][:SHOWN]
    return Delays(
        None, None, tuple(_candidate(float(one_way[i]), float(p[i]), known) for i in order), score=float(score[best])
    )


def _chances(score: Floats) -> Floats:
    """Return probabilities from their logarithms, up to a constant."""
    p = np.exp(score - score.max())
    return np.asarray(p / p.sum())


def _without(trace: Trace, course: Pilot, found: Bins, law: SweepLaw, known: LinePrior) -> Delays:
    """Return the delay that the sweep alone tells, if it tells one, where the length given does not go with it."""
    if known.length_m is None:
        return Delays(None, None, ())
    alone = delays(trace, course, found, law, LinePrior())
    return replace(alone, candidates=(), disagrees=alone.group_s is not None)


def _slopes(trace: Trace, course: Pilot, found: Bins, k1_db: float) -> tuple[Floats, Floats, Floats]:
    """Return draws of group delay and bare delay of all passes, and of what is left of the phase at zero frequency.

    Their spread is that of a fit which takes every wander for an error. Their middle is the plain least-squares slope.
    """
    f = found.frequency_hz
    phase = np.unwrap(np.angle(found.ratio))
    root = np.sqrt(f / f[-1])
    design = np.stack([np.ones_like(f), -root, -f / f[-1]], axis=-1)
    # The skin effect turns the phase by as much as it takes from the wave, in nepers.
    skin = trace.passes * k1_db / DB_PER_NEPER * np.sqrt(f[-1] / 1e6)
    prior = CorrelatedPrior(np.array([[2.0, SKIN_SPREAD * skin + PHASE_RAD, np.inf]]), np.array([1.0]), PHASE_RAD,
                  np.array([0.0, skin, 0.0]))  # fmt: skip
    series = Series(axis_of(f, f), phase, calmed(phase - np.median(phase), found.noise / np.abs(found.ratio)))
    b = fit(series, design, prior, (np.zeros(0), np.zeros((0, 3))), np.random.default_rng(SEED)).draws
    width = np.gradient(f)
    slow = b[:, 1] * group_delay_s(f, -root, width)
    group = b[:, 2] / f[-1] / TWO_PI + slow
    group += course.delay_s + group_delay_s(f, phase, width) - np.median(group)
    planes = PLANE_S * trace.passes * (END if trace.rippled else 1.0)
    plane = np.hypot(planes, trace.off / (np.pi * (f[-1] - f[0])))
    group += plane * tailed(np.random.default_rng(SEED + 1), len(group))
    return group, group - slow, b[:, 0]


def _plausible(one_way_s: Floats, law: SweepLaw, known: LinePrior) -> Floats:
    """Return the log probability of delays but for the phase at zero; minus infinity where there is none."""
    delay = np.maximum(one_way_s, 1e-13)
    given = known.velocity_factor
    v = VELOCITY if given is None else given
    length = delay * v * SPEED_OF_LIGHT_M_PER_S
    score = -0.5 * np.minimum(np.abs(np.log(length / LENGTH_M)) / LENGTH_LOG, FARTHEST) ** 2
    if known.length_m is not None:
        score = -0.5 * _misfit(delay, known) ** 2
    middle_hz = law.valid_hz[1] / 2.0
    loss = float(np.median(law_design(np.array([middle_hz]))[:, 1:] @ law.draws[:, 1:].T))
    usual, below, above = (MIDDLING, BELOW, ABOVE) if known.law is None else (known.law, KNOWN_BELOW, KNOWN_ABOVE)
    ratio = np.log(max(loss, LEAST_DB) / length / float(usual.db_per_m(middle_hz)))
    return np.asarray(score - 0.5 * (ratio / np.where(ratio < 0, below, above)) ** 2)


def _misfit(delay_s: Floats, known: LinePrior) -> Floats:
    """Return by how many standard deviations delays miss the length given; infinite beyond the speed of light."""
    assert known.length_m is not None
    given = known.velocity_factor
    v, spread = (VELOCITY, VELOCITY_SPREAD) if given is None else (given, FACTOR_SPREAD)
    factor = known.length_m / (np.maximum(delay_s, 1e-13) * SPEED_OF_LIGHT_M_PER_S)
    away = np.abs(factor - v) / np.hypot(spread, LENGTH_SPREAD * v)
    return np.asarray(np.where(factor > FASTEST, np.inf, away))


def _candidate(delay_s: float, p: float, known: LinePrior) -> DelayCandidate:
    v, length = known.velocity_factor, known.length_m
    return DelayCandidate(
        delay_s, p,
        None if v is None else delay_s * v * SPEED_OF_LIGHT_M_PER_S,
        None if length is None else length / (delay_s * SPEED_OF_LIGHT_M_PER_S),
    )  # fmt: skip


def extent(found: Delays, known: LinePrior) -> tuple[Interval | None, Interval | None]:
    """Return the length in metres and the velocity factor, each known from the other or from the person.

    Neither where the delay may as well be none: an attenuator or a bare joint has no length of line.
    """
    if found.disagrees or found.bare_s is None or float(np.quantile(found.bare_s, 0.025)) <= 0.0:
        return None, None
    rng = np.random.default_rng(SEED)
    away = rng.standard_normal(len(found.bare_s))
    path = found.bare_s * SPEED_OF_LIGHT_M_PER_S
    if known.length_m is not None:
        length = known.length_m * (1.0 + LENGTH_SPREAD * away)
        return Interval.of(length), Interval.of(length / path)
    if known.velocity_factor is not None:
        factor = known.velocity_factor * (1.0 + FACTOR_SPREAD * away)
        return Interval.of(factor * path), Interval.of(factor)
    return None, None
