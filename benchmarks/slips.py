"""What goes wrong on paper: a reading that is not what the meter showed."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from instruments import Dial

Slip = Callable[[np.random.Generator, Dial, float, Sequence[float]], float]


def _division(rng: np.random.Generator, dial: Dial, value: float, others: Sequence[float]) -> float:
    """Read one numbered group of divisions too high or low."""
    return value + float(rng.choice([-1, 1])) * float(rng.choice([1, 2, 5, 10, 20])) * dial.step_at(value)


def _digits(rng: np.random.Generator, dial: Dial, value: float, others: Sequence[float]) -> float:
    """Swap two neighbouring digits."""
    digits = [c for c in f"{value:g}" if c.isdigit()]
    if len(digits) < 2:
        return value
    i = int(rng.integers(len(digits) - 1))
    digits[i], digits[i + 1] = digits[i + 1], digits[i]
    feed = iter(digits)
    return float("".join(next(feed) if c.isdigit() else c for c in f"{value:g}"))


def _range(rng: np.random.Generator, dial: Dial, value: float, others: Sequence[float]) -> float:
    """Read on the wrong range."""
    if dial.noun.scale == "dBm":
        return value + float(rng.choice([-10, -5, 5, 10]))
    return value * float(rng.choice([0.2, 0.4, 0.5, 2, 2.5, 5]))


def _other_cable(rng: np.random.Generator, dial: Dial, value: float, others: Sequence[float]) -> float:
    """Write down what belongs to another path."""
    return float(rng.choice(np.asarray(others))) if len(others) else value


SLIPS: tuple[Slip, ...] = (_division, _digits, _range, _other_cable)


def slip(
    rng: np.random.Generator, dial: Dial, value: float, others: Sequence[float], bounds_db: tuple[float, float]
) -> float | None:
    """Return a wrong value that lies within ``bounds_db`` of the right one, or None when no slip fits."""
    for i in rng.permutation(len(SLIPS) * 3):
        wrong = SLIPS[i % len(SLIPS)](rng, dial, value, others)
        if wrong <= 0 and dial.noun.scale != "dBm":
            continue
        if bounds_db[0] <= abs(dial.span_db(wrong, value)) <= bounds_db[1]:
            return float(round(wrong, 6))
    return None
