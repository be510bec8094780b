"""What the readings of a bench to practise on hold: the odds of every answer, and which reading would tell most.

This is the ideal player. It knows how such benches are made (``practice_bench``) and nothing of what was drawn. Levels
in decibels are sums of Gaussians: gain, drift, repeatability, mismatch, ageing, steps of the scale. Each fault adds a
shape over the readings times a size, so that a bench with given faults is a linear model of known evidence
(C. M. Bishop, Pattern Recognition and Machine Learning, 3.3 and 3.5, from memory). A range of sizes counts by its mean
and variance. The engine that judges real benches has no part in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from math import log, prod, sqrt

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.formulas.faults import series_resistance_db
from linewright.core.frozen import dataclass
from linewright.core.nouns.bench import Piece, Reading
from linewright.core.nouns.practice import PAD, BestReading, FaultKind, Odds, PracticeBench, PracticeReading
from linewright.link.practice_bench import (
    AGED_SD,
    CUT_SD,
    DRIFT_DB,
    EXPONENT_SD,
    GAIN_SD_DB,
    HOW_MANY,
    KINDS,
    LOOKS_LIKE,
    MOST_READINGS,
    NOISE_DB,
    PAD_SD_DB,
    SIZES,
    WET_AT_HZ,
    jumper_db,
    law_db_per_m,
    should_lose_db,
    shown_db,
)

ENOUGH = 0.8
"""The readings hold enough where one answer has such odds; "cannot tell" is right where none has."""
MISMATCH_SD_DB = 0.04
"""What two reflections do to a reading, and to the same reading again alike."""
DARK_SD_DB = 3.0
"""How little a needle on its stop says."""
TYPE_SD = 0.05
"""Another type is one type: the size of that fault is nearly known."""
WORTH = 1e-3
"""Answers with less of the odds are not looked into for the next reading."""
NODES, WEIGHTS = (np.array([-sqrt(3.0), 0.0, sqrt(3.0)]), np.array([1.0, 4.0, 1.0]) / 6.0)
"""Gauss-Hermite quadrature of three points."""


@dataclass(frozen=True, slots=True)
class _Place:
    """A reading taken or to be taken: where, when, and the fineness of the scale there, dB."""

    wanted: PracticeReading
    number: int
    step_db: float
    dark: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class _Shape:
    """A fault that may be there: what it adds to every place for a size of 1, and how its size is spread."""

    kind: FaultKind
    of: str
    shape: Floats
    mean: float
    sd: float
    p: float


def _clean_db(bench: PracticeBench, path: str, frequency_hz: float) -> float:
    if path == "reference":
        return jumper_db(frequency_hz)
    return bench.sheet.attenuators[0].loss_db if path == PAD else should_lose_db(bench.sheet.piece(path), frequency_hz)


def _covariance(bench: PracticeBench, places: Sequence[_Place], losses: Floats) -> Floats:
    """Return the covariance of the levels of all places on a bench with nothing wrong, dB²."""
    meters, paths = (np.array([getattr(p.wanted, name) for p in places]) for name in ("meter", "path"))
    bands = np.array([p.wanted.frequency_hz for p in places])
    drums = np.array([_drum(bench, path) for path in paths])
    numbers = np.array([p.number for p in places], dtype=np.float64)

    def alike(of: np.ndarray) -> Floats:
        return np.asarray(of[:, None] == of[None, :], dtype=np.float64)

    block = alike(meters) * alike(bands)
    both = np.outer(losses, losses)
    ages = both * np.outer(drums != "", drums != "")
    own = np.array([NOISE_DB**2 + p.step_db**2 / 12.0 + (DARK_SD_DB**2 if p.dark else 0.0) for p in places])
    return np.asarray(
        GAIN_SD_DB**2 * block
        + (EXPONENT_SD**2) * both * alike(meters)
        + MISMATCH_SD_DB**2 * block * alike(paths)
        + DRIFT_DB**2 * np.minimum.outer(numbers, numbers)
        + ages * (AGED_SD**2 * alike(drums) + CUT_SD**2 * alike(paths))
        + PAD_SD_DB**2 * np.outer(paths == PAD, paths == PAD)
        + np.diag(own)
    )


def _drum(bench: PracticeBench, path: str) -> str:
    return "" if path in ("reference", PAD) else bench.sheet.piece(path).stock_name


def _shapes(bench: PracticeBench, places: Sequence[_Place], losses: Floats) -> Iterator[_Shape]:
    """Yield every fault that this level may have, by kind."""
    for kinds in KINDS[bench.level]:
        for kind in kinds:
            found = list(_of_kind(bench, places, losses, kind))
            for of, shape, (mean, sd), share in found:
                yield _Shape(kind, of, shape, mean, sd, share / len(kinds))


def _spread(low: float, high: float) -> tuple[float, float]:
    """Return mean and standard deviation of an even spread."""
    return 0.5 * (low + high), (high - low) / sqrt(12.0)


Shaped = tuple[str, Floats, tuple[float, float], float]
"""Of what a fault may be, its shape, mean and spread of its size, and its share of its kind."""


def _of_kind(bench: PracticeBench, places: Sequence[_Place], losses: Floats, kind: FaultKind) -> Iterator[Shaped]:
    paths = np.array([p.wanted.path for p in places])
    bands = np.array([p.wanted.frequency_hz for p in places])
    ranges = SIZES[kind]
    if kind == "misread":
        for row in range(1, bench.given + 1):
            here = np.array([1.0 if p.number == row else 0.0 for p in places])
            yield from ((str(row), here, _spread(*r), 1.0 / bench.given / len(ranges)) for r in ranges)
    elif kind == "detector":
        for meter in bench.sheet.meters:
            here = np.array([p.wanted.meter == meter.name for p in places])
            low, high = ranges[0]
            yield meter.name, -losses * here, _spread(low - 1.0, high - 1.0), 1.0 / len(bench.sheet.meters)
    elif kind == "other type":
        yield from _other_types(bench, paths, bands)
    else:
        for piece in bench.sheet.pieces:
            here = np.asarray(paths == piece.tag, dtype=np.float64)
            for shape, size in _of_piece(piece, bands, kind):
                yield piece.tag, -shape * here, size, 1.0 / len(bench.sheet.pieces) / len(ranges)


def _of_piece(piece: Piece, bands: Floats, kind: FaultKind) -> Iterator[tuple[Floats, tuple[float, float]]]:
    """Yield what a fault of one piece adds to its loss at each frequency for a size of 1, and its sizes."""
    for low, high in SIZES[kind]:
        if kind == "water":
            yield piece.length_m * _law_db(piece, WET_AT_HZ) * bands / WET_AT_HZ, _spread(low, high)
        elif kind == "resistive joint":
            yield np.ones(len(bands)), _spread(float(series_resistance_db(low)), float(series_resistance_db(high)))
        else:
            yield np.array([piece.length_m * _law_db(piece, f) for f in bands]), _spread(low - 1.0, high - 1.0)


def _other_types(bench: PracticeBench, paths: np.ndarray, bands: Floats) -> Iterator[Shaped]:
    drums: dict[str, list[Piece]] = {}
    for piece in bench.sheet.pieces:
        drums.setdefault(piece.stock_name, []).append(piece)
    for pieces in drums.values():
        shape = np.zeros(len(bands))
        for piece in pieces:
            assert piece.line is not None
            other = LOOKS_LIKE[piece.line.designator]
            more = [piece.length_m * (law_db_per_m(other, float(f)) - _law_db(piece, f)) for f in bands]
            shape -= np.array(more) * (paths == piece.tag)
        yield pieces[0].tag, shape, (1.0, TYPE_SD), len(pieces) / len(bench.sheet.pieces)


def _law_db(piece: Piece, frequency_hz: float) -> float:
    assert piece.line is not None
    return law_db_per_m(piece.line.designator, float(frequency_hz))


Answer = tuple[tuple[FaultKind, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Hypothesis:
    """Faults that may occur together: the claims about them, log weight, and mean and variance of each candidate."""

    answer: Answer
    log_weight: float
    middle_db: Floats
    variance: Floats


def _hypotheses(bench: PracticeBench, places: Sequence[_Place], level_db: Floats) -> list[_Hypothesis]:
    """Weigh every set of faults by the readings; places beyond the readings are candidates to be predicted."""
    n = len(level_db)
    losses = np.array([_clean_db(bench, p.wanted.path, p.wanted.frequency_hz) for p in places])
    whole = _covariance(bench, places, losses)
    lower = np.linalg.cholesky(whole[:n, :n])
    off = np.linalg.solve(lower, level_db + losses[:n])
    reach = np.linalg.solve(lower, whole[:n, n:])
    rest = np.diag(whole)[n:] - (reach**2).sum(axis=0)
    shapes = list(_shapes(bench, places, losses))
    seen = [np.linalg.solve(lower, s.shape[:n]) for s in shapes]
    found = []
    for faults, p in _sets(bench.level, shapes):
        a = np.array([seen[i] for i in faults]).reshape(len(faults), n).T
        ahead = np.array([shapes[i].shape[n:] for i in faults]).reshape(len(faults), len(places) - n)
        mean = np.array([shapes[i].mean for i in faults])
        sd = np.array([shapes[i].sd for i in faults])
        left = off - a @ mean
        inner = np.eye(len(faults)) + (a * sd).T @ (a * sd)
        pull = np.linalg.solve(inner, (a * sd).T @ left)
        evidence = -0.5 * (left @ left - ((a * sd).T @ left) @ pull) - 0.5 * float(np.linalg.slogdet(inner)[1])
        new = ahead - a.T @ reach
        size = mean + sd * pull
        spread = sd[:, None] * np.linalg.solve(inner, sd[:, None] * new)
        answer = tuple(sorted((shapes[i].kind, shapes[i].of) for i in faults))
        found.append(
            _Hypothesis(
                answer, log(p) + float(evidence), -losses[n:] + reach.T @ off + size @ new,
                rest + (new * spread).sum(axis=0),
            )
        )  # fmt: skip
    return found


def _sets(level: int, shapes: Sequence[_Shape]) -> Iterator[tuple[tuple[int, ...], float]]:
    """Yield the sets of faults a level may have, with their shares: of each group of kinds one at most."""
    groups = [[i for i, s in enumerate(shapes) if s.kind in kinds] for kinds in KINDS[level]]
    for count, share in enumerate(HOW_MANY[level]):
        ways = list(combinations(groups, count))
        for some in ways if share > 0.0 else ():
            for faults in _each(some):
                yield faults, share / len(ways) * prod(shapes[i].p for i in faults)


def _each(groups: Sequence[Sequence[int]]) -> Iterator[tuple[int, ...]]:
    if not groups:
        yield ()
        return
    for first in groups[0]:
        for rest in _each(groups[1:]):
            yield (first, *rest)


def _weights(found: Sequence[_Hypothesis]) -> Floats:
    logs = np.array([h.log_weight for h in found])
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def odds_and_best(bench: PracticeBench) -> tuple[tuple[Odds, ...], BestReading | None]:
    """Return the odds of every answer, the likeliest first, and the reading that would make them clearest.

    The gain of a reading is by how much it is expected to lower the entropy of the answers, in nats (Cover and Thomas,
    Elements of Information Theory, 2nd ed., section 2.4); every hypothesis predicts a Gaussian, taken at three points.
    """
    sheet = bench.sheet
    read = [
        _Place(_wanted(r), r.row, _step_db(bench, r.meter, shown_db(bench, r)), r.reading <= 0.0)
        for r in sheet.readings
    ]
    levels = np.array([shown_db(bench, r) for r in sheet.readings])
    ahead = list(_candidates(bench)) if len(read) < MOST_READINGS else []
    found = _hypotheses(bench, [*read, *ahead], levels)
    weights = _weights(found)
    told: dict[Answer, float] = {}
    for h, w in zip(found, weights, strict=True):
        told[h.answer] = told.get(h.answer, 0.0) + float(w)
    odds = tuple(Odds(a, p) for a, p in sorted(told.items(), key=lambda item: (-item[1], item[0])))
    return odds, _best(found, weights, ahead)


def _wanted(reading: Reading) -> PracticeReading:
    return PracticeReading(reading.meter, reading.frequency_hz, reading.path[0] if reading.path else "reference")


def _step_db(bench: PracticeBench, meter: str, level_db: float) -> float:
    """Return how much of a decibel one step of the scale is at a level."""
    dial = bench.sheet.meter(meter)
    power_w = (bench.sheet.source.power_w or 1.0) * 10.0 ** (level_db / 10.0)
    if dial.scale == "card":
        return float(20.0 / np.log(10.0) * (dial.division or 1.0) / max(100.0 * sqrt(power_w / dial.card[-1][1]), 1.0))
    return float(10.0 / np.log(10.0) * (dial.division or 0.1) / max(power_w, dial.division or 0.1))


def _candidates(bench: PracticeBench) -> Iterator[_Place]:
    """Yield every reading that could come next, save where a good piece would leave the needle on its stop."""
    number = len(bench.sheet.readings) + 1
    for meter, bands in bench.bands.items():
        for f in bands:
            for path in bench.paths:
                loss_db = _clean_db(bench, path, f)
                step_db = _step_db(bench, meter, -loss_db)
                if step_db < DARK_SD_DB:
                    yield _Place(PracticeReading(meter, f, path), number, step_db)


def _best(found: Sequence[_Hypothesis], weights: Floats, ahead: Sequence[_Place]) -> BestReading | None:
    kept = [i for i, w in enumerate(weights) if w > WORTH]
    if not ahead or len(kept) < 2:
        return None
    share = weights[kept] / weights[kept].sum()
    answers = sorted({found[i].answer for i in kept})
    belongs = np.array([[found[i].answer == a for i in kept] for a in answers], dtype=np.float64)
    middle = np.array([found[i].middle_db for i in kept])
    sd = np.sqrt(np.array([found[i].variance for i in kept]))
    before = _entropy(belongs @ share)
    after = np.zeros(len(ahead))
    for i, w in enumerate(share):
        for node, part in zip(NODES, WEIGHTS, strict=True):
            z = middle[i] + node * sd[i]
            fit = np.exp(-0.5 * ((z - middle) / sd) ** 2) / sd * share[:, None]
            after += w * part * _entropy(belongs @ (fit / fit.sum(axis=0)))
    gains = float(before) - after
    at = int(np.argmax(gains))
    if gains[at] < WORTH:
        return None
    wanted = ahead[at].wanted
    return BestReading(wanted.meter, wanted.frequency_hz, wanted.path, float(gains[at]))


def _entropy(shares: Floats) -> Floats:
    return np.asarray(-(shares * np.log(np.maximum(shares, 1e-300))).sum(axis=0))
