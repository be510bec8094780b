"""The terminal view of a plan: what reaches the antenna first, then the figures."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.cli.plan_words import MOST_BANDS, other_remarks, shown, title
from linewright.cli.text import Table, bold, clean, cut, items, page, room, section, workings_view, wrapped
from linewright.core.formatting import frequency, interval, length, per_metre, plain, quantity, signed, swr
from linewright.core.messages import EITHER, listed, mark, say, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.plan import BandFinding, Difference, PartFinding, Plan, WhatIf
from linewright.present.compose.exposure import brief
from linewright.present.compose.plan_words import (
    arrival,
    assumptions,
    changed,
    cut_notes,
    highest_voltages,
    radiated,
    rating_note,
    watts,
)
from linewright.present.compose.reception import needs, noise_table, reasons, unsaid
from linewright.present.document import Document, points, sections
from linewright.present.document import section as section_of
from linewright.present.writers.terminal import lines_of, terminal

# Tables of a plan: bands, parts, ratings, lengths to cut

NARROW_SWR = 0.1
SURE_DB = 0.005
"""An interval narrower than this is not worth showing."""
AMPLE = 3.0
"""A margin above this needs no second look (common practice, no source)."""


def bands(plan: Plan) -> list[str]:
    """Return losses, watts and SWR of every run and band."""
    heads = (
        "", say("matched"), say("by SWR"), say("total (95 %)"), say("arrives (95 %)"), say("radio"), say("antenna"),
    )  # fmt: skip
    table = Table(heads, "rdddddd")
    for budget in plan.budgets:
        if len(plan.budgets) > 1:
            table.part(budget.run)
        for x in shown(budget):
            table.add(*_band(x))
            table.under(_swing(x))
    return table.lines()


def _band(x: BandFinding) -> tuple[str, ...]:
    return (
        frequency(x.frequency_hz),
        quantity(plain(x.matched_loss_db, 2), "dB"),
        quantity(plain(x.mismatch_loss_db, 2), "dB"),
        interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high),
        together(watts(x)),
        swr(x.swr_at_radio),
        swr(x.swr_at_antenna),
    )


def _swing(x: BandFinding) -> str:
    low, high = x.swr_at_radio_low, x.swr_at_radio_high
    if high - low < NARROW_SWR:
        return ""
    return say("SWR at the radio: {value} ({low} to {high}).", value=swr(x.swr_at_radio), low=swr(low), high=swr(high))


def _each(plan: Plan) -> Iterator[tuple[str, BandFinding]]:
    """Yield every band of every run with its title."""
    for budget in plan.budgets:
        for x in shown(budget):
            yield title(plan, budget, x), x


def parts(plan: Plan) -> list[str]:
    """Return what every part loses, and how warm it grows; of several runs, on the band that loses most."""
    table = Table(("", say("loss (95 %)"), say("into a match"), say("heat")), "lddr")
    gravest = [max(b.bands, key=lambda x: x.total_loss_db) for b in plan.budgets if b.bands]
    several = len(plan.budgets) > 1 and any(len(b.bands) > 1 for b in plan.budgets)
    for name, x in _each(plan):
        if several and x not in gravest:
            continue
        if x.parts:
            table.part(name)
        for p in x.parts:
            table.add(p.name, _loss(p), quantity(plain(p.matched_loss_db, 2), "dB"), _heat(p))
    more = [say("For each run, the band with the most loss; --run NAME shows all bands.")] if several else []
    return [*table.lines(), *items([*_grounds(plan), *more])]


def _loss(p: PartFinding) -> str:
    if p.loss_db_high - p.loss_db_low < SURE_DB:
        return quantity(plain(p.loss_db, 2), "dB")
    return interval(p.loss_db, p.loss_db_low, p.loss_db_high)


def _grounds(plan: Plan) -> Iterator[str]:
    """Say what the losses of lines rest on: names, by what they rest on."""
    found: dict[str, dict[str, None]] = {}
    for _, x in _each(plan):
        for p in x.parts:
            if p.basis:
                found.setdefault(p.basis, {})[p.name] = None
    for basis, names in found.items():
        yield say("From the {basis}: {names}.", basis=basis, names=", ".join(names))


def _heat(p: PartFinding) -> str:
    if p.heat_w < 0.05:
        return ""
    heat = quantity(plain(p.heat_w, 1), "W")
    if p.heat_w_per_m is None or p.heat_w_per_m < 0.05:
        return heat
    return together([heat, per_metre(p.heat_w_per_m, 1, "W")], ", ")


def ratings(plan: Plan) -> list[str]:
    """Return the parts whose margins are worth a look; where every margin is ample, one sentence says so."""
    heads = ("", say("peak voltage"), say("rated"), say("margin"), say("power rating"), say("margin"))
    table = Table(heads, "lrrrrr")
    narrow = False
    for name, x in _each(plan):
        close = [p for p in x.parts if _least(p) < AMPLE]
        if close:
            table.part(name)
            narrow = True
        for p in close:
            table.add(
                p.name,
                quantity(plain(p.peak_voltage_v, 0), "V"),
                _or_unknown(p.voltage_rating_v, "V"),
                _margin(p.voltage_margin, "voltage" in p.beyond("known")),
                _or_unknown(p.power_rating_w, "W"),
                _margin(p.heat_margin, "heat" in p.beyond("known")),
            )
            table.under(rating_note(p))
    ample = plain(AMPLE, 0)
    known = (
        say("Every other known margin is {ample} times or more.", ample=ample)
        if narrow
        else say("Every known margin is {ample} times or more.", ample=ample)
    )
    return [*table.lines(), *items([*highest_voltages(plan), together([known, _unrated(plan)])])]


def _unrated(plan: Plan) -> str:
    names = dict.fromkeys(
        p.name for _, x in _each(plan) for p in x.parts if p.voltage_margin is None and p.heat_margin is None
    )
    return say("No rating is known for {parts}.", parts=", ".join(names)) if names else ""


def _least(p: PartFinding) -> float:
    return min((m for m in (p.voltage_margin, p.heat_margin) if m is not None), default=AMPLE)


def _or_unknown(value: float | None, unit: str) -> str:
    return say("not stated") if value is None else quantity(plain(value, 0), unit)


def _margin(value: float | None, over: bool) -> str:
    """Return a margin; one below 1 by a rating from memory is no verdict."""
    if value is None:
        return ""
    if value >= 1.0:
        return say("{margin} times", margin=plain(value, 1))
    margin = plain(value, 2)
    return say("{margin}: OVER", margin=margin) if over else say("{margin}: look it up", margin=margin)


def cuts(plan: Plan) -> list[str]:
    """Return the lengths asked for, beside the length as it is."""
    table = Table(("", say("as it is"), say("electrical"), say("cut to")), "lrrl")
    for name, x in _each(plan):
        asked = [p for p in x.parts if p.cut_m]
        if asked:
            table.part(name)
        for p in asked:
            lengths = listed([length(cut_m, 3) for cut_m in p.cut_m], EITHER)
            angle = say("{angle}°", angle=plain(p.electrical_length_deg or 0.0, 0))
            table.add(p.name, length(p.length_m or 0.0, 3), angle, lengths)
    told = [p for _, x in _each(plan) for p in x.parts if p.cut_m]
    return [*table.lines(), *items(cut_notes(told))] if table.lines() else []


# What a change does, on a terminal: before and after, band by band


def what_if_view(found: WhatIf, *, explain: bool = False) -> str:
    """Return what changes do to a station, for a terminal."""
    return page(
        [
            [bold(cut(say("{station}, changed", station=found.after.station), room()))],
            items(found.changes),
            items(what_if_sentences(found)),
            section(say("Before and after"), _table(found)),
            section(say("Margins that become small"), items(_narrow(found))),
            section(say("Remarks"), items([*found.remarks, *_left_out(found)])),
            section(say("Cautions"), items(found.after.cautions)),
            workings_view(_workings(found)) if explain else [],
        ]
    )


def _workings(found: WhatIf) -> list[Working]:
    """Return how the changes are worked out, and the figures of the runs that change as they are afterwards."""
    runs = {d.run for d in found.differences}
    return [*found.workings, *(w for budget in found.after.budgets if budget.run in runs for w in budget.workings)]


def what_if_sentences(found: WhatIf) -> list[str]:
    """Return a sentence a run and band: what reaches the antenna then, and what that changes."""
    return [
        say("{run} at {frequency}: {said}", run=d.run, frequency=frequency(d.frequency_hz), said=_said(d))
        for d in _shown(found)
    ]


def _shown(found: WhatIf) -> list[Difference]:
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


def _said(d: Difference) -> str:
    return together([arrival(d.after) if d.after else "", changed(d)])


def _table(found: WhatIf) -> list[str]:
    heads = (
        "", say("loss"), say("then"), say("at the antenna"), say("then"), say("change"), say("signal-to-noise"),
    )  # fmt: skip
    table = Table(heads, "rddrrdd")
    runs = dict.fromkeys(d.run for d in found.differences)
    for run in runs:
        if len(found.after.budgets) > 1:
            table.part(run)
        for d in _shown(found):
            if d.run == run:
                table.add(*_row(d))
    return table.lines()


def _row(d: Difference) -> tuple[str, ...]:
    return (
        frequency(d.frequency_hz),
        _loss_change(d.before),
        _loss_change(d.after),
        _power(d.before),
        _power(d.after),
        "" if d.delivered_db is None else quantity(signed(d.delivered_db, 2), "dB"),
        "" if d.signal_to_noise_db is None else quantity(signed(d.signal_to_noise_db, 2), "dB"),
    )


def _loss_change(x: BandFinding | None) -> str:
    return "" if x is None else quantity(plain(x.total_loss_db, 2), "dB")


def _power(x: BandFinding | None) -> str:
    return "" if x is None else watts(x)[0]


NARROW = {
    "voltage": mark("{run} at {frequency}: voltage over the rating of {part}, margin {margin}."),
    "heat": mark("{run} at {frequency}: heat over the rating of {part}, margin {margin}."),
}


def _narrow(found: WhatIf) -> list[str]:
    """Return the margins that fall under one."""
    said = []
    for d in found.differences:
        was = {} if d.before is None else {p.name: p.beyond("known") for p in d.before.parts}
        for p in d.after.parts if d.after else ():
            margins = {"voltage": p.voltage_margin, "heat": p.heat_margin}
            said += [
                say(NARROW[what], run=d.run, frequency=frequency(d.frequency_hz), part=p.name,
                    margin=plain(margins[what] or 0.0, 2))
                for what in p.beyond("known")
                if what not in was.get(p.name, ())
            ]  # fmt: skip
    return said


# Reception in a plan: the composer's table and sentences


def reception(plan: Plan) -> list[str]:
    """Return what every run and band does to reception, why, and what was taken for granted."""
    said = points((*reasons(plan), *needs(plan), *unsaid(plan), *assumptions(plan.budgets)))
    shown_whole = Document("reception", "", sections=sections(section_of("", noise_table(plan), said)))
    return terminal(shown_whole).splitlines() if shown_whole.sections else []


# The terminal view of a plan: what reaches the antenna first, then the figures

MOST_VERDICTS = 12
"""Nobody reads more of them in one run."""


def plan_view(plan: Plan, *, explain: bool = False) -> str:
    """Return a plan for a terminal, no line wider than 100 columns."""
    return page([
        [bold(cut(plan.station, room()))],
        verdicts(plan),
        section(say("Losses, power at the antenna, SWR at radio and antenna"), bands(plan)),
        section(say("Where the power goes"), parts(plan)),
        section(say("Voltage and heat against ratings"), ratings(plan)),
        section(say("Lengths to cut"), cuts(plan)),
        section(say("Reception"), reception(plan)),
        section(say("Exposure"), lines_of(brief(plan))),
        section(say("Remarks"), items([*other_remarks(plan), *plan.remarks])),
        section(say("Cautions"), items(plan.cautions)),
        workings_view([w for budget in plan.budgets for w in budget.workings]) if explain else [],
    ])  # fmt: skip


def verdicts(plan: Plan, most: int = MOST_VERDICTS) -> list[str]:
    """Return a sentence a run and band: what reaches the antenna, and what to look at first.

    Of more than ``most`` bands in a run, those that lose most.
    """
    return [line for budget in plan.budgets for x in shown(budget, most) for line in _verdict(budget.run, x)]


def _verdict(run: str, x: BandFinding) -> list[str]:
    lead = clean(say("{run} at {frequency}:", run=run, frequency=frequency(x.frequency_hz)))
    lines = wrapped(together([lead, arrival(x), radiated(x), x.weakest]), rest="  ")
    if lines[0].startswith(lead):
        lines[0] = bold(lead) + lines[0][len(lead) :]
    return lines
