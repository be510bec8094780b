"""The sweeps of a line as a document: verdict, loss, the line itself, faults along it, its type."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from linewright.core.formatting import (
    capitalized,
    decimals_for,
    frequency,
    interval,
    length,
    metres,
    percent,
    places_for,
    plain,
    quantity,
)
from linewright.core.messages import say, say_many, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.sweep import Fault, FaultFinding, Interval, Resemblance, SweepFinding, SweepReport
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Paragraph,
    Points,
    Table,
    points,
    section,
    sections,
    table,
)

MOST_TYPES, LEAST_CHANCE = 5, 0.02
SLIGHT = 6
"""So many of the smaller marks along a line are listed."""


def sweep_document(report: SweepReport) -> Document:
    """Return what the sweeps of a line say."""
    return Document("sweep", report.finding.name, sections=sections(
        section("", Paragraph(report.verdict)),
        section(say("Loss"), losses(report)),
        section(say("The line"), line(report)),
        section(say("Along it"), faults(report), along(report)),
        section(say("Which type"), points([report.jacket]), types(report), points([likeliest(report)])),
        section(say("Remarks"), points(report.remarks)),
        section(say("Cautions"), Cautions(report.cautions)),
        worked(report.workings),
    ))  # fmt: skip


def losses(report: SweepReport) -> Table:
    """Return the loss at each frequency; what lies between the ports as well where both were swept."""
    found = report.finding.losses
    direct = any(row.insertion_loss_db for row in found)
    columns = (Column("", "right"), Column(say("band")), Column(say("matched loss (95 %)"), "figure"))
    if not direct:
        return table(columns, ((frequency(r.frequency_hz), r.band, _interval(r.matched_loss_db)) for r in found))
    between = (quantity(plain(r.insertion_loss_db.value, 2), "dB") if r.insertion_loss_db else "" for r in found)
    return table((*columns, Column(say("between the ports"), "figure")), (
        (frequency(r.frequency_hz), r.band, _interval(r.matched_loss_db), ports)
        for r, ports in zip(found, between, strict=True)
    ))  # fmt: skip


def line(report: SweepReport) -> Table:
    """Return the figures of the line itself."""
    return table((Column(""), Column("")), ((name, value) for _, name, value in named_figures(report)))


Figure = Literal["impedance", "delay", "length", "law", "candidate"]


def named_figures(report: SweepReport) -> Iterator[tuple[Figure, str, str]]:
    """Yield each figure of the line, before it the working that tells of it."""
    found = report.finding
    if found.impedance_ohm is not None:
        yield "impedance", say("impedance"), _interval(found.impedance_ohm, "ohm")
    if found.delay_s is not None:
        yield "delay", say("delay, one way"), _interval(found.delay_s.times(1e9), "ns")
    if found.length_m is not None:
        long = found.length_m
        yield "length", say("length"), length(long.value, places_for(long.low, long.high), long.low, long.high)
    if found.velocity_factor is not None:
        yield "length", say("velocity factor"), _interval(found.velocity_factor, "")
    if found.law is not None:
        yield "law", say("k1, √f part at 1 MHz"), _interval(found.law.k1_db)
        yield "law", say("k2, f part at 1 MHz"), _interval(found.law.k2_db)
    for other in found.candidates if len(found.candidates) > 1 else ():
        delay, chance = quantity(plain(1e9 * other.delay_s, 2), "ns"), percent(other.probability)
        yield "candidate", say("delay may be"), together([delay, chance], ", ")


def _interval(x: Interval, unit: str = "dB") -> str:
    return interval(x.value, x.low, x.high, unit)


def faults(report: SweepReport) -> Table:
    """Return the faults along the line: where, what, how much comes back, how sure, and why."""
    columns = (
        Column(say("at (95 %)"), "figure"), Column(say("what")), Column(say("reflected"), "right"),
        Column(say("sure"), "right"), Column("", "wide"),
    )  # fmt: skip
    return table(columns, (
        (length(f.distance_m, max(1, places_for(f.low_m, f.high_m)), f.low_m, f.high_m), say(f.kind), percent(f.size),
         percent(f.confidence), f.why)
        for f in (report.along.faults if report.along else ())
    ))  # fmt: skip


def along(report: SweepReport) -> Points:
    """Return what else lies along the line, and how much of it can be seen, in sentences."""
    found = report.along
    if found is None:
        return points([report.along_why])
    end = [
        together([m.why, say("It is {distance} away.", distance=metres(m.distance_m))])
        for m in found.landmarks
        if m.kind == "far end"
    ]
    shown = say("No fault shows.") if not found.faults else ""
    return points([shown, *end, _slight(found), _resolution(found), _least_joint(found)])


def _slight(found: FaultFinding) -> str:
    """Return where slight things show, the first of them by name."""
    slight = [m for m in found.landmarks if m.kind in ("unevenness", "ghost")]
    if not slight:
        return ""
    where = together(
        [say("{distance} ({size})", distance=metres(m.distance_m, 3), size=percent(m.size)) for m in slight[:SLIGHT]],
        ", ",
    )
    if len(slight) <= SLIGHT:
        return say("Also seen, but not faults: slight unevenness or re-reflections at {where}.", where=where)
    return say_many(
        "Also seen, but not faults: slight unevenness or re-reflections at {where} and {count} more place.",
        "Also seen, but not faults: slight unevenness or re-reflections at {where} and {count} more places.",
        len(slight) - SLIGHT, where=where,
    )  # fmt: skip


def _resolution(found: FaultFinding) -> str:
    return say(
        "Two things less than {cell} apart cannot be told apart, and a fault within {blind} of either end cannot be "
        "told from the connector. A reflection below {least} counts as even.",
        cell=metres(found.cell_m, 2), blind=metres(found.blind_m, 2), least=percent(found.least_size),
    )  # fmt: skip


def _least_joint(found: FaultFinding) -> str:
    """Return how small a joint this sweep can show at all, near the ends and halfway."""
    if not found.least_joints:
        return ""
    where = [
        say("{resistance} at {place}", resistance=quantity(plain(ohm, 1 if ohm < TENTHS_OHM else 0), "ohm"),
            place=metres(place, 3))
        for place, ohm in found.least_joints
    ]  # fmt: skip
    return say("The smallest bad joint that would show by its echo alone: {where}.", where=together(where, "; "))


TENTHS_OHM = 10.0
"""Below this a resistance is given to a tenth of an ohm."""


def _likely(report: SweepReport) -> list[Resemblance]:
    """Return the types that are likely enough to be listed, and none of them if that is likely enough."""
    likely = [row for row in report.resembles if row.probability >= LEAST_CHANCE]
    return likely[:MOST_TYPES] + [row for row in likely[MOST_TYPES:] if row.kind == "none of these"]


def types(report: SweepReport) -> Table:
    """Return the likeliest types: name, whether worn, chance."""
    return table((Column(say("type")), Column(""), Column(say("chance"), "right")), _types(report))


def _types(report: SweepReport) -> Iterator[tuple[str, str, str]]:
    for row in _likely(report):
        how = say("as published") if row.kind == "as published" else ""
        if row.worn_ratio:
            how = say("worn, {times} times the loss", times=plain(row.worn_ratio, 1))
        yield _type(row), how, percent(row.probability)


def likeliest(report: SweepReport) -> str:
    """Return why the likeliest type is that."""
    return next((say("{line}: {why}", line=_type(row), why=row.why) for row in _likely(report)), "")


def _type(row: Resemblance) -> str:
    return say("none of these") if row.kind == "none of these" else row.line


# The verdict: loss, faults, and what the line is, in sentences

PREFERRED_HZ = 144.3e6

NAMED = 0.8
"""A type, or none, is named from this chance on."""

MOST_NAMED = 3
"""So many faults are named; the rest are counted."""


def verdict(
    finding: SweepFinding,
    along: FaultFinding | None,
    likely: Sequence[Resemblance],
    jacket: str,
    *,
    by_type: bool = False,
) -> str:
    """Return the answer first: loss, faults, what the line is. ``by_type``: its length is by its type's velocity."""
    said = [_refused(finding), _loss(finding, by_type=by_type), _faults(along, finding)]
    return together([*said, jacket or _likeliest(likely)])


def _refused(finding: SweepFinding) -> str:
    """Return the gravest flaw of the sweep itself, where it makes all else doubtful."""
    grave = [h for h in finding.health if h.severity == "refuse"]
    if grave:
        return say("Do not go by this sweep. {why}", why=grave[0].why)
    doubts = [h for h in finding.health if h.severity == "doubt"]
    if doubts and doubts[0].check in ("far end", "length"):
        return doubts[0].why
    return say("Doubtful sweep: {why}", why=doubts[0].why) if doubts else ""


def _loss(finding: SweepFinding, *, by_type: bool) -> str:
    if not finding.losses:
        return say("The loss cannot be told from this.")
    row = min(finding.losses, key=lambda x: abs(x.frequency_hz - PREFERRED_HZ))
    loss, f = row.matched_loss_db, frequency(row.frequency_hz)
    value, low, high = (plain(x, 2) for x in (loss.value, loss.low, loss.high))
    if not finding.length_m or finding.length_m.value <= 0:
        return say("It loses {loss} dB at {f} ({low} to {high}).", loss=value, f=f, low=low, high=high)
    if by_type and finding.line is not None:
        return say(
            "It loses {loss} dB at {f} ({low} to {high}) over {length}, taking the velocity factor of {line},"
            " {factor}.",
            loss=value, f=f, low=low, high=high, length=metres(finding.length_m.value),
            line=finding.line.designator, factor=plain(finding.line.velocity_factor, 2),
        )  # fmt: skip
    return say(
        "It loses {loss} dB at {f} ({low} to {high}) over {length}.",
        loss=value, f=f, low=low, high=high, length=metres(finding.length_m.value),
    )  # fmt: skip


def _faults(along: FaultFinding | None, finding: SweepFinding) -> str:
    if along is None:
        return ""
    if not along.faults:
        k0 = finding.law.k0_db.value if finding.law is not None and finding.law.constant else 0.0
        if k0 <= 0.0:
            return say("No fault shows along it.")
        loss = quantity(plain(k0, 2), "dB")
        return say("Nothing along it reflects, but {loss} of its loss is the same at all frequencies.", loss=loss)
    shown = along.faults[:MOST_NAMED]
    said = capitalized(together(map(_fault, shown), "; "))
    more = len(along.faults) - MOST_NAMED
    if more > 0:
        told = say_many("{faults} and {count} more.", "{faults} and {count} more.", more, faults=said)
    else:
        told = say("{faults}.", faults=said)
    if along.end_m is not None and along.end_m > along.profile.range_m:
        return together([told, say("The sweep's steps fold distances; they were unfolded with the length given.")])
    if not along.assumed:
        return told
    taken = say(
        "Distances assume a velocity factor of {factor}, because none was given.",
        factor=plain(along.velocity_factor, 2),
    )
    return together([told, taken])


def _fault(fault: Fault) -> str:
    """Return a fault and its place."""
    found = {
        "pinch": say("a pinch or poor joint at {place}", place=_place(fault)),
        "gap": say("a gap or opened braid at {place}", place=_place(fault)),
        "water": say("water at {place}", place=_place(fault)),
        "section": say("water, or other line spliced in, at {place}", place=_place(fault)),
        "insert": say("other line let in at {place}", place=_place(fault)),
        "step": say("a step of impedance at {place}", place=_place(fault)),
        "bad joint": say("a bad joint at {place}", place=_place(fault)),
        "open": say("an open at {place}", place=_place(fault)),
        "short": say("a short at {place}", place=_place(fault)),
        "unclear": say("something unclear at {place}", place=_place(fault)),
    }
    return found[fault.kind]


def _place(fault: Fault) -> str:
    places = decimals_for(fault.high_m - fault.low_m)
    return length(fault.distance_m, places, fault.low_m, fault.high_m)


def _likeliest(likely: Sequence[Resemblance]) -> str:
    if not likely:
        return ""
    best = likely[0]
    none = next((r.probability for r in likely if r.kind == "none of these"), 0.0)
    if none >= NAMED:
        return say("It is like no type of the catalogue ({chance}).", chance=_share(none))
    if best.kind == "none of these" or best.probability < NAMED:
        or_none = none >= LEAST_CHANCE
        return (
            say("Several types would answer to it, or none.") if or_none else say("Several types would answer to it.")
        )
    chance = _share(best.probability)
    if not best.worn_ratio:
        return say("Most like {line} ({chance}).", line=best.line, chance=chance)
    return say("Most like worn {line}, {times} times the loss ({chance}).",
               line=best.line, times=plain(best.worn_ratio, 1), chance=chance)  # fmt: skip


def _share(probability: float) -> str:
    return quantity(plain(100 * probability, 0), "%")


def likeness(likely: Sequence[Resemblance]) -> tuple[Working, ...]:
    """Return how the resemblance was worked out."""
    if not likely:
        return ()
    rows = tuple(
        (say("{line}, {kind}, {chance}", line=_type(r), kind=say(r.kind), chance=_share(r.probability)), r.why)
        for r in likely[:4]
    )
    best = likely[0]
    return (
        Working(
            say("resemblance: {line} ({chance})", line=_type(best), chance=_share(best.probability)),
            say("prior · likelihood of ln loss at five frequencies, velocity factor and impedance; summed to 1"),
            rows,
            say("catalogue tables with their spread; Bayes' rule"),
            ("resemblance",),
        ),
    )
