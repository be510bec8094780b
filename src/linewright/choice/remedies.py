"""What may be done instead of another line: a preamplifier at the antenna, a shorter route, the radio moved."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from linewright.budget.reception import USUAL_PREAMPLIFIER, Hearing
from linewright.choice.options import as_it_is
from linewright.choice.walks import Span
from linewright.choice.workings import remedy_worked
from linewright.model.choose import Option, Prices, Remedy
from linewright.model.result import Working
from linewright.model.station import LinePart, Preamplifier
from linewright.units.said import say
from linewright.units.writing import digits, metres, plain, quantity

PREAMPLIFIER, MOVED = "masthead preamplifier", "radio moved"


@dataclass(frozen=True, slots=True)
class Reckoned:
    """A remedy, and how it was worked out."""

    remedy: Remedy
    working: Working


def remedies(span: Span, now: Option, prices: Prices, received: Hearing | None) -> tuple[Reckoned, ...]:
    """Return what each remedy does to the run as it is."""
    lies_m = _length(span)
    wishes, out = span.run.wishes, []
    heard = _preamplifier(span, now, prices, received)
    if heard:
        out.append(heard)
    if not lies_m:
        return tuple(out)
    shorter = wishes.shorter_m if wishes.shorter_m is not None else lies_m * 2.0 / 3.0
    route = say("the route shortened to {length}", length=metres(shorter)), shorter, None
    out.append(_shortened(span, now, route, received, prices.currency))
    if wishes.moved_m is not None:
        left = say("the radio moved, {length} of line left", length=metres(wishes.moved_m))
        moved = (left, wishes.moved_m, prices.each.get(MOVED))
        out.append(_shortened(span, now, moved, received, prices.currency))
    return tuple(out)


def _length(span: Span) -> float:
    return sum(p.piece.length_m for p in span.run.chain[span.first : span.end] if isinstance(p, LinePart))


def _preamplifier(span: Span, now: Option, prices: Prices, heard: Hearing | None) -> Reckoned | None:
    """Return what a preamplifier at the antenna does; None where the run hears nothing or has one there."""
    run = span.run
    if heard is None or (run.preamplifier is not None and run.preamplifier.at == "antenna"):
        return None
    given = run.wishes.preamplifier
    one = USUAL_PREAMPLIFIER if given is None else Preamplifier(given[0], given[1], "antenna")
    loss, kelvin = heard.loss_db.mean(axis=-1), heard.middle_kelvin
    before, after = (float(np.mean(heard.cost_db(kelvin, loss, amplifier))) for amplifier in (run.preamplifier, one))
    gain = before - after
    price = prices.each.get(PREAMPLIFIER)
    what = say("a preamplifier at the antenna, bypassed on transmit ({gain} dB, noise figure {figure} dB)",
               gain=digits(one.gain_db), figure=digits(one.noise_figure_db))  # fmt: skip
    remedy = Remedy(what, price, 0.0, gain, _why(0.0, gain, price, prices.currency))
    return Reckoned(remedy, remedy_worked(remedy, (now.loss_db, now.loss_db), (before, after)))


def _shortened(
    span: Span, now: Option, how: tuple[str, float, float | None], received: Hearing | None, currency: str
) -> Reckoned:
    what, length_m, price = how
    short = span.once(f"shortened to {length_m}", lambda: _scaled(span, length_m / _length(span)))
    limit_db = np.array([b.limit_db for b in now.bands])
    after = as_it_is(short, limit_db, received)
    gain, better, lost = now.loss_db - after.loss_db, None, None
    if now.reception_loss_db is not None and after.reception_loss_db is not None:
        lost = now.reception_loss_db, after.reception_loss_db
        better = lost[0] - lost[1]
    remedy = Remedy(what, price, gain, better, _why(gain, better, price, currency))
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
        return say("nothing is won for the money")
    each = plain(price / best, 0)
    return say("{price} a decibel", price=quantity(each, currency) if currency else each)
