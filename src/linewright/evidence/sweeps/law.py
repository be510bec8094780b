"""The law of a line's loss from a sweep: ``k0 + k1 √f + k2 f``, with intervals that know ripple and drift.

Neighbouring points of a sweep share their errors. The fit is made to means over bins whose errors may hang together
(see ``correlated``), so a sweep of a thousand points is not believed a thousand times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.evidence.sweeps.correlated import Prior, Series, fit
from linewright.evidence.sweeps.traces import axis_of, calmed, law_design, robust
from linewright.model.sweep_result import Floats, Interval, SweepLaw

TRACKING_DB = 0.01
"""What a good calibration still leaves on a loss: common practice, no source. Never less is claimed."""
CONSTANT_DB, CONSTANT_P = (0.3, 20.0), (0.1, 0.02)
"""A loss alike at all frequencies, of a poor joint and of a pad: their size, and how common they are."""
DRAWS = 1000
SEED = 20_240_221
STEP_SIDE, STEP_LEAST_DB, STEP_SIGMA = 8, 0.03, 6.0
"""A step is looked for between the means of so many bins; least height; height against other such differences."""


@dataclass(frozen=True, slots=True)
class Step:
    """A jump of the loss at one frequency, dB: a contact that moved while the sweep ran."""

    frequency_hz: float
    height_db: float


@dataclass(frozen=True, slots=True)
class LawFit:
    """A law with draws of the loss at the places asked for, (draws, places) in dB, and the jump taken out, if any."""

    law: SweepLaw
    loss_db: Floats
    step: Step | None


def fit_law(frequency_hz: Floats, loss_db: Floats, noise_db: Floats, at_hz: Floats, tracking_db: float) -> LawFit:
    """Return the law of losses in dB at bins, and draws of the loss at the frequencies ``at_hz``."""
    f = frequency_hz
    scale = np.array([1.0, np.sqrt(f[-1] / 1e6), f[-1] / 1e6])
    design, there = law_design(f) / scale, law_design(at_hz) / scale
    noise = calmed(loss_db - design @ robust(design, loss_db), noise_db)
    step = _step(f, loss_db - design @ robust(design, loss_db))
    if step is not None:
        design = np.column_stack([design, f >= step.frequency_hz])
        there = np.column_stack([there, np.zeros(len(at_hz))])
    free = [np.inf] * (design.shape[1] - 1)
    odds = np.array([1.0 - sum(CONSTANT_P), *CONSTANT_P])
    prior = Prior(np.array([[sd, *free] for sd in (tracking_db, *CONSTANT_DB)]), odds, tracking_db / 2.0)
    series = Series(axis_of(f, f), loss_db, noise)
    found = fit(series, design, prior, (np.clip(axis_of(at_hz, f), 0.0, 1.0), there), np.random.default_rng(SEED),
                4 * DRAWS)  # fmt: skip
    kept = _physical(found.draws)
    b = found.draws[kept]
    k = b[:, :3] / scale
    # What the calibration is off by moves all losses of a sweep alike, and nothing in the sweep shows it.
    off = tracking_db * np.random.default_rng(SEED + 1).standard_normal((DRAWS, 1))
    losses = np.maximum(b @ there.T + found.places[kept] + off, 0.0)
    constant = bool(found.chance[0] < 0.5)
    law = SweepLaw(
        Interval.of(k[:, 0]), Interval.of(k[:, 1]), Interval.of(k[:, 2]), constant, found.wander,
        (float(f[0]), float(f[-1])), k,
    )  # fmt: skip
    height = 0.0 if step is None else float(np.median(b[:, 3]))
    return LawFit(law, losses, None if step is None else Step(step.frequency_hz, height))


def _physical(draws: Floats) -> NDArray[np.int64]:
    """Return which draws to keep: those of a line whose two parts lose and do not gain, if there are enough."""
    sound = np.flatnonzero((draws[:, 1] > 0) & (draws[:, 2] > 0))
    chosen = sound if len(sound) >= DRAWS // 4 else np.arange(len(draws))
    return chosen[np.arange(DRAWS) % len(chosen)]


def _step(frequency_hz: Floats, rest_db: Floats) -> Step | None:
    """Return the one clear jump of the residuals, if there is one: abrupt, and higher than any other difference."""
    n, side = len(rest_db), STEP_SIDE
    if n < 4 * side:
        return None
    total = np.concatenate([[0.0], np.cumsum(rest_db)])
    place = np.arange(side, n - side)
    change = (total[place + side] - 2.0 * total[place] + total[place - side]) / side
    best = int(np.argmax(np.abs(change)))
    others = np.abs(change[np.abs(np.arange(len(change)) - best) > side])
    j = int(place[best])
    jump, usual = abs(rest_db[j] - rest_db[j - 1]), float(np.median(np.abs(np.diff(rest_db))))
    abrupt = jump > max(0.6 * abs(change[best]), STEP_SIGMA * usual)
    tall = abs(change[best]) > max(STEP_LEAST_DB, STEP_SIGMA * float(np.median(others)), 2.0 * float(others.max()))
    if not (abrupt and tall):
        return None
    return Step(float((frequency_hz[j] + frequency_hz[j - 1]) / 2.0), float(change[best]))
