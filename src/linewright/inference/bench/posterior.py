"""The posterior of a bench: from a layout to weighted configurations, draws, and the chance of every explanation."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.inference.bench.censored import Bottom
from linewright.inference.bench.curvature import STRIP
from linewright.inference.bench.design import NOTHING, Layout, LossBatch, Prior, expected_db, losses
from linewright.inference.bench.fit import Configuration, Refits
from linewright.inference.bench.gains import Chosen, Point
from linewright.inference.bench.hypotheses import Sites
from linewright.inference.bench.noise import Parts, Weights
from linewright.inference.bench.search import Progress, Search, SearchedBench, Settled, State
from linewright.inference.priors import Priors

# The posterior of a bench: from a layout to weighted configurations, draws, and the chance of every explanation

DRAWS = 1000
REFITS = 24
LARGE = 500
"""From so many unknowns on, fewer configurations are refitted."""
FARTHER, FARTHER_MOST, FARTHER_STEPS = 32, 96, 2
"""How many further configurations are refitted for each piece beyond the first, at most, and in how many steps, each
from the mode of the one most like it. What may be the matter with several pieces makes more sets than ``REFITS``, and
the likeliest differ in noise and in what readings hardly see: that a weakly read piece is worn stands further down."""
REFIT_NATS = 6.0
ALONE = 8
"""How many configurations are refitted with the catalogue left out."""
SEED = 20_240_217


@dataclass(frozen=True)
class Posterior:
    """All the engine knows.

    ``draws`` is (DRAWS, size); ``chance`` the probability of every explanation; ``bank`` the weighted configurations;
    ``point`` the linearisation at the best of them, with the search around it; ``alone`` draws without the catalogue.
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
    fits: Refits
    point: Point
    search: Search
    parts: Parts
    weights: list[Weights]
    bottom_wrong: Floats
    alone: Floats

    @cached_property
    def losses(self) -> LossBatch:
        """The losses that the draws stand for, worked out once for all that is read from them."""
        return losses(self.lay, self.draws)

    @cached_property
    def covariance(self) -> Floats:
        """The covariance of the unknowns under the first configuration, (size, size)."""
        return self.fits.covariance[0].dense()

    @cached_property
    def explained(self) -> dict[int, list[int]]:
        """By observation, the places in the first configuration's set of what explains it."""
        found: dict[int, list[int]] = {}
        for k, s in enumerate(self.bank[0].chosen):
            for i in self.sites.members[s].tolist() if s < self.sites.n_data else ():
                found.setdefault(i, []).append(k)
        return found

    @cached_property
    def features(self) -> tuple[Floats, Floats]:
        """What the first configuration's prior makes of the features: covariance and departure from its mean."""
        pattern, covariance = self.fits.covariance[0].pattern, self.prior.covariance[[self.bank[0].rough]]
        for s in self.bank[0].chosen:
            if s >= self.sites.n_data:
                covariance.vary(0, int(self.sites.unknown[s - self.sites.n_data]), float(self.sites.variance[s]))
        slopes = pattern.slopes(self.point.x[None], self.point.losses)
        away = pattern.felt(slopes, self.point.x[None] - self.prior.mean)
        return pattern.spread(slopes, covariance)[0], away[0]

    @cached_property
    def losses_alone(self) -> LossBatch:
        """The same of the draws without the catalogue."""
        return losses(self.lay, self.alone)


def _bottom_wrong(lay: Layout, bottom: Bottom, draws: Floats) -> Floats:
    """Return the chance that a reading at the bottom of its scale is wrong, for every observation (0 elsewhere)."""
    out = np.zeros(lay.n)
    if len(bottom.rows):
        out[bottom.rows] = bottom.wrong(expected_db(lay, draws))
    return out


def _onward(progress: Progress | None) -> Progress:
    """Return a progress that never goes back, whichever search is at work."""
    done = [0.0]

    def tell(share: float, what: str) -> None:
        done[0] = max(done[0], share)
        if progress:
            progress(done[0], what)

    return tell


def infer(lay: Layout, priors: Priors, progress: Progress | None = None) -> Posterior:
    """Return the posterior of a bench. Deterministic: the same sheet always gets the same answer."""
    tell = _onward(progress)
    tell(0.05, say("finding a start"))
    bench = SearchedBench(lay, priors)
    settled = [bench.settle(x, doubt, tell) for x, doubt in bench.starts()]
    again = [start for rest in settled for start in bench.second_thoughts(rest)]
    settled += [bench.settle(x, np.zeros(lay.n), tell, barred) for x, barred in again]
    settled.sort(key=lambda s: -s.evidence)
    settled += bench.marked_otherwise(settled[0], tell)
    settled.sort(key=lambda s: -s.evidence)
    best = settled[0]
    tell(0.75, say("refitting"))
    near = _near(settled)
    bank = [Configuration(*bench.pairs[s.hyper], s.chosen) for _, s in near]
    fits = _refit_near(bench, best, near, bank)
    near, bank, fits = _farther(bench, settled, near, bank, fits)
    weight = _weighed(bench, near, fits)
    shocks = _shocks(lay.size)
    draws, rough = _draw(fits, weight, bank, shocks, lay.fault)
    tell(0.85, say("listening to the readings alone"))
    alone = _alone(bench, best, near, weight, shocks)
    return Posterior(
        lay, bench.sites, bench.prior, priors, draws, rough, _chances(near, weight, bench.sites), bank, weight, fits,
        best.point, best.search, best.parts, best.weights, _bottom_wrong(lay, bench.bottom, draws), alone,
    )  # fmt: skip


Near = list[tuple[Settled, State]]


def _near(settled: list[Settled]) -> Near:
    """Return the states worth a refit, best first; the same set met from two starts counts once."""
    most = REFITS if settled[0].x.size < LARGE else REFITS // 4
    return _within_reach(settled, set(), slice(most))


def _within_reach(settled: list[Settled], met: set[tuple[int, Chosen]], which: slice) -> Near:
    """Return some of the states within reach of each search, by their rank in it, that were not met before."""
    found: Near = []
    for rest in settled:
        if rest.evidence < settled[0].evidence - REFIT_NATS:
            continue
        for state in [s for s in rest.states if s.evidence > rest.states[0].evidence - REFIT_NATS][which]:
            if (state.hyper, state.chosen) not in met:
                met.add((state.hyper, state.chosen))
                found.append((rest, state))
    return found


def _farther(
    bench: SearchedBench, settled: list[Settled], near: Near, bank: list[Configuration], fits: Refits
) -> tuple[Near, list[Configuration], Refits]:
    """Add further configurations, refitted in a few steps from the mode of the one most like each.

    A large bench goes without: its readings leave little open.
    """
    if settled[0].x.size >= LARGE:
        return near, bank, fits
    left = _within_reach(settled, {(s.hyper, s.chosen) for _, s in near}, slice(REFITS, None))
    most = min(FARTHER * (len(bench.lay.sheet.pieces) - 1), FARTHER_MOST)
    more = sorted(left, key=lambda at: at[0].states[0].evidence - at[0].evidence - at[1].evidence)[: max(most, 0)]
    if not more:
        return near, bank, fits
    sets = [set(c.chosen) for c in bank]
    like = [
        min(range(len(bank)), key=lambda i: (len(sets[i] ^ set(state.chosen)), bank[i].scale != state.hyper // 2))
        for _, state in more
    ]
    rivals = [Configuration(*bench.pairs[state.hyper], state.chosen) for _, state in more]
    found = bench.refit(settled[0].exact, fits.mode[like], rivals, FARTHER_STEPS)
    return (
        [*near, *more],
        [*bank, *rivals],
        Refits(
            np.concatenate([fits.mode, found.mode]),
            [*fits.covariance, *found.covariance],
            np.concatenate([fits.evidence, found.evidence]),
        ),
    )


def _weighed(bench: SearchedBench, near: Near, fits: Refits) -> Floats:
    """Return the weight of every refitted configuration: its evidence, shared out to a sum of 1."""
    score = fits.evidence + np.array([bench.log_weights[s.hyper] for _, s in near])
    weight: Floats = np.exp(score - score.max())
    weight /= weight.sum()
    return weight


def _alone(bench: SearchedBench, best: Settled, near: Near, weight: Floats, shocks: Floats) -> Floats:
    """Return draws from the likeliest configurations with the stocks' laws left free: what the readings alone say."""
    order = sorted(np.argsort(-weight, kind="stable")[:ALONE].tolist())
    some = [near[i] for i in order]
    loose = [Configuration(scale, rough, s.chosen, True) for _, s in some for scale, rough in [bench.pairs[s.hyper]]]
    fits = _refit_near(bench, best, some, loose)
    return _draw(fits, _weighed(bench, some, fits), loose, shocks, bench.lay.fault)[0]


def _refit_near(bench: SearchedBench, best: Settled, near: Near, bank: list[Configuration]) -> Refits:
    """Refit the bank, each configuration from where its search came to rest."""
    parts, at = [], []
    for rest in dict.fromkeys(id(s) for s, _ in near):
        mine = [i for i, (s, _) in enumerate(near) if id(s) == rest]
        parts.append(bench.refit(best.exact, near[mine[0]][0].x, [bank[i] for i in mine]))
        at += mine
    back = np.argsort(at)
    covariance = [one for p in parts for one in p.covariance]
    return Refits(
        np.concatenate([p.mode for p in parts])[back],
        [covariance[i] for i in back.tolist()],
        np.concatenate([p.evidence for p in parts])[back],
    )


def _shocks(size: int) -> Floats:
    """Return fixed-seed standard normal draws, each with its opposite, shuffled, (DRAWS, size)."""
    rng = np.random.default_rng(SEED)
    half = rng.standard_normal(((DRAWS + 1) // 2, size))
    out: Floats = np.concatenate([half, -half])[rng.permutation(2 * len(half))[:DRAWS]]
    return out


ABSENT = 2.0 * NOTHING
"""A fault whose size varies no more than this over the draws is in none of them."""


def shares(weight: Floats) -> list[int]:
    """Return how many of the draws come from each configuration; those of one stand together, in the bank's order."""
    ends = np.round(np.concatenate([[0.0], np.cumsum(weight)]) * DRAWS).astype(int)
    found: list[int] = np.diff(ends).tolist()
    return found


def _draw(
    fits: Refits, weight: Floats, bank: list[Configuration], shocks: Floats, faults: slice
) -> tuple[Floats, Floats]:
    """Return draws from the mixture made of standard normal ones, and whether each came from a rough bench.

    A fault that is in no draw has size zero in all of them.
    """
    draws, rough, at = np.empty_like(shocks), np.empty(DRAWS), 0
    for mode, covariance, n, config in zip(fits.mode, fits.covariance, shares(weight), bank, strict=True):
        if n:
            root, mine = covariance.root(), slice(at, at + n)
            for k in range(0, len(root), STRIP):
                some = slice(k, k + STRIP)
                draws[mine, some] = mode[some] + shocks[mine, : k + STRIP] @ root[some, : k + STRIP].T
            rough[at : at + n] = config.rough
            at += n
    sizes = draws[:, faults]
    sizes[:, sizes.std(axis=0) <= ABSENT] = 0.0
    return draws, rough


def without_stock(post: Posterior, stock: int) -> list[tuple[float, Floats, Floats, Floats]]:
    """Return the likeliest configurations with the prior of one stock's law taken out.

    Of each its weight, the mode it had, and the mode and covariance it has without that prior.
    Both multipliers of the law keep a hundredth of their prior's precision, as where the catalogue is left out. The
    prior goes out of each configuration's Gaussian as it came in, linearised where its fit came to rest.
    """
    lay, sites = post.lay, post.sites
    own = [lay.growth.start + stock, lay.wet.start + stock]
    order = np.argsort(-post.weight, kind="stable")[:ALONE]
    found = []
    for k in order:
        config, mode, covariance = post.bank[k], post.fits.mode[k], post.fits.covariance[k].dense()
        mean, variance = post.prior.mean[own].copy(), post.prior.covariance.own[config.rough][own]
        for s in config.chosen:
            if s >= sites.n_data and int(sites.unknown[s - sites.n_data]) in own:
                at = own.index(int(sites.unknown[s - sites.n_data]))
                mean[at] += sites.mean[s]
                variance[at] += sites.variance[s]
        room = np.diag(variance / 0.99) - covariance[np.ix_(own, own)]
        across = covariance[:, own]
        freed = mode + across @ np.linalg.solve(room, mode[own] - mean)
        wider = covariance + across @ np.linalg.solve(room, across.T)
        found.append((float(post.weight[k] / post.weight[order].sum()), mode, freed, wider))
    return found


def _chances(near: Near, weight: Floats, sites: Sites) -> Floats:
    """Return the chance of every explanation: the mean of its share of the bank and of its odds over the bank."""
    for rest in {id(rest): rest for rest, _ in near}.values():
        rest.search.see((state.hyper, state.chosen) for mine, state in near if mine is rest)
    seen = [rest.search.look(state.hyper, state.chosen) for rest, state in near]
    nats, share = np.array([there.gain for there in seen]), np.zeros(sites.count)
    for i, (_, state) in enumerate(near):
        members = list(state.chosen)
        nats[i, members] = seen[i].held
        share[members] += weight[i]
    odds = weight @ (1.0 / (1.0 + np.exp(-nats.clip(-50.0, 50.0))))
    out: Floats = np.clip(0.5 * (share + odds), 0.0, 1.0)
    return out


# Middle and ends of draws: what a figure and its interval are read from

LOW_MIDDLE_HIGH = np.array([0.025, 0.5, 0.975])
"""The median, and between what 95 % of the draws lie."""


def low_middle_high(draws: Floats) -> Floats:
    """Return the 2.5 %, 50 % and 97.5 % quantiles of draws (draws, ...) along their first axis, shape (3, ...).

    Between two draws it goes in a straight line (R. J. Hyndman and Y. Fan, Sample Quantiles in Statistical Packages,
    The American Statistician 50 (1996), definition 7).

    >>> low_middle_high(np.arange(1001.0))
    array([ 25., 500., 975.])
    """
    ranked = np.sort(draws, axis=0)
    place = LOW_MIDDLE_HIGH * (len(draws) - 1)
    below = place.astype(np.int64)
    above = np.minimum(below + 1, len(draws) - 1)
    share = (place - below).reshape(-1, *[1] * (draws.ndim - 1))
    out: Floats = ranked[below] + share * (ranked[above] - ranked[below])
    return out
