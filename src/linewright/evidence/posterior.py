"""The posterior of a bench: from a layout to weighted configurations, draws, and the chance of every explanation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from linewright.evidence.bottom import Bottom, as_observations, out_of_the_way
from linewright.evidence.fit import Configuration, Fits, point_at, problem_of, refit, robust_mode
from linewright.evidence.gram import DENSE, Gram, Point
from linewright.evidence.layout import Floats, Layout
from linewright.evidence.mean import expected_db, losses
from linewright.evidence.noise import Parts, Weights, noise_parts
from linewright.evidence.prior import Prior
from linewright.evidence.priors import Priors
from linewright.evidence.search import Chosen, Search, State, climb, gains
from linewright.evidence.sites import Sites

Progress = Callable[[float, str], None]

DRAWS = 1000
REFITS = 24
LARGE = 500
"""From so many unknowns on, fewer configurations are refitted."""
REFIT_NATS = 6.0
SEED = 20_240_217
TURNS = 3
STILL = 0.02
"""A search has settled when no unknown moves more than this (log or dB)."""
FAR = 0.25
"""An unknown explained away by more than this (log or dB) deserves second thoughts."""
APART_DB = 0.3
"""Two starts whose readings differ by more than this are both followed."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """All the engine knows.

    ``draws`` is (DRAWS, size); ``chance`` the probability of every explanation; ``bank`` the weighted configurations;
    ``best`` the linearisation at the best of them, with the search around it; ``alone`` the refit whose law is free.
    """

    lay: Layout
    sites: Sites
    prior: Prior
    priors: Priors
    draws: Floats
    rough: Floats
    chance: Floats
    bank: list[Configuration]
    weight: Floats
    fits: Fits
    point: Point
    search: Search
    parts: Parts
    weights: list[Weights]
    bottom_wrong: Floats
    alone: tuple[Floats, Floats]


def _hypers(priors: Priors) -> tuple[list[tuple[int, int]], Floats]:
    pairs = [(k, r) for k in range(len(priors.noise_scales)) for r in (0, 1)]
    rough = (1.0 - priors.rough_p, priors.rough_p)
    return pairs, np.log([priors.noise_weights[k] * rough[r] for k, r in pairs])


def _bottom_wrong(lay: Layout, bottom: Bottom, draws: Floats) -> Floats:
    """Return the chance that a reading at the bottom of its scale is wrong, for every observation (0 elsewhere)."""
    out = np.zeros(lay.n)
    if len(bottom.rows):
        out[bottom.rows] = bottom.wrong(expected_db(lay, draws))
    return out


def _tick(say: Progress, turn: int, share: float) -> None:
    say(0.15 + 0.2 * (turn + share), "weighing explanations")


@dataclass(frozen=True, slots=True)
class _Settled:
    """Where one start of the search came to rest: the linearisation there and the states around it."""

    x: Floats
    point: Point
    parts: Parts
    weights: list[Weights]
    exact: list[Weights]
    search: Search
    states: list[State]
    evidence: float


class _Bench:
    """A layout with all that stays the same while the search goes on."""

    def __init__(self, lay: Layout, priors: Priors) -> None:
        self.problem = problem_of(lay, priors)
        self.lay, self.priors = lay, priors
        self.sites, self.prior, self.bottom = self.problem.sites, self.problem.prior, self.problem.bottom
        self.aside = out_of_the_way(self.bottom, lay.n)
        self.pairs, self.log_weights = _hypers(priors)

    def parts(self, x: Floats, soft: Floats) -> Parts:
        """Return the blocks' own noise near ``x``."""
        return noise_parts(self.lay, losses(self.lay, x[None]).cell_db[0], soft, self.priors)

    def starts(self) -> list[tuple[Floats, Floats]]:
        """Return robust modes to start from, with each reading's doubt: cautious and plain, if they differ."""
        parts = self.parts(self.prior.mean, self.aside)
        found = [robust_mode(self.problem, parts, cautious) for cautious in (True, False)]
        levels = [expected_db(self.lay, x[None])[0] for x, _ in found]
        apart = np.abs(levels[0] - levels[1]).max(initial=0.0)
        return found if apart > APART_DB else found[:1]

    def linearise(self, x: Floats) -> tuple[Point, Parts, list[Weights], list[Gram]]:
        """Linearise at ``x`` for every hyperparameter."""
        point = point_at(self.lay, x)
        level = expected_db(self.lay, x[None])[0]
        point.residual_db[self.bottom.rows], soft = as_observations(self.bottom, level, self.lay.n)
        parts = self.parts(x, soft)
        weights = [parts.weights(scale) for scale in self.priors.noise_scales]
        return point, parts, weights, [
            Gram(self.lay, self.sites, self.prior, weights[k], point, r) for k, r in self.pairs
        ]  # fmt: skip

    def second_thoughts(self, rest: _Settled) -> list[tuple[Floats, Chosen]]:
        """Return a further start, and what it bars at first: a cable was said to leave its law, or a meter to bend.

        A long step is where linearising misleads, so what the search made of it is tried again from the plain side.
        """
        chosen = tuple(s for s in rest.states[0].chosen if self.sites.kind[s] in (2, 3, 6))
        if not chosen:
            return []
        x = rest.x.copy()
        x[self.sites.unknown[np.array(chosen) - self.sites.n_data]] = 0.0
        return [(x, chosen)] if np.abs(x - rest.x).max() > FAR else []

    def refit(self, exact: list[Weights], x: Floats, configurations: list[Configuration]) -> Fits:
        """Refit configurations from ``x``."""
        return refit(self.problem, exact, x, configurations)

    def settle(self, x: Floats, doubt: Floats, say: Progress, barred: Chosen = ()) -> _Settled:
        """Search and relinearise at the best until it stays."""
        states: list[State] = []
        for turn in range(TURNS):
            point, parts, weights, grams = self.linearise(x)
            exact = weights
            if len(self.bottom.rows):
                exact = [self.parts(x, self.aside).weights(scale) for scale in self.priors.noise_scales]
            search = Search(grams, self.log_weights, self.sites)
            starts = [(s.hyper, s.chosen) for s in states[:10]]
            starts = starts or _starts(grams, self.log_weights, self.sites, doubt, barred)
            before = (states[0].hyper, states[0].chosen) if states else None
            states = search.run(starts, partial(_tick, say, turn))
            best = states[0]
            found = self.refit(exact, x, [Configuration(*self.pairs[best.hyper], best.chosen)])
            moved = float(np.abs(found.mode[0] - x).max(initial=0.0))
            x = found.mode[0]
            if before == (best.hyper, best.chosen) or moved < STILL:
                break
        evidence = float(found.evidence[0] + self.log_weights[best.hyper])
        return _Settled(x, point, parts, weights, exact, search, states, evidence)


def infer(lay: Layout, priors: Priors, progress: Progress | None = None) -> Posterior:
    """Return the posterior of a bench. Deterministic: the same sheet always gets the same answer."""
    say: Progress = progress or (lambda share, what: None)
    say(0.05, "finding a start")
    bench = _Bench(lay, priors)
    settled = [bench.settle(x, doubt, say) for x, doubt in bench.starts()]
    again = [start for rest in settled for start in bench.second_thoughts(rest)]
    settled += [bench.settle(x, np.zeros(lay.n), say, barred) for x, barred in again]
    settled.sort(key=lambda s: -s.evidence)
    best = settled[0]
    say(0.75, "refitting")
    near = _near(settled)
    bank = [Configuration(*bench.pairs[s.hyper], s.chosen) for _, s in near]
    fits = _refit_near(bench, best, near, bank)
    loose = Configuration(bank[0].scale, bank[0].rough, bank[0].chosen, True)
    alone = bench.refit(best.exact, best.x, [loose])
    score = fits.evidence + np.array([bench.log_weights[s.hyper] for _, s in near])
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    say(0.9, "drawing")
    draws, rough = _draw(fits, weight, bank)
    return Posterior(
        lay, bench.sites, bench.prior, priors, draws, rough, _chances(near, weight, bench.sites), bank, weight, fits,
        best.point, best.search, best.parts, best.weights, _bottom_wrong(lay, bench.bottom, draws),
        (alone.mode[0], alone.covariance[0]),
    )  # fmt: skip


Near = list[tuple[_Settled, State]]


def _near(settled: list[_Settled]) -> Near:
    """Return the states worth a refit, best first; the same set met from two starts counts once."""
    found: Near = []
    met: set[tuple[int, Chosen]] = set()
    most = REFITS if settled[0].x.size < LARGE else REFITS // 4
    for rest in settled:
        if rest.evidence < settled[0].evidence - REFIT_NATS:
            continue
        for state in [s for s in rest.states if s.evidence > rest.states[0].evidence - REFIT_NATS][:most]:
            if (state.hyper, state.chosen) not in met:
                met.add((state.hyper, state.chosen))
                found.append((rest, state))
    return found


def _refit_near(bench: _Bench, best: _Settled, near: Near, bank: list[Configuration]) -> Fits:
    """Refit the bank, each configuration from where its search came to rest."""
    parts = []
    for rest in dict.fromkeys(id(s) for s, _ in near):
        mine = [i for i, (s, _) in enumerate(near) if id(s) == rest]
        parts.append(bench.refit(best.exact, near[mine[0]][0].x, [bank[i] for i in mine]))
    return Fits(
        np.concatenate([p.mode for p in parts]),
        np.concatenate([p.covariance for p in parts]),
        np.concatenate([p.evidence for p in parts]),
    )


def _starts(
    grams: list[Gram], log_weights: Floats, sites: Sites, doubt: Floats, barred: Chosen
) -> list[tuple[int, Chosen]]:
    """Return where the search begins: a climb for every hyperparameter, on a large bench one climb for all."""
    if sites.count <= DENSE:
        return [(h, climb(gram, sites, (), barred)) for h, gram in enumerate(grams)]
    clear = tuple(int(s) for s in np.flatnonzero(sites.kind == 0) if doubt[sites.target[s]] > 0.9)
    first = int(np.argmax([gains(g, sites, clear).evidence + w for g, w in zip(grams, log_weights, strict=True)]))
    return [(first, climb(grams[first], sites, clear, barred))]


def _draw(fits: Fits, weight: Floats, bank: list[Configuration]) -> tuple[Floats, Floats]:
    """Return fixed-seed draws from the mixture, and whether each came from a rough bench."""
    rng = np.random.default_rng(SEED)
    size = fits.mode.shape[1]
    shares = np.diff(np.round(np.concatenate([[0.0], np.cumsum(weight)]) * DRAWS).astype(int))
    half = rng.standard_normal(((DRAWS + 1) // 2, size))
    z = np.concatenate([half, -half])[rng.permutation(2 * len(half))[:DRAWS]]
    draws, rough, at = np.empty((DRAWS, size)), np.empty(DRAWS), 0
    for mode, covariance, n, config in zip(fits.mode, fits.covariance, shares, bank, strict=True):
        if n:
            root = np.linalg.cholesky((covariance + covariance.T) / 2)
            draws[at : at + n] = mode + z[at : at + n] @ root.T
            rough[at : at + n] = config.rough
            at += n
    return draws, rough


def _chances(near: Near, weight: Floats, sites: Sites) -> Floats:
    """Return the chance of every explanation: the mean of its share of the bank and of its odds over the bank."""
    share, odds = np.zeros(sites.count), np.zeros(sites.count)
    for (rest, state), w in zip(near, weight, strict=True):
        seen = rest.search.look(state.hyper, state.chosen)
        p = 1.0 / (1.0 + np.exp(-np.clip(seen.gain, -50.0, 50.0)))
        members = list(state.chosen)
        p[members] = 1.0 / (1.0 + np.exp(-np.clip(seen.held, -50.0, 50.0)))
        share[members] += w
        odds += w * p
    return 0.5 * (share + odds)
