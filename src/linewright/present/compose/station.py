"""A station's report: what reaches the antenna, where the rest goes, what parts bear, what is heard, who keeps away."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from linewright.catalogue.cautions import cautions
from linewright.core.formatting import (
    frequency,
    interval,
    plain,
    prefixed,
    quantity,
    swr,
)
from linewright.core.messages import mark, say, together
from linewright.core.nouns.exposure import ExposureFinding
from linewright.core.nouns.plan import BandFinding, Budget, PartFinding, Plan, ReceptionFinding
from linewright.core.nouns.station import LinePart, Station
from linewright.present.compose import figures
from linewright.present.compose.exposure import headlines
from linewright.present.compose.exposure_words import (
    all_at_once,
    distance,
    distance_notes,
    exempt_from,
    exemption,
    farthest,
    level_distance,
    licence,
    used,
)
from linewright.present.compose.plan import (
    band_title,
    bands,
    cuts,
    heat_cells,
    parts,
    rating_mark,
    ratings,
    voltage_cells,
)
from linewright.present.compose.plan_words import (
    MOST_BANDS,
    arrival,
    assumptions,
    grounds,
    highest_voltages,
    on_air,
    rating_note,
    remarks_of,
    shown,
    swr_interval,
    watts,
)
from linewright.present.compose.provenance import Made, made_again, repeat_section, workings_section
from linewright.present.compose.reception import (
    cascade_table,
    chain_table,
    heard_of,
    lost,
    needs,
    noise_table,
    reasons,
    unsaid,
)
from linewright.present.document import (
    Block,
    Cautions,
    Column,
    Document,
    Drawing,
    Mark,
    Panel,
    Paragraph,
    Part,
    Points,
    Row,
    Section,
    Table,
    Verdict,
    points,
    section,
    sections,
)

# Tables of a station's report: the power on its way, ratings

WORDS = (mark("public"), mark("occupational"), mark("near field"), mark("far field"))
"""Whom a limit is for and how its distance was found, said as a finding has them."""


def flows(plan: Plan) -> Iterator[Block]:
    """Yield the power on its way from radio to antenna: drawn run by run, then part by part."""
    found = parts(plan)
    if not found.parts:
        return
    panels = (
        Panel(figures.key_of_flow, say("Key to the drawings of power on its way"), legend=True),
        *(Panel(partial(figures.flow, b), _drawn(b)) for b in plan.budgets if any(x.parts for x in b.bands)),
    )
    caption = say("One band per frequency from radio (left) to antenna (right), as wide as the remaining power.")
    yield Drawing(caption, panels, found, columns=1)
    yield Points("", tuple(grounds(x for b in plan.budgets for x in b.bands)))


def _drawn(budget: Budget) -> str:
    """Return what a drawing of a run shows, for a person who cannot see it."""
    said = [
        say("{frequency}: {arrival}", frequency=frequency(x.frequency_hz), arrival=arrival(x)) for x in budget.bands
    ]
    return say("Power from radio to antenna, {run}. {bands}", run=budget.run, bands=together(said))


def _ratings(plan: Plan) -> Table:
    """Return what every part bears of voltage and heat, beside its rating."""
    notes = (
        say(
            "A margin is rating over load, with the load at the upper end of its interval: below 1, the rating is "
            "exceeded. Where no rating is shown, none is known; that promises nothing."),
        *highest_voltages(plan),
    )  # fmt: skip
    return replace(ratings(plan, lambda p: p.peak_voltage_v > 0), notes=notes)


# What a station's report says of the air: what is received, and how far to keep away


def reception(plan: Plan) -> Iterator[Block]:
    """Yield what runs do to reception, by which parts, and what each remedy would leave."""
    found = [b for b in plan.budgets if heard_of(b)]
    if not found:
        return
    yield points((*reasons(plan), *unsaid(plan), *assumptions(plan.budgets)))
    panels = tuple(
        Panel(partial(figures.reception, b), say("Signal-to-noise ratio lost on {run}, by band.", run=b.run))
        for b in found
    )
    legend = Panel(figures.key_of_reception, say("Key to the drawings of reception"), legend=True)
    yield Drawing(say("Signal-to-noise lost on each run, by band."), (legend,), columns=1)
    yield Drawing("", panels, noise_table(plan))
    yield chain_table(plan)
    parts = cascade_table(plan)
    if parts.parts:
        yield parts
    yield from _remedies(plan)


def _remedies(plan: Plan) -> Iterator[Block]:
    columns = (Column(say("remedy"), "wide"), Column(say("signal-to-noise lost"), "figure"))
    found = [
        Part(band_title(plan, budget, x), _tried(r))
        for budget in plan.budgets
        for x, r in heard_of(budget)
        if r.remedies and r.state == "heard"
    ]
    if found:
        yield Table(say("What each remedy would leave, where the loss can be heard"), columns, tuple(found))
        yield points(needs(plan))


def _tried(r: ReceptionFinding) -> tuple[Row, ...]:
    asis = Row((say("as it is"), quantity(plain(r.reception_loss_db, 2), "dB")))
    return (asis, *(Row((m.what, quantity(plain(m.reception_loss_db, 2), "dB"))) for m in r.remedies))


def exposure(plan: Plan, station: Station) -> Iterator[Block]:
    """Yield how far to keep away by each limit, the zone to keep clear, what the limits are, and what to mind."""
    parts = [
        Part(_radiated(band_title(plan, budget, x), x), tuple(map(_distance, x.exposure)))
        for budget in plan.budgets
        for x in budget.bands
        if x.exposure
    ]
    if not parts:
        return
    yield Cautions(cautions("exposure"))
    yield Points("", tuple(headlines(plan)))
    columns = (
        Column(say("limit")), Column(say("people")), Column(say("limit value"), "figure"),
        Column(say("distance"), "figure"), Column(say("field")), Column(say("on the ground"), "figure"),
    )  # fmt: skip
    panels = tuple(
        Panel(partial(figures.exposure, b), say("How far to stay from the antenna of {run}.", run=b.run))
        for b in plan.budgets
        if any(x.exposure for x in b.bands)
    )
    notes = tuple(distance_notes(e for b in plan.budgets for x in b.bands for e in x.exposure))
    yield Table(say("Distance at which a limit is reached"), columns, tuple(parts), notes)
    legend = Panel(figures.key_of_exposure, say("Key to the drawings of distances"), legend=True)
    yield Drawing(say("Distance to keep, by limit and band."), (legend,), columns=1)
    yield Drawing("", panels)
    zones = tuple(_zones(plan, station))
    if zones:
        yield Drawing(say("The zone to keep clear where it reaches farthest, from above and from the side."), zones,
                      columns=1)  # fmt: skip
    more = tuple(_people_and_licence(plan))
    if more:
        yield Points(say("Where people are, and what the licence allows"), more)
    yield Points(say("Where the limits stand"), tuple(_air_sources(plan)))


def _zones(plan: Plan, station: Station) -> Iterator[Panel]:
    runs = {run.name: run for run in station.runs}
    for b in plan.budgets:
        draw = figures.zone_of(runs[b.run], b, station.rules) if b.run in runs else None
        if draw is not None:
            yield Panel(
                partial(figures.zone, draw), say("The zone to keep clear around the antenna of {run}.", run=b.run)
            )


def _people_and_licence(plan: Plan) -> Iterator[str]:
    for b in plan.budgets:
        for x in b.bands:
            yield from used((b.run, x.frequency_hz, d) for d in x.density)
            yield from dict.fromkeys(filter(None, (exemption(x.frequency_hz, d, b.run) for d in x.density)))
            yield from (say("{run}: {remark}", run=b.run, remark=licence(x.frequency_hz, c)) for c in x.licence)
    yield from all_at_once(plan.together)
    yield from exempt_from((b.run, x.frequency_hz, e) for b in plan.budgets for x in b.bands for e in x.exposure)


def _distance(e: ExposureFinding) -> Row:
    value = prefixed(e.limit_value, e.unit)
    if e.method == "none":
        field = say("near field") if e.in_near_field else say("none")
        return Row((e.limit, say(e.who), value, distance(e), field, ""), "doubt")
    return Row((e.limit, say(e.who), value, distance(e), say(e.method), level_distance(e.ground_distance_m)))


def _radiated(band: str, x: BandFinding) -> str:
    if x.eirp_w is None or x.erp_w is None:
        return band
    eirp, erp = (together(on_air(x, w)) for w in (x.eirp_w, x.erp_w))
    return say("{band}: EIRP {eirp}, ERP {erp}", band=band, eirp=eirp, erp=erp)


def _air_sources(plan: Plan) -> Iterator[str]:
    found = {(e.limit, e.who, e.source): None for b in plan.budgets for x in b.bands for e in x.exposure}
    for limit, who, source in found:
        yield say("{limit}, {who}; {source}", limit=limit, who=say(who), source=source)


# What a letter says of one run: where its power goes, what each band gives, what comes nearest to its rating


def run_section(plan: Plan, budget: Budget, *, keyed: bool) -> Section:
    """Return a run as a letter tells it; the first one has the key to its drawing."""
    alone = replace(plan, budgets=(budget,))
    most = figures.LETTER_BANDS if len(plan.budgets) > 1 else 1
    drawn = Panel(partial(figures.brief_flow, budget, most=most), _drawn(budget))
    legend = (Panel(figures.key_of_flow, say("Key to the drawings of power on its way"), legend=True),) if keyed else ()
    flow = Drawing("", (*legend, drawn), columns=1) if any(x.parts for x in budget.bands) else Paragraph("")
    figures_of = (_bands_in_short(budget), _nearest(budget), cuts(alone))
    return section(budget.run, *figures_of, flow, points(_said_of(alone)))


def _said_of(alone: Plan) -> Iterator[str]:
    """Yield what is to be known of a run beside its figures: what is heard, who keeps away, what the licence allows."""
    yield from reasons(alone)
    yield from headlines(alone)
    for b in alone.budgets:
        for x in b.bands:
            yield from used(((b.run, x.frequency_hz, d) for d in x.density), over_only=True)
            yield from (say("{run}: {remark}", run=b.run, remark=licence(x.frequency_hz, c)) for c in x.licence)


def _bands_in_short(budget: Budget) -> Table:
    """Return what every band gives, each with where it goes below it."""
    columns = (
        Column(say("frequency"), "right"), Column(say("arrives (95 %)"), "figure"),
        Column(say("loss (95 %)"), "figure"), Column(say("SWR at the radio"), "figure"),
        Column(say("at the antenna"), "figure"),
        Column(say("signal-to-noise lost (95 %)"), "figure"),
        Column(say("public keeps away"), "figure"),
    )  # fmt: skip
    rows = tuple(map(_band_in_short, budget.bands))
    return Table("", columns, (Part("", rows),) if rows else ())


def _band_in_short(x: BandFinding) -> Row:
    public = [e for e in x.exposure if e.who == "public"]
    return Row((
        frequency(x.frequency_hz), together(watts(x)),
        interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high),
        together([swr(x.swr_at_radio), swr_interval(x)]), swr(x.swr_at_antenna),
        "" if x.reception is None else lost(x.reception), distance(farthest(public)) if public else "",
    ), _mark(x), together([x.weakest, *_over(x)]))  # fmt: skip


def _nearest(budget: Budget) -> Table:
    """Return what each part bears on the band where it comes nearest to its rating, of voltage and of heat."""
    at = (Column(say("at"), "right"),) if len(budget.bands) > 1 else ()
    columns = (
        Column("", "right"), Column(say("part"), "wide"), Column(say("peak voltage"), "figure"),
        Column(say("rated"), "figure"), Column(say("margin"), "figure"), *at,
        Column(say("enters"), "figure"), Column(say("power rating"), "figure"),
        Column(say("margin"), "figure"), *at,
    )  # fmt: skip
    alike = zip(*(((x, p) for p in x.parts) for x in budget.bands), strict=False)
    rows = tuple(_nearest_row(str(i), list(found), told=bool(at)) for i, found in enumerate(alike, start=1))
    return Table(say("Where each part comes nearest to its ratings"), columns, (Part("", rows),) if rows else ())


def _nearest_row(number: str, found: Sequence[tuple[BandFinding, PartFinding]], *, told: bool) -> Row:
    x, p = min(found, key=lambda one: (_far(one[1].voltage_margin), -one[1].peak_voltage_v))
    hot, q = min(found, key=lambda one: (_far(one[1].heat_margin), -one[1].power_in_w))
    sign = rating_mark(p, q)
    notes = dict.fromkeys(rating_note(one) for one in (p, q)) if sign else ()
    at_x, at_hot = ((frequency(one.frequency_hz),) if told else () for one in (x, hot))
    cells = (number, p.name, *voltage_cells(p), *at_x, *heat_cells(q), *at_hot)
    return Row(cells, sign, together(list(notes)))


def _far(margin: float | None) -> float:
    return float("inf") if margin is None else margin


def _limits_named(plan: Plan) -> Iterator[str]:
    """Yield where the limits stand that a letter names: for each run the public one that reaches farthest."""
    public = ([e for e in x.exposure if e.who == "public"] for b in plan.budgets for x in b.bands)
    named = dict.fromkeys((e.limit, e.source) for e in (farthest(some) for some in public if some))
    yield from (say("{limit}, {who}; {source}", limit=limit, who=say("public"), source=source)
                for limit, source in named)  # fmt: skip


# A station's report: what reaches the antenna, where the rest goes, what parts bear, what is heard, who keeps away

GRAVE_DB, NOTABLE_DB = 3.0, 1.0
"""Losses of a run that are marked (common practice, no source: half the power, and a fifth of it)."""


def station_report(station: Station, plan: Plan, made: Made) -> Document:
    """Return the report of a station.

    Parameters
    ----------
    station : Station
        The station: it names the pieces and where the types' figures come from.
    plan : Plan
        What its runs do.
    made : Made
        The date, the files that went in, the command.

    Returns
    -------
    Document
        A document that holds the figures of the plan and no others.
    """
    plan = shortened(plan)
    return Document(
        kind="station",
        title=plan.station,
        subtitle=say("Station report, {day}", day=made.day),
        day=made.day,
        maker=made.maker,
        sections=sections(
            Section(say("Summary"), tuple(_summary(plan))),
            *(run_section(plan, b, keyed=i == 0) for i, b in enumerate(plan.budgets)),
            *_at_the_end(plan),
            made_again(made),
            section(say("Losses and standing waves"), bands(plan), appendix=True),
            section(say("Voltage and heat against ratings"), _ratings(plan), appendix=True),
            section(say("Lengths to cut"), cuts(plan), appendix=True),
            Section(say("Power from radio to antenna"), tuple(flows(plan)), appendix=True),
            Section(say("Reception"), tuple(reception(plan)), appendix=True),
            Section(say("Exposure"), tuple(exposure(plan, station)), appendix=True),
            workings_section([w for b in plan.budgets for w in b.workings]),
            _repeat(station, plan, made),
        ),
        names=tuple(dict.fromkeys(_names(station, plan))),
        one_page=len(plan.budgets) == 1,
    )


def _at_the_end(plan: Plan) -> Iterator[Section]:
    """Yield where the limits stand, and what else is to be known; of a run alone as one, so that a page holds it."""
    limits = points(_limits_named(plan))
    if len(plan.budgets) == 1:
        yield section(say("Remarks"), _remarks(plan), limits)
        return
    yield section(say("Where the limits stand"), limits, points(all_at_once(plan.together)))
    yield section(say("Remarks"), _remarks(plan))


def shortened(plan: Plan) -> Plan:
    """Return a plan with at most ``MOST_BANDS`` frequencies a run, those that lose most, and a remark that says so."""
    return replace(plan, budgets=tuple(map(_shortened, plan.budgets)))


def _shortened(budget: Budget) -> Budget:
    if len(budget.bands) <= MOST_BANDS:
        return budget
    kept = shown(budget)
    left = {x.frequency_hz for x in budget.bands if x not in kept}
    said = say("Of {count} frequencies the {most} that lose most are shown.", count=len(budget.bands), most=MOST_BANDS)
    workings = tuple(w for w in budget.workings if w.key[-1] not in left)
    return replace(budget, bands=tuple(kept), remarks=(said, *budget.remarks), workings=workings)


def _names(station: Station, plan: Plan) -> Iterator[str]:
    yield plan.station
    for budget in plan.budgets:
        yield budget.run
        yield from (p.name for x in budget.bands for p in x.parts)
    yield from station.pieces
    yield from station.evidence
    yield from (sheet.title for sheet in station.sheets.values())


def _summary(plan: Plan) -> Iterator[Block]:
    for budget in plan.budgets:
        if budget.bands:
            yield _verdict(budget)
    if not any(b.bands for b in plan.budgets):
        yield Verdict(say("There is nothing to plan."), say("The station has no run with a band."), "unknown")
    yield Paragraph(say("Intervals in brackets hold the true value with 95 % probability."))
    yield Cautions(plan.cautions)


def _verdict(budget: Budget) -> Verdict:
    """Return a run by the band that loses most, then what arrives on the others, and what is over its rating."""
    x = max(budget.bands, key=lambda x: x.total_loss_db)
    lead = say("{run} at {frequency}: {arrival}", run=budget.run, frequency=frequency(x.frequency_hz),
               arrival=arrival(x))  # fmt: skip
    over = dict.fromkeys(said for band in budget.bands for said in _over(band))
    marks: tuple[Mark, ...] = ("over", "doubt", "good")
    mark = next(m for m in marks if any(_mark(band) == m for band in budget.bands))
    return Verdict(lead, together([_others(budget, x), *over]), mark)


def _others(budget: Budget, worst: BandFinding) -> str:
    others = sorted((x for x in budget.bands if x is not worst), key=lambda x: x.power_at_antenna_w)
    if not others:
        return worst.weakest
    if len(others) == 1:
        return say("On the other band {power} arrive.", power=watts(others[0])[0])
    return say("On the other {count} bands {least} to {most} arrive.",
               count=str(len(others)), least=watts(others[0])[0], most=watts(others[-1])[0])  # fmt: skip


def _over(x: BandFinding) -> Iterator[str]:
    """Yield what is loaded beyond its rating."""
    for p in x.parts:
        over = p.beyond("known")
        if "voltage" in over and p.voltage_margin is not None:
            yield say("{part} sees more voltage than its rating ({margin} times is left).",
                      part=p.name, margin=plain(p.voltage_margin, 2))  # fmt: skip
        if "heat" in over and p.heat_margin is not None:
            yield say("{part} carries more power than its rating ({margin} times is left).",
                      part=p.name, margin=plain(p.heat_margin, 2))  # fmt: skip


def _mark(x: BandFinding) -> Mark:
    if any(_over(x)) or x.total_loss_db >= GRAVE_DB:
        return "over"
    return "doubt" if x.total_loss_db >= NOTABLE_DB else "good"


def _remarks(plan: Plan) -> Points:
    return points((*remarks_of(plan.budgets, lambda b: b.all_remarks), *plan.remarks))


def _repeat(station: Station, plan: Plan, made: Made) -> Section:
    method = (
        say("Each part is a chain matrix with its own losses; the chain is multiplied from the antenna back to the"
            " radio, so that standing waves count where they stand."),
        say(
            "Quantities that are not known exactly are drawn at random many times, and every figure is worked out "
            "for each draw: values are means in decibels, intervals hold 95 % of the draws."),
        say("Ratings are compared with the upper end of a load's interval."),
    )  # fmt: skip
    assumptions = (
        say("A line that was never measured is taken as new, of its type, with sound connectors."),
        say("Where only the SWR of an antenna is known, its phase may be anything."),
        say("Distances to a limit are for the main lobe in the far field, with the ground reflection stated there."),
    )
    return repeat_section(made, method, assumptions, _sources(station, plan))


def _sources(station: Station, plan: Plan) -> Iterator[str]:
    for budget in plan.budgets:
        yield from (w.source for w in budget.workings)
        yield from (e.source for x in budget.bands for e in x.exposure)
    lines = [p.piece.line for run in station.runs for p in run.chain if isinstance(p, LinePart) and p.piece.line]
    yield from (point.provenance.source for line in lines for point in line.points)
