"""The search for explanations: a beam over sets of them and the hyperparameters, adding, dropping and swapping."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.gram import Gram
from linewright.evidence.layout import F
from linewright.evidence.sites import Sites

Chosen = tuple[int, ...]

BEAM = 10
REACH_NATS = 7.0
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
    """What adding each explanation to a set would gain in nats, and the conditional entries it comes from."""

    gain: F
    a: F
    b: F
    evidence: float


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
            float(pull @ found) - float(m @ (m * precision)) + np.linalg.slogdet(inverse)[1] + float(np.log(precision).sum())
        )
        evidence = gram.evidence + own + float(gram.logit[z].sum())
    else:
        a, b, evidence = gram.diagonal, gram.w, gram.evidence
    a = np.maximum(a, 0.0)
    d, mean = sites.variance, sites.mean
    grown = 1.0 + d * a
    gain = gram.logit - 0.5 * np.log(grown) + 0.5 * (b * b * d + 2.0 * b * mean - a * mean * mean) / grown
    if z:
        gain[z] = -np.inf
    return Gains(gain, a, b, evidence)


class Search:
    """The beam. Looks up each set at most once."""

    def __init__(self, grams: list[Gram], log_weights: F, sites: Sites, beam: int = BEAM) -> None:
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
        order = np.argpartition(-seen.gain, min(TRIES, len(seen.gain) - 1))[:TRIES] if len(seen.gain) else []
        return [
            self._state(hyper, tuple(sorted((*chosen, int(s)))), seen.evidence + float(seen.gain[s]))
            for s in order
            if seen.evidence + seen.gain[s] + self._log_weights[hyper] > least
        ]

    def _neighbours(self, state: State, least: float) -> list[State]:
        found = self._additions(state.hyper, state.chosen, least)
        for z in state.chosen:
            rest = tuple(s for s in state.chosen if s != z)
            without = self.look(state.hyper, rest)
            found.append(self._state(state.hyper, rest, without.evidence))
            found += self._additions(state.hyper, rest, least)
        for hyper in range(len(self.grams)):
            if hyper != state.hyper:
                found.append(self._state(hyper, state.chosen, self.look(hyper, state.chosen).evidence))
        return found

    def run(self, starts: list[State] | list[tuple[int, Chosen]], depth: int = 40) -> list[State]:
        """Return every state met within reach of the best, best first."""
        met: dict[tuple[int, Chosen], State] = {}
        for start in starts:
            hyper, chosen = (start.hyper, start.chosen) if isinstance(start, State) else start
            met[hyper, chosen] = self._state(hyper, chosen, self.look(hyper, chosen).evidence)
        opened: set[tuple[int, Chosen]] = set()
        for _ in range(depth):
            ranked = sorted(met.values(), key=lambda s: -s.evidence)
            best = ranked[0].evidence
            front = [s for s in ranked[: self._beam] if (s.hyper, s.chosen) not in opened and s.evidence > best - REACH_NATS]
            if not front:
                break
            for state in front:
                opened.add((state.hyper, state.chosen))
                for near in self._neighbours(state, best - REACH_NATS):
                    met.setdefault((near.hyper, near.chosen), near)
        ranked = sorted(met.values(), key=lambda s: -s.evidence)
        return [s for s in ranked if s.evidence > ranked[0].evidence - REACH_NATS]


def climb(gram: Gram, sites: Sites, chosen: Chosen = (), most: int = 2000, least: float = 0.0) -> Chosen:
    """Return a set reached by adding the best explanation as long as one gains more than ``least`` nats."""
    for _ in range(most):
        seen = gains(gram, sites, chosen)
        if not len(seen.gain) or float(seen.gain.max()) <= least:
            break
        chosen = tuple(sorted((*chosen, int(seen.gain.argmax()))))
    return chosen
