"""What all tests of a piece say together: rival explanations with their weights, and the belief of a day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.inference.bench.design import JOINT_HZ, law_of
from linewright.inference.history import model
from linewright.inference.history.fits import (
    ExplanationFits,
    HistoryProblem,
    covariances,
    fit,
    joined,
    kept_joints,
    loads_of,
    moved,
    problem_of,
)
from linewright.inference.history.model import Explanation, PieceClaim, PieceTest, Term, starts_of

DRAWS = 1000
SEED = 20_261_129
KEPT_STARTS, KEPT_JOINTS, START_NATS = 4, 2, 8.0
STRAYED = 400
"""How many explanations of a long history are tried with a test of another piece."""
DOUBTED = 40
"""How many explanations are tried again with a test that is much less good than it says."""
BLANKED, BLANKS = 24, 3
"""How many explanations are tried again with a band that says nothing, and how often over."""
MOST_TESTS = 14
"""Beyond so many tests the oldest are left out: they add next to nothing to a belief of today."""
MANY = 6
"""With more tests than this, only the worst fitting ones are suspected, and only the likeliest days of a step."""
OFF_P, OFF_LOG = 0.9, 0.05
"""From this chance on a session is said to read off, by so much at least."""


@dataclass(frozen=True, slots=True)
class PieceEvent:
    """One kind of thing that may have happened to a piece: its code, its chance, and between which tests.

    ``first`` and ``last`` are numbers of tests; the rate is a share of the loss a year.
    """

    kind: str
    p: float
    first: int
    last: int
    rate_per_year: float | None = None
    rate_low: float | None = None
    rate_high: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class HistoryPosterior:
    """Explanations, their weights, and draws of the unknowns from their mixture with the explanation of each draw."""

    problem: HistoryProblem
    fits: ExplanationFits
    weight: Floats
    draws: Floats
    drawn: np.ndarray

    def log_rates(self) -> Floats:
        """Return draws of the rate of ln loss a year that goes on."""
        return np.asarray(self.draws[:, -2])


def infer(claim: PieceClaim, tests: Sequence[PieceTest], year: float) -> HistoryPosterior:
    """Return what tests say together of a piece on a day.

    Parameters
    ----------
    claim : PieceClaim
        What its tag says.
    tests : sequence of PieceTest
        At least one, oldest first.
    year : float
        The day; one before the last test counts as the day of that test.
    """
    tests = tests[-MOST_TESTS:]
    starts = starts_of(claim)
    problem = problem_of(claim, tests, year, starts)
    fits = _search(problem)
    weight = np.exp(fits.score - fits.score.max())
    weight /= weight.sum()
    draws, drawn = _draw(problem, fits, weight)
    return HistoryPosterior(problem, fits, weight, draws, drawn)


def _search(problem: HistoryProblem) -> ExplanationFits:
    """Fit every explanation that may matter: first how the piece began, then what happened, then which tests err."""
    tests, meters = range(len(problem.tests)), range(len(problem.meters))
    plain = [Explanation(k, 0.0, meters=m) for k in range(len(problem.starts)) for m in meters]
    suspects = _suspects(problem, plain)
    strays = [*((i,) for i in suspects), *(day for day in problem.days() if not set(day).isdisjoint(suspects))]
    first = [*plain, *(_changed(problem, e, other=some) for e in plain for some in strays)]
    first += [_aged(problem, e, model.RATES[1], "line") for e in plain]
    begun = fit(problem, first)
    kept = _best_starts(problem, begun)
    changes = [e for k in kept for m in meters for e in _changes(problem, Explanation(k, 0.0, meters=m))]
    if len(tests) < 2:
        return fit(problem, changes)
    alone = fit(problem, changes)
    swapped = fit(problem, [_changed(problem, e, other=some) for e in _near(alone, changes) for some in strays])
    found = joined([alone, swapped])
    best = [found.explanations[i] for i in np.argsort(-found.score, kind="stable")[:DOUBTED]]
    rough = [_changed(problem, e, rough=(i,)) for e in best for i in tests if i not in e.other]
    twice = [(e, i) for e in best if e.other and len(tests) > 3 for i in suspects if i > e.other[-1]]
    more = [_changed(problem, e, other=(i,)) for e, i in twice]
    found = joined([found, fit(problem, [*rough, *more])])
    for _ in range(BLANKS):
        found = _blanked(problem, found)
    return found


def _blanked(problem: HistoryProblem, found: ExplanationFits) -> ExplanationFits:
    """Try the likeliest explanations again, each with one more band of a test that says nothing."""
    best = np.argsort(-found.score, kind="stable")[:BLANKED]
    known = {e._replace(log_weight=0.0) for e in found.explanations if e.blank}
    new = []
    for k in best:
        e = found.explanations[k]
        for i in np.argsort(-np.abs(found.residual[k]))[:4].tolist():
            if i in e.blank or problem.test[i] in e.other:
                continue
            key = e._replace(log_weight=0.0, blank=tuple(sorted((*e.blank, i))))
            if key not in known:
                known.add(key)
                new.append(key._replace(log_weight=e.log_weight + float(np.log(model.BLANK_P))))
    return joined([found, fit(problem, new)]) if new else found


def _near(fits: ExplanationFits, all_of: Sequence[Explanation]) -> Sequence[Explanation]:
    """Return explanations to try with a test of another piece: all of a short history, the likelier ones of a long.

    Those without a step are always among them: a test of another piece makes all of them unlikely, taken for one of it.
    """
    if len(all_of) <= STRAYED:
        return all_of
    best = [fits.explanations[i] for i in np.argsort(-fits.score, kind="stable")]
    return [*(e for e in best if e.step_after < 0), *(e for e in best if e.step_after >= 0)][:STRAYED]


def _changed(
    problem: HistoryProblem, e: Explanation, *, other: tuple[int, ...] = (), rough: tuple[int, ...] = ()
) -> Explanation:
    """Return an explanation with one more tag that was wrong, on a test or a day, or one more rough test.

    Where tests of two days are left, ageing is no likelier for what the neighbours do: see ``MeterState.ages_p``.
    """
    log_p = bool(other) * np.log(model.OTHER_P) + bool(rough) * np.log(model.ROUGH_P)
    ages_p = problem.meters[e.meters].ages_p
    likelier = other and ages_p != model.AGES_P
    if likelier and _days_without(problem, e.other + other) < model.DAYS <= _days_without(problem, e.other):
        ages = e.rate[1] > 0.0 and e.step_after < 0
        log_p += np.log(model.AGES_P / ages_p) if ages else np.log((1.0 - model.AGES_P) / (1.0 - ages_p))
    return e._replace(log_weight=e.log_weight + float(log_p), other=e.other + other, rough=e.rough + rough)


def _days_without(problem: HistoryProblem, other: tuple[int, ...]) -> int:
    """Return of how many days the tests are once some are of another piece."""
    return len({float(day) for i, day in enumerate(problem.years[:-1]) if i not in other})


def _aged(problem: HistoryProblem, e: Explanation, rate: tuple[float, float, float], term: Term) -> Explanation:
    share = model.DIELECTRIC_AGES if term == "dielectric" else 1.0 - model.DIELECTRIC_AGES
    log_p = float(np.log(problem.meters[e.meters].ages_p * share * rate[2]))
    return e._replace(log_weight=e.log_weight + log_p, rate=rate[:2], rate_of=term)


def _changes(problem: HistoryProblem, e: Explanation) -> Iterator[Explanation]:
    """Yield all that may have happened to a piece: nothing, ageing, or a step between two tests."""
    years = problem.years
    rests_p = 1.0 - problem.meters[e.meters].ages_p
    bad_joint = any(problem.starts[e.start].mean[2:])
    yield e._replace(log_weight=e.log_weight + float(np.log(rests_p)))
    yield from (_aged(problem, e, rate, "line") for rate in model.RATES)
    yield from (_aged(problem, e, rate, "dielectric") for rate in model.WET_RATES)
    for k in range(len(problem.tests) - 1):
        gap = float(years[k + 1] - years[k])
        if gap <= 0.0:
            continue
        p = min(model.STEP_BETWEEN + model.STEP_A_YEAR * gap, 0.5) * rests_p
        for term, steps in model.STEPS.items():
            for mean, spread, weight in steps:
                chance = max(p * weight, model.MENDED_P * rests_p) if bad_joint and term == "repair" else p * weight
                stepped = e._replace(log_weight=e.log_weight + float(np.log(chance)), step=(mean, spread),
                                     step_of=term, step_after=k)  # fmt: skip
                if term != "dielectric":
                    yield stepped
                    continue
                yield stepped._replace(log_weight=stepped.log_weight + float(np.log(1.0 - model.CREEPS)))
                yield from (
                    stepped._replace(log_weight=stepped.log_weight + float(np.log(model.CREEPS * w)),
                                     rate=(m, s), rate_of="dielectric")
                    for m, s, w in model.WET_RATES
                )  # fmt: skip


def _suspects(problem: HistoryProblem, plain: Sequence[Explanation]) -> Sequence[int]:
    """Return which tests may be of another piece: all of a short history, the worst fitting of a long one."""
    tests = range(len(problem.tests))
    if len(tests) < 2:
        return ()
    if len(tests) <= MANY:
        return tests
    fits = fit(problem, plain)
    best = int(np.argmax(fits.score))
    off = [float(np.mean(fits.residual[best][problem.test == i] ** 2)) for i in tests]
    return sorted(int(i) for i in np.argsort(off)[-4:])


def _best_starts(problem: HistoryProblem, fits: ExplanationFits) -> list[int]:
    """Return the starts worth going on with, best first.

    With several tests some with a bad joint are always among them, which may be mended, and some without one, which may
    come.
    """
    number = np.array([e.start for e in fits.explanations])
    best = {k: float(fits.score[number == k].max()) for k in range(len(problem.starts))}
    order = sorted(best, key=lambda k: -best[k])
    kept = [k for k in order[:KEPT_STARTS] if best[k] > best[order[0]] - START_NATS]
    if len(problem.tests) < 2:
        return kept
    bad = [k for k in order if problem.starts[k].mean[2] > 0.0]
    sound = [k for k in order if not any(problem.starts[k].mean[2:])]
    return list(dict.fromkeys([*kept, *bad[:KEPT_JOINTS], *sound[:KEPT_JOINTS]]))


def _draw(problem: HistoryProblem, fits: ExplanationFits, weight: Floats) -> tuple[Floats, np.ndarray]:
    """Return draws from the mixture, made of fixed standard normal ones, and the explanation of each."""
    size = fits.mode.shape[1]
    rng = np.random.default_rng(SEED)
    half = rng.standard_normal((DRAWS // 2, size))
    shocks = np.concatenate([half, -half])[rng.permutation(DRAWS)]
    shares = np.diff(np.concatenate([[0], np.round(np.cumsum(weight) * DRAWS).astype(int)]))
    drawn = np.repeat(np.arange(len(weight)), shares)
    draws, at, some = np.empty_like(shocks), 0, np.flatnonzero(shares)
    for k, n, covariance in zip(some, shares[some], covariances(problem, fits, some), strict=True):
        draws[at : at + n] = fits.mode[k] + shocks[at : at + n] @ _root(covariance).T
        at += int(n)
    return draws, drawn


def _root(covariance: Floats) -> Floats:
    """Return the symmetric square root of a covariance, which may have no spread in some direction.

    It moves with the covariance; a root made of its directions alone would turn with the last digit.
    """
    size, directions = np.linalg.eigh((covariance + covariance.T) / 2)
    return np.asarray((directions * np.sqrt(np.maximum(size, 0.0))) @ directions.T)


def belief_of(post: HistoryPosterior, piece: Piece) -> Belief:
    """Return the belief of the day."""
    problem, x = post.problem, post.draws
    priors = problem.claim.priors
    said = [post.fits.explanations[k] for k in post.drawn]
    kept = kept_joints(problem, said)
    g, h, joint = moved(problem, x, loads_of(problem, said), kept)[:, -1].T
    rng = np.random.default_rng(SEED + 1)
    plugs = problem.claim.connectors * priors.connector_db_per_sqrt_mhz
    return Belief(
        piece=piece,
        law=law_of(piece),
        growth=np.exp(g),
        wet=np.exp(h),
        departure=np.exp(priors.departure * rng.standard_normal(len(x))),
        connector_db_per_sqrt_mhz=np.exp(x[:, 2]) * plugs,
        joint_db=joint,
        joint_db_per_sqrt_mhz=kept[:, -1] * x[:, 4] / np.sqrt(JOINT_HZ / 1e6),
        measured=tuple((float(f), np.exp(x[:, 5 + i])) for i, f in enumerate(problem.bands_hz)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class GoingOn:
    """How a piece goes on after the day of its belief, in draws that go with those of the belief.

    ``line`` and ``dielectric`` are rates of ln loss a year, ``walk`` standard normal.
    """

    line: Floats
    dielectric: Floats
    walk: Floats


def going_on(post: HistoryPosterior) -> GoingOn:
    """Return how the piece of a history goes on: each draw ages as its explanation does, and wanders."""
    said = [post.fits.explanations[k] for k in post.drawn]
    rate = post.draws[:, -2]
    wet = np.array([e.rate_of == "dielectric" for e in said])
    ages = np.array([e.rate[1] > 0.0 for e in said])
    walk = np.random.default_rng(SEED + 4).standard_normal(len(rate))
    return GoingOn(np.where(ages & ~wet, rate, 0.0), np.where(ages & wet, rate, 0.0), walk)


def going_on_alone(draws: int) -> GoingOn:
    """Return how a piece goes on that was tested once, or never: it may age, and it wanders."""
    rng = np.random.default_rng(SEED + 3)
    parts = [(0.0, 0.0, 1.0 - model.AGES_P), *((m, s, model.AGES_P * w) for m, s, w in model.RATES)]
    ends = np.round(np.cumsum([w for *_, w in parts]) * draws).astype(int)
    which = np.repeat(np.arange(len(parts)), np.diff(np.concatenate([[0], ends])))[rng.permutation(draws)]
    mean, spread = (np.array([part[k] for part in parts])[which] for k in (0, 1))
    rate = np.maximum(mean + spread * rng.standard_normal(draws), 0.0)
    return GoingOn(rate, np.zeros(draws), rng.standard_normal(draws))


def later(belief: Belief, how: GoingOn, years: float) -> Belief:
    """Return the belief of a piece so many years on, if it goes on so."""
    if years <= 0.0:
        return belief
    moved_by = how.line * years + model.WALK * np.sqrt(years) * how.walk
    return replace(
        belief, growth=belief.growth * np.exp(moved_by), wet=belief.wet * np.exp(how.dielectric * years)
    )  # fmt: skip


def carried(belief: Belief, years: float) -> Belief:
    """Return the belief of a piece tested once, so many years on: it may have aged, and it wanders."""
    return later(belief, going_on_alone(belief.draws), years)


HORIZON_YEARS, STEP_YEARS = 20.0, 0.25
"""How far ahead the loss of a piece is looked at, and how closely."""


def years_until(belief: Belief, how: GoingOn, frequency_hz: float, limit_db: float) -> Floats:
    """Return draws of the years until a loss passes a limit: 0 where it does already, infinite beyond the horizon.

    Parameters
    ----------
    belief : Belief
        Of the day from which is counted.
    how : GoingOn
        How the piece goes on.
    frequency_hz : float
        Where its loss is held against the limit.
    limit_db : float
        The limit.
    """
    found = np.full(belief.draws, np.inf)
    for years in np.arange(HORIZON_YEARS, -STEP_YEARS / 2, -STEP_YEARS):
        found[later(belief, how, float(years)).loss_db(frequency_hz) > limit_db] = years
    return found


def doubted_tests(post: HistoryPosterior) -> tuple[int, ...]:
    """Return the tests that are likelier of another piece, or much less good than they say, than not."""
    chance = np.zeros(len(post.problem.tests))
    for e, w in zip(post.fits.explanations, post.weight, strict=True):
        for i in {*e.other, *e.rough}:
            chance[i] += w
    return tuple(int(i) for i in np.flatnonzero(chance > 0.5))


def p_true(post: HistoryPosterior) -> float:
    """Return the probability that the meters of all sessions read true."""
    true = np.array([post.problem.meters[e.meters].kind == "true" for e in post.fits.explanations])
    return float(post.weight[true].sum())


def corrected(post: HistoryPosterior, belief: Belief) -> Belief:
    """Return the belief that a single test gave where its meters read true, else what its history says instead.

    So what the test says of the piece, which is no normal density, stays as it was as far as its meters are believed.
    """
    other = belief_of(post, belief.piece)
    off = np.flatnonzero([post.problem.meters[post.fits.explanations[k].meters].kind != "true" for k in post.drawn])
    # Any of the draws: they stand in the order of what they explain, on either side.
    at = np.random.default_rng(SEED + 5).choice(belief.draws, len(off), replace=False)

    def both(mine: Floats, theirs: Floats | float) -> Floats:
        out = mine.copy()
        out[at] = np.broadcast_to(theirs, (belief.draws,))[off]
        return out

    return replace(
        belief,
        growth=both(belief.growth, other.growth),
        wet=both(belief.wet, other.wet),
        departure=both(belief.departure, other.departure),
        connector_db_per_sqrt_mhz=both(belief.connector_db_per_sqrt_mhz, other.connector_db_per_sqrt_mhz),
        joint_db=both(belief.joint_db, other.joint_db),
        joint_db_per_sqrt_mhz=both(belief.joint_db_per_sqrt_mhz, other.joint_db_per_sqrt_mhz),
        measured=tuple((f, both(x, other.departure_at(np.array([[f]]))[0])) for f, x in belief.measured),
        doubt=None if belief.doubt is None else both(belief.doubt, 0.0),
        faults=tuple((shape, both(size, 0.0)) for shape, size in belief.faults),
    )


def p_true_before(post: HistoryPosterior) -> float:
    """Return the probability that the meters of all sessions read true before any other piece was heard."""
    return next(s.p_before for s in post.problem.meters if s.kind == "true")


def sessions_off(post: HistoryPosterior) -> tuple[tuple[int, float], ...]:
    """Return the tests whose meters read off that day, as other pieces show, and by how much (ln) they read high."""
    problem, found = post.problem, []
    for i in range(len(problem.tests)):
        mine = problem.test == i
        mean = np.array([s.mean[mine].mean() for s in problem.meters])
        sd = np.array([np.sqrt(s.covariance[np.ix_(mine, mine)].mean()) for s in problem.meters])
        share = np.bincount([e.meters for e in post.fits.explanations], post.weight, len(mean))
        off = np.abs(mean) > np.maximum(OFF_LOG, 2.0 * sd)
        if share[off].sum() > OFF_P:
            found.append((i, float(share[off] @ mean[off] / share[off].sum())))
    return tuple(found)


def changes_of(post: HistoryPosterior) -> tuple[PieceEvent, ...]:
    """Return what may have happened, likeliest first; chances of things that can go together overlap."""
    found = []
    last = len(post.problem.tests) - 1
    said = [e.kinds for e in post.fits.explanations]
    for kind in ("steady", "ageing", "step", "other piece"):
        mine = np.array([kind in kinds for kinds in said])
        p = float(post.weight[mine].sum())
        if not p > 0.0:
            continue
        best = _where(post, kind)
        change = PieceEvent(kind, p, *(best or (0, last)))
        if kind == "ageing":
            change = _with_rate(post, change, mine)
        found.append(change)
    return tuple(sorted(found, key=lambda c: -c.p))


def _where(post: HistoryPosterior, kind: str) -> tuple[int, int] | None:
    """Return between which tests a step came, or which test is of another piece, by weight."""
    chance: dict[int, float] = {}
    for e, w in zip(post.fits.explanations, post.weight, strict=True):
        for k in (e.step_after,) if kind == "step" and e.step_after >= 0 else e.other if kind == "other piece" else ():
            chance[k] = chance.get(k, 0.0) + float(w)
    if not chance:
        return None
    k = max(chance, key=lambda i: chance[i])
    return (k, k + 1) if kind == "step" else (k, k)


def _with_rate(post: HistoryPosterior, change: PieceEvent, mine: np.ndarray) -> PieceEvent:
    """Return a change with its rate: that of ln loss in the middle of the bands, where it ages."""
    rates = _rates(post, np.flatnonzero(mine))
    if not len(rates):
        return change
    low, middle, high = (float(np.expm1(v)) for v in np.quantile(rates, [0.025, 0.5, 0.975]))
    return replace(change, rate_per_year=middle, rate_low=low, rate_high=high)


def _rates(post: HistoryPosterior, which: np.ndarray) -> Floats:
    """Return draws of the rate of ln loss a year under some explanations, weighted as they are."""
    fits, chance = post.fits, post.weight[which]
    shocks = np.random.default_rng(SEED + 2).standard_normal(DRAWS)
    ends = np.round(np.cumsum(chance / chance.sum()) * DRAWS).astype(int)
    at = np.repeat(which, np.diff(np.concatenate([[0], ends])))
    some, place = np.unique(at, return_inverse=True)
    by = np.array([_share(post.problem, fits.explanations[k], fits.mode[k]) for k in some])
    ages = np.array([fits.explanations[k].rate[1] > 0.0 for k in some])
    spread = np.sqrt(np.maximum(covariances(post.problem, fits, some)[:, -2, -2], 0.0))
    rate = fits.mode[at, -2] + spread[place] * shocks[: len(at)]
    return np.where(ages[place], rate * by[place], 0.0)


def p_rising(post: HistoryPosterior) -> float:
    """Return the probability that the loss of the piece rises at all, by ageing or by a step up."""
    rises = np.array([e.rate[1] > 0 or (e.step_after >= 0 and e.step[0] > 0) for e in post.fits.explanations])
    return float(post.weight[rises].sum())


def p_ages(post: HistoryPosterior) -> float:
    """Return the probability that the piece ages steadily, with no step."""
    ages = np.array([e.rate[1] > 0 and e.step_after < 0 for e in post.fits.explanations])
    return float(post.weight[ages].sum())


def rate_draws(post: HistoryPosterior, *, if_it_ages: bool = False) -> Floats:
    """Return draws of the rate of ln loss a year over all explanations, 0 where nothing ages: what goes on.

    ``if_it_ages`` takes those alone in which the piece ages steadily.
    """
    ages = np.array([e.rate[1] > 0 and e.step_after < 0 for e in post.fits.explanations])
    return _rates(post, np.flatnonzero(ages) if if_it_ages else np.arange(len(ages)))


def _share(problem: HistoryProblem, e: Explanation, x: Floats) -> float:
    """Return by how much ln loss moves with what ages, on the middle of the bands."""
    if e.rate_of != "dielectric":
        return 1.0
    middle = int(problem.band[len(problem.band) // 2])
    rows = np.flatnonzero(problem.band == middle)
    water = problem.dielectric_db[rows] * np.exp(x[1])
    return float(np.mean(water / (water + problem.conductor_db[rows])))
