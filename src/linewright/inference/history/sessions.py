"""How the meters of a session read that day: a factor that all pieces of the session show alike.

A detector that drifted, or that a blow bent, stretches the loss of every piece on its bench by the same factor. Held
against their own tests of other days, the *other* pieces of the same sessions tell that factor; what happened to one of
them alone is weighed against it. What they tell is the prior under which the history of the piece itself is read, so
that its own tests count once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Elsewhere
from linewright.core.nouns.bench import SAME_BAND
from linewright.inference.history import model
from linewright.inference.history.model import PieceTest

WANDERS_P, WANDERS_LOG = 0.10, 0.06
"""How likely the sessions of a piece read differently, each by itself, and by how much (ln; a guess of ours)."""
DRIFTS_P, DRIFTS_LOG = 0.05, 0.03
"""How likely a meter drifts steadily over the sessions, and how fast (ln a year; a guess of ours)."""
BLOW_A_YEAR, BLOW_BETWEEN, BLOW_LOG = 0.03, 0.01, 0.18
"""How likely a blow bends a meter for good, in a year and between two sessions besides, and how far (ln)."""
ODD_P, ODD_LOG = 0.01, 0.15
"""How likely one session alone reads off, and by how much (ln)."""
WEATHER_P, WEATHER_AGES_P = 0.15, 0.6
"""How likely all pieces of a station lie in the weather, and how likely each of them ages then: that they age together
is no sign of a meter that drifts (guesses of ours)."""
SEVERAL = 0.5
"""How much of such a factor is left in a session of several meters: those that are true hold the other."""
ALIKE = 0.95
"""Share of such a factor's variance that all bands of a session have in common."""
LEVEL_LOG = 1.0
"""Spread of a piece's own level on a band, which tells nothing of a session."""
STEP_LOGS, AGES_LOG = ((0.5, 0.7), (1.5, 0.3)), 0.06
"""How far another piece may have stepped, each with its weight: a plug made anew may take away most of a loss; and its
rate of ageing a year (ln)."""
MOST_OTHERS = 8
"""So many other pieces are heard, those with most readings in common."""
MOST_ELSEWHERE = 8
"""So many tests of the others without the piece are heard, the newest."""
MOST_BLOWS = 6
"""Blows, and odd sessions, are looked for among the last so many."""
LEAST_WEIGHT, MOST_STATES = 0.01, 3
"""Explanations of the sessions less likely than this are left out, and at most so many are kept; "true" always is."""
MANY, LEAST_OF_MANY = 6, 0.25
"""With more tests than this at most one is kept beside it, from this weight on: each is tried with all that may have
happened, which takes its time."""


@dataclass(frozen=True, slots=True, eq=False)
class MeterState:
    """One explanation of how the sessions of a piece read.

    Attributes
    ----------
    kind : str
        "true", "wandering", "drifting", "blow" or "odd session".
    log_weight : float
        What the other pieces let one believe of it.
    mean : ndarray, shape (n,)
        By how much the piece's observations read high (ln), as the others tell.
    covariance : ndarray, shape (n, n)
        How well that is known.
    ages_p : float
        How likely the piece itself ages then, before its own tests: likelier where the others do, from tests of
        ``model.DAYS`` days on.
    p_before : float
        How likely it was before any other piece was heard.
    """

    kind: str
    log_weight: float
    mean: Floats
    covariance: Floats
    ages_p: float = model.AGES_P
    p_before: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class _Other:
    """Another piece where it was read with the piece in question: rows of that one's observations, ln loss, errors.

    ``alone`` is what may have happened to it alone when each piece ages with some probability; see ``_alone``.
    """

    rows: np.ndarray
    log_loss: Floats
    noise: Floats
    alone: dict[float, tuple[Floats, Floats, Floats]]


Test = PieceTest | Elsewhere


def meter_states(
    tests: Sequence[PieceTest], test: np.ndarray, band: np.ndarray, bands_hz: Floats
) -> tuple[MeterState, ...]:
    """Return how the sessions of a piece may have read; a single state, "true", where no other piece tells.

    Parameters
    ----------
    tests : sequence of PieceTest
        Of the piece, oldest first.
    test, band : ndarray of int, shape (n,)
        Which test and which band each of its observations is of.
    bands_hz : ndarray, shape (b,)
        The bands.
    """
    own = len(test)
    true = MeterState("true", 0.0, np.zeros(own), np.zeros((own, own)))
    seen, test, band, mine = _with_others(tests, test, band, bands_hz)
    n = len(test)
    others = _others(seen, test, band, bands_hz)
    if not others:
        return (true,)
    kernels = list(_kernels(seen, test, bands_hz[band]))
    found = [_told(kind, log_p, kernel, others, band) for kind, log_p, kernel in kernels]
    weather = _told("true", float(np.log(WEATHER_P)), np.zeros((n, n)), others, band, WEATHER_AGES_P)
    either = float(np.logaddexp(found[0].log_weight, weather.log_weight))
    outside = float(np.exp(weather.log_weight - either))
    several = len({t.year for t in tests}) >= model.DAYS
    ages_p = outside * WEATHER_AGES_P + (1.0 - outside) * model.AGES_P if several else model.AGES_P
    chances = np.array([WEATHER_P, *(np.exp(log_p) for _, log_p, _ in kernels)])
    p_before = float(chances[:2].sum() / chances.sum())
    found[0] = replace(found[0], log_weight=either, ages_p=ages_p, p_before=p_before)
    score = np.array([s.log_weight for s in found])
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    most, least = (MOST_STATES, LEAST_WEIGHT) if len(tests) <= MANY else (1, LEAST_OF_MANY)
    kept = [int(k) for k in 1 + np.argsort(-weight[1:], kind="stable")[:most] if weight[k] > least]
    kept.append(0)
    total = weight[kept].sum()
    return tuple(
        replace(found[k], log_weight=float(np.log(weight[k] / total)), mean=found[k].mean[mine],
                covariance=found[k].covariance[np.ix_(mine, mine)])
        for k in kept
    )  # fmt: skip


def _with_others(
    tests: Sequence[PieceTest], test: np.ndarray, band: np.ndarray, bands_hz: Floats
) -> tuple[list[Test], np.ndarray, np.ndarray, np.ndarray]:
    """Return the tests of a piece among those of the others that lay beside it, in the order of their days.

    Besides: which test and which band each observation is of, and which observations are those of the piece itself.
    """
    without = {e.name: e for t in tests for e in t.elsewhere}
    newest = sorted(without.values(), key=lambda e: (e.year, e.name))[-MOST_ELSEWHERE:]
    seen: list[Test] = sorted([*newest, *tests], key=lambda t: t.year)
    place = {id(t): i for i, t in enumerate(seen)}
    tests_of, bands_of = [np.array([place[id(t)] for t in tests])[test]], [band]
    for e in newest:
        off = np.abs(np.log(e.frequencies_hz[:, None] / bands_hz[None]))
        near = np.unique(off.argmin(axis=1)[off.min(axis=1) < SAME_BAND])
        tests_of.append(np.full(len(near), place[id(e)]))
        bands_of.append(near)
    return seen, np.concatenate(tests_of), np.concatenate(bands_of), np.arange(len(test))


def _others(tests: Sequence[Test], test: np.ndarray, band: np.ndarray, bands_hz: Floats) -> list[_Other]:
    """Return the other pieces that were read in two of the sessions at least, most readings first."""
    f, years = bands_hz[band], np.array([t.year for t in tests])
    parts: dict[str, list[tuple[np.ndarray, Floats, Floats]]] = {}
    for i, t in enumerate(tests):
        mine = np.flatnonzero(test == i)
        for b in t.beside:
            off = np.abs(np.log(b.frequencies_hz[:, None] / f[mine][None]))
            at = np.flatnonzero(off.min(axis=1, initial=np.inf) < SAME_BAND)
            if len(at):
                told = b.log_loss[at] - np.log(b.length_m), b.covariance[np.ix_(at, at)]
                parts.setdefault(b.tag, []).append((mine[off[at].argmin(axis=1)], *told))
    found: list[_Other] = []
    for _, tests_of in sorted(parts.items(), key=lambda item: (-sum(len(r) for r, *_ in item[1]), item[0])):
        if len(tests_of) > 1 and len(found) < MOST_OTHERS:
            rows = np.concatenate([r for r, *_ in tests_of])
            noise = np.zeros((len(rows), len(rows)))
            first = 0
            for r, _, covariance in tests_of:
                block = slice(first, first + len(r))
                spread = (1.0 - model.SHARED) * covariance + model.REMADE**2
                noise[block, block] = spread + model.UNEVEN * np.diag(np.diag(covariance))
                first += len(r)
            same = (band[rows][:, None] == band[rows][None, :]).astype(float)
            found.append(_Other(
                rows, np.concatenate([y for _, y, _ in tests_of]), noise + 1e-6 * np.eye(len(rows)),
                {p: _alone(years, test[rows], same, p) for p in (model.AGES_P, WEATHER_AGES_P)},
            ))  # fmt: skip
    return found


def _kernels(tests: Sequence[Test], test: np.ndarray, f: Floats) -> Iterator[tuple[str, float, Floats]]:
    """Yield how sessions may read: the code, the log chance, and the covariance of the factors of the observations."""
    on_bench = [t.source == "bench" for t in tests]
    bench = np.array([_reach(tests[i], at) for i, at in zip(test, f, strict=True)])
    years = np.array([t.year for t in tests])
    mean = float(years[on_bench].mean())
    blows = [(k, float(years[k + 1] - years[k])) for k in range(len(tests) - 1) if years[k + 1] > years[k]]
    blows = blows[-MOST_BLOWS:]
    chances = [min(BLOW_BETWEEN + BLOW_A_YEAR * gap, 0.3) for _, gap in blows]
    odd = [i for i in range(len(tests) - 1) if on_bench[i]][-MOST_BLOWS:]
    rest = 1.0 - WEATHER_P - WANDERS_P - DRIFTS_P - min(sum(chances) + ODD_P * len(odd), 0.7)
    yield "true", float(np.log(max(rest, 0.05))), np.zeros((len(test), len(test)))
    together = test[:, None] == test[None, :]
    yield "wandering", float(np.log(WANDERS_P)), WANDERS_LOG**2 * np.outer(bench, bench) * together
    since = (years - mean)[test] * bench
    yield "drifting", float(np.log(DRIFTS_P)), DRIFTS_LOG**2 * np.outer(since, since)
    for (k, _), p in zip(blows, chances, strict=True):
        after = bench * (test > k)
        yield "blow", float(np.log(p)), BLOW_LOG**2 * np.outer(after, after)
    for i in odd:
        yield "odd session", float(np.log(ODD_P)), ODD_LOG**2 * np.outer(bench, bench) * np.outer(test == i, test == i)


def _reach(test: Test, frequency_hz: float) -> float:
    """Return how much of a meter's factor is left on a band of a test: less where several read it, none of a sweep."""
    if test.source != "bench":
        return 0.0
    near = int(np.abs(np.log(test.frequencies_hz / frequency_hz)).argmin())
    return SEVERAL if test.meters and test.meters[near] > 1 else 1.0


def _told(
    kind: str,
    log_p: float,
    kernel: Floats,
    others: Sequence[_Other],
    band: np.ndarray,
    ages_p: float = model.AGES_P,
) -> MeterState:
    """Return one explanation as the other pieces tell it, heard one after the other."""
    same = np.where(band[:, None] == band[None, :], 1.0, ALIKE)
    mean, covariance, score = np.zeros(len(band)), kernel * same, log_p
    for other in others:
        heard, mean, covariance = _heard(mean, covariance, other, band, ages_p)
        score += heard
    return MeterState(kind, score, mean, covariance)


def _heard(
    mean: Floats, covariance: Floats, other: _Other, band: np.ndarray, ages_p: float
) -> tuple[float, Floats, Floats]:
    """Return the log evidence of another piece's tests, and mean and covariance of the factors after them.

    What may have happened to that piece alone (nothing, ageing, a step, a test of another) is a mixture, which is taken
    by its moments.
    """
    rows = other.rows
    y = other.log_loss.copy()
    mine = band[rows]
    for b in np.unique(mine):
        y[mine == b] -= y[mine == b].mean()
    same = (mine[:, None] == mine[None, :]).astype(float)
    log_p, shift, extra = other.alone[ages_p]
    plain = other.noise + LEVEL_LOG**2 * same + covariance[np.ix_(rows, rows)]
    spread = plain[None] + extra
    off = (y - mean[rows])[None] - shift
    pull = np.linalg.solve(spread, off[:, :, None])[:, :, 0]
    each = log_p - 0.5 * (np.einsum("cn,cn->c", off, pull) + np.linalg.slogdet(spread)[1])
    top = float(each.max())
    weight = np.exp(each - top)
    score = top + float(np.log(weight.sum()))
    if not covariance.any():
        return score, mean, covariance
    weight /= weight.sum()
    some = weight > 1e-3
    weight, spread, pull = weight[some] / weight[some].sum(), spread[some], pull[some]
    reach = covariance[:, rows]
    moved = pull @ reach.T
    middle = weight @ moved
    gains = np.linalg.solve(spread, np.repeat(reach.T[None], len(weight), axis=0))
    left = covariance - np.einsum("c,nr,crm->nm", weight, reach, gains)
    apart = moved - middle
    left = left + np.einsum("c,cn,cm->nm", weight, apart, apart)
    return score, mean + middle, (left + left.T) / 2


def _alone(years: Floats, test: np.ndarray, same: Floats, ages_p: float) -> tuple[Floats, Floats, Floats]:
    """Return what may have happened to one piece alone: log chances, means and covariances of its rows, one each."""
    here = np.unique(test)
    since = years[test] - years[test].min()
    chances, shifts, extras = [], [], []

    def add(p: float, shift: Floats, extra: Floats) -> None:
        chances.append(p)
        shifts.append(shift)
        extras.append(extra + model.WALK**2 * np.minimum.outer(since, since))

    nothing = np.zeros(len(test))
    for k, later in pairwise(here):
        p = min(model.STEP_BETWEEN + model.STEP_A_YEAR * float(years[later] - years[k]), 0.3)
        after = (test > k).astype(float)
        stepped = np.outer(after, after) * np.where(same > 0, 1.0, 0.7)
        for size, weight in STEP_LOGS:
            add(p * weight, nothing, size**2 * stepped)
    for i in here:
        mine = (test == i).astype(float)
        wide = model.OTHER_LOG**2 + model.OTHER_BANDS[1][0] ** 2 * same
        add(model.OTHER_P, nothing, wide * np.outer(mine, mine))
    add(ages_p, model.RATES[1][0] * since, AGES_LOG**2 * np.outer(since, since))
    add(max(1.0 - sum(chances), 0.1), nothing, np.zeros_like(same))
    return np.log(np.array(chances)), np.array(shifts), np.array(extras)
