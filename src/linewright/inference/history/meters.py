"""A meter over the years: what sessions showed of its detector and its gain, as the prior of the next session."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import permutations
from math import erfc, isfinite, sqrt

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import MeterDoubt
from linewright.core.nouns.bench import SAME_BAND, BenchSheet, KnownBottom, KnownExponent, Meter
from linewright.inference.bench.observations import guessed_division, level_db, span
from linewright.inference.priors import DEFAULT

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
    return test.log_sd < SHOWN * test.log_usual or abs(test.log_mean - _usual(test)) > FAR * test.log_usual


def _usual(test: MeterTest) -> float:
    """Return the log exponent that the bench gives a meter before any reading, in its rated band or outside."""
    return DEFAULT.exponent_shift_in if test.log_usual <= DEFAULT.exponent_in else DEFAULT.exponent_shift_out


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
    mean, variance, last = _usual(tests[0]), tests[0].log_usual ** 2, tests[0].year
    for t in tests:
        variance += WALK**2 * (t.year - last)
        blow = min(0.5, 0.01 + JUMP_A_YEAR * (t.year - last))
        mean, variance = _heard(mean, variance, _own(t), (blow, JUMP_LOG))
        last = t.year
    variance += WALK**2 * (year - last)
    return KnownExponent(name, frequency_hz, float(mean), float(max(np.sqrt(variance), LEAST)))


# What sessions do not know of their meters


def common_doubt(tests: Sequence[tuple[float, MeterDoubt | None, int]]) -> Floats:
    """Return the covariance of what is wrong in tests of a piece for want of knowing their meters' exponents.

    A session that knows no more of a meter than the one before has the error of that one, and what the exponent
    wandered since; one that knows more has the part of it that its knowledge leaves, as in a Kalman filter (R. E.
    Kalman, 1960, from memory). So two sessions that know nothing err alike, and one with pads errs by itself.

    Parameters
    ----------
    tests : sequence of (float, MeterDoubt or None, int)
        Oldest first: the year, what is not known of the meters, and how many bands the test has.

    Returns
    -------
    ndarray, shape (n, n)
        Of ln loss, the bands of all tests one after the other.
    """
    detectors: list[tuple[str, float]] = []
    for _, doubt, _ in tests:
        detectors += [d for d in (doubt.meters if doubt else ()) if _place(detectors, d) is None]
    many = [n for *_, n in tests]
    size, lost = len(detectors), sum(many)
    # Errors of all exponents as they stand, then those of the losses told so far: their covariance.
    whole = np.zeros((size + lost, size + lost))
    seen: set[int] = set()
    last = tests[0][0]
    for i, (year, doubt, n) in enumerate(tests):
        whole[range(size), range(size)] += WALK**2 * (year - last) * np.isin(range(size), list(seen))
        last = year
        if doubt is None or not doubt.meters:
            continue
        at = np.array([_place(detectors, d) for d in doubt.meters], dtype=np.int64)
        whole = _known_anew(whole, at, np.isin(at, list(seen)), doubt.covariance)
        seen.update(at.tolist())
        rows = size + sum(many[:i]) + np.arange(n)
        step = np.eye(len(whole))
        step[np.ix_(rows, at)] = doubt.slopes
        whole = step @ whole @ step.T
    return whole[size:, size:]


def _place(detectors: Sequence[tuple[str, float]], one: tuple[str, float]) -> int | None:
    """Return which of some detectors one is: the same meter within three per cent of the frequency."""
    meter, f = one
    return next((i for i, (m, g) in enumerate(detectors) if m == meter and abs(f / g - 1.0) < SAME_BAND), None)


def _known_anew(whole: Floats, at: np.ndarray, old: np.ndarray, now: Floats) -> Floats:
    """Return a covariance once a session knows the errors at some places to ``now``; ``old`` says which had any.

    What is left of an old error is what a filter leaves; all of it where the session knows no more than was known.
    """
    size, a, b = len(whole), at[old], at[~old]
    carried, fresh = np.eye(size), np.zeros((size, size))
    left = now[np.ix_(old, old)]
    if len(a):
        root = np.linalg.cholesky(whole[np.ix_(a, a)] + 1e-12 * np.eye(len(a)))
        back = np.linalg.inv(root)
        share, axes = np.linalg.eigh(back @ left @ back.T)
        kept = root @ (axes * np.clip(share, 0.0, 1.0)) @ axes.T @ back
        carried[np.ix_(a, a)] = kept
        fresh[np.ix_(a, a)] = left - kept @ whole[np.ix_(a, a)] @ kept.T
    out = carried @ whole @ carried.T + fresh
    if len(b):
        along = np.linalg.lstsq(left, now[np.ix_(old, ~old)], rcond=None)[0].T if len(a) else np.zeros((len(b), 0))
        step = np.eye(size)
        step[np.ix_(b, a)] = along
        out = step @ out @ step.T
        out[np.ix_(b, b)] += now[np.ix_(~old, ~old)] - along @ left @ along.T
    return (out + out.T) / 2


# Bottom: below which level a meter shows nothing

SLEEPS_P, SLEEPS_DB, DEEPEST_DB, GRID_DB = 0.2, 4.0, 20.0, 0.1
"""How likely a meter wakes up only beyond the first step of its scale, how far beyond (an exponential), and how far at
most and how finely that is looked for (guesses of ours)."""
WAKES_DB, SLIP_P, GHOST_P = 0.5, 0.03, 0.003
"""How sharply it wakes up, and how often a reading of nothing means nothing (those of ``bench/censored.py``); how often
one of something does (a guess of ours)."""
BOTTOM_WALK_DB = 0.3
"""By how much the bottom moves in a root year (a guess of ours)."""
TOLD_DB = 0.5
"""A bottom is told where it is likelier than not to lie so far beyond the first step."""


@dataclass(frozen=True, slots=True)
class BottomTest:
    """What one session says of the bottom of a meter's scale on a band; see ``SeenBottom``."""

    year: float
    meter: str
    frequency_hz: float
    asleep: tuple[tuple[float, float], ...]
    awake_db: float
    usual_db: float
    source: str = ""


def known_bottoms(tests: Iterable[BottomTest], year: float) -> tuple[KnownBottom, ...]:
    """Return what is known on a day of the bottoms of meters' scales, where they lie beyond the first step.

    The level is looked for on a grid: a meter that showed nothing of a level wakes up above it, one that showed a level
    below that. Older sessions are taken as less sharp.
    """
    found: dict[tuple[str, float], list[BottomTest]] = {}
    for t in sorted(tests, key=lambda t: (t.year, t.meter, t.frequency_hz, t.source)):
        if t.year <= year:
            mine = (k for k in found if k[0] == t.meter and abs(t.frequency_hz / k[1] - 1.0) < SAME_BAND)
            found.setdefault(next(mine, (t.meter, t.frequency_hz)), []).append(t)
    known = (_known_bottom(*key, rows, year) for key, rows in found.items())
    return tuple(k for k in known if k is not None)


def _known_bottom(meter: str, frequency_hz: float, tests: Sequence[BottomTest], year: float) -> KnownBottom | None:
    usual = min(t.usual_db for t in tests)
    beyond = np.arange(0.0, DEEPEST_DB + GRID_DB / 2, GRID_DB)
    weight = SLEEPS_P * np.exp(-beyond / SLEEPS_DB) * GRID_DB / SLEEPS_DB
    weight[0] += 1.0 - SLEEPS_P
    for t in tests:
        moved = WAKES_DB**2 + BOTTOM_WALK_DB**2 * (year - t.year)
        for mean, sd in t.asleep:
            weight *= SLIP_P + (1.0 - SLIP_P) * _below((usual + beyond - mean) / np.sqrt(moved + sd**2))
        weight *= GHOST_P + (1.0 - GHOST_P) * _below((t.awake_db - usual - beyond) / np.sqrt(moved))
    weight /= weight.sum()
    if weight[beyond > TOLD_DB].sum() < 0.5:
        return None
    weight = np.where(beyond > TOLD_DB, weight, 0.0) / weight[beyond > TOLD_DB].sum()
    mean = float(weight @ beyond)
    sd = float(np.sqrt(weight @ (beyond - mean) ** 2 + BOTTOM_WALK_DB**2 * (year - tests[-1].year)))
    return KnownBottom(meter, frequency_hz, usual + mean, sd)


def _below(z: Floats) -> Floats:
    """Return the standard normal distribution function."""
    return np.array([0.5 * erfc(-v / sqrt(2.0)) for v in z])


# Gain: what a meter shows of a power beside another that reads the same carrier

ABSOLUTE = ("watts", "milliwatts", "dBm", "card")
"""Scales that tell a power, in dBW once in dB."""
MISMATCH_DB, DRIFT_DB = 0.15, 0.05
"""What meters put in line one after the other add to the difference of their readings: the power into each as its own
input reflects it, and the transmitter's drift (common practice, no source)."""
GAIN_WALK_DB, GAIN_DB, GAIN_JUMP_DB = 0.1, 6.0, 2.0
"""Walk of a gain over a root year, how far it may lie off at first, and how far after a blow (guesses of ours)."""


@dataclass(frozen=True, slots=True)
class GainTest:
    """What one session says of a meter's gain on a band: dB that it shows above another, with a standard deviation.

    ``peers`` says that both are in their rated bands, so that neither is a yardstick for the other.
    """

    year: float
    meter: str
    against: str
    frequency_hz: float
    gain_db: float
    sd_db: float
    source: str = ""
    peers: bool = False


@dataclass(frozen=True, slots=True)
class KnownGain:
    """What is known of a meter's gain on a band, dB above what another shows, from which sessions."""

    meter: str
    against: str
    frequency_hz: float
    gain_db: float
    sd_db: float
    sources: tuple[str, ...]
    peers: bool = False


def gain_tests(sheet: BenchSheet, year: float, source: str = "") -> Iterator[GainTest]:
    """Yield what a sheet says of its meters' gains: of each pair that read the reference on one band, both ways.

    Only meters in their rated band are a yardstick for others.
    """
    for f in sorted({r.frequency_hz for r in sheet.readings}):
        levels = {m.name: found for m in sheet.meters if (found := _reference_db(sheet, m, f)) is not None}
        for one, other in permutations(levels, 2):
            if sheet.meter(other).in_rated_band(f):
                (a, u), (b, v) = levels[one], levels[other]
                sd, peers = float(np.sqrt(u**2 + v**2 + MISMATCH_DB**2)), bool(sheet.meter(one).in_rated_band(f))
                yield GainTest(year, one, other, f, a - b, sd, source, peers)


def _reference_db(sheet: BenchSheet, meter: Meter, frequency_hz: float) -> tuple[float, float] | None:
    """Return what a meter shows of the reference on a band, dB, and its standard deviation."""
    mine = [r for r in sheet.readings if r.meter == meter.name]
    read = [r for r in mine if r.frequency_hz == frequency_hz and not r.path]
    levels = np.array([level_db(meter, r.reading) for r in read])
    if meter.scale not in ABSOLUTE or not len(levels) or not np.isfinite(levels).all():
        return None
    division = meter.division if meter.division is not None else guessed_division(mine)
    ends = [level_db(meter, v) for v in span(read[0], division)]
    step = (ends[1] - ends[0]) / np.sqrt(12.0) if all(map(isfinite, ends)) else GAIN_DB
    middle = float(np.median(levels))
    off = float(np.abs(levels - middle).mean()) if len(levels) > 1 else 0.0
    return middle, float(np.sqrt(step**2 + off**2 / len(levels) + DRIFT_DB**2))


def known_gains(tests: Iterable[GainTest], year: float) -> tuple[KnownGain, ...]:
    """Return what is known on a day of every meter's gain beside every other, band by band.

    Sessions join as those of an exponent do (``known_exponents``): a walk between them, and a chance of a blow.
    """
    found: dict[tuple[str, str, float], list[GainTest]] = {}
    for t in sorted(tests, key=lambda t: (t.year, t.meter, t.against, t.frequency_hz, t.source)):
        if t.year > year:
            continue
        mine = (k for k in found if k[:2] == (t.meter, t.against) and abs(t.frequency_hz / k[2] - 1.0) < SAME_BAND)
        found.setdefault(next(mine, (t.meter, t.against, t.frequency_hz)), []).append(t)
    return tuple(_known_gain(*key, rows, year) for key, rows in found.items())


def _known_gain(meter: str, against: str, frequency_hz: float, tests: Sequence[GainTest], year: float) -> KnownGain:
    mean, variance, last = 0.0, GAIN_DB**2, tests[0].year
    for n, t in enumerate(tests):
        variance += GAIN_WALK_DB**2 * (t.year - last)
        blow = 0.0 if n == 0 else min(0.5, 0.01 + JUMP_A_YEAR * (t.year - last))
        mean, variance = _heard(mean, variance, (t.gain_db, t.sd_db**2), (blow, GAIN_JUMP_DB))
        last = t.year
    variance += GAIN_WALK_DB**2 * (year - last)
    sources = tuple(dict.fromkeys(t.source for t in tests))
    return KnownGain(meter, against, frequency_hz, mean, float(np.sqrt(variance)), sources, tests[-1].peers)


def _own(t: MeterTest) -> tuple[float, float]:
    """Return the value and the variance that a session adds to what was believed before it."""
    usual = _usual(t)
    if abs(t.log_mean - usual) > FAR * t.log_usual:
        return t.log_mean, t.log_sd**2
    precision = max(1.0 / t.log_sd**2 - 1.0 / t.log_usual**2, 0.1 / t.log_usual**2)
    return usual + (t.log_mean - usual) / t.log_sd**2 / precision, 1.0 / precision


def _heard(
    mean: float, variance: float, told: tuple[float, float], blow: tuple[float, float]
) -> tuple[float, float]:  # fmt: skip
    """Return mean and variance once a value with a variance is heard, when a blow of a size has so much chance."""
    (value, noise), (chance, size) = told, blow
    stay, jump = (_density(value - mean, variance + noise), _density(value - mean, variance + size**2 + noise))
    p = chance * jump / (chance * jump + (1.0 - chance) * stay) if stay + jump > 0 else 1.0
    return _mixed(p, _updated(mean, variance + size**2, value, noise), _updated(mean, variance, value, noise))


def _updated(mean: float, variance: float, value: float, noise: float) -> tuple[float, float]:
    gain = variance / (variance + noise)
    return mean + gain * (value - mean), (1.0 - gain) * variance


def _mixed(p: float, one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    mean = p * one[0] + (1.0 - p) * other[0]
    return mean, p * (one[1] + (one[0] - mean) ** 2) + (1.0 - p) * (other[1] + (other[0] - mean) ** 2)


def _density(off: float, variance: float) -> float:
    return float(np.exp(-0.5 * off**2 / variance) / np.sqrt(variance))
