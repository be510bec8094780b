"""Where the search for explanations starts and where it comes to rest, for every hyperparameter at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from linewright.evidence.bottom import as_observations, out_of_the_way
from linewright.evidence.fit import Configuration, Fits, point_at, problem_of, refit, robust_mode
from linewright.evidence.gains import Chosen, gains
from linewright.evidence.gram import DENSE, Gram, Point
from linewright.evidence.layout import Floats, Layout
from linewright.evidence.mean import losses
from linewright.evidence.noise import Noise, Parts, Weights
from linewright.evidence.priors import Priors
from linewright.evidence.search import Search, State, climbs
from linewright.evidence.sites import BENT, BREAK, JOINT, MISREAD

Progress = Callable[[float, str], None]

TURNS = 3
STILL = 0.02
"""A search has settled when no unknown moves more than this (log or dB)."""
FAR = 0.25
"""An unknown explained away by more than this (log or dB) deserves second thoughts."""
APART_DB = 0.3
"""Two starts whose readings differ by more than this are both followed."""


@dataclass(frozen=True, slots=True)
class Settled:
    """Where one start of the search came to rest: the linearisation there and the states around it."""

    x: Floats
    point: Point
    parts: Parts
    weights: list[Weights]
    exact: list[Weights]
    search: Search
    states: list[State]
    evidence: float


class Bench:
    """A layout with all that stays the same while the search goes on."""

    def __init__(self, lay: Layout, priors: Priors) -> None:
        self.problem = problem_of(lay, priors)
        self.lay, self.priors = lay, priors
        self.sites, self.prior, self.bottom = self.problem.sites, self.problem.prior, self.problem.bottom
        self.noise = Noise(lay, priors)
        self.aside = out_of_the_way(self.bottom, lay.n)
        self.pairs, self.log_weights = _hypers(priors)

    def starts(self) -> list[tuple[Floats, Floats]]:
        """Return robust modes to start from, with each reading's doubt: cautious and plain, if they differ.

        A large bench is started from once.
        """
        parts = self.noise.parts(losses(self.lay, self.prior.mean[None]).cell_db[0], self.aside)
        found = [robust_mode(self.problem, parts, cautious) for cautious in self._manners()]
        apart = np.abs(found[0][0].expected_db - found[-1][0].expected_db).max(initial=0.0)
        return [(point.x, doubt) for point, doubt in (found if apart > APART_DB else found[:1])]

    def _manners(self) -> tuple[bool, ...]:
        return (True, False) if self.sites.count <= DENSE else (True,)

    def linearise(self, x: Floats) -> tuple[Point, Parts, list[Weights], Gram]:
        """Linearise at ``x`` for every hyperparameter."""
        point = point_at(self.lay, x)
        point.residual_db[self.bottom.rows], soft = as_observations(self.bottom, point.expected_db, self.lay.n)
        parts = self.noise.parts(point.cell_db, soft)
        weights = [parts.weights(scale) for scale in self.priors.noise_scales]
        return point, parts, weights, Gram(self.lay, self.sites, self.prior, weights, point)

    def second_thoughts(self, rest: Settled) -> list[tuple[Floats, Chosen]]:
        """Return a further start, and what it bars at first: a cable was said to leave its law, or a meter to bend.

        A long step is where linearising misleads, so what the search made of it is tried again from the plain side.
        On a large bench much else speaks of each unknown, and the search is long: there it is not.
        """
        chosen = tuple(s for s in rest.states[0].chosen if self.sites.kind[s] in (BREAK, BENT, JOINT))
        if not chosen or self.sites.count > DENSE:
            return []
        x = rest.x.copy()
        x[self.sites.unknown[np.array(chosen) - self.sites.n_data]] = 0.0
        return [(x, chosen)] if np.abs(x - rest.x).max() > FAR else []

    def refit(self, exact: list[Weights], x: Floats, configurations: list[Configuration]) -> Fits:
        """Refit configurations from ``x``."""
        return refit(self.problem, exact, x, configurations)

    def settle(self, x: Floats, doubt: Floats, tell: Progress, barred: Chosen = ()) -> Settled:
        """Search and relinearise at the best until it stays."""
        states: list[State] = []
        for turn in range(TURNS):
            point, parts, weights, gram = self.linearise(x)
            exact = weights
            if len(self.bottom.rows):
                exact = [
                    self.noise.parts(point.cell_db, self.aside).weights(scale) for scale in self.priors.noise_scales
                ]
            search = Search(gram, self.log_weights)
            starts = [(s.hyper, s.chosen) for s in states[:10]]
            starts = starts or _starts(gram, self.log_weights, doubt, barred)
            before = (states[0].hyper, states[0].chosen) if states else None
            states = search.run(starts, partial(_tick, tell, turn))
            best = states[0]
            found = self.refit(exact, x, [Configuration(*self.pairs[best.hyper], best.chosen)])
            moved = float(np.abs(found.mode[0] - x).max(initial=0.0))
            x = found.mode[0]
            if before == (best.hyper, best.chosen) or moved < STILL:
                break
        evidence = float(found.evidence[0] + self.log_weights[best.hyper])
        return Settled(x, point, parts, weights, exact, search, states, evidence)


def _hypers(priors: Priors) -> tuple[list[tuple[int, int]], Floats]:
    pairs = [(k, r) for k in range(len(priors.noise_scales)) for r in (0, 1)]
    rough = (1.0 - priors.rough_p, priors.rough_p)
    return pairs, np.log([priors.noise_weights[k] * rough[r] for k, r in pairs])


def _starts(gram: Gram, log_weights: Floats, doubt: Floats, barred: Chosen) -> list[tuple[int, Chosen]]:
    """Return where the search begins: a climb for every hyperparameter, on a large bench one climb for all."""
    sites, settings = gram.sites, range(len(gram))
    if sites.count <= DENSE:
        return list(zip(settings, climbs(gram, [(h, ()) for h in settings], barred), strict=True))
    clear = tuple(int(s) for s in np.flatnonzero(sites.kind == MISREAD) if doubt[sites.target[s]] > 0.9)
    seen = gains(gram, [(h, clear) for h in settings])
    first = int(np.argmax([g.evidence + w for g, w in zip(seen, log_weights, strict=True)]))
    return [(first, climbs(gram, [(first, clear)], barred)[0])]


def _tick(tell: Progress, turn: int, share: float) -> None:
    tell(0.15 + 0.2 * (turn + share), "weighing explanations")
