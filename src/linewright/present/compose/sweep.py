"""What the sweeps of a line say, as a document: verdict, loss, the line itself, what lies along it, its type."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from linewright.core.formatting import (
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
from linewright.core.nouns.sweep import FaultFinding, Interval, Resemblance, SweepReport
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
        Column(say("at (95 %)"), "figure"), Column(say("what")), Column(say("comes back"), "right"),
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
    return points([say("No fault shows.") if not found.faults else "", *end, _slight(found), _resolution(found)])


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
        return say("Also seen, but no faults: slight unevenness or re-reflections at {where}.", where=where)
    return say_many(
        "Also seen, but no faults: slight unevenness or re-reflections at {where} and {count} more place.",
        "Also seen, but no faults: slight unevenness or re-reflections at {where} and {count} more places.",
        len(slight) - SLIGHT, where=where,
    )  # fmt: skip


def _resolution(found: FaultFinding) -> str:
    return say(
        "Two things less than {cell} apart cannot be told apart, and a fault within {blind} of either end cannot be"
        " told from the connector. Less than {least} back counts as even.",
        cell=metres(found.cell_m, 2), blind=metres(found.blind_m, 2), least=percent(found.least_size),
    )  # fmt: skip


def _likely(report: SweepReport) -> list[Resemblance]:
    """Return the types that are likely enough to be listed."""
    return [row for row in report.resembles if row.probability >= LEAST_CHANCE][:MOST_TYPES]


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
