"""The posterior of a bench: from a layout to weighted configurations, draws, and the chance of every explanation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from linewright.evidence.bottom import Bottom, as_observations, bottom_of, out_of_the_way
from linewright.evidence.fit import Configuration, Fits, point_at, refit, robust_mode
from linewright.evidence.gram import DENSE, Gram, Point
from linewright.evidence.layout import Floats, Layout
from linewright.evidence.mean import expected_db, losses
from linewright.evidence.noise import Parts, Weights, noise_parts
from linewright.evidence.prior import Prior, prior_of
from linewright.evidence.priors import Priors
from linewright.evidence.search import Chosen, Search, State, climb, gains
from linewright.evidence.sites import Sites, sites_of

Progress = Callable[[float, str], None]

DRAWS = 1000
REFITS = 24
REFIT_NATS = 6.0
SEED = 20_240_217


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

    def prior_covariance(self, rough: int) -> Floats:
        """Return the covariance of the unknowns before any reading, all explanations off, (size, size)."""
        out: Floats = np.linalg.inv(self.prior.precision[rough])
        return out


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


def _linearise(
    lay: Layout, sites: Sites, prior: Prior, priors: Priors, soft: Floats, point: Point
) -> tuple[Parts, list[Weights], list[Gram]]:
    parts = noise_parts(lay, losses(lay, point.x[None]).cell_db[0], soft, priors)
    weights = [parts.weights(scale) for scale in priors.noise_scales]
    pairs, _ = _hypers(priors)
    return parts, weights, [Gram(lay, sites, prior, weights[k], point, r) for k, r in pairs]


def infer(lay: Layout, priors: Priors, progress: Progress | None = None) -> Posterior:
    """Return the posterior of a bench. Deterministic: the same sheet always gets the same answer."""
    say: Progress = progress or (lambda share, what: None)
    sites, prior = sites_of(lay, priors), prior_of(lay, priors)
    pairs, log_weights = _hypers(priors)
    bottom = bottom_of(lay)
    aside = out_of_the_way(bottom, lay.n)
    parts = noise_parts(lay, losses(lay, prior.mean[None]).cell_db[0], aside, priors)
    say(0.05, "finding a start")
    x, doubt = robust_mode(lay, parts, prior, sites, priors, bottom)
    states: list[State] = []
    for turn in range(3):
        say(0.15 + 0.2 * turn, "weighing explanations")
        point = point_at(lay, x)
        point.residual_db[bottom.rows], soft = as_observations(bottom, expected_db(lay, x[None])[0], lay.n)
        parts, weights, grams = _linearise(lay, sites, prior, priors, soft, point)
        exact = [parts.weights(s, aside, lay) for s in priors.noise_scales] if len(bottom.rows) else weights
        search = Search(grams, log_weights, sites)
        starts = [(s.hyper, s.chosen) for s in states[:10]] or _starts(grams, log_weights, sites, doubt)
        before = (states[0].hyper, states[0].chosen) if states else None
        states = search.run(starts, partial(_tick, say, turn))
        best = states[0]
        k, r = pairs[best.hyper]
        found = refit(lay, sites, prior, exact, bottom, x, [Configuration(k, r, best.chosen)])
        moved = float(np.abs(found.mode[0] - x).max(initial=0.0))
        x = found.mode[0]
        if before == (best.hyper, best.chosen) or moved < 0.02:
            break
    say(0.75, "refitting")
    near = [s for s in states if s.evidence > states[0].evidence - REFIT_NATS][:REFITS]
    bank = [Configuration(*pairs[s.hyper], s.chosen) for s in near]
    fits = refit(
        lay, sites, prior, exact, bottom, x, [*bank, Configuration(bank[0].scale, bank[0].rough, bank[0].chosen, True)]
    )
    alone = (fits.mode[-1], fits.covariance[-1])
    fits = Fits(fits.mode[:-1], fits.covariance[:-1], fits.evidence[:-1])
    score = fits.evidence + np.array([log_weights[s.hyper] for s in near])
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    say(0.9, "drawing")
    draws, rough = _draw(fits, weight, bank)
    chance = _chances(search, near, weight, sites)
    return Posterior(
        lay, sites, prior, priors, draws, rough, chance, bank, weight, fits, point, search, parts, weights,
        _bottom_wrong(lay, bottom, draws), alone,
    )  # fmt: skip


def _starts(grams: list[Gram], log_weights: Floats, sites: Sites, doubt: Floats) -> list[tuple[int, Chosen]]:
    """Return where the search begins: a climb for every hyperparameter, on a large bench one climb for all."""
    if sites.count <= DENSE:
        return [(h, climb(gram, sites)) for h, gram in enumerate(grams)]
    clear = tuple(int(s) for s in np.flatnonzero(sites.kind == 0) if doubt[sites.target[s]] > 0.9)
    first = int(np.argmax([gains(g, sites, clear).evidence + w for g, w in zip(grams, log_weights, strict=True)]))
    return [(first, climb(grams[first], sites, clear))]


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


def _chances(search: Search, near: list[State], weight: Floats, sites: Sites) -> Floats:
    """Return the chance of every explanation: the mean of its share of the bank and of its odds over the bank."""
    share, odds = np.zeros(sites.count), np.zeros(sites.count)
    for state, w in zip(near, weight, strict=True):
        seen = search.look(state.hyper, state.chosen)
        p = 1.0 / (1.0 + np.exp(-np.clip(seen.gain, -50.0, 50.0)))
        members = list(state.chosen)
        p[members] = 1.0 / (1.0 + np.exp(-np.clip(seen.held, -50.0, 50.0)))
        share[members] += w
        odds += w * p
    return 0.5 * (share + odds)
