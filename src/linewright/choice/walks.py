"""Every choice of a run walked at once: what the whole run loses, over frequencies and draws.

Between the choices only the span differs. Power into a linear chain is a quadratic form of voltage and current behind
it, so each main run is walked twice, each tail once, and a pair of them costs four products.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from functools import lru_cache
from itertools import groupby
from math import prod
from typing import Any, TypeVar

import numpy as np

from linewright.choice.candidates import LineCandidate, LineSource
from linewright.core.arrays import Floats
from linewright.core.formulas.two_port import VoltageCurrent
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.station import Antenna, ConnectorPart, Run, TunerPart
from linewright.link.chain import antenna_state
from linewright.link.draws import DRAWS, Draws, draws_of, lean_db
from linewright.link.sections import RunSection, sections

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Span:
    """The parts of a run that a choice replaces: from ``first`` to before ``end``."""

    run: Run
    first: int
    end: int
    beliefs: Mapping[str, Belief]
    draws: int = DRAWS
    walked: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)
    """What was walked already, by a name: spans that differ only in what is asked of the line share it."""

    def once(self, name: str, walk: Callable[[], T]) -> T:
        """Return what was walked under a name; it is walked when it is first asked for."""
        if name not in self.walked:
            self.walked[name] = walk()
        found: T = self.walked[name]
        return found

    @property
    def frequency_hz(self) -> Floats:
        """The run's frequencies, (f,)."""
        return np.asarray(self.run.frequencies_hz, dtype=np.float64)

    def with_(self, candidate: LineCandidate) -> Run:
        """Return the run with a choice in the place of the span."""
        parts = candidate.parts(self.run.wishes.connector)
        return replace(self.run, chain=(*self.run.chain[: self.first], *parts, *self.run.chain[self.end :]))

    def drawn(self, run: Run) -> Draws:
        """Return the draws of a run: those of a plan, unless the span has a number of its own."""
        return draws_of(run, self.beliefs, self.draws)

    def known(self, run: Run) -> tuple[RunSection, ...]:
        """Return the sections of a run at the run's frequencies."""
        return sections(run, self.frequency_hz, self.drawn(run))

    def split(
        self, candidate: LineCandidate
    ) -> tuple[tuple[RunSection, ...], tuple[RunSection, ...], VoltageCurrent, int]:
        """Return the sections before a choice and behind it, the state there (the antenna takes 1), the branches."""
        run = self.with_(candidate)
        found = self.known(run)
        end = self.first + len(candidate.parts(run.wishes.connector))
        state = antenna_state(run.antenna, self.frequency_hz, self.drawn(run))
        root = np.sqrt(state.power)
        state = back(found[end:], VoltageCurrent(state.voltage / root, state.current / root))
        ways = prod(s.ways for s in (*found[: self.first], *found[end:]))
        return found[: self.first], found[end:], state, ways

    def sections_of(self, source: LineSource, length_m: float) -> tuple[RunSection, ...]:
        """Return the sections a line or piece makes of a length."""
        family = self.run.wishes.connector
        line, *joint = source.parts(length_m, "line", family)
        known = self.known(replace(self.run, chain=(line,)))
        return (*known, _joint(family, self.run.frequencies_hz, self.draws)) if joint else known


@lru_cache(maxsize=64)
def _joint(family: str, frequencies_hz: tuple[float, ...], draws: int) -> RunSection:
    """Return the mated pair of a new section, the same in every choice."""
    run = Run("joint", frequencies_hz, 1.0, (ConnectorPart("connectors of the line", family),), Antenna())
    (section,) = sections(run, np.asarray(frequencies_hz, dtype=np.float64), Draws(draws, {}))
    return section


def back(found: Sequence[RunSection], state: VoltageCurrent) -> VoltageCurrent:
    """Return the state at the radio's end of some sections."""
    for section in reversed(found):
        state = section.back(state)
    return state


@dataclass(frozen=True, slots=True)
class Group:
    """Choices that have their parts in the same places, and the power into the run with each of them.

    ``at`` holds, by the number of the main run, where each of its choices stands among all, and the number of its tail.
    """

    at: Mapping[int, Sequence[tuple[int, int]]]
    ways: int
    lean_db: Floats
    """What the mean lies over the middle, (main, tail, f); see ``Walk.parts_db``."""
    power: Callable[[int], Floats]
    """What enters the run with a main run and each tail, (tail, f, draws); the antenna takes 1."""


@dataclass(frozen=True, slots=True)
class RunLosses:
    """What the whole run loses with every choice. Kept are the factors: all draws of a thousand choices fill memory."""

    groups: tuple[Group, ...]
    middle_db: Floats
    """As a plan tells it, (choice, f)."""

    def kept(self, limit_db: Floats) -> tuple[Floats, Floats]:
        """Return the share of draws that keep limits (f,): by band, (choice, f), and on all bands, (choice,)."""
        each, whole = np.empty_like(self.middle_db), np.empty(len(self.middle_db))
        for at, power, _ in _each(self.groups):
            keeps = power <= 10.0 ** (limit_db[:, None] / 10.0)
            each[at], whole[at] = keeps.mean(axis=-1), keeps.all(axis=1).mean(axis=-1)
        return each, whole


def _each(groups: Sequence[Group]) -> Iterator[tuple[list[int], Floats, Floats]]:
    """Yield the choices of one main run after another.

    That is their places; the powers into the run, (choice, f, draws), where the antennas take 1 in all; and what the
    mean lies over the middle, (choice, f).
    """
    for group in groups:
        for k, places in group.at.items():
            tails = [tail for _, tail in places]
            yield [at for at, _ in places], group.power(k)[tails] / group.ways, group.lean_db[k, tails]


def losses_of(span: Span, candidates: Sequence[LineCandidate]) -> RunLosses:
    """Return the losses of the whole run with every choice."""
    kinds = [(c.main.belief is None, c.tail is not None and c.tail.belief is None, c.tail is None) for c in candidates]
    order = sorted(range(len(candidates)), key=lambda i: kinds[i])
    groups = tuple(_alike(span, list(at), candidates) for _, at in groupby(order, key=lambda i: kinds[i]))
    middle_db = np.empty((len(candidates), len(span.run.frequencies_hz)))
    for at, power, lean in _each(groups):
        middle_db[at] = (10.0 / np.log(10.0)) * np.log(power).mean(axis=-1) - lean
    return RunLosses(groups, middle_db)


def _alike(span: Span, at: Sequence[int], candidates: Sequence[LineCandidate]) -> Group:
    """Return choices that have their parts in the same places."""
    group = [candidates[i] for i in at]
    before, after, behind, ways = span.split(group[0])
    mains = list({c.main.name: c.main for c in group}.values())
    tails = list({c.tail.name if c.tail else "": c.tail for c in group}.values())
    laid = [span.sections_of(t, group[0].tail_m) if t else () for t in tails]
    ends = _stacked([back(end, behind) for end in laid])
    heads = [span.sections_of(m, group[0].main_m) for m in mains]
    places: dict[int, list[tuple[int, int]]] = {}
    for place, one in zip(at, group, strict=True):
        places.setdefault(_place(mains, one.main), []).append((place, _place(tails, one.tail)))
    count = len(span.run.frequencies_hz)
    own, tail = (np.stack([leans_db(x, count) for x in some]) for some in (heads, laid))
    lean = own[:, None] + tail + leans_db((*before, *after), count)
    return Group(places, ways, lean, _power(before, heads, ends))


def leans_db(found: Sequence[RunSection], count: int) -> Floats:
    """Return by how much the means of some sections lie over their middles together, (f,)."""
    return np.asarray(sum((lean_db(s.matched_db) for s in found), np.zeros(count)))


def _place(among: Sequence[LineSource | None], one: LineSource | None) -> int:
    return next(i for i, x in enumerate(among) if x is one)


def _stacked(states: Sequence[VoltageCurrent]) -> VoltageCurrent:
    shape = np.broadcast_shapes(*(s.voltage.shape for s in states))
    return VoltageCurrent(*(np.stack([np.broadcast_to(x, shape) for x in each]) for each in zip(*states, strict=True)))


def _power(
    before: Sequence[RunSection], heads: Sequence[tuple[RunSection, ...]], ends: VoltageCurrent
) -> Callable[[int], Floats]:
    """Return what gives the power into the run with a head and each end, (end, f, draws)."""
    if any(isinstance(s.part, TunerPart) for s in before):
        return lambda k: np.asarray(back(before, back(heads[k], ends)).power)
    form = power_form(before, heads)
    v, i = ends
    cross = v * np.conj(i)
    behind = (np.abs(v) ** 2, np.abs(i) ** 2, cross.real.copy(), cross.imag.copy())
    return lambda k: np.asarray(sum(form[k, n] * x for n, x in enumerate(behind)))


def power_form(before: Sequence[RunSection], heads: Sequence[tuple[RunSection, ...]]) -> Floats:
    """Return what ``|V|², |I|², Re(V I*), Im(V I*)`` behind each head count in the power into the run.

    Shape (head, 4, f, draws). With the chain matrix (a, b, c, d) power is ``Re[(a V + b I)(c V + d I)*]``.
    """
    one, none = np.ones((1, 1), np.complex128), np.zeros((1, 1), np.complex128)
    a, c = back(before, _stacked([back(head, VoltageCurrent(one, none)) for head in heads]))
    b, d = back(before, _stacked([back(head, VoltageCurrent(none, one)) for head in heads]))
    w = a * np.conj(d) + np.conj(b) * c
    return np.stack([(a * np.conj(c)).real, (b * np.conj(d)).real, w.real, -w.imag], axis=1)
