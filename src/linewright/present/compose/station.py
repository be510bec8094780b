"""A station's report: what reaches the antenna, where the rest goes, what parts bear, what is heard, who keeps away."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial

from linewright.catalogue.cautions import cautions
from linewright.core.formatting import (
    frequency,
    interval,
    length,
    per_metre,
    percent,
    plain,
    power,
    prefixed,
    quantity,
    swr,
)
from linewright.core.messages import EITHER, listed, mark, say, together
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
from linewright.present.compose.plan_words import (
    arrival,
    assumptions,
    cut_notes,
    highest_voltages,
    rating_note,
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

# Tables of a station's report: the power on its way, bands, ratings, lengths to cut

SURE_DB = 0.005
"""An interval narrower than this is not worth showing."""
NARROW_SWR = 0.1
LEAST_W = 0.05
WORDS = (mark("public"), mark("occupational"), mark("near field"), mark("far field"))
"""Whom a limit is for and how its distance was found, said as a finding has them."""


def band_title(plan: Plan, budget: Budget, x: BandFinding) -> str:
    """Return what to call a band: its frequency, with its run where there are several."""
    if len(plan.budgets) == 1:
        return frequency(x.frequency_hz)
    return say("{run}, {frequency}", run=budget.run, frequency=frequency(x.frequency_hz))


def each(plan: Plan, row: Callable[[PartFinding], Row], kept: Callable[[PartFinding], bool]) -> tuple[Part, ...]:
    """Return a part for every run and band that has rows."""
    found = [
        Part(band_title(plan, budget, x), tuple(row(p) for p in x.parts if kept(p)))
        for budget in plan.budgets
        for x in budget.bands
    ]
    return tuple(p for p in found if p.rows)


def flows(plan: Plan) -> Iterator[Block]:
    """Yield the power on its way from radio to antenna: drawn run by run, then part by part."""
    columns = (
        Column(say("part"), "wide"), Column(say("enters"), "figure"), Column(say("leaves"), "figure"),
        Column(say("loss (95 %)"), "figure"), Column(say("into a match"), "figure"), Column(say("heat"), "figure"),
    )  # fmt: skip
    parts = each(plan, _flow, lambda p: True)
    if not parts:
        return
    panels = (
        Panel(figures.key_of_flow, say("Key to the drawings of power on its way"), legend=True),
        *(Panel(partial(figures.flow, b), _drawn(b)) for b in plan.budgets if any(x.parts for x in b.bands)),
    )
    caption = say("One band per frequency from radio (left) to antenna (right), as wide as the remaining power.")
    yield Drawing(caption, panels, Table(say("Power on its way, part by part"), columns, parts), columns=1)
    yield Points("", tuple(_grounds(plan)))


def _drawn(budget: Budget) -> str:
    """Return what a drawing of a run shows, for a person who cannot see it."""
    said = [
        say("{frequency}: {arrival}", frequency=frequency(x.frequency_hz), arrival=arrival(x)) for x in budget.bands
    ]
    return say("Power from radio to antenna, {run}. {bands}", run=budget.run, bands=together(said))


def _flow(p: PartFinding) -> Row:
    sure = p.loss_db_high - p.loss_db_low < SURE_DB
    loss = quantity(plain(p.loss_db, 2), "dB") if sure else interval(p.loss_db, p.loss_db_low, p.loss_db_high)
    cells = (power(p.power_in_w), power(p.power_out_w), loss, quantity(plain(p.matched_loss_db, 2), "dB"))
    return Row((p.name, *cells, _heat(p)))


def _heat(p: PartFinding) -> str:
    if p.heat_w < LEAST_W:
        return ""
    heat = quantity(plain(p.heat_w, 1), "W")
    if p.heat_w_per_m is None or p.heat_w_per_m < LEAST_W:
        return heat
    return together([heat, per_metre(p.heat_w_per_m, 1, "W")], ", ")


def _grounds(plan: Plan) -> Iterator[str]:
    """Say what the losses of lines rest on: names, by what they rest on."""
    found: dict[str, dict[str, None]] = {}
    for budget in plan.budgets:
        for x in budget.bands:
            for p in x.parts:
                if p.basis:
                    found.setdefault(p.basis, {})[p.name] = None
    for basis, names in found.items():
        yield say("From the {basis}: {names}.", basis=basis, names=together(list(names), ", "))


def bands(plan: Plan) -> Table:
    """Return losses, watts and SWR of every run and band."""
    columns = (
        Column(say("frequency"), "right"), Column(say("matched"), "figure"), Column(say("by SWR"), "figure"),
        Column(say("total (95 %)"), "figure"), Column(say("arrives (95 %)"), "figure"), Column(say("share"), "right"),
        Column(say("SWR at the radio (95 %)"), "figure"), Column(say("SWR at the antenna"), "figure"),
    )  # fmt: skip
    parts = tuple(Part(b.run, tuple(map(_band, b.bands))) for b in plan.budgets if b.bands)
    return Table(say("Losses, power at the antenna and standing waves"), columns, parts)


def _band(x: BandFinding) -> Row:
    return Row((
        frequency(x.frequency_hz),
        quantity(plain(x.matched_loss_db, 2), "dB"),
        quantity(plain(x.mismatch_loss_db, 2), "dB"),
        interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high),
        together(watts(x)),
        percent(x.power_at_antenna_w / x.power_w) if x.power_w > 0 else "",
        _seen(x),
        swr(x.swr_at_antenna),
    ))  # fmt: skip


def _seen(x: BandFinding) -> str:
    low, high = x.swr_at_radio_low, x.swr_at_radio_high
    if high - low < NARROW_SWR:
        return swr(x.swr_at_radio)
    return say("{value} ({low} to {high})", value=swr(x.swr_at_radio), low=swr(low), high=swr(high))


def ratings(plan: Plan) -> Table:
    """Return what every part bears of voltage and heat, beside its rating; what is beyond it is marked."""
    columns = (
        Column(say("part"), "wide"), Column(say("peak voltage"), "figure"), Column(say("rated"), "figure"),
        Column(say("margin"), "figure"), Column(say("enters"), "figure"), Column(say("power rating"), "figure"),
        Column(say("margin"), "figure"),
    )  # fmt: skip
    notes = (
        say(
            "A margin is rating over load, with the load at the upper end of its interval: below 1, the rating is "
            "exceeded. Where no rating is shown, none is known; that promises nothing."),
        *highest_voltages(plan),
    )  # fmt: skip
    parts = each(plan, _rating, lambda p: p.peak_voltage_v > 0)
    return Table(say("Loads and ratings of each part"), columns, parts, notes if parts else ())


def _rating(p: PartFinding) -> Row:
    sign: Mark = "over" if p.beyond("known") else "doubt" if p.beyond("memory") else ""
    voltage = _volts(p.peak_voltage_v)
    over = p.beyond("known")
    rated = (_rated(p.voltage_rating_v, "V"), _margin(p.voltage_margin, "voltage" in over))
    heat = _margin(p.heat_margin, "heat" in over)
    return Row((p.name, voltage, *rated, power(p.power_in_w), _rated(p.power_rating_w, "W"), heat),
               sign, rating_note(p) if sign else "")  # fmt: skip


def _rated(value: float | None, unit: str) -> str:
    return say("not stated") if value is None else prefixed(float(f"{value:.3g}"), unit)


def _volts(value: float) -> str:
    return prefixed(value, "V") if value >= 999.5 else quantity(plain(value, 0), "V")


def _margin(value: float | None, over: bool) -> str:
    if value is None:
        return ""
    if value >= 1.0:
        return say("{margin} times", margin=plain(value, 1 if value < 100 else 0))
    return (
        say("{margin}: OVER", margin=plain(value, 2)) if over else say("{margin}: look it up", margin=plain(value, 2))
    )


def cuts(plan: Plan) -> Table:
    """Return the lengths asked for, beside the length as it is."""
    columns = (
        Column(say("part"), "wide"), Column(say("as it is"), "figure"), Column(say("electrical"), "figure"),
        Column(say("cut to")),
    )  # fmt: skip
    parts = each(plan, _cut, lambda p: bool(p.cut_m))
    asked = [p for b in plan.budgets for x in b.bands for p in x.parts if p.cut_m]
    notes = cut_notes(asked)
    return Table(say("Lengths of lines to be cut"), columns, parts, notes if parts else ())


def _cut(p: PartFinding) -> Row:
    lengths = listed([_metres(cut_m) for cut_m in p.cut_m], EITHER)
    return Row((p.name, _metres(p.length_m or 0.0), say("{angle}°", angle=plain(p.electrical_length_deg or 0.0, 0)),
                lengths))  # fmt: skip


def _metres(length_m: float) -> str:
    return length(length_m, 3)


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
    eirp, erp = (power(w) for w in (x.eirp_w, x.erp_w))
    return say("{band}: {eirp} EIRP, {erp} ERP", band=band, eirp=eirp, erp=erp)


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
        _seen(x), swr(x.swr_at_antenna),
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
    over = {*(o for o in p.beyond("known") if o == "voltage"), *(o for o in q.beyond("known") if o == "heat")}
    memory = {*(o for o in p.beyond("memory") if o == "voltage"), *(o for o in q.beyond("memory") if o == "heat")}
    voltage = (_volts(p.peak_voltage_v), _rated(p.voltage_rating_v, "V"), _margin(p.voltage_margin, "voltage" in over))
    heat = (power(q.power_in_w), _rated(q.power_rating_w, "W"), _margin(q.heat_margin, "heat" in over))
    notes = dict.fromkeys(rating_note(one) for one in (p, q)) if over or memory else ()
    sign: Mark = "over" if over else "doubt" if memory else ""
    at_x, at_hot = ((frequency(one.frequency_hz),) if told else () for one in (x, hot))
    return Row((number, p.name, *voltage, *at_x, *heat, *at_hot), sign, together(list(notes)))


def _far(margin: float | None) -> float:
    return float("inf") if margin is None else margin


def _limits_named(plan: Plan) -> Iterator[str]:
    """Yield where the limits stand that a letter names: for each run the public one that reaches farthest."""
    public = ([e for e in x.exposure if e.who == "public"] for b in plan.budgets for x in b.bands)
    named = dict.fromkeys((e.limit, e.source) for e in (farthest(some) for some in public if some))
    yield from (say("{limit}, {who}; {source}", limit=limit, who=say("public"), source=source)
                for limit, source in named)  # fmt: skip


# A station's report: what reaches the antenna, where the rest goes, what parts bear, what is heard, who keeps away

MOST_BANDS = 24
"""Nobody reads a table of more frequencies."""
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
            section(say("Voltage and heat against ratings"), ratings(plan), appendix=True),
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
        yield section(say("Remarks"), *_remarks(plan), limits)
        return
    yield section(say("Where the limits stand"), limits, points(all_at_once(plan.together)))
    yield Section(say("Remarks"), tuple(_remarks(plan)))


def shortened(plan: Plan) -> Plan:
    """Return a plan with at most ``MOST_BANDS`` frequencies a run, those that lose most, and a remark that says so."""
    return replace(plan, budgets=tuple(map(_shortened, plan.budgets)))


def _shortened(budget: Budget) -> Budget:
    if len(budget.bands) <= MOST_BANDS:
        return budget
    gravest = sorted(budget.bands, key=lambda x: -x.total_loss_db)[:MOST_BANDS]
    shown = tuple(x for x in budget.bands if x in gravest)
    left = {x.frequency_hz for x in budget.bands if x not in gravest}
    said = say("Of {count} frequencies the {most} that lose most are shown.", count=len(budget.bands), most=MOST_BANDS)
    workings = tuple(w for w in budget.workings if w.key[-1] not in left)
    return replace(budget, bands=shown, remarks=(said, *budget.remarks), workings=workings)


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


def _remarks(plan: Plan) -> Iterator[Block]:
    runs: dict[str, list[str]] = {}
    for budget in plan.budgets:
        for said in budget.all_remarks:
            runs.setdefault(said, []).append(budget.run)
    every = len(plan.budgets)
    found = [
        said if len(names) == every else say("{runs}: {remark}", runs=together(names, ", "), remark=said)
        for said, names in runs.items()
    ]
    if found or plan.remarks:
        yield Points("", (*found, *plan.remarks))


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
