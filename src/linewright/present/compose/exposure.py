"""Exposure as a document: distances to limits, what is used up where people are, the licence, sources of the limits."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Final

from linewright.core.formatting import digits, frequency, length, metres, percent, plain, quantity
from linewright.core.messages import listed, mark, say, together
from linewright.core.nouns.exposure import DensityFinding, ExposureFinding
from linewright.core.nouns.plan import EXPOSURE, BandFinding, Budget, Plan, belonging
from linewright.present.compose.exposure_words import (
    all_at_once,
    distance,
    distance_notes,
    exempt_from,
    exemption,
    farthest,
    level_distance,
    licence,
    most_power,
    most_used,
    near_distance,
    used,
)
from linewright.present.compose.plan_words import on_air, remarks_of, unshown
from linewright.present.compose.plan_words import shown as bands_shown
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Block,
    Cautions,
    Column,
    Document,
    Part,
    Points,
    Row,
    Table,
    points,
    section,
    sections,
)

FAMILY: Final = {"ICNIRP 2020": "ICNIRP", "ICNIRP 2010": "ICNIRP", "47 CFR 1.1310": "47 CFR"}
"""What the head of a column calls a set of limits; two of one name share a column."""
WHO: Final = {"public": mark("public"), "occupational": mark("occup.")}
LETTER: Final = {"electric field": "E", "magnetic field": "H", "power density": "S"}

Kind = tuple[str, str]
"""A set of limits and whom it is for, as a column has them."""


def exposure_document(plan: Plan) -> Document:
    """Return how far to keep away from the antennas of a plan, and all that goes with it."""
    workings = [w for b in plan.budgets for w in belonging(b, EXPOSURE)]
    unknown = [b.run for b in plan.budgets if not any(x.exposure for x in b.bands)]
    return Document(
        "exposure", say("Exposure at {station}", station=plan.station),
        sections=sections(
            section("", points(headlines(plan))),
            section(say("Distance at which the limit is reached"), distances(plan), points(_unknown(unknown))),
            section(say("EIRP and ERP"), on_the_air(plan)),
            section(say("Where people stand"), on_the_ground(plan)),
            section(say("At the window"), at_the_window(plan)),
            section(say("At a distance"), at_a_distance(plan)),
            section(say("Fields at that distance"), fields(plan)),
            section(say("All on the air at once"), points(all_at_once(plan.together))),
            section(say("Licence"), points(licensed(plan))),
            section(say("Limits"), limits(plan)),
            section(say("Exempt by distance"), points(exempt_from(_each(plan)))),
            section(say("Assumptions"), points([*terms(plan), *unshown(plan)])),
            section(say("Cautions"), Cautions(plan.cautions)),
            worked(workings),
        ),
        names=(plan.station, *(b.run for b in plan.budgets)),
    )  # fmt: skip


def headlines(plan: Plan) -> Iterator[str]:
    """Yield for each run how far the public's limits reach, by the farthest of them, and where that cannot be told."""
    for budget in plan.budgets:
        found = [(x.frequency_hz, e) for x in shown(budget) for e in x.exposure if e.who == "public"]
        known = [(f, e) for f, e in found if e.distance_m_high is not None]
        if known:
            f, e = max(known, key=lambda one: one[1].distance_m_high or 0.0)
            yield say(_REACHES[e.method], run=budget.run, distance=length(e.distance_m_high or 0.0, 2),
                      frequency=frequency(f), limit=e.limit)  # fmt: skip
        if ground := max((e.ground_distance_m or 0.0 for _, e in known), default=0.0):
            yield say("{run}: where people stand, the limits for the public reach up to {distance}, level, from below"
                      " the feed.", run=budget.run, distance=level_distance(ground))  # fmt: skip
        lacking = dict.fromkeys(frequency(f) for f, e in found if e.distance_m_high is None)
        if lacking:
            needs = next(e.needs for _, e in found if e.distance_m_high is None)
            yield say("{run}: no figure at {frequencies}. What is needed: {needs}.",
                      run=budget.run, frequencies=together(list(lacking), ", "), needs=needs)  # fmt: skip


_REACHES: Final = {
    "near field": mark("{run}: the public limit that reaches farthest is {limit}, {distance} from the nearest wire at"
                       " {frequency}."),
    "far field": mark("{run}: the public limit that reaches farthest is {limit}, {distance} from the antenna at"
                      " {frequency}."),
}  # fmt: skip


def brief(plan: Plan) -> tuple[Block, ...]:
    """Return the distances alone, with what they are reckoned with and whose limits they are, for a whole plan."""
    limits_named = dict.fromkeys(e.limit for b in plan.budgets for x in b.bands for e in x.exposure)
    if not limits_named:
        return ()
    whose = say("Limits of {limits}; the command linewright exposure shows each with its source.",
                limits=listed(list(limits_named)))  # fmt: skip
    return distances(plan), Points("", (*terms(plan), whose))


def shown(budget: Budget) -> Sequence[BandFinding]:
    """Return the bands of a run that are shown, of those that have a limit."""
    return [x for x in bands_shown(budget) if x.exposure]


def terms(plan: Plan) -> tuple[str, ...]:
    """Return what exposure is reckoned with, each once, with the runs it holds for where it does not hold for all."""
    return remarks_of(plan.budgets, lambda budget: budget.terms)


def _unknown(runs: Sequence[str]) -> Iterator[str]:
    if runs:
        yield say("No figures for {runs}: none of the chosen limits applies there.", runs=together(runs, ", "))


def distances(plan: Plan) -> Table:
    """Return the distances of every run and band, a column a set of limits."""
    found = _found(plan)
    notes = list(distance_notes(found))
    if {"ICNIRP 2020", "ICNIRP 2010"} <= {e.limit for e in found}:
        notes.append(say("ICNIRP: whichever reaches farther, the levels of 2020 or those of 2010 below 10 MHz, which"
                         " are not averaged."))  # fmt: skip
    if any(e.distance_m is not None for e in found):
        notes.append(say("E, H or S: the electric field, the magnetic field or the power density reaches its limit"
                         " farthest out."))  # fmt: skip
    return _table(plan, _distance, notes)


def _distance(e: ExposureFinding) -> str:
    if e.distance_m is None:
        return distance(e)
    return say("{distance} {letter}", distance=distance(e), letter=LETTER[e.quantity])


def on_the_air(plan: Plan) -> Table:
    """Return what is radiated, over an isotropic antenna and over a dipole, with intervals; empty without a gain."""
    columns = Column("", "right"), Column(say("EIRP (95 %)"), "right"), Column(say("ERP (95 %)"), "right")
    parts = []
    for budget in plan.budgets:
        rows = tuple(
            Row((frequency(x.frequency_hz), *(together(on_air(x, w)) for w in (x.eirp_w, x.erp_w))))
            for x in shown(budget)
            if x.eirp_w is not None
        )
        if rows:
            parts.append(Part(budget.run if len(plan.budgets) > 1 else "", rows))
    return Table("", columns, tuple(parts))


def on_the_ground(plan: Plan) -> Table:
    """Return how far from the feed, level, the limits reach where people stand; empty without a near field."""
    if all(e.ground_distance_m is None for e in _found(plan)):
        return _nothing()
    note = say("Level from below the feed, 0.1 to 2 m above ground, at the estimated power.")
    return _table(plan, lambda e: level_distance(e.ground_distance_m), (note,))


def at_the_window(plan: Plan) -> Table:
    """Return the same at the height of a window; empty where no run names one."""
    if all(e.window_distance_m is None for e in _found(plan)):
        return _nothing()
    note = say("Level from the feed, at the window's height, at the estimated power.")
    return _table(plan, lambda e: level_distance(e.window_distance_m), (note,))


def _table(plan: Plan, cell: Callable[[ExposureFinding], str], notes: Iterable[str]) -> Table:
    kinds = kinds_of(plan)
    columns = (
        Column("", "right"),
        *(Column(head(kind), "right") for kind in kinds),
    )
    parts = []
    for budget in plan.budgets:
        rows = []
        for x in shown(budget):
            at = [of_kind(x, kind) for kind in kinds]
            cells = [cell(farthest(some)) if some else "" for some in at]
            if any(cells):
                rows.append(Row((frequency(x.frequency_hz), *cells)))
        if rows:
            parts.append(Part(budget.run if len(plan.budgets) > 1 else "", tuple(rows)))
    return Table("", columns, tuple(parts), tuple(notes))


def _nothing() -> Table:
    return Table("", (), ())


def _each(plan: Plan) -> list[tuple[str, float, ExposureFinding]]:
    return [(b.run, x.frequency_hz, e) for b in plan.budgets for x in shown(b) for e in x.exposure]


def _found(plan: Plan) -> list[ExposureFinding]:
    return [e for b in plan.budgets for x in b.bands for e in x.exposure]


def _kind(limit: str, who: str) -> Kind:
    return FAMILY.get(limit, limit), who


def kinds_of(plan: Plan) -> list[Kind]:
    """Return the sets of limits that have a column."""
    return _kinds((e.limit, e.who) for e in _found(plan))


def of_kind(x: BandFinding, kind: Kind) -> list[ExposureFinding]:
    """Return what of a band stands in a column."""
    return [e for e in x.exposure if _kind(e.limit, e.who) == kind]


def _kinds(found: Iterable[tuple[str, str]]) -> list[Kind]:
    return list(dict.fromkeys(_kind(*one) for one in found))


def head(kind: Kind) -> str:
    """Return the head of a column of limits."""
    limit, who = kind
    return say("{limit}, {who}", limit=limit, who=say(WHO.get(who, who)))


def at_a_distance(plan: Plan) -> Table:
    """Return what is used up of each limit where people are; empty where nobody says how near they come."""
    rows = [(b.run, x.frequency_hz, d) for b in plan.budgets for x in shown(b) for d in x.density]
    if not rows:
        return _nothing()
    kinds = _kinds((d.limit, d.who) for *_, d in rows)
    heads = [Column(head(kind), "right") for kind in kinds]
    columns = (Column("", "right"), *heads, Column(say("most power"), "right"))
    parts = []
    for budget in plan.budgets:
        near = [x for x in shown(budget) if x.density]
        if near:
            away = metres(near[0].density[0].distance_m)
            title = say("{run}, {distance} away", run=budget.run, distance=away)
            parts.append(Part(title, tuple(_used_row(x, kinds) for x in near)))
    exempt = dict.fromkeys(exemption(f, d, run) for run, f, d in rows)
    by_wires = any(e.method == "near field" for e in _found(plan))
    notes = (
        say("Of the limit: at the upper end of the power's interval. Levels that are not averaged count the field, all"
            " others the power. The most power is the transmitter's, for the strictest of them."),
        *([near_distance()] if by_wires else ()),
        *used(rows, over_only=True), *filter(None, exempt),
    )  # fmt: skip
    return Table("", columns, tuple(parts), notes)


def fields(plan: Plan) -> Table:
    """Return the fields and the power density where people are, while the transmitter is on."""
    columns = (
        Column("", "right"), Column(say("electric field"), "right"), Column(say("magnetic field"), "right"),
        Column(say("power density"), "right"),
    )  # fmt: skip
    parts = []
    for budget in plan.budgets:
        at = [(x.frequency_hz, next((d for d in x.density if d.e_v_per_m is not None), None)) for x in shown(budget)]
        rows = tuple(
            Row((frequency(f), _figure(d.e_v_per_m, "V/m"), _figure(d.h_a_per_m, "A/m"), _figure(d.s_w_per_m2, "W/m²")))
            for f, d in at
            if d is not None
        )
        if rows:
            parts.append(Part(budget.run if len(plan.budgets) > 1 else "", rows))
    note = say(
        "RMS values while the transmitter is on, at the estimated power, before any averaging. Near a wire there "
        "is no power density.")  # fmt: skip
    return Table("", columns, tuple(parts), (note,))


def _figure(value: float | None, unit: str) -> str:
    return "" if value is None else quantity(digits(value, 3), unit)


def _used_row(x: BandFinding, kinds: Sequence[Kind]) -> Row:
    at = [[d for d in x.density if _kind(d.limit, d.who) == kind] for kind in kinds]
    powers = [d.max_power_w for d in x.density if d.max_power_w is not None]
    power = most_power(min(powers)) if powers else ""
    return Row((frequency(x.frequency_hz), *(_share(most_used(some)) if some else "" for some in at), power))


def span(seconds: float) -> str:
    """Return a time as people say it, rounded down.

    >>> span(47.9), span(360.0), span(754.0)
    ('47 s', '6 min', '12.5 min')
    """
    if seconds < 120.0:
        return quantity(plain(float(int(seconds)), 0), "s")
    return quantity(digits(int(seconds / 6.0) / 10.0, 4), "min")


def _share(d: DensityFinding) -> str:
    return say("no figure") if d.fraction_high is None else percent(d.fraction_high)


def licensed(plan: Plan) -> Iterator[str]:
    """Yield what the licence allows against what there is."""
    for b in plan.budgets:
        for x in shown(b):
            for c in x.licence:
                said = licence(x.frequency_hz, c)
                yield say("{run}: {remark}", run=b.run, remark=said) if len(plan.budgets) > 1 else said


def limits(plan: Plan) -> Table:
    """Return what each limit is on each band, over which time it is averaged, and where it stands."""
    found: dict[tuple[float, str, str], ExposureFinding] = {}
    for budget in plan.budgets:
        for x in shown(budget):
            found |= {(x.frequency_hz, e.limit, e.who): e for e in x.exposure}
    columns = (Column("", "right"), Column(""), Column(""), Column("", "right"), Column("", "right"))
    rows, last = [], 0.0
    for (f, limit, who), e in sorted(found.items(), key=lambda pair: pair[0][0]):
        value = quantity(digits(e.limit_value, 3), e.unit)
        rows.append(Row(("" if f == last else frequency(f), limit, say(who), value, averaged(e.averaging_s))))
        last = f
    notes = tuple(_sources(found.values()))
    return Table("", columns, (Part("", tuple(rows)),), notes) if rows else _nothing()


def averaged(seconds: float) -> str:
    """Return over which time a limit is averaged."""
    return say("not averaged") if seconds == 0.0 else say("over {time}", time=span(seconds))


def _sources(found: Iterable[ExposureFinding]) -> Iterator[str]:
    who: dict[tuple[str, str], dict[str, None]] = {}
    for e in found:
        who.setdefault((e.limit, e.source), {})[say(e.who)] = None
    for (limit, source), names in who.items():
        _, _, text = source.partition(": ")
        yield say("{limit}, {who}: {source}.", limit=limit, who=listed(list(names)),
                  source=text.removeprefix(f"{limit}, "))  # fmt: skip
