"""The search for explanations: a beam over sets of them and the hyperparameters, adding, dropping and swapping."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from linewright.evidence.gram import Gram
from linewright.evidence.layout import Floats
from linewright.evidence.sites import Sites

Chosen = tuple[int, ...]

BEAM = 10
REACH_NATS = 7.0
CLEAR_NATS = 8.0
MANY = 12
WEAKEST = 8
"""How many members of a set, the least needed first, are tried for dropping and swapping."""
CROWDED = 30
"""Sets larger than this are searched with a narrow beam and for fewer rounds: their explanations hardly meet."""
ROUNDS = 40
TRIES = 6
"""How many of the best additions of one state are followed."""


@dataclass(frozen=True, slots=True)
class State:
    """One set of explanations under one setting of the hyperparameters, with its log evidence."""

    hyper: int
    chosen: Chosen
    evidence: float


@dataclass(frozen=True, slots=True)
class Gains:
    """What adding each explanation to a set would gain in nats, and the conditional entries it comes from.

    ``a`` and ``b`` are G's diagonal and w given the set; of a member, given the others of the set. ``held`` is what
    each member gained over the set without it, in the order of the set.
    """

    gain: Floats
    a: Floats
    b: Floats
    evidence: float
    held: Floats


def gains(gram: Gram, sites: Sites, chosen: Chosen) -> Gains:
    """Return the evidence of a set and the gain of adding every other explanation to it."""
    z = list(chosen)
    if z:
        columns = gram.columns(chosen)
        m, precision = sites.mean[z], 1.0 / sites.variance[z]
        inverse = np.linalg.inv(columns[z] + np.diag(precision))
        pull = gram.w[z] + m * precision
        found = inverse @ pull
        b = gram.w - columns @ found
        a = gram.diagonal - np.einsum("ij,ij->i", columns @ inverse, columns)
        own = 0.5 * (
            float(pull @ found)
            - float(m @ (m * precision))
            + np.linalg.slogdet(inverse)[1]
            + float(np.log(precision).sum())
        )
        evidence = gram.evidence + own + float(gram.logit[z].sum())
        spread = np.diag(inverse)
        a[z], b[z] = 1.0 / spread - precision, found / spread - m * precision
        held = _gain(gram.logit[z], a[z], b[z], sites.variance[z], m)
    else:
        a, b, evidence, held = gram.diagonal, gram.w, gram.evidence, np.zeros(0)
    gain = _gain(gram.logit, a, b, sites.variance, sites.mean)
    if z:
        gain[z] = -np.inf
    return Gains(gain, np.maximum(a, 0.0), b, evidence, held)


def _gain(logit: Floats, a: Floats, b: Floats, d: Floats, mean: Floats) -> Floats:
    """Return the log evidence gained by an effect ~ N(mean, d) whose conditional entries of G and w are a and b."""
    a = np.maximum(a, 0.0)
    grown = 1.0 + d * a
    out: Floats = logit - 0.5 * np.log(grown) + 0.5 * (b * b * d + 2.0 * b * mean - a * mean * mean) / grown
    return out


class Search:
    """The beam. Looks up each set at most once."""

    def __init__(self, grams: list[Gram], log_weights: Floats, sites: Sites, beam: int = BEAM) -> None:
        self.grams, self._log_weights, self._sites, self._beam = grams, log_weights, sites, beam
        self._known: dict[tuple[int, Chosen], Gains] = {}

    def look(self, hyper: int, chosen: Chosen) -> Gains:
        """Return the gains around a state, worked out once."""
        key = (hyper, chosen)
        if key not in self._known:
            self._known[key] = gains(self.grams[hyper], self._sites, chosen)
        return self._known[key]

    def _state(self, hyper: int, chosen: Chosen, evidence: float) -> State:
        return State(hyper, chosen, evidence + float(self._log_weights[hyper]))

    def _additions(self, hyper: int, chosen: Chosen, least: float) -> list[State]:
        seen = self.look(hyper, chosen)
        if not len(seen.gain):
            return []
        order = np.argpartition(-seen.gain, min(TRIES, len(seen.gain) - 1))[:TRIES]
        return [
            self._state(hyper, tuple(sorted((*chosen, int(s)))), seen.evidence + float(seen.gain[s]))
            for s in order
            if seen.evidence + seen.gain[s] + self._log_weights[hyper] > least
        ]

    def _neighbours(self, state: State, least: float) -> list[State]:
        found = self._additions(state.hyper, state.chosen, least)
        here = self.look(state.hyper, state.chosen)
        weakest = WEAKEST if len(state.chosen) <= CROWDED else WEAKEST // 4
        for k in np.argsort(here.held, kind="stable")[:weakest]:
            rest = state.chosen[:k] + state.chosen[k + 1 :]
            found.append(self._state(state.hyper, rest, here.evidence - float(here.held[k])))
            found += self._additions(state.hyper, rest, least)
        for hyper in range(len(self.grams)):
            if hyper != state.hyper:
                found.append(self._state(hyper, state.chosen, self.look(hyper, state.chosen).evidence))
        return found

    def _turned(self, state: State) -> list[State]:
        """Return states within reach in which readings taken for wrong and those taken for right change sides.

        No chain of single moves leads across when several readings stand on either side.
        """
        found = []
        for group in self._sites.camps:
            mine = set(group.members) & set(state.chosen)
            if not mine:
                continue
            rest = set(state.chosen) - set(group.related) | (set(group.members) - mine)
            chosen = self._tidied(state.hyper, tuple(sorted(rest)))
            turned = self._state(state.hyper, chosen, self.look(state.hyper, chosen).evidence)
            if turned.evidence > state.evidence - REACH_NATS:
                found.append(turned)
        return found

    def _tidied(self, hyper: int, chosen: Chosen) -> Chosen:
        """Drop what a set does not need, the least needed first, then add what it lacks."""
        while chosen:
            held = self.look(hyper, chosen).held
            k = int(held.argmin())
            if held[k] >= 0.0:
                break
            chosen = chosen[:k] + chosen[k + 1 :]
        return climb(self.grams[hyper], self._sites, chosen)

    def run(self, starts: list[tuple[int, Chosen]], tick: Callable[[float], None] | None = None) -> list[State]:
        """Return every state met within reach of the best, best first; ``tick`` hears the share of rounds gone."""
        met: dict[tuple[int, Chosen], State] = {}
        for hyper, chosen in starts:
            met[hyper, chosen] = self._state(hyper, chosen, self.look(hyper, chosen).evidence)
        opened: set[tuple[int, Chosen]] = set()
        crowded = max(len(chosen) for _, chosen in starts) > CROWDED
        rounds, beam = (ROUNDS // 5, 2) if crowded else (ROUNDS, self._beam)
        for turn in range(rounds):
            if tick:
                tick(turn / rounds)
            ranked = sorted(met.values(), key=lambda s: -s.evidence)
            best = ranked[0].evidence
            front = [s for s in ranked[:beam] if (s.hyper, s.chosen) not in opened and s.evidence > best - REACH_NATS]
            if not front:
                turned = [] if crowded else self._turned(ranked[0])
                fresh = {(s.hyper, s.chosen): s for s in turned if (s.hyper, s.chosen) not in met}
                if not fresh:
                    break
                met |= fresh
            for state in front:
                opened.add((state.hyper, state.chosen))
                for near in self._neighbours(state, best - REACH_NATS):
                    met.setdefault((near.hyper, near.chosen), near)
        ranked = sorted(met.values(), key=lambda s: -s.evidence)
        return [s for s in ranked if s.evidence > ranked[0].evidence - REACH_NATS]


def climb(gram: Gram, sites: Sites, chosen: Chosen = (), barred: Chosen = (), most: int = 2000) -> Chosen:
    """Return a set reached by adding the best explanation that is not barred, as long as one gains anything.

    On a bench with many clear ones, the clearest reading of every block is added at once.
    """
    for _ in range(most):
        gain = gains(gram, sites, chosen).gain
        gain[list(barred)] = -np.inf
        if not len(gain) or float(gain.max()) <= 0.0:
            break
        chosen = tuple(sorted({*chosen, int(gain.argmax()), *_clear(sites, gain)}))
    return chosen


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
