"""What may be done instead of another line: a preamplifier at the antenna, a shorter route, the radio moved."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from linewright.choice.candidates import LineCandidate, LineSource
from linewright.choice.options import as_it_is
from linewright.choice.walks import Span, back, leans_db
from linewright.choice.workings import remedy_worked
from linewright.core.arrays import Floats
from linewright.core.formatting import digits, metres, plain, quantity
from linewright.core.formulas.lossy_line import impedance_skew
from linewright.core.formulas.two_port import VoltageCurrent, through_line
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.choice import LongestRun, Option, Prices, Remedy, RemedyKind
from linewright.core.nouns.station import LinePart, Preamplifier
from linewright.core.quantities import DB_PER_NEPER
from linewright.link.draws import ENDS, lean_db
from linewright.link.reception import USUAL_PREAMPLIFIER, Hearing, with_amplifier

# What may be done instead of another line: a preamplifier at the antenna, a shorter route, the radio moved

PREAMPLIFIER, MOVED = "masthead preamplifier", "radio moved"


@dataclass(frozen=True, slots=True)
class Reckoned:
    """A remedy, and how it was worked out."""

    remedy: Remedy
    working: Working


def remedies(span: Span, now: Option, prices: Prices, received: Hearing | None) -> tuple[Reckoned, ...]:
    """Return the effect of each remedy on the present run."""
    lies_m = _length(span)
    wishes, out = span.run.wishes, []
    heard = _preamplifier(span, now, prices, received)
    if heard:
        out.append(heard)
    if not lies_m:
        return tuple(out)
    shorter = wishes.shorter_m if wishes.shorter_m is not None else lies_m * 2.0 / 3.0
    route = _Way("route", say("the route shortened to {length}", length=metres(shorter)), shorter, None)
    out.append(_shortened(span, now, route, received, prices.currency))
    if wishes.moved_m is not None:
        left = say("the radio moved, {length} of line left", length=metres(wishes.moved_m))
        moved = _Way("moved", left, wishes.moved_m, prices.each.get(MOVED))
        out.append(_shortened(span, now, moved, received, prices.currency))
    return tuple(out)


def _length(span: Span) -> float:
    return sum(p.piece.length_m for p in span.run.chain[span.first : span.end] if isinstance(p, LinePart))


def _preamplifier(span: Span, now: Option, prices: Prices, heard: Hearing | None) -> Reckoned | None:
    """Return what a preamplifier at the antenna does; None where the run hears nothing or has one there."""
    run = span.run
    if heard is None or (heard.links and heard.links[0].amplifier is not None):
        return None
    given = run.wishes.preamplifier
    one = USUAL_PREAMPLIFIER if given is None else Preamplifier(given[0], given[1], "antenna")
    bare = tuple(link for link in heard.links if link.amplifier is None)
    before, after = (float(np.mean(heard.cost_of(x))) for x in (heard.links, with_amplifier(bare, one)))
    gain = before - after
    price = prices.each.get(PREAMPLIFIER)
    what = say("a preamplifier at the antenna, bypassed on transmit ({gain} dB, noise figure {figure} dB)",
               gain=digits(one.gain_db), figure=digits(one.noise_figure_db))  # fmt: skip
    remedy = Remedy(what, price, 0.0, gain, _why(0.0, gain, price, prices.currency), "preamplifier")
    return Reckoned(remedy, remedy_worked(remedy, (now.loss_db, now.loss_db), (before, after)))


class _Way(NamedTuple):
    """A way to shorten the line: its name in words, the remaining length, the cost."""

    kind: RemedyKind
    what: str
    length_m: float
    price: float | None


def _shortened(span: Span, now: Option, way: _Way, received: Hearing | None, currency: str) -> Reckoned:
    short = span.once(f"shortened to {way.length_m}", lambda: _scaled(span, way.length_m / _length(span)))
    limit_db = np.array([b.limit_db for b in now.bands])
    after = as_it_is(short, limit_db, received)
    gain, better, lost = now.loss_db - after.loss_db, None, None
    if now.reception_loss_db is not None and after.reception_loss_db is not None:
        lost = now.reception_loss_db, after.reception_loss_db
        better = lost[0] - lost[1]
    why = _why(gain, better, way.price, currency)
    remedy = Remedy(way.what, way.price, gain, better, why, way.kind)
    return Reckoned(remedy, remedy_worked(remedy, (now.loss_db, after.loss_db), lost))


def _scaled(span: Span, factor: float) -> Span:
    """Return the span with its lines longer or shorter; what is believed of them by the metre stays."""
    chain, beliefs = list(span.run.chain), dict(span.beliefs)
    for i in range(span.first, span.end):
        part = chain[i]
        if isinstance(part, LinePart):
            piece = replace(part.piece, length_m=part.piece.length_m * factor)
            chain[i] = replace(part, piece=piece)
            if piece.tag in beliefs:
                beliefs[piece.tag] = replace(beliefs[piece.tag], piece=piece)
    return replace(span, run=replace(span.run, chain=tuple(chain)), beliefs=beliefs, walked={})


def _why(transmit_db: float, reception_db: float | None, price: float | None, currency: str) -> str:
    best = max(transmit_db, reception_db or 0.0)
    if price is None:
        return say("no price is stated")
    if best < 0.05:
        return say("no gain for the cost")
    each = plain(price / best, 0)
    return say("{price} a decibel", price=quantity(each, currency) if currency else each)


# How long a line may be, alone from end to end, before the whole run loses more than its limit

Summary = Callable[["_Lengths", Floats], Floats]
"""What lines of some lengths lose, in the middle or in a quantile, (line, f)."""

ROUGH_DRAWS = 48
"""Lengths are sought with so many draws, and mended with all of them by the slope found."""
STEPS = 2
CUTS = 7
LEAST_M = 1e-3
METRE = 1.0


def longest_runs(span: Span, sources: Sequence[LineSource], limit_db: Floats) -> tuple[LongestRun, ...]:
    """Return how long each new line may be at each frequency of the run, (f,) limits given."""
    new = [s for s in sources if s.belief is None]
    if not new:
        return ()
    few = replace(span, draws=ROUGH_DRAWS, walked={})
    loss, rough = span.once("lengths", lambda: (_Lengths(span, new), _Lengths(few, new)))
    middle = _at_limit(loss, rough, limit_db, lambda lines, x: lines.middle_db(x))
    least, most = (
        _at_limit(loss, rough, limit_db, lambda lines, x, q=q: np.quantile(lines.loss_db(x), q, axis=-1))  # type: ignore[misc]
        for q in reversed(ENDS)
    )
    low, high = np.minimum(middle, least), np.maximum(middle, most)
    return tuple(
        LongestRun(s.name, f, float(limit_db[j]), float(middle[i, j]), float(low[i, j]), float(high[i, j]))
        for i, s in enumerate(new)
        for j, f in enumerate(span.run.frequencies_hz)
    )


def _at_limit(loss: _Lengths, rough: _Lengths, limit_db: Floats, summary: Summary) -> Floats:
    """Return the lengths at which a summary of the loss reaches the limit, from rough ones, by what a metre loses."""
    found = rough.at_limit(limit_db, summary)
    for _ in range(STEPS):
        over = summary(loss, found) - limit_db
        found = np.where(found > 0.0, np.maximum(found - over / loss.metre_db, 0.0), 0.0)
    return found


class _Lengths:
    """The loss of the whole run with each line as long as one likes."""

    def __init__(self, span: Span, new: Sequence[LineSource]) -> None:
        self._before, after, behind, self._ways = span.split(LineCandidate(new[0], METRE))
        self._lines = [span.sections_of(s, METRE) for s in new]
        (_, joint) = self._lines[0]
        self._behind = joint.back(behind)
        lines = [found[0].line for found in self._lines]
        self._conductor = np.stack([x.conductor_db for x in lines if x])
        self._dielectric = np.stack([x.dielectric_db for x in lines if x])
        self._phase = np.stack([x.phase_rad for x in lines if x])
        self._ohm = np.array([x.impedance_ohm for x in lines if x])[:, None, None]
        self._lean_per_m = lean_db(self._conductor + self._dielectric)
        self._lean = leans_db((*self._before, joint, *after), len(span.run.frequencies_hz))
        self._skew = impedance_skew(self._conductor, self._dielectric, self._phase)

    @property
    def metre_db(self) -> Floats:
        """What a metre of each line loses in the middle, (line, f)."""
        return np.asarray((self._conductor + self._dielectric).mean(axis=-1))

    def loss_db(self, length_m: Floats) -> Floats:
        """Return the loss of the whole run, (line, f, draws), for lengths (line, f)."""
        length = length_m[..., None]
        nepers = (self._conductor + self._dielectric) * length / DB_PER_NEPER
        turn = np.exp(1j * self._phase * length)
        state: VoltageCurrent = through_line(self._behind, nepers, turn, self._ohm, self._skew)  # type: ignore[arg-type]
        return np.asarray(10.0 * np.log10(back(self._before, state).power / self._ways))

    def middle_db(self, length_m: Floats) -> Floats:
        """Return the loss of the whole run in the middle, (line, f), as a plan tells it."""
        return np.asarray(self.loss_db(length_m).mean(axis=-1) - self._lean_per_m * length_m - self._lean)

    def at_limit(self, limit_db: Floats, summary: Summary) -> Floats:
        """Return the lengths at which a summary of the loss reaches the limit; 0 where none does.

        Bisection by the rule of false position: loss grows nearly straight with length, so each cut gains a figure.
        """
        slowest = (self._conductor + self._dielectric).min(axis=-1)
        low, high = np.full_like(slowest, LEAST_M), np.maximum(1.1 * limit_db / slowest, 2.0 * LEAST_M)
        under, over = (summary(self, x) - limit_db for x in (low, high))
        none = under > 0
        middle = low
        for _ in range(CUTS):
            share = np.clip(under / np.where(under == over, -1.0, under - over), 0.02, 0.98)
            middle = low + share * (high - low)
            here = summary(self, middle) - limit_db
            fits = here <= 0
            low, high = np.where(fits, middle, low), np.where(fits, high, middle)
            under, over = np.where(fits, here, under / 2.0), np.where(fits, over / 2.0, here)
        return np.where(none, 0.0, middle)
