"""From a meter's own scale to decibels and back."""

from __future__ import annotations

from math import inf, isfinite, log, log10

import numpy as np

from linewright.model.bench import Meter, Reading

DB_PER_RELATIVE = 10.0 / log(10.0)
"""4.343: decibels of a small relative change of power."""


def _card_logs(meter: Meter) -> tuple[np.ndarray, np.ndarray]:
    points = [(np.log(s), np.log(p)) for s, p in meter.card if s > 0 and p > 0]
    scale, power = (np.array(column) for column in zip(*points, strict=True)) if points else (np.zeros(1), np.zeros(1))
    return scale, power


def _follow(x: float, along: np.ndarray, up: np.ndarray) -> float:
    """Interpolate straight between points, and carry the end slopes on beyond them."""
    if len(along) == 1:
        return float(up[0] + x - along[0])
    i = int(np.clip(np.searchsorted(along, x) - 1, 0, len(along) - 2))
    return float(up[i] + (x - along[i]) * (up[i + 1] - up[i]) / (along[i + 1] - along[i]))


def level_db(meter: Meter, value: float) -> float:
    """Return what the meter shows as a level in dB (dBW for a scale of power); minus infinity for nothing at all.

    A conversion card is followed straight on log-log paper between its points, which is exact wherever the scale is a
    power law of the power, as detectors are piecewise.

    >>> round(level_db(Meter("m", "card", card=((0, 0), (50, 3.2), (100, 12.8))), 25), 4)  # 0.8 W
    -0.9691
    """
    if meter.scale == "loss":
        return -value
    if meter.scale in ("dBm", "dB"):
        return value - (30.0 if meter.scale == "dBm" else 0.0)
    if value <= 0:
        return -inf
    if meter.scale == "card":
        return float(DB_PER_RELATIVE * _follow(float(np.log(value)), *_card_logs(meter)))
    if meter.scale == "volts":
        return 20.0 * log10(value)
    return 10.0 * log10(value) - (30.0 if meter.scale == "milliwatts" else 0.0)


def shown(meter: Meter, level: float) -> float:
    """Return what the meter shows at a level in dB: the inverse of ``level_db``.

    >>> round(shown(Meter("m", "milliwatts"), -3.0103), 1)
    500.0
    """
    if meter.scale == "loss":
        return -level
    if meter.scale in ("dBm", "dB"):
        return level + (30.0 if meter.scale == "dBm" else 0.0)
    if meter.scale == "card":
        scale, power = _card_logs(meter)
        return float(np.exp(_follow(level / DB_PER_RELATIVE, power, scale)))
    if meter.scale == "volts":
        return float(10.0 ** (level / 20.0))
    return float(10.0 ** ((level + (30.0 if meter.scale == "milliwatts" else 0.0)) / 10.0))


def _decimals(value: float) -> int:
    text = f"{value:.6f}".rstrip("0")
    return len(text.split(".")[1]) if "." in text else 0


def guessed_division(readings: list[Reading]) -> float:
    """Return the finest step a meter's readings are written in: the division when nobody stated one."""
    finite = [r.reading for r in readings if isfinite(r.reading)]
    return float(10.0 ** -min(3, max((_decimals(v) for v in finite), default=0)))


def span(reading: Reading, division: float) -> tuple[float, float]:
    """Return the interval, in the meter's own scale, that the reading stands for."""
    low = reading.low if reading.low is not None else reading.reading - division / 2
    high = reading.high if reading.high is not None else reading.reading + division / 2
    return low, high
