"""A meter over the years: what sessions showed of its detector, as the prior of the next session."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.nouns.bench import SAME_BAND, KnownExponent

WALK = 0.02
"""Standard deviation of the walk of a log exponent over a year; it grows with the root of the years."""
JUMP_A_YEAR, JUMP_LOG = 0.03, 0.3
"""How likely a blow bends a detector in a year, and how far (a guess of ours, no source)."""
SHOWN = 0.7
"""A session shows an exponent when its spread is less than this share of what it was before."""
FAR = 2.5
"""Beyond so many of its usual spreads an exponent was not held in by that spread."""
LEAST = 0.012
"""No exponent is known better (log)."""


@dataclass(frozen=True, slots=True)
class MeterTest:
    """What one session says of a meter's log exponent on a band, the catalogue left out.

    ``log_usual`` is the spread that an exponent is given there before any reading.
    """

    year: float
    meter: str
    frequency_hz: float
    log_mean: float
    log_sd: float
    log_usual: float
    source: str = ""


def meter_tests(
    year: float, exponents: Iterable[tuple[str, float, Floats, float]], source: str = ""
) -> list[MeterTest]:
    """Return what a session says of its meters, from draws of their log exponents and their usual spreads."""
    return [
        MeterTest(year, name, f, float(draws.mean()), float(draws.std()), usual, source)
        for name, f, draws, usual in exponents
    ]


def shows(test: MeterTest) -> bool:
    """Return whether a session shows an exponent at all, rather than what was believed before."""
    return test.log_sd < SHOWN * test.log_usual or abs(test.log_mean) > FAR * test.log_usual


def known_exponents(tests: Sequence[MeterTest], year: float) -> tuple[KnownExponent, ...]:
    """Return what is known on a day of every meter and band that some session showed.

    Each session's own information (its spread's precision less that of the prior it began with) joins what was known,
    loosened by the years between. A session that contradicts it may have followed a blow: then it counts alone, by its
    evidence.

    Parameters
    ----------
    tests : sequence of MeterTest
        In any order; those after ``year`` are left out.
    year : float
        The day.
    """
    found: dict[tuple[str, float], list[MeterTest]] = {}
    for t in sorted(tests, key=lambda t: (t.year, t.meter, t.frequency_hz, t.source)):
        if t.year > year or not shows(t):
            continue
        key = next((k for k in found if k[0] == t.meter and abs(t.frequency_hz / k[1] - 1.0) < SAME_BAND),
                   (t.meter, t.frequency_hz))  # fmt: skip
        found.setdefault(key, []).append(t)
    return tuple(_known(name, f, rows, year) for (name, f), rows in found.items())


def _known(name: str, frequency_hz: float, tests: Sequence[MeterTest], year: float) -> KnownExponent:
    usual = tests[0].log_usual
    mean, variance, last = 0.0, usual**2, tests[0].year
    for t in tests:
        variance += WALK**2 * (t.year - last)
        blow = min(0.5, 0.01 + JUMP_A_YEAR * (t.year - last))
        value, noise = _own(t)
        stay, jump = (_density(value - mean, variance + noise), _density(value - mean, variance + JUMP_LOG**2 + noise))
        p = blow * jump / (blow * jump + (1.0 - blow) * stay) if stay + jump > 0 else 1.0
        mean, variance = _mixed(p, _updated(mean, variance + JUMP_LOG**2, value, noise),
                                _updated(mean, variance, value, noise))  # fmt: skip
        last = t.year
    variance += WALK**2 * (year - last)
    return KnownExponent(name, frequency_hz, float(mean), float(max(np.sqrt(variance), LEAST)))


def _own(t: MeterTest) -> tuple[float, float]:
    """Return the value and the variance that a session adds to what was believed before it."""
    if abs(t.log_mean) > FAR * t.log_usual:
        return t.log_mean, t.log_sd**2
    precision = max(1.0 / t.log_sd**2 - 1.0 / t.log_usual**2, 0.1 / t.log_usual**2)
    return t.log_mean / t.log_sd**2 / precision, 1.0 / precision


def _updated(mean: float, variance: float, value: float, noise: float) -> tuple[float, float]:
    gain = variance / (variance + noise)
    return mean + gain * (value - mean), (1.0 - gain) * variance


def _mixed(p: float, one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    mean = p * one[0] + (1.0 - p) * other[0]
    return mean, p * (one[1] + (one[0] - mean) ** 2) + (1.0 - p) * (other[1] + (other[0] - mean) ** 2)


def _density(off: float, variance: float) -> float:
    return float(np.exp(-0.5 * off**2 / variance) / np.sqrt(variance))
