"""The search for explanations: a beam over sets of them and the hyperparameters, adding, dropping and swapping."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from heapq import nlargest
from operator import attrgetter

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.inference.bench.censored import as_observations, out_of_the_way
from linewright.inference.bench.design import Layout, losses
from linewright.inference.bench.fit import STEPS, Configuration, Refits, point_at, problem_of, refit, robust_mode
from linewright.inference.bench.gains import (
    Chosen,
    Gains,
    Gram,
    Key,
    Point,
    Weighed,
    gains,
    gains_without,
    weighed,
)
from linewright.inference.bench.hypotheses import BENT, BREAK, CONTACT, FAULT, JOINT, MISMARKED, MISREAD, Sites
from linewright.inference.bench.noise import Noise, Parts, Weights
from linewright.inference.priors import Priors

# The search for explanations: a beam over sets of them and the hyperparameters, adding, dropping and swapping

BEAM = 10
REACH_NATS = 7.0
CLEAR_NATS = 8.0
MANY = 12
WEAKEST = 8
"""How many members of a set, the least needed first, are tried for dropping and swapping."""
CROWDED = 30
"""Sets larger than this are searched with a narrow beam and for fewer rounds: their explanations hardly meet."""
ROUNDS = 40
MOST_SITES = 1200
"""A bench of more explanations is searched from one start and without second thoughts."""
TRIES = 14
"""How many of the best additions of one state are followed."""


@dataclass(frozen=True, slots=True)
class State:
    """One set of explanations under one setting of the hyperparameters, with its log evidence."""

    hyper: int
    chosen: Chosen
    evidence: float


class Search:
    """The beam. Looks up each set at most once; what is ``pinned`` stays in every set."""

    def __init__(self, gram: Gram, log_weights: Floats, pinned: Chosen = (), beam: int = BEAM) -> None:
        self.gram, self._log_weights, self._pinned, self._beam = gram, log_weights.tolist(), pinned, beam
        self._known: dict[Key, Gains] = {}
        self._weighed: dict[Key, Weighed] = {}
        self._added: set[Key] = set()

    def look(self, hyper: int, chosen: Chosen) -> Gains:
        """Return the gains around a state, worked out once."""
        key = (hyper, chosen)
        if key not in self._known:
            self.see([key])
        return self._known[key]

    def see(self, keys: Iterable[Key]) -> None:
        """Work out the gains around several states at once, those that are not known yet."""
        fresh = [key for key in dict.fromkeys(keys) if key not in self._known]
        if fresh:
            self._known.update(zip(fresh, gains(self.gram, fresh), strict=True))

    def see_without(self, keys: Sequence[tuple[int, Chosen, Sequence[int]]]) -> None:
        """Work out the gains around sets less the member at each of some places, from the solve of the whole set."""
        for (hyper, chosen, places), found in zip(keys, gains_without(self.gram, keys), strict=True):
            for k, gain in zip(places, found, strict=True):
                self._known[hyper, chosen[:k] + chosen[k + 1 :]] = gain

    def weigh(self, keys: Iterable[Key]) -> list[Weighed]:
        """Return the evidence of states of which nothing else is asked yet, each worked out once."""
        asked = list(keys)
        fresh = [key for key in dict.fromkeys(asked) if key not in self._weighed]
        if fresh:
            self._weighed.update(zip(fresh, weighed(self.gram, fresh), strict=True))
        return [self._weighed[key] for key in asked]

    def _evidences(self, keys: list[Key]) -> Iterator[tuple[Key, float]]:
        for key, there in zip(keys, self.weigh(keys), strict=True):
            yield key, there.evidence + self._log_weights[key[0]]

    def _additions(self, hyper: int, chosen: Chosen, least: float) -> list[tuple[Key, float]]:
        """Return the best additions to a set above a least evidence, with theirs.

        Those of one set are given once: the least only ever rises.
        """
        seen = self.look(hyper, chosen)
        if not len(seen.gain) or (hyper, chosen) in self._added:
            return []
        self._added.add((hyper, chosen))
        order = np.argpartition(-seen.gain, min(TRIES, len(seen.gain) - 1))[:TRIES]
        found, own = [], self._log_weights[hyper]
        for s, gain in zip(order.tolist(), seen.gain[order].tolist(), strict=True):
            if (evidence := seen.evidence + gain + own) > least:
                k = bisect(chosen, s)
                found.append(((hyper, (*chosen[:k], s, *chosen[k:])), evidence))
        return found

    def _near(self, hyper: int, chosen: Chosen) -> list[tuple[int, Chosen]]:
        """Return the sets a set becomes by dropping one member, the least needed first, with the member's place."""
        weakest = WEAKEST if len(chosen) <= CROWDED else WEAKEST // 4
        order = np.argsort(self.look(hyper, chosen).held, kind="stable")[:weakest].tolist()
        return [(k, chosen[:k] + chosen[k + 1 :]) for k in order if chosen[k] not in self._pinned]

    def _look_around(self, front: Sequence[Key]) -> None:
        """Work out all that the neighbours of some states are read from."""
        self.see(front)
        self.weigh((hyper, chosen) for _, chosen in front for hyper in range(len(self.gram)))
        asked: list[tuple[int, Chosen, list[int]]] = []
        fresh: set[Key] = set()
        for hyper, chosen in front:
            left = [(k, (hyper, rest)) for k, rest in self._near(hyper, chosen)]
            left = [(k, key) for k, key in left if key not in self._known and key not in fresh]
            fresh.update(key for _, key in left)
            asked.append((hyper, chosen, [k for k, _ in left]))
        self.see_without(asked)

    def _neighbours(self, key: Key, least: float) -> Iterator[tuple[Key, float]]:
        hyper, chosen = key
        yield from self._additions(hyper, chosen, least)
        here, own = self.look(hyper, chosen), self._log_weights
        for k, rest in self._near(hyper, chosen):
            yield (hyper, rest), here.evidence - float(here.held[k]) + own[hyper]
            yield from self._additions(hyper, rest, least)
        yield from self._evidences([(other, chosen) for other in range(len(self.gram)) if other != hyper])

    def _turned(self, key: Key, evidence: float) -> dict[Key, float]:
        """Return states within reach in which readings taken for wrong and those taken for right change sides.

        No chain of single moves leads across when several readings stand on either side.
        """
        sides: list[Chosen] = []
        hyper, chosen = key
        for group in self.gram.sites.camps:
            mine = set(group.members) & set(chosen)
            if mine:
                rest = set(chosen) - set(group.related) | (set(group.members) - mine) | set(self._pinned)
                sides.append(tuple(sorted(rest)))
        pruned = [(hyper, there) for there in self._pruned(hyper, sides)]
        turned = [(hyper, there) for there in climbs(self.gram, pruned)]
        found = {
            there: seen.evidence + self._log_weights[hyper]
            for there, seen in zip(turned, self.weigh(turned), strict=True)
        }
        return {there: nats for there, nats in found.items() if nats > evidence - REACH_NATS}

    def _pruned(self, hyper: int, sets: list[Chosen]) -> list[Chosen]:
        """Drop what each set does not need, the least needed first; all sets side by side."""
        found, left = list(sets), [i for i, chosen in enumerate(sets) if chosen]
        while left:
            seen, still = self.weigh([(hyper, found[i]) for i in left]), []
            for i, there in zip(left, seen, strict=True):
                held = np.where(np.isin(found[i], self._pinned), 0.0, there.held) if self._pinned else there.held
                k = int(held.argmin())
                if held[k] < 0.0:
                    found[i] = found[i][:k] + found[i][k + 1 :]
                    if found[i]:
                        still.append(i)
            left = still
        return found

    def run(self, starts: list[Key], tick: Callable[[float], None] | None = None) -> list[State]:
        """Return every state met within reach of the best, best first; ``tick`` hears the share of rounds gone."""
        met = {
            key: there.evidence + self._log_weights[key[0]]
            for key, there in zip(starts, self.weigh(starts), strict=True)
        }
        opened: set[Key] = set()
        crowded = max(len(chosen) for _, chosen in starts) > CROWDED
        rounds, beam = (ROUNDS // 5, 2) if crowded else (ROUNDS, self._beam)
        for turn in range(rounds):
            if tick:
                tick(turn / rounds)
            ranked = nlargest(beam, met, key=met.__getitem__)
            best = met[ranked[0]]
            front = [key for key in ranked if key not in opened and met[key] > best - REACH_NATS]
            if not front:
                turned = {} if crowded else self._turned(ranked[0], best)
                fresh = {key: evidence for key, evidence in turned.items() if key not in met}
                if not fresh:
                    break
                met |= fresh
            self._look_around(front)
            for key in front:
                opened.add(key)
                for near, evidence in self._neighbours(key, best - REACH_NATS):
                    met.setdefault(near, evidence)
        least = max(met.values()) - REACH_NATS
        within = [State(*key, float(evidence)) for key, evidence in met.items() if evidence > least]
        return sorted(within, key=attrgetter("evidence"), reverse=True)


def climbs(gram: Gram, starts: Sequence[Key], barred: Chosen = (), most: int = 2000) -> list[Chosen]:
    """Return the sets reached by adding the best explanation that is not barred, as long as one gains anything.

    All starts climb side by side. On a bench with many clear ones, the clearest reading of every block is added at
    once.
    """
    found = [chosen for _, chosen in starts]
    climbing = list(range(len(starts)))
    for _ in range(most):
        seen = gains(gram, [(starts[i][0], found[i]) for i in climbing])
        still = []
        for i, gain in zip(climbing, (s.gain for s in seen), strict=True):
            gain[list(barred)] = -np.inf
            if len(gain) and float(gain.max()) > 0.0:
                found[i] = tuple(sorted({*found[i], int(gain.argmax()), *_clear(gram.sites, gain)}))
                still.append(i)
        climbing = still
        if not climbing:
            break
    return found


def _clear(sites: Sites, gain: Floats) -> list[int]:
    """Return the clearest explanation of each block when there are many beyond doubt; none on a small bench."""
    sure = np.flatnonzero(gain[: sites.n_data] > CLEAR_NATS)
    if len(sure) < MANY:
        return []
    best: dict[int, int] = {}
    for s in sure:
        block = int(sites.lay.block[sites.members[s][0]])
        if block not in best or gain[s] > gain[best[block]]:
            best[block] = int(s)
    return list(best.values())


# Where the search for explanations starts and where it comes to rest, for every hyperparameter at once

Progress = Callable[[float, str], None]

TURNS = 3
STILL = 0.02
"""A search has settled when no unknown moves more than this (log or dB)."""
FAR = 0.25
"""An unknown explained away by more than this (log or dB) deserves second thoughts."""
HOPELESS = 1 / 3
"""Where more than this share of the readings is taken for wrong, nothing that hides behind them is searched for."""
ALL_NATS = 3.0
"""Pieces are tried as lines of another impedance together where the longest alone comes as near to the best."""
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


class SearchedBench:
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
        return (True, False) if self.sites.count <= MOST_SITES else (True,)

    def linearise(self, x: Floats) -> tuple[Point, Parts, list[Weights], Gram]:
        """Linearise at ``x`` for every hyperparameter."""
        point = point_at(self.lay, x)
        point.residual_db[self.bottom.rows], soft = as_observations(self.bottom, point.expected_db, self.lay.n)
        parts = self.noise.parts(point.losses.cell_db[0], soft)
        weights = [parts.weights(scale) for scale in self.priors.noise_scales]
        return point, parts, weights, Gram(self.problem.pattern, self.sites, self.prior, weights, point)

    def second_thoughts(self, rest: Settled) -> list[tuple[Floats, Chosen]]:
        """Return a further start, and what it bars at first: a cable was said to leave its law, or a meter to bend.

        A long step is where linearising misleads, so what the search made of it is tried again from the plain side.
        On a large bench much else speaks of each unknown, and the search is long: there it is not.
        """
        if self._hopeless(rest):
            return []
        chosen = tuple(s for s in rest.states[0].chosen if self.sites.kind[s] in (BREAK, BENT, JOINT, CONTACT, FAULT))
        if not chosen or self.sites.count > MOST_SITES:
            return []
        x = rest.x.copy()
        x[self.sites.unknown[np.array(chosen) - self.sites.n_data]] = 0.0
        return [(x, chosen)] if np.abs(x - rest.x).max() > FAR else []

    def _hopeless(self, rest: Settled) -> bool:
        """Tell whether so many readings are taken for wrong that the others tell nothing finer."""
        return int((self.sites.kind[list(rest.states[0].chosen)] == MISREAD).sum()) > HOPELESS * self.lay.n

    def marked_otherwise(self, rest: Settled, tell: Progress) -> list[Settled]:
        """Return further searches where pieces read as a line of another impedance does: that they are such lines.

        The longest alone; and where that is not far behind, all of them. What such a line's echoes take is known by its
        range on short waves, and is free only where there is such a line: no chain of moves that start without it leads
        there.
        """
        suspects = self.lay.suspects
        if not suspects or self.sites.count > MOST_SITES or self._hopeless(rest):
            return []
        longest = max(suspects, key=lambda p: self.lay.sheet.pieces[p].length_m)
        found = [self._as_rivals(rest, [longest], tell)]
        if len(suspects) > 1 and found[0].evidence > rest.evidence - ALL_NATS:
            found.append(self._as_rivals(rest, list(suspects), tell))
        return found

    def _as_rivals(self, rest: Settled, pieces: Sequence[int], tell: Progress) -> Settled:
        """Search on from where another came to rest, with some pieces held for what they are suspected to be."""
        lay, x, pinned = self.lay, rest.x.copy(), []
        for p in pieces:
            growth = lay.growth.start + lay.stocks.index(lay.sheet.pieces[p].stock_name)
            rival = lay.suspects[p] * len(lay.sheet.pieces) + p
            x[growth], x[lay.mismarked.start + rival] = self.prior.mean[growth], 1.0
            here = (self.sites.kind == MISMARKED) & (self.sites.target == rival)
            pinned.append(int(np.flatnonzero(here)[0]))
        return self.settle(x, np.zeros(lay.n), tell, pinned=tuple(sorted(pinned)))

    def refit(self, exact: list[Weights], x: Floats, configurations: list[Configuration], steps: int = STEPS) -> Refits:
        """Refit configurations from ``x``, one point for all (size) or one for each (c, size)."""
        return refit(self.problem, exact, x, configurations, steps)

    def settle(self, x: Floats, doubt: Floats, tell: Progress, barred: Chosen = (), pinned: Chosen = ()) -> Settled:
        """Search and relinearise at the best until it stays; ``barred`` are left out at first, ``pinned`` in always."""
        states: list[State] = []
        for turn in range(TURNS):
            point, parts, weights, gram = self.linearise(x)
            exact = weights
            if len(self.bottom.rows):
                exact = [
                    self.noise.parts(point.losses.cell_db[0], self.aside).weights(scale)
                    for scale in self.priors.noise_scales
                ]
            search = Search(gram, self.log_weights, pinned)
            starts = [(s.hyper, s.chosen) for s in states[:10]]
            starts = starts or _starts(gram, self.log_weights, doubt, barred, pinned)
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


def _starts(gram: Gram, log_weights: Floats, doubt: Floats, barred: Chosen, pinned: Chosen) -> list[Key]:
    """Return where the search begins: a climb for every hyperparameter, on a large bench one climb for all."""
    sites, settings = gram.sites, range(len(gram))
    if sites.count <= MOST_SITES:
        return list(zip(settings, climbs(gram, [(h, pinned) for h in settings], barred), strict=True))
    clear = tuple(int(s) for s in np.flatnonzero(sites.kind == MISREAD) if doubt[sites.target[s]] > 0.9)
    seen = weighed(gram, [(h, clear) for h in settings])
    first = int(np.argmax([g.evidence + w for g, w in zip(seen, log_weights, strict=True)]))
    return [(first, climbs(gram, [(first, clear)], barred)[0])]


def _tick(tell: Progress, turn: int, share: float) -> None:
    tell(0.15 + 0.2 * (turn + share), say("weighing explanations"))
