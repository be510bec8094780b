"""The law of a line's loss from a sweep: ``k0 + k1 √f + k2 f``, with intervals that know ripple and drift.

Neighbouring points of a sweep share their errors. The fit is made to means over bins whose errors may hang together
(see ``correlated``), so a sweep of a thousand points is not believed a thousand times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from linewright.catalogue.bands import bands
from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.sweep import Interval, Sweep, SweepLaw
from linewright.core.quantities import DB_PER_NEPER, TWO_PI
from linewright.inference.sweep.correlated import CorrelatedPrior, Fit, Series, fit
from linewright.inference.sweep.traces import BINS, axis_of, calmed, law_design, robust, tailed

# The law of a line's loss from a sweep: ``k0 + k1 √f + k2 f``, with intervals that know ripple and drift

TRACKING_DB = 0.025
"""What a good calibration still leaves on a loss: common practice, no source. Never less is claimed."""
ECHO_S = 1e-9
"""How late the small echoes come that a calibration leaves (0.1 m of cable): common practice, no source."""
CONSTANT_DB, CONSTANT_P = (0.3, 20.0), (0.1, 0.02)
"""A loss alike at all frequencies, of a poor joint and of a pad: their size, and how common they are."""
ROUNDS = 2
DRAWS = 1000
SEED = 20_240_221
STEP_SIDE, STEP_LEAST_DB, STEP_DB, STEP_NATS = 8, 0.05, 0.3, 14.0
"""A step: looked for between means of so many bins; its least and usual height; evidence asked for (it may be anywhere,
and is rare)."""
RIPPLED_NATS, RIPPLED_DB = 24.0, 0.12
"""The same evidence, and the least constant, of a line seen from one far end alone: its ripple makes steps of 0.3 to
0.5 dB (16 to 20 nats) and constants up to 0.09 dB. By sound simulated lines."""
RIPPLE_SHARE = 0.2
UNSEEN, MOST_UNSEEN_DB = 1.8, 0.2
"""How much of a wander about the law may hide in the law, against what shows of it, and no more than this: what wanders
further is no calibration. By sound simulated lines."""
WANDER_SHARE = 0.5
"""The least wander about the law, as a share of what the calibration may be off by."""


@dataclass(frozen=True, slots=True)
class LevelStep:
    """A jump of the loss at one frequency, dB: a contact that moved while the sweep ran."""

    frequency_hz: float
    height_db: float


@dataclass(frozen=True, slots=True)
class Means:
    """Losses of one pass at bins and their noise, dB; what the calibration may be off by.

    ``rippled`` says that what wanders about the law is ripple, not loss; ``delay_s`` is the line's
    delay, infinite where it is not known.
    """

    frequency_hz: Floats
    loss_db: Floats
    noise_db: Floats
    tracking_db: float
    rippled: bool
    delay_s: float = np.inf


@dataclass(frozen=True, slots=True)
class LawFit:
    """A law with draws of the loss at the places asked for, (draws, places) in dB, and the jump taken out, if any."""

    law: SweepLaw
    loss_db: Floats
    step: LevelStep | None


def fit_law(means: Means, at_hz: Floats) -> LawFit:
    """Return the law of losses in dB at bins, and draws of the loss at the frequencies ``at_hz``."""
    tracking_db, f = means.tracking_db, means.frequency_hz
    less_db = _slowed(means)
    loss_db = means.loss_db + less_db
    scale = np.array([1.0, np.sqrt(f[-1] / 1e6), f[-1] / 1e6])
    design, there = law_design(f) / scale, law_design(at_hz) / scale
    rest = loss_db - design @ robust(design, loss_db)
    series = Series(axis_of(f, f), loss_db, calmed(rest, means.noise_db))
    places = np.clip(axis_of(at_hz, f), 0.0, 1.0)
    found = _fit(series, design, places, there, tracking_db)
    jump = _step(f, rest)
    if jump is not None:
        stepped = np.column_stack([design, f >= jump])
        # The jump may lie within a bin: its neighbours say nothing.
        beside = np.abs(np.arange(len(f)) - int(np.searchsorted(f, jump)) + 0.5) < 2.0
        apart = replace(series, noise=np.where(beside, STEP_DB, series.noise))
        other = _fit(apart, stepped, places, np.column_stack([there, np.zeros(len(at_hz))]), tracking_db)
        plain = _fit(apart, design, places, there, tracking_db)
        if other.evidence > plain.evidence + (RIPPLED_NATS if means.rippled else STEP_NATS):
            found = other
        else:
            jump = None
    at_bins, at_places = _leftovers(f, at_hz, tracking_db, len(found.draws), SEED + 1)
    b = found.draws[:, :3] + at_bins @ np.linalg.pinv(design[:, :3]).T
    wander = found.places
    if means.rippled:
        wander = RIPPLE_SHARE * found.wander * np.random.default_rng(SEED + 2).standard_normal(wander.shape)
    losses = found.draws[:, :3] @ there.T - less_db + wander + at_places
    # No line gains: below nothing, what its law alone says stands in.
    losses = np.where(losses > 0, losses, np.maximum(b[:, 1:] @ there[:, 1:].T, 0.0))
    kept = _physical(b)
    k, losses = b[kept] / scale, losses[kept]
    beyond = Interval.of(k[:, 0])
    k[:, 0] -= less_db
    if not means.rippled:
        losses = _widened(losses, f, at_hz, min(UNSEEN * found.wander, MOST_UNSEEN_DB))
    k0 = Interval.of(k[:, 0])
    # What gains beside its constant is no line's law: neither is its constant.
    beside = law_design(f[[0, -1]])[:, 1:] @ np.median(k[:, 1:], axis=0)
    sure = bool(found.chance[0] < 0.5) and beyond.low * beyond.high > 0.0 and float(beside.min()) > -TRACKING_DB
    constant = sure and abs(beyond.value) > (RIPPLED_DB if means.rippled else TRACKING_DB)
    law = SweepLaw(
        k0, Interval.of(k[:, 1]), Interval.of(k[:, 2]), constant, found.wander, (float(f[0]), float(f[-1])), k
    )
    return LawFit(law, losses, None if jump is None else LevelStep(jump, float(np.median(found.draws[:, 3]))))


def slowed_db(k1_db: float, delay_s: float) -> float:
    """Return by how much, at all frequencies alike, the skin effect's inner inductance lowers a line's loss, dB.

    It raises the impedance, so that the same resistance takes less: with ``γ = jβ √(1 + (1 - j) x)``, ``x = R/(ωL)``,
    the loss is ``β (x/2 - x²/4)``. The first part is k1 √f, the second ``k1²/(8.686 ω τ)`` at 1 MHz (our own series).

    >>> round(slowed_db(1.3, 288e-9), 3)
    0.108
    """
    return max(k1_db, 0.0) ** 2 / (DB_PER_NEPER * TWO_PI * 1e6 * delay_s) if delay_s > 0.0 else 0.0


def _slowed(means: Means) -> float:
    """Return the same of losses at bins, whose own √f part tells it, the constant it leaves there given back."""
    design, less_db = law_design(means.frequency_hz)[:, 1:], 0.0
    for _ in range(ROUNDS):
        less_db = slowed_db(float(robust(design, means.loss_db + less_db)[0]), means.delay_s)
    return less_db


def _widened(losses: Floats, f: Floats, at_hz: Floats, hidden_db: float) -> Floats:
    """Return draws of losses with what a calibration may hide in the law's own shape; their middles stay.

    What it leaves shows in part, as a wander about the law: as much again is taken not to show.
    """
    _, away = _leftovers(f, at_hz, hidden_db, len(losses), SEED + 3)
    wide = losses + away
    return np.maximum(wide + np.median(losses, axis=0) - np.median(wide, axis=0), 0.0)


def bent_db(law: SweepLaw, off_db: float = 0.0) -> Floats:
    """Return draws of how far what hides in a law bends k1 and k2, dB, shape (draws, 2).

    What a calibration or an uneven line leaves shows in part, as a wander about the law; ``UNSEEN`` times as much is
    taken to hide in it, and ``off_db`` that the sweep shows elsewhere.
    """
    low, high = np.sqrt(law.valid_hz)
    f = np.linspace(low, high, BINS) ** 2
    away, _ = _leftovers(f, f, float(np.hypot(UNSEEN * law.departure_db, off_db)), DRAWS, SEED + 4)
    return np.asarray(away @ np.linalg.pinv(law_design(f)[:, 1:]).T)


def _leftovers(f: Floats, at_hz: Floats, tracking_db: float, count: int, seed: int) -> tuple[Floats, Floats]:
    """Return draws of what a calibration leaves on the loss, dB, at the bins and at the places: one small echo each.

    Nothing in the sweep shows it. Over a narrow sweep it is nearly a constant or a slope.
    """
    rng = np.random.default_rng(seed)
    size = tracking_db * tailed(rng, count)[:, None]
    delay, start = ECHO_S * rng.exponential(size=(count, 1)), rng.uniform(0.0, TWO_PI, (count, 1))
    both = (np.sqrt(2.0) * size * np.cos(TWO_PI * delay * x + start) for x in (f, at_hz))
    at_bins, at_places = both
    return at_bins, at_places


def _fit(series: Series, design: Floats, places: Floats, there: Floats, tracking_db: float) -> Fit:
    """Return a fit of the law, with or without a jump in its last column."""
    rest = [np.inf, np.inf, *([STEP_DB] if design.shape[1] > 3 else [])]
    odds = np.array([1.0 - sum(CONSTANT_P), *CONSTANT_P])
    prior = CorrelatedPrior(
        np.array([[sd, *rest] for sd in (tracking_db, *CONSTANT_DB)]), odds, tracking_db * WANDER_SHARE
    )
    return fit(series, design, prior, (places, there), np.random.default_rng(SEED), 2 * DRAWS)


def _physical(draws: Floats) -> NDArray[np.int64]:
    """Return which draws to keep: those of a line whose two parts lose and do not gain, if there are enough."""
    sound = np.flatnonzero((draws[:, 1] > 0) & (draws[:, 2] > 0))
    chosen = sound if len(sound) >= DRAWS // 4 else np.arange(len(draws))
    return chosen[np.arange(DRAWS) % len(chosen)]


def _step(frequency_hz: Floats, rest_db: Floats) -> float | None:
    """Return where the residuals jump most, Hz, if they jump anywhere: abruptly, and by more than a little."""
    n, side = len(rest_db), STEP_SIDE
    if n < 4 * side:
        return None
    total = np.concatenate([[0.0], np.cumsum(rest_db)])
    place = np.arange(side, n - side)
    change = (total[place + side] - 2.0 * total[place] + total[place - side]) / side
    jump = np.diff(rest_db)[place - 1]
    best = int(np.argmax(np.where(np.sign(jump) == np.sign(change), np.minimum(np.abs(jump), np.abs(change)), 0.0)))
    j = int(place[best])
    if min(abs(jump[best]), abs(change[best])) < STEP_LEAST_DB:
        return None
    return float((frequency_hz[j] + frequency_hz[j - 1]) / 2.0)


# At which frequencies a sweep is asked for its loss: the amateur bands it covers, and those a person names


def asked(sweep: Sweep, at_hz: Sequence[float]) -> list[tuple[str, float]]:
    """Return (band, frequency) pairs inside the sweep, rising: the middle of each band's covered part, and ``at_hz``.

    A frequency that is no number above zero is refused; one outside the sweep is left out (see ``outside``).
    """
    for f in at_hz:
        if not (np.isfinite(f) and f > 0):
            raise InputError("at_hz", say("must be above zero and finite; got {value}", value=format(f, "g")))
    low, high = float(sweep.frequency_hz[0]), float(sweep.frequency_hz[-1])
    found = [("", float(f)) for f in at_hz if sweep.covers(f)]
    for band in bands():
        start, stop = max(low, band.low_hz), min(high, band.high_hz)
        if start <= stop:
            found.append((band.name, (start + stop) / 2.0))
    return sorted(found, key=lambda pair: pair[1])


def outside(sweep: Sweep, at_hz: Sequence[float]) -> list[float]:
    """Return which of the frequencies asked for the sweep does not reach."""
    return [float(f) for f in at_hz if not sweep.covers(f)]
