"""A station's report: what reaches the antenna, where the rest goes, what parts bear, what is heard, who keeps away."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from linewright.model.plan import BandFinding, Budget, Plan
from linewright.model.station import LinePart, Station
from linewright.report import station_air as air
from linewright.report import station_tables as tables
from linewright.report.document import (
    Block,
    Cautions,
    Document,
    Mark,
    Paragraph,
    Points,
    Section,
    Table,
    Verdict,
    sections,
)
from linewright.report.made import Made, repeat_section, workings_section
from linewright.report.plan_words import arrival
from linewright.units.said import say, together
from linewright.units.writing import frequency, plain

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
            Section(say("Losses and standing waves"), _table(tables.bands(plan))),
            Section(say("Power from radio to antenna"), tuple(tables.flows(plan))),
            Section(say("Voltage and heat against ratings"), _table(tables.ratings(plan))),
            Section(say("Lengths to cut"), _table(tables.cuts(plan))),
            Section(say("Reception"), tuple(air.reception(plan))),
            Section(say("Exposure"), tuple(air.exposure(plan))),
            Section(say("Remarks"), tuple(_remarks(plan))),
            workings_section([w for b in plan.budgets for w in b.workings]),
            _repeat(station, plan, made),
        ),
        names=tuple(dict.fromkeys(_names(station, plan))),
    )


def shortened(plan: Plan) -> Plan:
    """Return a plan with at most ``MOST_BANDS`` frequencies a run, those that lose most, and a remark that says so."""
    return replace(plan, budgets=tuple(map(_shortened, plan.budgets)))


def _shortened(budget: Budget) -> Budget:
    if len(budget.bands) <= MOST_BANDS:
        return budget
    gravest = sorted(budget.bands, key=lambda x: -x.total_loss_db)[:MOST_BANDS]
    shown = tuple(x for x in budget.bands if x in gravest)
    rest = [f"at {frequency(x.frequency_hz)}:" for x in budget.bands if x not in gravest]
    said = say("Of {count} frequencies the {most} that lose most are shown.", count=len(budget.bands), most=MOST_BANDS)
    workings = tuple(w for w in budget.workings if not any(at in w.figure for at in rest))
    return replace(budget, bands=shown, remarks=(said, *budget.remarks), workings=workings)


def _names(station: Station, plan: Plan) -> Iterator[str]:
    yield plan.station
    for budget in plan.budgets:
        yield budget.run
        yield from (p.name for x in budget.bands for p in x.parts)
    yield from station.pieces
    yield from station.evidence
    yield from (sheet.title for sheet in station.sheets.values())


def _table(table: Table) -> tuple[Block, ...]:
    return (table,) if table.parts else ()


def _summary(plan: Plan) -> Iterator[Block]:
    for budget in plan.budgets:
        for x in budget.bands:
            yield _verdict(budget, x)
    if not any(b.bands for b in plan.budgets):
        yield Verdict(say("There is nothing to plan."), say("The station has no run with a band."), "unknown")
    yield Paragraph(say("Intervals in brackets hold the true value with 95 % probability."))
    yield Cautions(plan.cautions)


def _verdict(budget: Budget, x: BandFinding) -> Verdict:
    lead = say("{run} at {frequency}: {arrival}", run=budget.run, frequency=frequency(x.frequency_hz),
               arrival=arrival(x))  # fmt: skip
    return Verdict(lead, together([x.weakest, *_over(x)]), _mark(x))


def _over(x: BandFinding) -> Iterator[str]:
    """Yield what is loaded beyond its rating."""
    for p in x.parts:
        if p.voltage_margin is not None and p.voltage_margin < 1.0:
            yield say("{part} sees more voltage than its rating ({margin} times is left).",
                      part=p.name, margin=plain(p.voltage_margin, 2))  # fmt: skip
        if p.heat_margin is not None and p.heat_margin < 1.0:
            yield say("{part} carries more power than its rating ({margin} times is left).",
                      part=p.name, margin=plain(p.heat_margin, 2))  # fmt: skip


def _mark(x: BandFinding) -> Mark:
    if any(_over(x)) or x.total_loss_db >= GRAVE_DB:
        return "over"
    return "doubt" if x.total_loss_db >= NOTABLE_DB else "good"


def _remarks(plan: Plan) -> Iterator[Block]:
    runs: dict[str, list[str]] = {}
    for budget in plan.budgets:
        for said in budget.remarks:
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
        say("What is not known exactly is drawn many times, and every figure is worked out for each draw: values are"
            " means in decibels, intervals hold 95 % of the draws."),
        say("Loads that a rating is held against are the upper end of their interval."),
    )  # fmt: skip
    assumptions = (
        say("A line nobody measured is new, of its type, with sound connectors."),
        say("Where only the SWR of an antenna is known, its phase may be any."),
        say("Distances to a limit are for the main lobe in the far field, with the ground reflection stated there."),
    )
    return repeat_section(made, method, assumptions, _sources(station, plan))


def _sources(station: Station, plan: Plan) -> Iterator[str]:
    for budget in plan.budgets:
        yield from (w.source for w in budget.workings)
        yield from (e.source for x in budget.bands for e in x.exposure)
    lines = [p.piece.line for run in station.runs for p in run.chain if isinstance(p, LinePart) and p.piece.line]
    yield from (point.provenance.source for line in lines for point in line.points)
