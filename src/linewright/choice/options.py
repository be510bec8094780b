"""One choice in full: what it does on every band, and each limit held against it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.budget.antenna import antenna_state
from linewright.budget.chain import walk
from linewright.budget.draws import draws_of
from linewright.budget.figures import PartFigures, RunFigures, figures_of
from linewright.budget.findings import part_finding
from linewright.budget.reception import hearing, reception_findings
from linewright.choice.candidates import Candidate, figure
from linewright.choice.walks import DRAWS, Span
from linewright.model.choose import Check, ChosenBand, Option, Stretch, Wishes
from linewright.model.line import LineType
from linewright.model.station import LinePart, NoiseSite, Run
from linewright.units.writing import frequency

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def figures(span: Span, run: Run) -> RunFigures:
    """Return the figures of a run at the draws of a choice."""
    shared = draws_of(run, span.beliefs, DRAWS)
    return figures_of(run, walk(span.known(run), antenna_state(run.antenna, span.frequency_hz, shared)))


def option(span: Span, candidate: Candidate, limit_db: Floats, noise: NoiseSite | None) -> Option:
    """Return a choice in full."""
    family = span.run.wishes.connector
    found = figures(span, span.with_(candidate))
    end = span.first + len(candidate.parts(family))
    bands, keeps = _bands(found, found.parts[span.first : end], limit_db, noise)
    lines = [s.line for s in (candidate.main, candidate.tail) if s]
    checks = _checks(span.run.wishes, bands, candidate.price, lines)
    return _summed(bands, keeps, checks, Named(candidate.name, candidate.stretches, candidate.price), found)


def as_it_is(span: Span, limit_db: Floats, noise: NoiseSite | None) -> Option:
    """Return the run as it is, as a choice that costs nothing."""
    lies = span.run.chain[span.first : span.end]
    kept = tuple(Stretch(p.name, p.piece.length_m, 0.0, p.measured) for p in lies if isinstance(p, LinePart))
    found = figures(span, span.run)
    bands, keeps = _bands(found, found.parts[span.first : span.end], limit_db, noise)
    checks = _checks(
        span.run.wishes, bands, 0.0, [p.piece.line for p in lies if isinstance(p, LinePart) and p.piece.line]
    )
    return _summed(bands, keeps, checks, Named("as it is", kept, 0.0), found)


@dataclass(frozen=True, slots=True)
class Named:
    """What a choice is called, what it is made of, and what it costs."""

    name: str
    stretches: tuple[Stretch, ...]
    price: float | None


def _bands(
    found: RunFigures, parts: Sequence[PartFigures], limit_db: Floats, noise: NoiseSite | None
) -> tuple[tuple[ChosenBand, ...], Flags]:
    """Return what a choice does on each band, and in which draws each limit is kept, (f, draws)."""
    loss = _drawn(found)
    keeps = loss <= limit_db[:, None]
    heard = reception_findings(found, hearing(found, noise))
    bands = []
    for i, f in enumerate(found.frequency_hz):
        said = [part_finding(found, p, i) for p in parts]
        received = heard[i]
        bands.append(ChosenBand(
            frequency_hz=float(f),
            loss_db=float(found.total_db.middle[i]),
            loss_db_low=float(found.total_db.low[i]),
            loss_db_high=float(found.total_db.high[i]),
            loss_db_90=float(np.quantile(loss[i], 0.9)),
            limit_db=float(limit_db[i]),
            p_meets=float(keeps[i].mean()),
            power_at_antenna_w=float(found.at_antenna_w.middle[i]),
            reception_loss_db=None if received is None else received.reception_loss_db,
            voltage_margin=min((p.voltage_margin for p in said if p.voltage_margin is not None), default=None),
            heat_margin=min((p.heat_margin for p in said if p.heat_margin is not None), default=None),
        ))  # fmt: skip
    return tuple(bands), keeps


def _drawn(found: RunFigures) -> Floats:
    """Return the loss of the whole run in every draw, (f, draws)."""
    return np.broadcast_to(found.walked.total_db, (len(found.frequency_hz), DRAWS))


def _summed(
    bands: tuple[ChosenBand, ...], keeps: Flags, checks: tuple[Check, ...], named: Named, found: RunFigures
) -> Option:
    p_meets = float(keeps.all(axis=0).mean())
    received_db = [b.reception_loss_db for b in bands if b.reception_loss_db is not None]
    return Option(
        name=named.name,
        stretches=named.stretches,
        price=named.price,
        loss_db=float(np.mean([b.loss_db for b in bands])),
        loss_db_90=float(np.quantile(_drawn(found).mean(axis=0), 0.9)),
        reception_loss_db=float(np.mean(received_db)) if received_db else None,
        p_meets=p_meets,
        bands=bands,
        checks=checks,
        meets=all(c.ok is not False for c in checks) and p_meets >= found.run.wishes.sure,
    )


def _checks(
    wishes: Wishes, bands: tuple[ChosenBand, ...], price: float | None, lines: list[LineType]
) -> tuple[Check, ...]:
    checks = [_loss(b, wishes.sure) for b in bands]
    for what, least, margins in (
        ("voltage", wishes.voltage_margin, [b.voltage_margin for b in bands]),
        ("heat", wishes.heat_margin, [b.heat_margin for b in bands]),
    ):
        known = [m for m in margins if m is not None]
        if not known:
            checks.append(Check(what, None, "no rating is known"))
        else:
            said = f"rating {min(known):.1f} times the load, where {least:g} times are asked for"
            checks.append(Check(what, min(known) >= least, said))
    if wishes.budget is not None:
        checks.append(_money(price, wishes.budget))
    checks += [c for line in lines for c in _unknown(line, wishes)]
    return tuple(checks)


def _loss(band: ChosenBand, sure: float) -> Check:
    over = band.loss_db - band.limit_db
    side = f"{over:.2f} dB over" if over > 0 else f"{-over:.2f} dB under"
    said = f"loses {band.loss_db:.2f} dB, {side} the limit; keeps it with probability {band.p_meets:.2f}"
    return Check(f"loss at {frequency(band.frequency_hz)}", band.p_meets >= sure, said)


def _money(price: float | None, budget: float) -> Check:
    if price is None:
        return Check("budget", None, "no price is known")
    over = price - budget
    return Check("budget", over <= 0, f"{over:.2f} over the budget" if over > 0 else f"{-over:.2f} are left")


def _unknown(line: LineType, wishes: Wishes) -> list[Check]:
    """Return the limits that cannot be held against a line, for want of a figure."""
    asked = (
        ("diameter", "outer_diameter_m", wishes.most_diameter_m),
        ("mass", "mass_kg_per_m", wishes.most_kg_per_m),
        ("bend radius", "bend_radius_m", wishes.bend_radius_m),
    )
    return [
        Check(what, None, f"cannot tell: nobody states that of {line.designator}")
        for what, name, most in asked
        if most is not None and figure(line, name) is None
    ]
