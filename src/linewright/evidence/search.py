"""The search for explanations: a beam over sets of them and the hyperparameters, adding, dropping and swapping."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from linewright.evidence.gains import Chosen, Gains, Key, gains
from linewright.evidence.gram import Gram
from linewright.evidence.layout import Floats
from linewright.evidence.sites import Sites

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


class Search:
    """The beam. Looks up each set at most once."""

    def __init__(self, gram: Gram, log_weights: Floats, beam: int = BEAM) -> None:
        self.gram, self._log_weights, self._beam = gram, log_weights, beam
        self._known: dict[Key, Gains] = {}

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

    def _near(self, state: State) -> list[tuple[int, Chosen]]:
        """Return the sets a state becomes by dropping one member, the least needed first, with the member's place."""
        weakest = WEAKEST if len(state.chosen) <= CROWDED else WEAKEST // 4
        held = self.look(state.hyper, state.chosen).held
        order = np.argsort(held, kind="stable")[:weakest].tolist()
        return [(k, state.chosen[:k] + state.chosen[k + 1 :]) for k in order]

    def _around(self, front: Sequence[State]) -> Iterator[Key]:
        """Yield every state whose gains the neighbours of some states are read from."""
        self.see((state.hyper, state.chosen) for state in front)
        for state in front:
            yield from ((state.hyper, rest) for _, rest in self._near(state))
            yield from ((hyper, state.chosen) for hyper in range(len(self.gram)))

    def _neighbours(self, state: State, least: float) -> list[State]:
        found = self._additions(state.hyper, state.chosen, least)
        here = self.look(state.hyper, state.chosen)
        for k, rest in self._near(state):
            found.append(self._state(state.hyper, rest, here.evidence - float(here.held[k])))
            found += self._additions(state.hyper, rest, least)
        for hyper in range(len(self.gram)):
            if hyper != state.hyper:
                found.append(self._state(hyper, state.chosen, self.look(hyper, state.chosen).evidence))
        return found

    def _turned(self, state: State) -> list[State]:
        """Return states within reach in which readings taken for wrong and those taken for right change sides.

        No chain of single moves leads across when several readings stand on either side.
        """
        sides = []
        for group in self.gram.sites.camps:
            mine = set(group.members) & set(state.chosen)
            if mine:
                rest = set(state.chosen) - set(group.related) | (set(group.members) - mine)
                sides.append((state.hyper, self._pruned(state.hyper, tuple(sorted(rest)))))
        turned = [(state.hyper, chosen) for chosen in climbs(self.gram, sides)]
        self.see(turned)
        found = [self._state(hyper, chosen, self.look(hyper, chosen).evidence) for hyper, chosen in turned]
        return [there for there in found if there.evidence > state.evidence - REACH_NATS]

    def _pruned(self, hyper: int, chosen: Chosen) -> Chosen:
        """Drop what a set does not need, the least needed first."""
        while chosen:
            held = self.look(hyper, chosen).held
            k = int(held.argmin())
            if held[k] >= 0.0:
                break
            chosen = chosen[:k] + chosen[k + 1 :]
        return chosen

    def run(self, starts: list[Key], tick: Callable[[float], None] | None = None) -> list[State]:
        """Return every state met within reach of the best, best first; ``tick`` hears the share of rounds gone."""
        met: dict[Key, State] = {}
        self.see(starts)
        for hyper, chosen in starts:
            met[hyper, chosen] = self._state(hyper, chosen, self.look(hyper, chosen).evidence)
        opened: set[Key] = set()
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
            self.see(self._around(front))
            for state in front:
                opened.add((state.hyper, state.chosen))
                for near in self._neighbours(state, best - REACH_NATS):
                    met.setdefault((near.hyper, near.chosen), near)
        ranked = sorted(met.values(), key=lambda s: -s.evidence)
        return [s for s in ranked if s.evidence > ranked[0].evidence - REACH_NATS]


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
