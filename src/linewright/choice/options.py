"""One choice in full: what it does on every band, and each limit held against it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from linewright.choice.candidates import LineCandidate, figure
from linewright.choice.walks import Span
from linewright.core.arrays import Floats
from linewright.core.formatting import digits, frequency, plain
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.choice import Check, ChosenBand, Option, Stretch, Wishes
from linewright.core.nouns.line import LineType
from linewright.core.nouns.station import LinePart, NoiseSite, Run
from linewright.link.chain import Walk, antenna_state, walk
from linewright.link.draws import DRAWS, upper
from linewright.link.figures import RunFigures, figures_of, fold_back, swr_on
from linewright.link.ratings import rating_of, stresses
from linewright.link.reception import Hearing, hearing, links_of

Flags = NDArray[np.bool_]


def figures(span: Span, run: Run) -> RunFigures:
    """Return the figures of a run at the draws of a choice."""
    shared = span.drawn(run)
    return figures_of(run, walk(span.known(run), antenna_state(run.antenna, span.frequency_hz, shared)))


def heard(span: Span, noise: NoiseSite | None) -> Hearing | None:
    """Return what reception is reckoned from, the same for every choice of a run."""
    return hearing(figures(span, span.run), noise, span.draws)


def option(span: Span, candidate: LineCandidate, name: str, limit_db: Floats, received: Hearing | None) -> Option:
    """Return a choice in full; it is walked once under its name."""
    end = span.first + len(candidate.parts(span.run.wishes.connector))
    known = span.once(name, lambda: Laid(span, span.with_(candidate), end))
    lines = [s.line for s in (candidate.main, candidate.tail) if s]
    named = Named(candidate.name, candidate.stretches, candidate.price, lines)
    return _option(known, named, span.run.wishes, limit_db, received)


def as_it_is(span: Span, limit_db: Floats, received: Hearing | None) -> Option:
    """Return the run as it is, as a choice that costs nothing."""
    lies = [p for p in span.run.chain[span.first : span.end] if isinstance(p, LinePart)]
    kept = tuple(Stretch(p.name, p.piece.length_m, 0.0, p.measured) for p in lies)
    named = Named(say("as it is"), kept, 0.0, [p.piece.line for p in lies if p.piece.line])
    known = span.once("as it is", lambda: Laid(span, span.run, span.end))
    return _option(known, named, span.run.wishes, limit_db, received)


@dataclass(frozen=True, slots=True)
class Named:
    """What a choice is called, what it is made of, what it costs, and the types in it."""

    name: str
    stretches: tuple[Stretch, ...]
    price: float | None
    lines: Sequence[LineType]


class Laid:
    """A run with a choice in it, walked: losses, and what the choice's own parts bear. Parts go to before ``end``."""

    def __init__(self, span: Span, run: Run, end: int) -> None:
        self.run, self.frequency_hz = run, span.frequency_hz
        shared = span.drawn(run)
        walked = walk(span.known(run), antenna_state(run.antenna, span.frequency_hz, shared))
        self.loss_db = np.broadcast_to(walked.total_db, (len(self.frequency_hz), span.draws))
        self.total_db = walked.whole_db
        self.links = links_of(run, walked)
        swr = swr_on(walked.states[0], None)
        arrives = 10.0 ** (-self.total_db.middle / 10.0)
        self.at_antenna_w = run.power_w * fold_back(run, np.median(swr, axis=-1)) * arrives
        self._margins(walked, span.first, end, run.power_w * fold_back(run, swr))

    def _margins(self, walked: Walk, first: int, end: int, given_w: Floats) -> None:
        """Hold the ratings of the parts against their loads, as a plan does, and keep the least margins (f,)."""
        own = Walk(walked.sections[first:end], walked.states[first : end + 1], walked.loss_db[first:end])
        given_w = given_w * own.states[0].power / walked.states[0].power
        average_w = self.run.duty * self.run.mode_factor * given_w
        count = len(self.frequency_hz)
        self.voltage_margin, self.heat_margin = np.full(count, np.inf), np.full(count, np.inf)
        for section, stress in zip(own.sections, stresses(own), strict=True):
            rated = [rating_of(section.part, f, self.run.temperature_celsius) for f in self.run.frequencies_hz]
            volts = np.array([np.inf if r.voltage_v is None else r.voltage_v for r in rated])
            watts = np.array([np.inf if r.power_w is None else r.power_w for r in rated])
            self.voltage_margin = np.minimum(self.voltage_margin, volts / upper(stress.voltage_v * np.sqrt(given_w)))
            if stress.alike_w is not None:
                self.heat_margin = np.minimum(self.heat_margin, watts / upper(stress.alike_w * average_w))


def _option(known: Laid, named: Named, wishes: Wishes, limit_db: Floats, received: Hearing | None) -> Option:
    keeps = known.loss_db <= limit_db[:, None]
    bands = _bands(known, keeps, limit_db, received)
    checks = _checks(wishes, bands, named.price, named.lines)
    p_meets = float(keeps.all(axis=0).mean())
    received_db = [b.reception_loss_db for b in bands if b.reception_loss_db is not None]
    return Option(
        name=named.name,
        stretches=named.stretches,
        price=named.price,
        loss_db=float(np.mean(known.total_db.middle)),
        loss_db_90=float(np.quantile(known.loss_db.mean(axis=0), 0.9)),
        reception_loss_db=float(np.mean(received_db)) if received_db else None,
        p_meets=p_meets,
        bands=bands,
        checks=checks,
        meets=all(c.ok is not False for c in checks) and p_meets >= wishes.sure,
    )


def _bands(known: Laid, keeps: Flags, limit_db: Floats, received: Hearing | None) -> tuple[ChosenBand, ...]:
    """Return what a choice does on each band; ``keeps`` says in which draws a limit is kept, (f, draws)."""
    middle, low, high = known.total_db
    most = np.quantile(known.loss_db, 0.9, axis=-1)
    lost = None if received is None else received.cost_of(known.links)
    return tuple(
        ChosenBand(
            frequency_hz=f,
            loss_db=float(middle[i]),
            loss_db_low=float(low[i]),
            loss_db_high=float(high[i]),
            loss_db_90=float(most[i]),
            limit_db=float(limit_db[i]),
            p_meets=float(keeps[i].mean()),
            power_at_antenna_w=float(known.at_antenna_w[i]),
            reception_loss_db=None if lost is None else float(lost[i]),
            voltage_margin=_known(known.voltage_margin[i]),
            heat_margin=_known(known.heat_margin[i]),
        )
        for i, f in enumerate(known.run.frequencies_hz)
    )


def _known(margin: float) -> float | None:
    return float(margin) if np.isfinite(margin) else None


def _checks(
    wishes: Wishes, bands: tuple[ChosenBand, ...], price: float | None, lines: Sequence[LineType]
) -> tuple[Check, ...]:
    checks = [_loss(b, wishes.sure) for b in bands]
    for what, least, margins in (
        (say("voltage"), wishes.voltage_margin, [b.voltage_margin for b in bands]),
        (say("heat"), wishes.heat_margin, [b.heat_margin for b in bands]),
    ):
        known = [m for m in margins if m is not None]
        if not known:
            checks.append(Check(what, None, say("no rating is known")))
        else:
            said = say("rating {times} times the load, where {least} times is required",
                       times=plain(min(known), 1), least=digits(least))  # fmt: skip
            checks.append(Check(what, min(known) >= least, said))
    if wishes.budget is not None:
        checks.append(_money(price, wishes.budget))
    checks += [c for line in lines for c in _unknown(line, wishes)]
    return tuple(checks)


def _loss(band: ChosenBand, sure: float) -> Check:
    over = band.loss_db - band.limit_db
    given = {"loss": plain(band.loss_db, 2), "by": plain(abs(over), 2), "kept": plain(DRAWS * band.p_meets, 0)}
    said = (
        say("loses {loss} dB, {by} dB over the limit; met in {kept} of {draws} draws", **given, draws=DRAWS)
        if over > 0
        else say("loses {loss} dB, {by} dB under the limit; met in {kept} of {draws} draws", **given, draws=DRAWS)
    )
    return Check(say("loss at {f}", f=frequency(band.frequency_hz)), band.p_meets >= sure, said)


def _money(price: float | None, budget: float) -> Check:
    if price is None:
        return Check(say("budget"), None, say("no price is known"))
    over = price - budget
    left = (
        say("{money} over the budget", money=plain(over, 2))
        if over > 0
        else say("{money} are left", money=plain(-over, 2))
    )
    return Check(say("budget"), over <= 0, left)


def _unknown(line: LineType, wishes: Wishes) -> list[Check]:
    """Return the limits that cannot be held against a line, for want of a figure."""
    asked = (
        (say("diameter"), "outer_diameter_m", wishes.most_diameter_m),
        (say("mass"), "mass_kg_per_m", wishes.most_kg_per_m),
        (say("bend radius"), "bend_radius_m", wishes.bend_radius_m),
    )
    return [
        Check(what, None, say("cannot tell: not stated for {line}", line=line.designator))
        for what, name, most in asked
        if most is not None and figure(line, name) is None
    ]
