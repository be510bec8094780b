"""Explanations fitted to the tests: modes, covariances and evidence, many at once by Gauss-Newton."""

from __future__ import annotations

from collections.abc import Sequence
from math import lgamma

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.inference.bench.design import JOINT_HZ
from linewright.inference.history import model
from linewright.inference.history.model import Explanation, PieceClaim, PieceTest, Start
from linewright.inference.history.sessions import MeterState, meter_states

G, H, K, J0, J1 = range(5)
ROUNDS = 4
REACH = 3.0
LEAST_DB = 1e-2
SAME_BAND = 0.03
FAR_LOG = 0.7
"""A test that differs so much on a band (ln) is not held against another piece at all."""


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Everything the explanations share.

    Unknowns are g, h, k, j0, j1, δ per band, the walk per test and on the day, the rate and the step. ``y`` are the
    tests' ln losses one after the other, ``test`` and ``band`` say where each belongs.
    """

    claim: PieceClaim
    tests: tuple[PieceTest, ...]
    starts: tuple[Start, ...]
    bands_hz: Floats
    years: Floats
    y: Floats
    test: np.ndarray
    band: np.ndarray
    noise: Floats
    conductor_db: Floats
    dielectric_db: Floats
    plugs_db: Floats
    root: Floats
    walk: Floats
    meters: tuple[MeterState, ...]

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return 5 + len(self.bands_hz) + len(self.tests) + 1 + 2

    @property
    def walks(self) -> slice:
        """Where the walk stands: a value per test, and one on the day."""
        first = 5 + len(self.bands_hz)
        return slice(first, first + len(self.tests) + 1)


def problem_of(claim: PieceClaim, tests: Sequence[PieceTest], year: float, starts: Sequence[Start]) -> Problem:
    """Set up what is known of a piece for a day, ``year``, not before the last test."""
    bands = _bands(tests)
    f = np.concatenate([t.frequencies_hz for t in tests])
    test = np.repeat(np.arange(len(tests)), [len(t.frequencies_hz) for t in tests])
    band = np.abs(np.log(f[:, None] / bands[None])).argmin(axis=1)
    conductor, dielectric = claim.law.parts_db_per_m(f)
    lengths = np.array([t.length_m for t in tests])[test]
    plugs = np.array([t.connectors for t in tests])[test] * claim.priors.connector_db_per_sqrt_mhz
    days = np.array([*(t.year for t in tests), max(year, tests[-1].year)])
    since = days - days[0]
    return Problem(
        claim, tuple(tests), tuple(starts), bands, days, np.concatenate([t.log_loss for t in tests]), test, band,
        _noise(tests, test, band, len(bands)), lengths * conductor, lengths * dielectric,
        plugs * np.sqrt(f / 1e6), np.sqrt(f / JOINT_HZ), model.WALK**2 * np.minimum.outer(since, since),
        meter_states(tests, test, band, bands),
    )  # fmt: skip


def _bands(tests: Sequence[PieceTest]) -> Floats:
    """Return the bands of all tests: frequencies within three per cent are one band."""
    found: list[float] = []
    for f in sorted(float(x) for t in tests for x in t.frequencies_hz):
        if not found or f / found[-1] - 1.0 > SAME_BAND:
            found.append(f)
    return np.array(found)


def _noise(tests: Sequence[PieceTest], test: np.ndarray, band: np.ndarray, bands: int) -> Floats:
    """Return the covariance of all tests' errors: each its own, part of it shared with tests of the same source."""
    n = len(test)
    out = np.zeros((n, n))
    sd = np.zeros(n)
    for i, t in enumerate(tests):
        mine = np.flatnonzero(test == i)
        sd[mine] = np.sqrt(np.diag(t.covariance))
        out[np.ix_(mine, mine)] += (1.0 - model.SHARED) * t.covariance + model.REMADE**2
        out[mine, mine] += model.UNEVEN * sd[mine] ** 2
    alike = np.where(np.eye(bands, dtype=bool), 1.0, model.SHARED_BANDS)[np.ix_(band, band)]
    source = np.array([t.source for t in tests])[test]
    together = (source[:, None] == source[None, :]) * alike
    out += model.SHARED * np.outer(sd, sd) * together
    out += 1e-6 * np.eye(n)
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Fits:
    """Explanations with the mode and covariance of the unknowns and the log of prior times evidence of each."""

    explanations: list[Explanation]
    mode: Floats
    covariance: Floats
    score: Floats
    residual: Floats


def fit(problem: Problem, explanations: Sequence[Explanation]) -> Fits:
    """Fit explanations to the tests."""
    mean, variance = _prior(problem, explanations)
    loads = loads_of(problem, explanations)
    noise = _noises(problem, explanations)
    theirs = np.zeros((len(explanations), len(problem.y)), dtype=bool)
    for c, e in enumerate(explanations):
        for i in e.other:
            theirs[c, problem.test == i] = True
    kept = kept_joints(problem, explanations)
    y = problem.y - np.array([problem.meters[e.meters].mean for e in explanations])
    x = mean.copy()
    for _ in range(ROUNDS):
        shown, slope = _expected(problem, x, loads, kept)
        shown = np.where(theirs, y, shown)
        slope[theirs] = 0.0
        off = y - shown + np.einsum("cno,co->cn", slope, x - mean)
        passed = slope * variance[:, None, :]
        w = problem.walks
        passed[:, :, w] = slope[:, :, w] @ problem.walk
        spread = passed @ slope.transpose(0, 2, 1) + noise
        pull = np.linalg.solve(spread, off[:, :, None])[:, :, 0]
        x = x + (mean + np.einsum("cno,cn->co", passed, pull) - x).clip(-REACH, REACH)
    score = -0.5 * (np.einsum("cn,cn->c", off, pull) + np.linalg.slogdet(spread)[1])
    score = score + np.array([
        e.log_weight + problem.starts[e.start].log_weight + problem.meters[e.meters].log_weight for e in explanations
    ])  # fmt: skip
    strange = _strange(problem)
    score = score + np.array([sum(strange[i] for i in e.other) for e in explanations])
    gain = np.linalg.solve(spread, passed)
    prior = np.zeros((len(x), problem.size, problem.size))
    at = np.arange(problem.size)
    prior[:, at, at] = variance
    prior[:, w, w] = problem.walk
    covariance = prior - passed.transpose(0, 2, 1) @ gain
    wide = np.sqrt(np.einsum("cnn->cn", spread))
    return Fits(list(explanations), x, covariance, score, off / wide)


def _strange(problem: Problem) -> list[float]:
    """Return the log density of each test if it is of another piece, without the factor of pi that all tests share."""
    out = []
    claimed = np.log(problem.conductor_db + problem.dielectric_db + problem.plugs_db)
    for i, t in enumerate(problem.tests):
        mine = np.flatnonzero(problem.test == i)
        spread = t.covariance + model.REMADE**2 + model.OTHER_LOG**2
        off = problem.y[mine] - claimed[mine]
        each = [
            np.log(weight) + _student(off, spread + band**2 * np.eye(len(mine)), model.OTHER_FREEDOM)
            for band, weight in model.OTHER_BANDS
        ]
        exchanged = _exchanged(problem, i, claimed[mine])
        if exchanged:
            p = model.EXCHANGED_P
            each = [v + np.log(1.0 - p) for v in each] + [v + np.log(p / len(exchanged)) for v in exchanged]
        out.append(float(np.logaddexp.reduce(each)))
    return out


def _exchanged(problem: Problem, i: int, claimed: Floats) -> list[float]:
    """Return the log density of a test if it is of another piece of its session: one for each other test of those.

    On a band that the other was not read on, it may lose anything that a piece of another type may.
    """
    test = problem.tests[i]
    here = {b.tag for b in test.beside}
    found = []
    for k, other in enumerate(problem.tests):
        for b in other.beside if k != i else ():
            if b.tag not in here:
                continue
            apart = np.abs(np.log(test.frequencies_hz[:, None] / b.frequencies_hz[None]))
            both = np.flatnonzero(apart.min(axis=1) < SAME_BAND)
            if not len(both):
                continue
            at = apart[both].argmin(axis=1)
            if np.abs(test.log_loss[both] - b.log_loss[at]).max() > FAR_LOG:
                found.append(-np.inf)
                continue
            mean, spread = claimed.copy(), (model.OTHER_LOG**2 + model.OTHER_BANDS[1][0] ** 2) * np.eye(len(claimed))
            mean[both] = b.log_loss[at]
            near = b.covariance[np.ix_(at, at)] + model.REMADE**2 + model.EXCHANGED_LOG**2
            spread[np.ix_(both, both)] = near + model.REMADE**2 * np.eye(len(at))
            spread = spread + test.covariance
            off = test.log_loss - mean
            found.append(-0.5 * float(off @ np.linalg.solve(spread, off) + np.linalg.slogdet(spread)[1]))
    return found


def _student(off: Floats, spread: Floats, freedom: float) -> float:
    """Return the log density of Student's distribution times (2 pi)^(n/2)."""
    n = len(off)
    square = float(off @ np.linalg.solve(spread, off))
    return float(
        lgamma((freedom + n) / 2) - lgamma(freedom / 2) + 0.5 * n * np.log(2.0 / freedom)
        - 0.5 * np.linalg.slogdet(spread)[1] - 0.5 * (freedom + n) * np.log1p(square / freedom)
    )  # fmt: skip


def _prior(problem: Problem, explanations: Sequence[Explanation]) -> tuple[Floats, Floats]:
    """Return means and variances of the unknowns under each explanation; the walk's variances stand apart."""
    priors = problem.claim.priors
    mean = np.zeros((len(explanations), problem.size))
    spread = np.zeros_like(mean)
    where = [G, H, J0, J1]
    mean[:, where] = [problem.starts[e.start].mean for e in explanations]
    spread[:, where] = [problem.starts[e.start].spread for e in explanations]
    spread[:, K] = priors.connector_spread
    spread[:, 5 : 5 + len(problem.bands_hz)] = priors.departure
    mean[:, -2:] = [(e.rate[0], e.step[0]) for e in explanations]
    spread[:, -2:] = [(e.rate[1], e.step[1]) for e in explanations]
    return mean, spread**2


def loads_of(problem: Problem, explanations: Sequence[Explanation]) -> Floats:
    """Return how far rate and step move g, h and j0 in each test, and on the day: (c, tests + 1, 3, 2)."""
    tests = len(problem.tests)
    terms = ("line", "dielectric", "joint")
    out = np.zeros((len(explanations), tests + 1, 3, 2))
    since = problem.years - problem.years[0]
    for c, e in enumerate(explanations):
        begun = 0.5 * (problem.years[e.step_after] + problem.years[e.step_after + 1]) if e.step_after >= 0 else 0.0
        creeping = e.step_after >= 0
        out[c, :, terms.index(e.rate_of), 0] = np.maximum(problem.years - begun, 0.0) if creeping else since
        if creeping:
            out[c, e.step_after + 1 :, terms.index("line" if e.step_of == "repair" else e.step_of), 1] = 1.0
    return out


def kept_joints(problem: Problem, explanations: Sequence[Explanation]) -> Floats:
    """Return 1 where the joints of the first test are still there, 0 once they were made anew: (c, tests + 1)."""
    out = np.ones((len(explanations), len(problem.tests) + 1))
    for c, e in enumerate(explanations):
        if e.step_of == "repair" and e.step_after >= 0:
            out[c, e.step_after + 1 :] = 0.0
    return out


def _noises(problem: Problem, explanations: Sequence[Explanation]) -> Floats:
    out = np.repeat(problem.noise[None], len(explanations), axis=0)
    mine = [problem.test == i for i in range(len(problem.tests))]
    blocks = [np.outer(m, m) for m in mine]
    rough = [b * (model.ROUGH_LOG**2 + (0.5 * model.ROUGH_LOG) ** 2 * np.eye(len(b))) for b in blocks]
    for c, e in enumerate(explanations):
        out[c] += problem.meters[e.meters].covariance
        if e.blank:
            out[c, e.blank, e.blank] += model.BLANK_LOG**2
        for i in e.rough:
            out[c] += rough[i]
        for i in e.other:
            out[c][mine[i]] = 0.0
            out[c][:, mine[i]] = 0.0
            out[c][np.diag_indices(len(problem.y))] += mine[i]
    return out


def moved(problem: Problem, x: Floats, loads: Floats, kept: Floats) -> Floats:
    """Return g, h and j0 in every test and on the day, (c, tests + 1, 3), for unknowns ``x``, (c, size)."""
    out = np.einsum("ctkr,cr->ctk", loads, x[:, -2:])
    out[:, :, 0] += x[:, [G]] + x[:, problem.walks]
    out[:, :, 1] += x[:, [H]]
    out[:, :, 2] += x[:, [J0]] * kept
    return np.asarray(out)


def _expected(problem: Problem, x: Floats, loads: Floats, kept: Floats) -> tuple[Floats, Floats]:
    """Return what each test should tell, ln dB, (c, n), and its slopes, (c, n, size); nothing of another piece's."""
    state, kept = moved(problem, x, loads, kept)[:, problem.test], kept[:, problem.test]
    g, h, joint = state[:, :, 0].clip(-4, 4), state[:, :, 1].clip(-4, 4), state[:, :, 2]
    delta = x[:, 5 : 5 + len(problem.bands_hz)][:, problem.band]
    conductor = problem.conductor_db * np.exp(g + delta)
    dielectric = problem.dielectric_db * np.exp(g + h + delta)
    plugs = problem.plugs_db * np.exp(x[:, [K]].clip(-4, 4))
    total = conductor + dielectric + plugs + joint + x[:, [J1]] * kept * problem.root
    total = np.maximum(total, np.maximum(0.1 * (conductor + dielectric), LEAST_DB))
    line, water, one = (conductor + dielectric) / total, dielectric / total, 1.0 / total
    slope = np.zeros((*total.shape, problem.size))
    rows = np.arange(total.shape[1])
    slope[:, :, G], slope[:, :, H], slope[:, :, K] = line, water, plugs / total
    slope[:, :, J0], slope[:, :, J1] = one * kept, kept * problem.root / total
    slope[:, rows, 5 + problem.band] = line
    slope[:, rows, problem.walks.start + problem.test] = line
    by = loads[:, problem.test]
    terms = np.stack([line, water, one], axis=2)
    slope[:, :, -2:] = np.einsum("cnk,cnkr->cnr", terms, by)
    return np.log(total), slope
