"""What a plan answers: what reaches the antenna first, then the figures; and what changes do to them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from linewright.core.formatting import (
    frequency,
    interval,
    length,
    percent,
    plain,
    power,
    prefixed,
    quantity,
    signed,
    swr,
)
from linewright.core.messages import EITHER, listed, mark, say, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.plan import BandFinding, Budget, Difference, PartFinding, Plan, WhatIf
from linewright.present.compose.exposure import brief
from linewright.present.compose.plan_words import (
    MOST_BANDS,
    arrival,
    assumptions,
    changed,
    cut_notes,
    grounds,
    heat_cell,
    highest_voltages,
    is_ample,
    loss_cell,
    radiated,
    rating_note,
    remarks_of,
    shown,
    swr_interval,
    unshown,
    watts,
    well_rated,
)
from linewright.present.compose.provenance import worked
from linewright.present.compose.reception import needs, noise_table, reasons, unsaid
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Mark,
    Part,
    Row,
    Table,
    Verdict,
    points,
    section,
    sections,
)

MOST_VERDICTS = 12
"""Nobody reads more of them in one run."""


def plan_document(plan: Plan) -> Document:
    """Return what a plan answers."""
    return Document("station", plan.station, sections=sections(
        section("", *verdicts(plan)),
        section(say("Losses, power at the antenna, SWR at radio and antenna"), bands(plan)),
        section(say("Where the power goes"), _gravest_parts(plan)),
        section(say("Voltage and heat against ratings"), ratings(plan, lambda p: not is_ample(p)),
                points([*highest_voltages(plan), well_rated(plan.budgets)])),
        section(say("Lengths to cut"), cuts(plan)),
        section(say("Reception"), noise_table(plan),
                points((*reasons(plan), *needs(plan), *unsaid(plan), *assumptions(plan.budgets)))),
        section(say("Exposure"), *brief(plan)),
        section(say("Remarks"),
                points([*unshown(plan), *remarks_of(plan.budgets, lambda b: b.remarks), *plan.remarks])),
        section(say("Cautions"), Cautions(plan.cautions)),
        worked([w for budget in plan.budgets for w in budget.workings]),
    ))  # fmt: skip


def verdicts(plan: Plan, most: int = MOST_VERDICTS) -> Iterator[Verdict]:
    """Yield a sentence a run and band: what reaches the antenna, and what to look at first.

    Of more than ``most`` bands in a run, those that lose most.
    """
    for budget in plan.budgets:
        for x in shown(budget, most):
            lead = say("{run} at {frequency}:", run=budget.run, frequency=frequency(x.frequency_hz))
            yield Verdict(lead, together([arrival(x), radiated(x), x.weakest]))


# Tables of a plan: bands, parts, ratings, lengths to cut


def band_title(plan: Plan, budget: Budget, x: BandFinding) -> str:
    """Return what to call a band: its frequency, with its run where there are several."""
    at = frequency(x.frequency_hz)
    return at if len(plan.budgets) == 1 else say("{run}, {frequency}", run=budget.run, frequency=at)


Shown = Callable[[Budget], list[BandFinding]]


def _each(
    plan: Plan, row: Callable[[PartFinding], Row], kept: Callable[[PartFinding], bool], of: Shown = shown
) -> tuple[Part, ...]:
    """Return a part for every run and band that has rows."""
    found = (
        Part(band_title(plan, budget, x), tuple(row(p) for p in x.parts if kept(p)))
        for budget in plan.budgets
        for x in of(budget)
    )
    return tuple(p for p in found if p.rows)


def bands(plan: Plan) -> Table:
    """Return losses, watts and SWR of every run and band."""
    columns = (
        Column("", "right"), Column(say("matched"), "figure"), Column(say("by SWR"), "figure"),
        Column(say("total (95 %)"), "figure"), Column(say("arrives (95 %)"), "figure"),
        Column(say("share"), "right", spare=True), Column(say("radio"), "figure"), Column(say("antenna"), "figure"),
    )  # fmt: skip
    several = len(plan.budgets) > 1
    parts = tuple(Part(b.run if several else "", tuple(map(_band, shown(b)))) for b in plan.budgets if b.bands)
    return Table(say("Losses, power at the antenna, SWR at radio and antenna"), columns, parts)


def _band(x: BandFinding) -> Row:
    value, low, high = (swr(v) for v in (x.swr_at_radio, x.swr_at_radio_low, x.swr_at_radio_high))
    note = say("SWR at the radio: {value} ({low} to {high}).", value=value, low=low, high=high)
    cells = (
        frequency(x.frequency_hz),
        quantity(plain(x.matched_loss_db, 2), "dB"),
        quantity(plain(x.mismatch_loss_db, 2), "dB"),
        interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high),
        together(watts(x)),
        percent(x.power_at_antenna_w / x.power_w) if x.power_w > 0 else "",
        value,
        swr(x.swr_at_antenna),
    )
    return Row(cells, note=note if swr_interval(x) else "")


def parts(plan: Plan, of: Shown = shown) -> Table:
    """Return what enters and leaves every part, what it loses, and how warm it grows."""
    columns = (
        Column("", "wide"), Column(say("enters"), "figure", spare=True), Column(say("leaves"), "figure", spare=True),
        Column(say("loss (95 %)"), "figure"), Column(say("into a match"), "figure"), Column(say("heat"), "right"),
    )  # fmt: skip
    return Table(say("Power on its way, part by part"), columns, _each(plan, _part, lambda p: True, of))


def _part(p: PartFinding) -> Row:
    match = quantity(plain(p.matched_loss_db, 2), "dB")
    return Row((p.name, power(p.power_in_w), power(p.power_out_w), loss_cell(p), match, heat_cell(p)))


def _gravest_parts(plan: Plan) -> Table:
    """Return what every part loses; of several runs, on the band that loses most."""
    several = len(plan.budgets) > 1 and any(len(b.bands) > 1 for b in plan.budgets)
    more = [say("For each run, the band with the most loss; --run NAME shows all bands.")] if several else []
    found = parts(plan, lambda b: shown(b, 1) if several else shown(b))
    return replace(found, notes=(*grounds(x for b in plan.budgets for x in shown(b)), *more))


def ratings(plan: Plan, kept: Callable[[PartFinding], bool]) -> Table:
    """Return what parts bear of voltage and heat, beside their ratings; what is beyond them is marked."""
    columns = (
        Column("", "wide"), Column(say("peak voltage"), "figure"), Column(say("rated"), "figure"),
        Column(say("margin"), "figure"), Column(say("enters"), "figure", spare=True),
        Column(say("power rating"), "figure"), Column(say("margin"), "figure"),
    )  # fmt: skip
    return Table(say("Loads and ratings of each part"), columns, _each(plan, _rating, kept))


def _rating(p: PartFinding) -> Row:
    return Row((p.name, *voltage_cells(p), *heat_cells(p)), rating_mark(p), "" if is_ample(p) else rating_note(p))


def rating_mark(*found: PartFinding) -> Mark:
    """Return how parts are marked that are driven over a rating: over one that is known, or one from memory."""
    if any(p.beyond("known") for p in found):
        return "over"
    return "doubt" if any(p.beyond("memory") for p in found) else ""


def voltage_cells(p: PartFinding) -> tuple[str, str, str]:
    """Return the peak voltage of a part, what it is rated for, and the margin."""
    volts = p.peak_voltage_v
    seen = prefixed(volts, "V") if volts >= 999.5 else quantity(plain(volts, 0), "V")
    return seen, _rated(p.voltage_rating_v, "V"), _margin(p.voltage_margin, "voltage" in p.beyond("known"))


def heat_cells(p: PartFinding) -> tuple[str, str, str]:
    """Return the power that enters a part, what it is rated for, and the margin."""
    over = "heat" in p.beyond("known")
    return power(p.power_in_w), _rated(p.power_rating_w, "W"), _margin(p.heat_margin, over)


def _rated(value: float | None, unit: str) -> str:
    return say("not stated") if value is None else prefixed(float(f"{value:.3g}"), unit)


def _margin(value: float | None, over: bool) -> str:
    """Return a margin; one below 1 by a rating from memory is no verdict."""
    if value is None:
        return ""
    if value >= 1.0:
        return say("{margin} times", margin=plain(value, 1 if value < 100 else 0))
    margin = plain(value, 2)
    return say("{margin}: OVER", margin=margin) if over else say("{margin}: look it up", margin=margin)


def cuts(plan: Plan) -> Table:
    """Return the lengths asked for, beside the length as it is."""
    columns = (
        Column("", "wide"), Column(say("as it is"), "right"), Column(say("electrical"), "right"), Column(say("cut to")),
    )  # fmt: skip
    asked = [p for b in plan.budgets for x in shown(b) for p in x.parts if p.cut_m]
    rows = _each(plan, _cut, lambda p: bool(p.cut_m))
    return Table(say("Lengths of lines to be cut"), columns, rows, cut_notes(asked) if asked else ())


def _cut(p: PartFinding) -> Row:
    lengths = listed([length(cut_m, 3) for cut_m in p.cut_m], EITHER)
    angle = say("{angle}°", angle=plain(p.electrical_length_deg or 0.0, 0))
    return Row((p.name, length(p.length_m or 0.0, 3), angle, lengths))


# What changes do: before and after, band by band


def what_if_document(found: WhatIf) -> Document:
    """Return what changes do to a station."""
    return Document("station", say("{station}, changed", station=found.after.station), sections=sections(
        section("", points(found.changes)),
        section("", points(what_if_sentences(found))),
        section(say("Before and after"), _before_and_after(found)),
        section(say("Margins that become small"), points(_narrow(found))),
        section(say("Remarks"), points([*found.remarks, *_left_out(found)])),
        section(say("Cautions"), Cautions(found.after.cautions)),
        worked(_workings(found)),
    ))  # fmt: skip


def _workings(found: WhatIf) -> list[Working]:
    """Return how the changes are worked out, and the figures of the runs that change as they are afterwards."""
    runs = {d.run for d in found.differences}
    return [*found.workings, *(w for budget in found.after.budgets if budget.run in runs for w in budget.workings)]


def what_if_sentences(found: WhatIf) -> list[str]:
    """Return a sentence a run and band: what reaches the antenna then, and what that changes."""
    return [
        say("{run} at {frequency}: {said}", run=d.run, frequency=frequency(d.frequency_hz),
            said=together([arrival(d.after) if d.after else "", changed(d)]))
        for d in _gravest(found)
    ]  # fmt: skip


def _gravest(found: WhatIf) -> list[Difference]:
    """Return the differences, or of very many those that change most."""
    of = found.differences
    gravest = sorted(range(len(of)), key=lambda i: -abs(of[i].delivered_db or 0.0))[:MOST_BANDS]
    return [of[i] for i in sorted(gravest)]


def _left_out(found: WhatIf) -> list[str]:
    count = len(found.differences)
    more = say(
        "Of {count} differences the {shown} largest are shown; --json has them all.", count=count, shown=MOST_BANDS
    )
    return [more] if count > MOST_BANDS else []


def _before_and_after(found: WhatIf) -> Table:
    columns = (
        Column("", "right"), Column(say("loss"), "figure"), Column(say("then"), "figure"),
        Column(say("at the antenna"), "right"), Column(say("then"), "right"), Column(say("change"), "figure"),
        Column(say("signal-to-noise"), "figure"),
    )  # fmt: skip
    several = len(found.after.budgets) > 1
    return Table("", columns, tuple(
        Part(run if several else "", tuple(_difference(d) for d in _gravest(found) if d.run == run))
        for run in dict.fromkeys(d.run for d in found.differences)
    ))  # fmt: skip


def _difference(d: Difference) -> Row:
    both = (d.before, d.after)
    return Row((
        frequency(d.frequency_hz),
        *("" if x is None else quantity(plain(x.total_loss_db, 2), "dB") for x in both),
        *("" if x is None else watts(x)[0] for x in both),
        *("" if db is None else quantity(signed(db, 2), "dB") for db in (d.delivered_db, d.signal_to_noise_db)),
    ))  # fmt: skip


NARROW = {
    "voltage": mark("{run} at {frequency}: voltage over the rating of {part}, margin {margin}."),
    "heat": mark("{run} at {frequency}: heat over the rating of {part}, margin {margin}."),
}


def _narrow(found: WhatIf) -> Iterator[str]:
    """Yield the margins that fall under one."""
    for d in found.differences:
        was = {} if d.before is None else {p.name: p.beyond("known") for p in d.before.parts}
        for p in d.after.parts if d.after else ():
            margins = {"voltage": p.voltage_margin, "heat": p.heat_margin}
            yield from (
                say(NARROW[what], run=d.run, frequency=frequency(d.frequency_hz), part=p.name,
                    margin=plain(margins[what] or 0.0, 2))
                for what in p.beyond("known")
                if what not in was.get(p.name, ())
            )  # fmt: skip
