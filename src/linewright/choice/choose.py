"""The verb: which line to lay for one run, by price, by what reaches the antenna, and by what is heard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from linewright.choice import remedies
from linewright.choice.candidates import LineCandidate, LineSource, barred, candidates, solid, sources, stiff
from linewright.choice.options import as_it_is, heard, option
from linewright.choice.remedies import longest_runs
from linewright.choice.walks import RunLosses, Span, losses_of
from linewright.choice.workings import longest_worked, losses_worked
from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.formatting import frequency, metres, plain
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.choice import Barred, Beaten, Choice, LongestRun, Measure, Option, Prices, Step, Wishes
from linewright.core.nouns.line import LineType
from linewright.core.nouns.station import LinePart, NoiseSite, Run
from linewright.link.draws import curve_at
from linewright.link.reception import Hearing

# The trade-off of price against loss: which choices no other beats, and which other beats the rest

Places = NDArray[np.int_]


def frontier(price: Floats, loss: Floats) -> Places:
    """Return the places of the choices no other beats, from cheap to dear.

    One beats another that costs no less and loses no less, and is not its equal; of equals the first stays.

    >>> frontier(np.array([1.0, 2.0, 3.0, 2.0]), np.array([3.0, 1.0, 2.0, 1.0]))
    array([0, 1])
    """
    order = np.lexsort((loss, price))
    if not len(order):
        return order
    least = np.minimum.accumulate(loss[order])
    first = np.r_[True, least[1:] < least[:-1]]
    return order[first]


def beaten_by(place: int, best: Places, price: Floats, loss: Floats) -> int:
    """Return the choice of the frontier that beats another: of those that cost no more, the one that loses least."""
    return int(best[np.searchsorted(price[best], price[place], side="right") - 1])


# The verb: which line to lay for one run, by price, by what reaches the antenna, and by what is heard


LIMITS = ("limit_db", "sure", "budget", "voltage_margin", "heat_margin")
"""Wishes that judge a choice and change nothing of what it loses."""
SURE = 0.9
"""How probable it is that a cautious choice keeps the limits."""
TRIED = 40
"""So many choices are held against voltage and heat, the cheapest first."""
DOUBTFUL = (0.1, 0.9)


@dataclass(frozen=True, slots=True)
class Question:
    """One run, what is on sale and on hand for it, and what is believed of the pieces by their tags.

    ``beliefs`` holds those of the pieces in the run too; ``on_hand`` are the tags that may be laid.
    """

    run: Run
    prices: Prices
    beliefs: Mapping[str, Belief] = field(default_factory=dict)
    on_hand: tuple[str, ...] = ()
    own: tuple[LineType, ...] = ()
    noise: NoiseSite | None = None


@dataclass(frozen=True, slots=True)
class Prepared:
    """The part of a question that does not depend on its limits: the candidates and their losses.

    ``price`` is (choice,), not a number where there is none.
    """

    question: Question
    span: Span
    found: tuple[LineSource, ...]
    barred: tuple[Barred, ...]
    length_m: float
    choices: tuple[LineCandidate, ...]
    losses: RunLosses
    price: Floats
    received: Hearing | None


@dataclass(slots=True)
class _Field:
    """The choices of a question with their losses, and each in full once it is asked for."""

    question: Question
    span: Span
    limit_db: Floats
    choices: tuple[LineCandidate, ...]
    losses: RunLosses
    price: Floats
    received: Hearing | None
    mean_db: Floats = field(init=False)
    kept: Floats = field(init=False)
    p_meets: Floats = field(init=False)
    _options: dict[int, Option] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Sum up: the loss as a mean over the bands, and how probable it is that all bands keep their limits."""
        self.mean_db = self.losses.middle_db.mean(axis=1)
        self.kept, self.p_meets = self.losses.kept(self.limit_db)

    def option(self, i: int) -> Option:
        """Return a choice in full."""
        if i not in self._options:
            self._options[i] = option(self.span, self.choices[i], f"choice {i}", self.limit_db, self.received)
        return self._options[i]


def choose_line(question: Question) -> Choice:
    """Return which lines may be laid for a run, what each costs and does, and what may be done instead.

    Every choice is reckoned in its place in the run, standing waves included, from the draws that a plan takes.

    Raises
    ------
    InputError
        If the run has no line to replace, a part named is not in it, or the tail is as long as the way.
    """
    return judge(prepare(question), question.run.wishes)


def unlimited(wishes: Wishes) -> Wishes:
    """Return wishes without the limits that only judge a choice: ``judge`` may be asked again with others.

    >>> unlimited(Wishes(limit_db=((0.0, 2.0),), tail_m=3.0)) == unlimited(Wishes(sure=0.9, tail_m=3.0))
    True
    """
    usual = Wishes()
    return replace(wishes, **{name: getattr(usual, name) for name in LIMITS})


def prepare(question: Question) -> Prepared:
    """Return a question as far as its limits do not matter; errors as of ``choose_line``."""
    run = question.run
    wishes = run.wishes
    first, end = span_of(run)
    span = Span(run, first, end, dict(question.beliefs))
    length_m = length_of(run, first, end)
    if wishes.tail_m >= length_m:
        rule = say(
            "must be shorter than the way of {length_m}; got {value}",
            length_m=metres(length_m),
            value=metres(wishes.tail_m),
        )
        raise InputError("tail", rule, cure=say('A tail is a metre or three: --tail "3 m".'))
    found, kept_out = _laid(question, _ohm(run, first, end), length_m)
    choices = candidates(found, wishes, length_m)
    losses = losses_of(span, choices)
    price = np.array([np.nan if c.price is None else c.price for c in choices])
    return Prepared(question, span, found, kept_out, length_m, choices, losses, price, heard(span, question.noise))


def judge(known: Prepared, wishes: Wishes) -> Choice:
    """Return the answer to a question that was prepared, by wishes that differ from its own in the limits alone."""
    assert unlimited(wishes) == unlimited(known.question.run.wishes)
    run = replace(known.question.run, wishes=wishes)
    span = replace(known.span, run=run)
    limit_db = curve_at("limit", wishes.limit_db, span.frequency_hz).real
    judged = _Field(
        replace(known.question, run=run), span, limit_db, known.choices, known.losses, known.price, known.received
    )
    return _answered(judged, known.found, known.barred, known.length_m)


def span_of(run: Run) -> tuple[int, int]:
    """Return which parts of a run are replaced: those it names, else its longest line; first, and behind the last.

    A run without a line but with a route gets one at the antenna.
    """
    if run.wishes.replace:
        places = [_named(run, name) for name in run.wishes.replace]
        return min(places), max(places) + 1
    lines = [(p.piece.length_m, -i) for i, p in enumerate(run.chain) if isinstance(p, LinePart)]
    if not lines and run.wishes.route_m is not None:
        return len(run.chain), len(run.chain)
    if not lines:
        raise InputError(
            "run",
            say("must hold a line to be replaced; {name} has none", name=run.name),
            cure=say("Add the line it has, or a route."),
        )
    return -max(lines)[1], 1 - max(lines)[1]


def _named(run: Run, name: str) -> int:
    wanted = name.lower()
    for i, part in enumerate(run.chain):
        if wanted in (part.name.lower(), part.piece.tag.lower() if isinstance(part, LinePart) else ""):
            return i
    known = ", ".join(part.name for part in run.chain)
    raise InputError(
        "replace",
        say("must name parts of {name}; got {value}", name=run.name, value=repr(name)),
        cure=say("Its parts are {known}.", known=known),
    )


def length_of(run: Run, first: int, end: int) -> float:
    """Return how far the new line reaches: the route where it is stated, else as far as the lines it replaces."""
    if run.wishes.route_m is not None:
        return run.wishes.route_m
    return sum(p.piece.length_m for p in run.chain[first:end] if isinstance(p, LinePart))


def _ohm(run: Run, first: int, end: int) -> float:
    lines = [p for p in run.chain[first:end] if isinstance(p, LinePart) and p.piece.line]
    longest = max(lines, key=lambda p: p.piece.length_m, default=None)
    return longest.piece.line.impedance_ohm if longest and longest.piece.line else 50.0


def _laid(question: Question, ohm: float, length_m: float) -> tuple[tuple[LineSource, ...], tuple[Barred, ...]]:
    """Return the lines that may be laid, and those that may not, each with what bars it."""
    wishes = question.run.wishes
    pieces = {tag: question.beliefs[tag] for tag in question.on_hand if tag in question.beliefs}
    found, out = [], []
    least = min(length_m - wishes.tail_m, wishes.tail_m or length_m)
    for source in sources(question.prices, question.own, pieces):
        why = barred(source, wishes, ohm)
        if why is None and wishes.tail_m <= 0:
            why = stiff(source, wishes)
        if why is None and not source.reaches(least):
            why = Barred(
                source.name,
                say("too short: {length} of {least}", length=metres(source.lies(0).length_m), least=metres(least)),
            )
        if why is None:
            found.append(source)
        else:
            out.append(why)
    return tuple(found), tuple(out)


def _answered(known: _Field, found: Sequence[LineSource], kept_out: tuple[Barred, ...], length_m: float) -> Choice:
    question, run = known.question, known.question.run
    sold = np.flatnonzero(np.isfinite(known.price))
    best = sold[frontier(known.price[sold], known.mean_db[sold])]
    sure, cautious = _cheapest(known, sold, run.wishes.sure), _cheapest(known, sold, SURE)
    trade_off = tuple(known.option(int(i)) for i in best)
    now = as_it_is(known.span, known.limit_db, known.received)
    longest = longest_runs(known.span, found, known.limit_db)
    instead = remedies.remedies(known.span, now, question.prices, known.received)
    return Choice(
        run=run.name,
        currency=question.prices.currency,
        length_m=length_m,
        tail_m=run.wishes.tail_m,
        power_w=run.power_w,
        as_it_is=now,
        trade_off=trade_off,
        cheapest=sure,
        cautious=cautious,
        binding=() if sure else _binding(known, sold, kept_out),
        beaten=_beaten(known, sold, best),
        barred=kept_out,
        unpriced=_unpriced(known),
        longest=longest,
        steps=_steps(trade_off),
        remedies=tuple(one.remedy for one in instead),
        measure=_measure(known, sold, sure),
        remarks=(*_remarks(known, found), *question.prices.remarks),
        workings=_workings(sure or now, longest, instead),
    )


def _cheapest(known: _Field, sold: NDArray[np.int_], p: float) -> Option | None:
    """Return the cheapest choice that keeps every limit, the losses with this probability; of equals the best."""
    keeps = sold[known.p_meets[sold] >= max(p, known.question.run.wishes.sure)]
    if known.question.run.wishes.budget is not None:
        keeps = keeps[known.price[keeps] <= known.question.run.wishes.budget]
    order = keeps[np.lexsort((known.mean_db[keeps], known.price[keeps]))]
    return next((o for i in order[:TRIED] if (o := known.option(int(i))).meets), None)


def _binding(known: _Field, sold: NDArray[np.int_], kept_out: Sequence[Barred]) -> tuple[str, ...]:
    """Return which limits stand in the way where no choice keeps them all, and by how much."""
    if not len(sold):
        out = [say("{name}: {why}.", name=b.name, why=b.why) for b in kept_out]
        return (say("Nothing that may be laid has a price."), *out)
    said = []
    mean = known.losses.middle_db[sold]
    for j, f in enumerate(known.span.run.frequencies_hz):
        i = int(np.argmin(mean[:, j]))
        if known.kept[sold, j].max() < known.question.run.wishes.sure:
            over = mean[i, j] - known.limit_db[j]
            said.append(say(
                "The loss at {f}: the best, {choice}, loses {loss} dB, {over} dB over the limit.",
                f=frequency(f), choice=known.choices[sold[i]].name, loss=plain(mean[i, j], 2), over=plain(over, 2),
            ))  # fmt: skip
    if said:
        return tuple(said)
    keeps = sold[known.p_meets[sold] >= known.question.run.wishes.sure]
    if not len(keeps):
        return (say("No single choice meets the loss limits on all bands at once."),)
    nearest = known.option(int(keeps[np.argmin(known.price[keeps])]))
    return tuple(
        say("{name}: {limit}, {said}.", name=nearest.name, limit=c.limit, said=c.said)
        for c in nearest.checks
        if c.ok is False
    )


def _beaten(known: _Field, sold: NDArray[np.int_], best: NDArray[np.int_]) -> tuple[Beaten, ...]:
    """Return the choices no one need make, the nearest to the trade-off first."""
    out = []
    mean, kept = known.mean_db, set(best.tolist())
    for i in sold[np.argsort(mean[sold])]:
        if int(i) in kept:
            continue
        by = beaten_by(int(i), best, known.price, mean)
        less, cheaper = mean[i] - mean[by], known.price[i] - known.price[by]
        why = say("loses {less} dB less", less=plain(less, 2))
        if cheaper > 0:
            why = say("loses {less} dB less and costs {cheaper} less", less=plain(less, 2), cheaper=plain(cheaper, 2))
        name = known.choices[by].name
        out.append(Beaten(known.choices[i].name, float(known.price[i]), float(mean[i]), name, why))
    return tuple(out)


def _unpriced(known: _Field) -> tuple[Option, ...]:
    """Return what a person's own lines without a price would do, alone from end to end."""
    none = [i for i, c in enumerate(known.choices) if c.price is None and c.tail is None]
    return tuple(known.option(i) for i in none)


def _steps(trade_off: Sequence[Option]) -> tuple[Step, ...]:
    out = []
    for a, b in pairwise(trade_off):
        more, saves = (b.price or 0.0) - (a.price or 0.0), a.loss_db - b.loss_db
        out.append(Step(a.name, b.name, more, saves, more / saves))
    return tuple(out)


def _measure(known: _Field, sold: NDArray[np.int_], sure: Option | None) -> tuple[Measure, ...]:
    """Return the pieces on hand of which nobody can tell whether they keep the limits, alone or with a tail."""
    out: dict[str, Measure] = {}
    doubtful = sold[(known.p_meets[sold] > DOUBTFUL[0]) & (known.p_meets[sold] < DOUBTFUL[1])]
    for i in doubtful[np.argsort(known.price[doubtful])]:
        p, choice = float(known.p_meets[i]), known.choices[i]
        for s in (choice.main, choice.tail):
            if s and s.belief and s.name not in out:
                saves = None if sure is None or sure.price is None else sure.price - float(known.price[i])
                why = say("{choice} meets the limits with probability {p}: measuring {piece} would settle it.",
                          choice=choice.name, p=plain(p, 2), piece=s.name)  # fmt: skip
                out[s.name] = Measure(s.name, p, saves if saves and saves > 0 else None, why)
    return tuple(out.values())


def _remarks(known: _Field, found: Sequence[LineSource]) -> tuple[str, ...]:
    run = known.question.run
    said = [say("{line} has no price: its loss is shown, but it is not considered.", line=s.name)
            for s in found if s.belief is None and s.offer is None]  # fmt: skip
    names = ", ".join(p.name for p in run.chain[known.span.first : known.span.end])
    said.append(
        say("The new line takes the place of {parts}; the rest of the run stays and its losses count.", parts=names)
        if names
        else say("The new line follows everything the run has; the rest of the run stays and its losses count.")
    )
    hard = [s.name for s in found if run.wishes.tail_m > 0 and solid(s.line) and run.wishes.bend_radius_m is None]
    if hard:
        said.append(say(
            "Not used for a tail, because the centre is solid: {lines}. State a bend_radius to decide by that "
            "instead.",
            lines=", ".join(hard),
        ))  # fmt: skip
    family = run.wishes.connector
    said.append(say(
        "Each new section counts with one mated pair of {family} connectors, and with two connectors to buy.",
        family=family,
    ))  # fmt: skip
    if remedies.MOVED in known.question.prices.each and run.wishes.moved_m is None:
        said.append(say('Moving the radio has a price, but the remaining length is not stated: add moved = "8 m".'))
    if run.wishes.outdoors:
        unsaid = [s.name for s in found if s.offer and s.offer.outdoors is None]
        if unsaid:
            said.append(say("Cannot tell whether it withstands sun and rain: {lines}.", lines=", ".join(unsaid)))
    return tuple(said)


def _workings(
    option: Option, longest: Sequence[LongestRun], instead: Sequence[remedies.Reckoned]
) -> tuple[Working, ...]:
    return (*losses_worked(option), *map(longest_worked, longest), *(one.working for one in instead))
