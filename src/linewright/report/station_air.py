"""What a station's report says of the air: what is received, and how far to keep away."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from linewright.catalogue.cautions import cautions
from linewright.model.plan import BandFinding, Budget, ExposureFinding, Plan, ReceptionFinding
from linewright.report import figures
from linewright.report.document import Block, Cautions, Column, Drawing, Panel, Part, Points, Row, Table
from linewright.report.plan_words import assumptions, distance, distance_notes, noise_scale, noises
from linewright.report.station_tables import band_title
from linewright.units.said import say
from linewright.units.writing import digits, frequency, interval, plain, quantity

HEARD_DB = 0.3
"""A loss of signal-to-noise below this nobody notices; common practice, no source."""
NOTHING_DB = 0.05


def reception(plan: Plan) -> Iterator[Block]:
    """Yield what runs do to reception, and what each remedy would leave."""
    parts = tuple(Part(b.run, tuple(_noise(x, r) for x, r in _heard(b))) for b in plan.budgets if _heard(b))
    if not parts:
        return
    columns = (
        Column(say("frequency"), "right"), Column(say("noise from outside (95 %)"), "figure"),
        Column(say("system noise"), "figure"), Column(say("signal-to-noise lost (95 %)"), "figure"),
    )  # fmt: skip
    found = [r for b in plan.budgets for _, r in _heard(b)]
    yield Points("", (*_why(found), *assumptions(plan.budgets)))
    notes = tuple(noise_scale(r for b in plan.budgets for _, r in _heard(b)))
    caption = say("Noise temperatures at the antenna's terminals, and what the run costs in signal-to-noise")
    panels = tuple(
        Panel(partial(figures.reception, b), say("What {run} takes from reception, by band.", run=b.run))
        for b in plan.budgets
        if _heard(b)
    )
    drawn = say("Signal-to-noise lost on each run, by band.")
    yield Drawing(drawn, panels, Table(caption, columns, parts, notes))
    yield from _remedies(plan)


def _heard(budget: Budget) -> Sequence[tuple[BandFinding, ReceptionFinding]]:
    return [(x, x.reception) for x in budget.bands if x.reception is not None]


def _noise(x: BandFinding, r: ReceptionFinding) -> Row:
    lost = interval(r.reception_loss_db, r.reception_loss_db_low, r.reception_loss_db_high)
    if r.reception_loss_db_high < NOTHING_DB:
        lost = quantity(plain(0.0, 1), "dB")
    return Row((frequency(x.frequency_hz), *noises(r), lost))


def _why(found: Sequence[ReceptionFinding]) -> Iterator[str]:
    said = list(dict.fromkeys(r.why for r in found if r.reception_loss_db >= HEARD_DB))
    yield from said
    if any(r.reception_loss_db < HEARD_DB for r in found):
        yield (
            say("Elsewhere noise from outside hides what the line takes from reception.")
            if said
            else say("Here noise from outside hides what the line takes from reception.")
        )


def _remedies(plan: Plan) -> Iterator[Block]:
    columns = (Column(say("remedy"), "wide"), Column(say("signal-to-noise lost"), "figure"))
    found = [
        Part(band_title(plan, budget, x), _tried(r))
        for budget in plan.budgets
        for x, r in _heard(budget)
        if r.remedies and r.reception_loss_db >= HEARD_DB
    ]
    if found:
        yield Table(say("What each remedy would leave, where the loss can be heard"), columns, tuple(found))


def _tried(r: ReceptionFinding) -> tuple[Row, ...]:
    asis = Row((say("as it is"), quantity(plain(r.reception_loss_db, 2), "dB")))
    return (asis, *(Row((what, quantity(plain(db, 2), "dB"))) for what, db in r.remedies))


def exposure(plan: Plan) -> Iterator[Block]:
    """Yield how far to keep away by each limit, what the limits are, where they stand, and what to mind."""
    parts = [
        Part(_radiated(band_title(plan, budget, x), x), tuple(map(_distance, x.exposure)))
        for budget in plan.budgets
        for x in budget.bands
        if x.exposure
    ]
    if not parts:
        return
    yield Cautions(cautions("exposure"))
    columns = (
        Column(say("limit")), Column(say("people")), Column(say("limit value"), "figure"),
        Column(say("distance"), "figure"), Column(say("field")),
    )  # fmt: skip
    panels = tuple(
        Panel(partial(figures.exposure, b), say("How far to keep away from the antenna of {run}.", run=b.run))
        for b in plan.budgets
        if any(x.exposure for x in b.bands)
    )
    notes = tuple(distance_notes(e for b in plan.budgets for x in b.bands for e in x.exposure))
    yield Table(say("Distance at which a limit is reached"), columns, tuple(parts), notes)
    yield Drawing(say("Distance to keep in the main lobe, by limit and band."), panels)
    yield Points(say("Where the limits stand"), tuple(_sources(plan)))


def _distance(e: ExposureFinding) -> Row:
    value = quantity(digits(e.limit_value, 3), e.unit)
    if e.in_near_field:
        return Row((e.limit, say(e.who), value, distance(e), say("near field")), "doubt")
    return Row((e.limit, say(e.who), value, distance(e), say("far field")))


def _radiated(band: str, x: BandFinding) -> str:
    if x.eirp_w is None:
        return band
    return say("{band}: {power} EIRP", band=band, power=quantity(digits(x.eirp_w, 3), "W"))


def _sources(plan: Plan) -> Iterator[str]:
    found = {(e.limit, e.who, e.source): None for b in plan.budgets for x in b.bands for e in x.exposure}
    for limit, who, source in found:
        yield say("{limit}, {who}; {source}", limit=limit, who=say(who), source=source)
