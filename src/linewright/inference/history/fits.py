"""Explanations fitted to the tests: modes, covariances and evidence, many at once by Gauss-Newton."""

from __future__ import annotations

from collections.abc import Sequence
from math import lgamma

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Beside, Elsewhere
from linewright.inference.bench.design import JOINT_HZ
from linewright.inference.history import model
from linewright.inference.history.meters import common_doubt
from linewright.inference.history.model import Explanation, PieceClaim, PieceTest, Start, Term
from linewright.inference.history.sessions import MeterState, meter_states

G, H, K, J0, J1 = range(5)
ROUNDS = 4
REACH = 3.0
LEAST_DB = 1e-2
SAME_BAND = 0.03
AT_ONCE = 200
"""So many explanations are fitted at a time: what they need then stays near the processor."""
FAR_LOG = 0.7
"""A test that differs so much on a band (ln) is not held against another piece at all."""


@dataclass(frozen=True, slots=True, eq=False)
class HistoryProblem:
    """Everything the explanations share.

    Unknowns are g, h, k, j0, j1, δ per band, the walk per test and on the day, the rate and the step. ``y`` are the
    tests' ln losses one after the other, ``test`` and ``band`` say where each belongs. ``strange`` is the log density
    of each test if it is of another piece, without the factor of pi that all tests share; ``again`` is that of a
    test if it is of the same piece as the first of its day, whatever piece that is.
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
    strange: Floats
    again: Floats

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return 5 + len(self.bands_hz) + len(self.tests) + 1 + 2

    @property
    def walks(self) -> slice:
        """Where the walk stands: a value per test, and one on the day."""
        first = 5 + len(self.bands_hz)
        return slice(first, first + len(self.tests) + 1)

    def days(self) -> list[tuple[int, ...]]:
        """Return the tests of each day that has several, where there are other days too."""
        found = [tuple(np.flatnonzero(self.years[:-1] == day).tolist()) for day in np.unique(self.years[:-1])]
        return [day for day in found if 1 < len(day) < len(self.tests)]

    def log_strange(self, other: tuple[int, ...]) -> float:
        """Return the log density of tests if they are of other pieces, those of one day of the same."""
        first = {float(self.years[i]): i for i in reversed(other)}
        return float(sum(self.strange[i] if first[float(self.years[i])] == i else self.again[i] for i in other))


def problem_of(claim: PieceClaim, tests: Sequence[PieceTest], year: float, starts: Sequence[Start]) -> HistoryProblem:
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
    y, lost = np.concatenate([t.log_loss for t in tests]), (lengths * conductor, lengths * dielectric)
    plugs_db = plugs * np.sqrt(f / 1e6)
    return HistoryProblem(
        claim, tuple(tests), tuple(starts), bands, days, y, test, band, _noise(tests, test, band, len(bands)), *lost,
        plugs_db, np.sqrt(f / JOINT_HZ), model.WALK**2 * np.minimum.outer(since, since),
        meter_states(tests, test, band, bands), _strange(tests, test, y, np.log(sum(lost) + plugs_db)), _again(tests),
    )  # fmt: skip


def _bands(tests: Sequence[PieceTest]) -> Floats:
    """Return the bands of all tests: frequencies within three per cent are one band."""
    found: list[float] = []
    for f in sorted(float(x) for t in tests for x in t.frequencies_hz):
        if not found or f / found[-1] - 1.0 > SAME_BAND:
            found.append(f)
    return np.array(found)


def _noise(tests: Sequence[PieceTest], test: np.ndarray, band: np.ndarray, bands: int) -> Floats:
    """Return the covariance of all tests' errors: what their meters read, each its own, and a part shared by source.

    What is not known of a meter is alike in all its sessions. Of the rest tests of one source share a part.
    """
    n = len(test)
    out = np.zeros((n, n))
    sd = np.zeros(n)
    for i, t in enumerate(tests):
        mine = np.flatnonzero(test == i)
        own = t.covariance if t.doubt is None else t.covariance - t.doubt.of_loss
        sd[mine] = np.sqrt(np.maximum(np.diag(own), 0.0))
        out[np.ix_(mine, mine)] += (1.0 - model.SHARED) * own + model.REMADE**2
        out[mine, mine] += model.UNEVEN * np.diag(t.covariance)
    alike = np.where(np.eye(bands, dtype=bool), 1.0, model.SHARED_BANDS)[np.ix_(band, band)]
    source = np.array([t.source for t in tests])[test]
    together = (source[:, None] == source[None, :]) * alike
    out += model.SHARED * np.outer(sd, sd) * together
    out += common_doubt([(t.year, t.doubt, len(t.frequencies_hz)) for t in tests])
    out += 1e-6 * np.eye(n)
    return out


@dataclass(frozen=True, slots=True, eq=False)
class ExplanationFits:
    """Explanations with the mode of the unknowns and the log of prior times evidence of each.

    ``near`` is where each was last held against the tests; its covariance belongs to that (``covariances``).
    """

    explanations: list[Explanation]
    mode: Floats
    near: Floats
    score: Floats
    residual: Floats


def fit(problem: HistoryProblem, explanations: Sequence[Explanation]) -> ExplanationFits:
    """Fit explanations to the tests."""
    return joined([_fit(problem, explanations[k : k + AT_ONCE]) for k in range(0, len(explanations), AT_ONCE)])


def joined(some: Sequence[ExplanationFits]) -> ExplanationFits:
    """Return fits of several lots of explanations as one."""
    parts = zip(*((f.mode, f.near, f.score, f.residual) for f in some), strict=True)
    return ExplanationFits([e for f in some for e in f.explanations], *(np.concatenate(p) for p in parts))


def _fit(problem: HistoryProblem, explanations: Sequence[Explanation]) -> ExplanationFits:
    asked = _Asked.of(problem, explanations)
    x = asked.mean
    for _ in range(ROUNDS):
        near = x
        shown, slope, passed, spread = asked.held(near)
        off = asked.y - shown + np.einsum("cno,co->cn", slope, near - asked.mean)
        pull = np.linalg.solve(spread, off[:, :, None])[:, :, 0]
        x = near + (asked.mean + np.einsum("cno,cn->co", passed, pull) - near).clip(-REACH, REACH)
    score = -0.5 * (np.einsum("cn,cn->c", off, pull) + np.linalg.slogdet(spread)[1])
    score = score + np.array([
        e.log_weight + problem.starts[e.start].log_weight + problem.meters[e.meters].log_weight for e in explanations
    ])  # fmt: skip
    score = score + np.array([problem.log_strange(e.other) if e.other else 0.0 for e in explanations])
    return ExplanationFits(list(explanations), x, near, score, off / np.sqrt(np.einsum("cnn->cn", spread)))


def covariances(problem: HistoryProblem, fits: ExplanationFits, which: np.ndarray) -> Floats:
    """Return the covariances of the unknowns under some of the explanations, (len(which), size, size)."""
    asked = _Asked.of(problem, [fits.explanations[k] for k in which])
    _, _, passed, spread = asked.held(fits.near[which])
    prior = np.zeros((len(which), problem.size, problem.size))
    at, w = np.arange(problem.size), problem.walks
    prior[:, at, at] = asked.variance
    prior[:, w, w] = problem.walk
    return np.asarray(prior - passed.transpose(0, 2, 1) @ np.linalg.solve(spread, passed))


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """Explanations as arrays: what each expects beforehand, how it moves and reads the tests, and how far each errs."""

    problem: HistoryProblem
    mean: Floats
    variance: Floats
    loads: Floats
    kept: Floats
    noise: Floats
    theirs: np.ndarray
    y: Floats

    @classmethod
    def of(cls, problem: HistoryProblem, explanations: Sequence[Explanation]) -> _Asked:
        of_test = np.zeros((len(explanations), len(problem.tests)), dtype=bool)
        for c, e in enumerate(explanations):
            of_test[c, e.other] = True
        theirs = of_test[:, problem.test]
        high = np.array([m.mean for m in problem.meters])[[e.meters for e in explanations]]
        return cls(
            problem, *_prior(problem, explanations), loads_of(problem, explanations),
            kept_joints(problem, explanations), _noises(problem, explanations, theirs), theirs, problem.y - high,
        )  # fmt: skip

    def held(self, x: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return what the tests should tell at ``x``, its slopes, the same times the prior's spread, and the spread."""
        shown, slope = _expected(self.problem, x, self.loads, self.kept)
        shown = np.where(self.theirs, self.y, shown)
        slope[self.theirs] = 0.0
        passed = slope * self.variance[:, None, :]
        w = self.problem.walks
        # A test's loss moves with the walk of its own day alone, as with the line.
        passed[:, :, w] = slope[:, :, [G]] * self.problem.walk[self.problem.test]
        return shown, slope, passed, passed @ slope.transpose(0, 2, 1) + self.noise


def _strange(tests: Sequence[PieceTest], test: np.ndarray, y: Floats, claimed: Floats) -> Floats:
    """Return the log density of each test if it is of another piece; ``claimed`` is ln loss as the tag has it."""
    out = []
    for i, t in enumerate(tests):
        mine = np.flatnonzero(test == i)
        spread = t.covariance + model.REMADE**2 + model.OTHER_LOG**2
        off = y[mine] - claimed[mine]
        each = [
            np.log(weight) + _student(off, spread + band**2 * np.eye(len(mine)), model.OTHER_FREEDOM)
            for band, weight in model.OTHER_BANDS
        ]
        exchanged = _exchanged(tests, i, claimed[mine])
        if exchanged:
            p = model.EXCHANGED_P
            each = [v + np.log(1.0 - p) for v in each] + [v + np.log(p / len(exchanged)) for v in exchanged]
        out.append(float(np.logaddexp.reduce(each)))
    return np.array(out)


def _again(tests: Sequence[PieceTest]) -> Floats:
    """Return the log density of each test if it is of the same piece as the first of its day, whatever that is.

    Between the bands of that one ln loss is taken as straight in ln f, beyond them as the square root of f.
    """
    out = []
    for t in tests:
        first = next(u for u in tests if u.year == t.year)
        at, known = np.log(t.frequencies_hz), np.log(first.frequencies_hz)
        weight = np.array([np.interp(at, known, unit) for unit in np.eye(len(known))]).T
        beyond = np.minimum(at - known[0], 0.0) + np.maximum(at - known[-1], 0.0)
        off = t.log_loss - weight @ first.log_loss - 0.5 * beyond
        spread = weight @ first.covariance @ weight.T + t.covariance + model.REMADE**2
        spread = spread + np.diag(model.BETWEEN_LOG**2 + (model.BEYOND * beyond) ** 2)
        out.append(-0.5 * float(off @ np.linalg.solve(spread, off) + np.linalg.slogdet(spread)[1]))
    return np.array(out)


def _exchanged(tests: Sequence[PieceTest], i: int, claimed: Floats) -> list[float]:
    """Return the log density of a test if it is of another piece of its session: one for each other test of those.

    On a band that the other was not read on, it may lose anything that a piece of another type may. Who has another's
    tag is read under another's: where one of those reads as this piece does on other days, that counts as well.
    """
    test = tests[i]
    here = {b.tag for b in test.beside}
    under_another = _under_another(tests, i)
    found = []
    for k, other in enumerate(tests):
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
            found.append(under_another + _normal(test.log_loss - mean, spread))
    return found


def _under_another(tests: Sequence[PieceTest], i: int) -> float:
    """Return the log of how much likelier it is that a piece was read under another's tag in a session than not.

    What was read under each other tag is held against what this piece lost on its other days, one as likely as another,
    and against what that one lost on its own, or, as seldom as tags are wrong, any other. The piece may also be under
    none of them, so that nothing here speaks against it.
    """
    year = tests[i].year
    mine = [(t.frequencies_hz, t.log_loss, t.covariance) for t in tests if t.year != year]
    heard: list[PieceTest | Elsewhere] = [*tests, *tests[i].elsewhere]
    others: dict[str, list[Known]] = {}
    for o in (o for t in heard if t.year != year for o in t.beside):
        others.setdefault(o.tag, []).append((o.frequencies_hz, o.log_loss, o.covariance))
    ratios = []
    for b in (b for b in tests[i].beside if b.tag in others):
        if any(_reads_as(b, one) for one in others[b.tag]) or not any(_reads_as(b, one, FAR_LOG) for one in mine):
            continue
        as_mine, as_own = (_all_same(b, some) for some in (mine, others[b.tag]))
        if as_mine and as_own:
            any_other = [v for tag, some in others.items() if tag != b.tag for v in _all_same(b, some)]
            as_others = max([*as_own, *(v + float(np.log(model.OTHER_P)) for v in any_other)])
            ratios.append(float(np.logaddexp.reduce(as_mine) - np.log(len(as_mine)) - as_others))
    if not ratios:
        return 0.0
    return max(0.0, float(np.logaddexp(np.log(0.5), np.log(0.5 / len(ratios)) + np.logaddexp.reduce(ratios))))


Known = tuple[Floats, Floats, Floats]
"""Frequencies, and mean and covariance of ln loss there."""
AS_EVER_LOG = 0.1
"""Within so much of another day of its own (ln) a piece reads as ever: its tag is not in doubt."""


def _reads_as(b: Beside, one: Known, within: float = AS_EVER_LOG) -> bool:
    """Return whether what a session says of a piece lies so near to a loss on the bands of that, at a glance."""
    there = (b.frequencies_hz > one[0][0] / (1 + SAME_BAND)) & (b.frequencies_hz < one[0][-1] * (1 + SAME_BAND))
    off = np.abs(np.interp(np.log(b.frequencies_hz), np.log(one[0]), one[1]) - b.log_loss)
    return bool(off[there].max(initial=0.0) < within)


def _all_same(b: Beside, some: Sequence[Known]) -> list[float]:
    return [v for one in some if (v := _same(b, one)) is not None]


def _same(b: Beside, one: Known) -> float | None:
    """Return the log density of what a session says of a piece if it is one whose loss is known, or has stepped."""
    apart = np.abs(np.log(b.frequencies_hz[:, None] / one[0][None]))
    both = np.flatnonzero(apart.min(axis=1) < SAME_BAND)
    if not len(both):
        return None
    at = apart[both].argmin(axis=1)
    off = b.log_loss[both] - one[1][at]
    spread = b.covariance[np.ix_(both, both)] + one[2][np.ix_(at, at)] + 2.0 * model.REMADE**2
    spread = spread + model.EXCHANGED_LOG**2 * np.eye(len(both))
    size = model.STEPS["line"][0]
    stepped = size[0] ** 2 + size[1] ** 2 + model.OTHER_BANDS[1][0] ** 2 * np.eye(len(both))
    p = model.OTHER_STEPS_P
    return float(np.logaddexp(np.log(1.0 - p) + _normal(off, spread), np.log(p) + _normal(off, spread + stepped)))


def _normal(off: Floats, spread: Floats) -> float:
    """Return the log density of a normal distribution times (2 pi)^(n/2)."""
    return -0.5 * float(off @ np.linalg.solve(spread, off) + np.linalg.slogdet(spread)[1])


def _student(off: Floats, spread: Floats, freedom: float) -> float:
    """Return the log density of Student's distribution times (2 pi)^(n/2)."""
    n = len(off)
    square = float(off @ np.linalg.solve(spread, off))
    return float(
        lgamma((freedom + n) / 2) - lgamma(freedom / 2) + 0.5 * n * np.log(2.0 / freedom)
        - 0.5 * np.linalg.slogdet(spread)[1] - 0.5 * (freedom + n) * np.log1p(square / freedom)
    )  # fmt: skip


def _prior(problem: HistoryProblem, explanations: Sequence[Explanation]) -> tuple[Floats, Floats]:
    """Return means and variances of the unknowns under each explanation, and the walk's variances apart."""
    priors = problem.claim.priors
    mean = np.zeros((len(explanations), problem.size))
    spread = np.zeros_like(mean)
    where, start = [G, H, J0, J1], [e.start for e in explanations]
    mean[:, where] = np.array([s.mean for s in problem.starts])[start]
    spread[:, where] = np.array([s.spread for s in problem.starts])[start]
    spread[:, K] = priors.connector_spread
    spread[:, 5 : 5 + len(problem.bands_hz)] = priors.departure
    mean[:, -2:] = [(e.rate[0], e.step[0]) for e in explanations]
    spread[:, -2:] = [(e.rate[1], e.step[1]) for e in explanations]
    return mean, spread**2


def loads_of(problem: HistoryProblem, explanations: Sequence[Explanation]) -> Floats:
    """Return how far rate and step move g, h and j0 in each test, and on the day: (c, tests + 1, 3, 2)."""
    years, each = problem.years, np.arange(len(explanations))
    terms: dict[Term, int] = {"line": 0, "dielectric": 1, "joint": 2, "repair": 0}
    after = np.array([e.step_after for e in explanations])
    begun = 0.5 * (years[after] + years[after + 1])
    out = np.zeros((len(explanations), len(years), 3, 2))
    creeps = np.where(after[:, None] >= 0, np.maximum(years - begun[:, None], 0.0), years - years[0])
    out[each, :, [terms[e.rate_of] for e in explanations], 0] = creeps
    stepped = (after[:, None] >= 0) & (np.arange(len(years)) > after[:, None])
    out[each, :, [terms[e.step_of] for e in explanations], 1] = stepped
    return out


def kept_joints(problem: HistoryProblem, explanations: Sequence[Explanation]) -> Floats:
    """Return 1 where the joints of the first test are still there, 0 once they were made anew: (c, tests + 1)."""
    out = np.ones((len(explanations), len(problem.tests) + 1))
    for c, e in enumerate(explanations):
        if e.step_of == "repair" and e.step_after >= 0:
            out[c, e.step_after + 1 :] = 0.0
    return out


def _noises(problem: HistoryProblem, explanations: Sequence[Explanation], theirs: np.ndarray) -> Floats:
    """Return how far the tests err under each explanation; those of another piece, ``theirs``, tell nothing."""
    out = (problem.noise + np.array([m.covariance for m in problem.meters]))[[e.meters for e in explanations]]
    mine = (problem.test == i for i in range(len(problem.tests)))
    blocks = [np.outer(m, m) for m in mine]
    rough = [b * (model.ROUGH_LOG**2 + (0.5 * model.ROUGH_LOG) ** 2 * np.eye(len(b))) for b in blocks]
    for c, e in enumerate(explanations):
        if e.blank:
            out[c, e.blank, e.blank] += model.BLANK_LOG**2
        for i in e.rough:
            out[c] += rough[i]
    out = np.where(theirs[:, :, None] | theirs[:, None, :], 0.0, out)
    at = np.arange(len(problem.y))
    out[:, at, at] += theirs
    return out


def moved(problem: HistoryProblem, x: Floats, loads: Floats, kept: Floats) -> Floats:
    """Return g, h and j0 in every test and on the day, (c, tests + 1, 3), for unknowns ``x``, (c, size)."""
    out = np.einsum("ctkr,cr->ctk", loads, x[:, -2:])
    out[:, :, 0] += x[:, [G]] + x[:, problem.walks]
    out[:, :, 1] += x[:, [H]]
    out[:, :, 2] += x[:, [J0]] * kept
    return np.asarray(out)


def _expected(problem: HistoryProblem, x: Floats, loads: Floats, kept: Floats) -> tuple[Floats, Floats]:
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
