"""Meters as they are found: scales, divisions, cards, and detectors that are not quite linear."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from linewright.core.nouns.bench import Meter
from linewright.core.nouns.bench_result import Scale

_RATED_HZ = ((1.8e6, 60e6), (1.8e6, 30e6), (1.6e6, 200e6), (100e6, 470e6), (140e6, 525e6), (1e6, 500e6), (1e6, 1300e6))
_FULL_SCALES_W = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
_CARD_MARKS = (0, 5, 10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 90, 100)


@dataclass(frozen=True, slots=True)
class Dial:
    """A meter with what its owner cannot see: how it turns power into what is written down.

    ``steps`` are (share of full scale, step) pairs: the local step up to that share. ``tap_db`` is the fixed tap before
    a milliwatt head. ``wiggle`` is how far the true response of a card meter departs from its card: dB and phase.
    ``shape``, ``knee_db`` and ``eps`` say how its detector bends, ``reflections`` what it sends back at each frequency.
    """

    noun: Meter
    rated_hz: tuple[float, float]
    full_scale: float
    steps: tuple[tuple[float, float], ...]
    bounds: bool = False
    tap_db: float = 0.0
    wiggle: tuple[float, float] = (0.0, 0.0)
    shape: str = "knee"
    knee_db: float = -8.0
    eps: float = 0.0
    reflections: dict[float, complex] = field(default_factory=dict)

    def rated(self, frequency_hz: float) -> bool:
        """Return whether the meter is truly made for this frequency."""
        return self.rated_hz[0] * 0.999 <= frequency_hz <= self.rated_hz[1] * 1.001

    def deflect(self, power_w: float) -> float:
        """Return the true position on the scale, before it is read."""
        power_w = max(power_w, 1e-9)
        if self.noun.scale == "dBm":
            return float(10 * np.log10(power_w * 1e3)) - self.tap_db
        if self.noun.scale == "milliwatts":
            return float(power_w * 1e3 * 10 ** (-self.tap_db / 10))
        if self.noun.scale == "volts":
            return float(np.sqrt(power_w * 50.0))
        if self.noun.scale == "card":
            depth_db, phase = self.wiggle
            share = np.sqrt(power_w / self.full_scale)
            return float(100 * share * 10 ** (depth_db * np.sin(7 * share + phase) / 20))
        return power_w

    def step_at(self, value: float) -> float:
        """Return the local step of the scale."""
        top = 100.0 if self.noun.scale == "card" else self.full_scale
        return next((step for share, step in self.steps if value <= share * top), self.steps[-1][1])

    def write(self, value: float) -> tuple[float, float | None, float | None]:
        """Return what is written down for a position: reading, and low and high where this person notes them."""
        step = self.step_at(value)
        shown = round(step * round(value / step), 6)
        if self.noun.scale != "dBm":
            shown = max(shown, 0.0)
        if not self.bounds:
            return shown, None, None
        return shown, round(max(shown - step / 2, 0.0), 6), round(shown + step / 2, 6)

    def span_db(self, a: float, b: float) -> float:
        """Return how many decibels of power lie from position b up to position a."""
        if self.noun.scale == "dBm":
            return a - b
        power_law = 20.0 if self.noun.scale in ("card", "volts") else 10.0
        return float(power_law * np.log10(a / b)) if a > 0 and b > 0 else float("nan")


def bend_db(shape: str, knee_db: float, level_db: np.ndarray) -> np.ndarray:
    """Return the raw departure of a detector from a true one at levels in dB below full scale; scaled by its user.

    ``knee``: square law below, something else above. ``offset``: a needle that does not rest at zero.
    ``compression``: a top that folds. ``power``: a plain exponent.
    """
    if shape == "knee":
        return np.asarray(3.0 * np.logaddexp(0.0, (level_db - knee_db) / 3.0))
    if shape == "offset":
        return np.asarray(-(10 ** (-np.clip(level_db, -12.0, 0.0) / 10)))
    if shape == "compression":
        return np.asarray(10 ** (level_db / 10))
    return np.asarray(level_db)


class _Face(NamedTuple):
    """The visible side of a meter."""

    scale: Scale
    full: float
    steps: tuple[tuple[float, float], ...]
    bounds: bool = False
    tap_db: float = 0.0
    card: tuple[tuple[float, float], ...] = ()
    wiggle: tuple[float, float] = (0.0, 0.0)


def _digital(rng: np.random.Generator, full: float, coarse: bool) -> _Face:
    fine = full <= 10 and rng.random() < 0.6
    return _Face("watts", full, ((1.0, float(f"{full / 100:.1g}") if coarse else (0.01 if fine else 0.1)),))


def _analogue(rng: np.random.Generator, full: float, coarse: bool) -> _Face:
    base = float(f"{full / float(rng.choice([50, 100, 100])):.1g}")
    return _Face("watts", full, ((0.2, base / 2), (0.6, base), (1.0, base * 2)), bool(rng.random() < 0.5))


def _dbm(rng: np.random.Generator, full: float, coarse: bool) -> _Face:
    tap_db = float(rng.choice([0.0, 30.0, 40.0]))
    return _Face("dBm", full, ((1.0, float(rng.choice([0.1, 0.01, 0.1, 0.5]))),), tap_db=tap_db)


def _milliwatts(rng: np.random.Generator, full: float, coarse: bool) -> _Face:
    tap_db = float(rng.choice([20.0, 30.0]))
    return _Face("milliwatts", 1e9, ((1.0, 1.0 if tap_db == 20.0 else 0.1),), tap_db=tap_db)


def _card(rng: np.random.Generator, full: float, coarse: bool) -> _Face:
    card = tuple((float(s), float(f"{full * (s / 100) ** 2:.3g}")) for s in _CARD_MARKS)
    wiggle = (0.12 * float(rng.normal()), float(rng.uniform(0, 6.28)))
    return _Face("card", full, ((1.0, float(rng.choice([1.0, 1.0, 2.0]))),), card=card, wiggle=wiggle)


def _volts(rng: np.random.Generator, full: float, coarse: bool) -> _Face:
    return _Face("volts", 1e9, ((1.0, float(rng.choice([0.1, 0.5]))),))


_FACES = ((_digital, 0.28), (_analogue, 0.30), (_dbm, 0.13), (_milliwatts, 0.08), (_card, 0.16), (_volts, 0.05))


def draw_dial(rng: np.random.Generator, name: str, power_w: float, *, coarse: bool = False) -> Dial:
    """Draw a meter a person might put to a source of this power; ``coarse`` has far too large a full scale."""
    make = _FACES[rng.integers(2) if coarse else rng.choice(len(_FACES), p=[p for _, p in _FACES])][0]
    rated = _RATED_HZ[rng.integers(len(_RATED_HZ))]
    full = next((f for f in _FULL_SCALES_W if f >= power_w * 1.15), 200.0)
    face = make(rng, float(power_w * rng.uniform(8, 40)) if coarse else full, coarse)
    stated = rated if rng.random() < 0.85 else None
    division = face.steps[min(1, len(face.steps) - 1)][1]
    return Dial(
        Meter(name, face.scale, division, stated, face.card),
        rated, face.full, face.steps, face.bounds, face.tap_db, face.wiggle,
        shape=str(rng.choice(["knee", "offset", "compression", "power"])),
        knee_db=float(rng.uniform(-15, -2)),
        eps=float(rng.standard_t(5) / np.sqrt(5 / 3)),
    )  # fmt: skip
