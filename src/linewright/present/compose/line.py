"""The catalogue, and the loss of a length of line, as documents."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from linewright.catalogue import PowerPoint
from linewright.core.formatting import digits, figure, frequency, interval, metres, percent, places_for, plain, quantity
from linewright.core.locale import FEET_PER_METRE, Manner
from linewright.core.messages import mark, say, together
from linewright.core.nouns.line import Dimensions, Grade, LineList, LineType, LossTable, Provenance
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Paragraph,
    Section,
    Table,
    points,
    section,
    sections,
    table,
)

# All types of the catalogue, a line each

SHOWN_HZ = (14e6, 144e6, 432e6)
BEYOND = mark("{loss}*")
BRIEF: dict[Grade, str] = {
    "read": mark("text"), "memory": mark("memory"), "class": mark("class"), "person": mark("person"),
}  # fmt: skip
GRADES: dict[Grade, str] = {
    "read": mark("read in a text"), "memory": mark("from memory"), "class": mark("typical of its class"),
    "person": mark("given by the person"),
}  # fmt: skip


def lines_document(found: LineList) -> Document:
    """Return the types at hand, one a line."""
    columns = (
        Column(""), Column("ohm", "right"), Column(say("velocity"), "right"),
        *(Column(frequency(f), "figure") for f in SHOWN_HZ), Column(say("spread"), "right"), Column(say("known by")),
    )  # fmt: skip
    title = say(
        "{count} line types: impedance, velocity factor, loss in {unit}", count=len(found.types), unit=_per_100_unit()
    )
    beyond = say("* Known less well there than the type usually is.")
    known = say(
        "Spread: relative standard deviation of tables and good pieces. Known by: a public text, memory, what is"
        " typical of its class, or the person."
    )
    return Document("lines", title, sections=sections(
        section("", table(columns, map(_listed, found.types))),
        section("", points([beyond, known])),
        section(say("Cautions"), Cautions(found.cautions)),
    ))  # fmt: skip


def _listed(kind: LineType) -> tuple[str, ...]:
    grades = together([say(BRIEF[g]) for g in dict.fromkeys(p.provenance.grade for p in kind.points)], ", ")
    return (
        kind.designator, digits(kind.impedance_ohm), plain(kind.velocity_factor, 2),
        *(_law_at(kind, f) for f in SHOWN_HZ), quantity(plain(100 * kind.law.spread, 0), "%"), grades,
    )  # fmt: skip


def _law_at(kind: LineType, frequency_hz: float) -> str:
    loss = _per_100(float(kind.law.db_per_m(frequency_hz)))
    return loss if kind.law.covers(frequency_hz) else say(BEYOND, loss=loss)


def _per_100(db_per_m: float) -> str:
    """Return a loss per 100 m with two decimals, without its unit; per 100 ft where the reader asks for feet."""
    return figure(lambda m, db: m.number(f"{100.0 * db / (FEET_PER_METRE if _feet(m) else 1.0):.2f}"), db_per_m)


def _published(db_per_m: float) -> str:
    """Return a published loss per 100 m to the figures it has; per 100 ft where the reader asks for feet."""
    return figure(lambda m, db: m.number(f"{100.0 * db / (FEET_PER_METRE if _feet(m) else 1.0):.4g}"), db_per_m)


def _per_100_unit() -> str:
    return say("dB per {length}", length=figure(lambda m: "100 ft" if _feet(m) else "100 m"))


def _feet(manner: Manner) -> bool:
    return manner.lengths == "ft"


# One type in full: every figure with its grade and the number of its source

UNITS = {
    "f_per_m": ("pF/m", 1e12),
    "kg_per_m": ("g/m", 1e3),
    "ohm_per_m": ("mΩ/m", 1e3),
    "w_per_m": ("W/m", 1.0),
    "celsius": ("°C", 1.0),
    "ohm": ("ohm", 1.0),
    "m": ("mm", 1e3),
    "v": ("V", 1.0),
}
"""Figures of a data sheet in the units people use: the library keeps SI, and the last word of a name says which."""
NAMES = {
    "bend_radius": mark("bend radius"), "capacitance": mark("capacitance"), "centre": mark("centre"),
    "centre_diameter": mark("centre diameter"), "centre_resistance": mark("centre resistance"),
    "dielectric": mark("dielectric"), "dielectric_diameter": mark("dielectric diameter"), "heat": mark("heat"),
    "impedance": mark("impedance"), "mass": mark("mass"), "max_temperature": mark("max temperature"),
    "outer_diameter": mark("outer diameter"), "shield": mark("shield"), "shield_resistance": mark("shield resistance"),
    "specification": mark("specification"), "strands": mark("strands"), "velocity_factor": mark("velocity factor"),
    "voltage": mark("voltage"), "wire_spacing": mark("wire spacing"),
}  # fmt: skip
POINTS = {
    "nominal": mark("nominal"), "max": mark("max"), "measured": mark("measured"), "set aside": mark("set aside"),
}  # fmt: skip


def line_document(found: LineList, power: Sequence[PowerPoint] = ()) -> Document:
    """Return all that is known of the one type of a list."""
    (kind,) = found.types
    known = [f.provenance for f in kind.figures.values()]
    known += [point.provenance for point in kind.points]
    known += [point.provenance for point in power]
    sources = list(dict.fromkeys(map(_source, known)))

    def by(provenance: Provenance) -> tuple[str, str]:
        return say(GRADES[provenance.grade]), f"[{sources.index(_source(provenance)) + 1}]"

    return Document("lines", kind.designator, sections=sections(
        section("", Paragraph(kind.note)),
        *_of_page(found.page or {}),
        section(say("Figures"), _figures(kind, by)),
        section(say("Attenuation law"), Paragraph(_law(kind))),
        section(say("Published attenuation, {unit}", unit=_per_100_unit()), _points(kind, by)),
        section(say("Published mean power, matched, at 40 °C"), _power(power, by)),
        section(say("Sources"), points(f"[{i}] {source}" for i, source in enumerate(sources, start=1))),
        section(say("Cautions"), Cautions(found.cautions)),
    ))  # fmt: skip


def _of_page(page: Mapping[str, Any]) -> Iterator[Section]:
    """Yield what a type loses on each band, what it is, and what would settle its doubts."""
    if not page:
        return
    columns = (
        Column("", "right"), Column(say("loss"), "figure"), Column(say("in dielectric"), "right"),
        Column(say("bears, matched, 40 °C"), "right"), Column(""),
    )  # fmt: skip
    yield section(say("Loss of 100 m, 95 %"), table(columns, map(_band, page["bands"])))
    yield section(say("What it is"), points(page["facts"]))
    yield section(say("What would settle its doubts"), points(page["settled_by"]))


def _band(row: Mapping[str, Any]) -> tuple[str, ...]:
    loss = interval(*(row[f"loss_db_per_100m{end}"] for end in ("", "_low", "_high")))
    share = say("{low} to {high}", low=percent(row["dielectric_share"][1]), high=percent(row["dielectric_share"][2]))
    power = row["power_w"]
    bears = "" if power is None else say(
        "{low} to {high} W", low=plain(float(f"{power['low']:.2g}"), 0), high=plain(float(f"{power['high']:.2g}"), 0)
    )  # fmt: skip
    return frequency(row["frequency_hz"]), loss, share, bears, say("doubtful") if row["doubtful"] else ""


def impedance_document(found: Dimensions) -> Document:
    """Return what a line's dimensions make of it."""
    title = say("{ohm} by its dimensions", ohm=quantity(plain(found.impedance_ohm, 1), "ohm"))
    body = (*_of_page(found.page), section(say("Cautions"), Cautions(found.cautions)))
    return Document("impedance", title, sections=sections(*body))


def _source(provenance: Provenance) -> str:
    return f"{provenance.source}: {provenance.note}" if provenance.note else provenance.source


By = Callable[[Provenance], tuple[str, str]]


def _figures(kind: LineType, by: By) -> Table:
    rows = ((*figure_words(name, f.value), *by(f.provenance)) for name, f in kind.figures.items())
    return table([Column("")] * 4, rows)


def figure_words(name: str, value: float | str) -> tuple[str, str]:
    """Return a figure's name and value as a person reads them.

    >>> figure_words("outer_diameter_m", 0.00495), figure_words("velocity_factor", 0.66)
    (('outer diameter', '4.95 mm'), ('velocity factor', '0.66'))
    >>> figure_words("strands", "19 x 0.18")
    ('strands', '19 x 0.18')
    """
    if isinstance(value, str):
        return _named(name), value
    for end, (unit, times) in UNITS.items():
        if name.endswith(f"_{end}"):
            return _named(name.removesuffix(f"_{end}")), quantity(digits(value * times), unit)
    return _named(name), digits(value)


def _named(name: str) -> str:
    return say(NAMES[name]) if name in NAMES else name.replace("_", " ")


def _law(kind: LineType) -> str:
    law = kind.law
    low, high = (frequency(f) for f in law.valid_hz)
    fitted = say(
        "k0 + k1 √f + k2 f with f in MHz: k0 {k0}, k1 {k1}, k2 {k2} dB/m, fitted from {low} to {high}; relative spread"
        " {spread} %.",
        k0=digits(law.k0_db_per_m, 4), k1=digits(law.k1_db_per_m, 4), k2=digits(law.k2_db_per_m, 4), low=low, high=high,
        spread=plain(100 * law.spread, 0),
    )  # fmt: skip
    if law.curve is not None:
        return say(
            "Conductors by the fields in their metals, strands and screen as fitted to all types at once, and k2 f for"
            " the dielectric. From 10 to 500 MHz about k1 √f + k2 f with f in MHz: k1 {k1}, k2 {k2} dB/m; relative"
            " spread {spread} %. Published points from {low} to {high}.",
            k1=digits(law.k1_db_per_m, 4), k2=digits(law.k2_db_per_m, 4), spread=plain(100 * law.spread, 0),
            low=low, high=high,
        )  # fmt: skip
    if not law.sqrt_floor_hz:
        return fitted
    steel = say("Its steel centre makes it lose more than the law below {floor}.", floor=frequency(law.sqrt_floor_hz))
    return together([fitted, steel])


def _points(kind: LineType, by: By) -> Table:
    columns = (Column("", "right"), Column("", "figure"), Column(""), Column(""), Column(""))
    return table(columns, (
        (frequency(p.frequency_hz), _published(p.attenuation_db_per_m), say(POINTS[p.kind]), *by(p.provenance))
        for p in sorted(kind.points, key=lambda p: p.frequency_hz)
    ))  # fmt: skip


def _power(power: Sequence[PowerPoint], by: By) -> Table:
    columns = (Column("", "right"), Column("", "figure"), Column(""), Column(""))
    return table(columns, (
        (frequency(p.frequency_hz), quantity(plain(p.power_w, 0), "W"), *by(p.provenance)) for p in power
    ))  # fmt: skip


# What a length of line loses


def loss_document(found: LossTable) -> Document:
    """Return what a length of line loses."""
    columns = (
        Column("", "right"), Column(say("loss (95 %)"), "figure"), Column(say("arrives"), "right"),
        Column(say("in conductors"), "figure"), Column(say("in dielectric"), "figure"), Column(""),
    )  # fmt: skip
    title = say("{length} of {line}", length=metres(found.length_m), line=found.line.designator)
    return Document("loss", title, sections=sections(
        section("", table(columns, _losses(found))),
        section("", points(found.remarks)),
        section(say("Cautions"), Cautions(found.cautions)),
        worked(found.workings),
    ))  # fmt: skip


def _losses(found: LossTable) -> Iterator[tuple[str, ...]]:
    for row in found.rows:
        places = max(2, places_for(row.loss_db_low, row.loss_db_high))
        parts = (quantity(plain(db, places), "dB") for db in (row.conductor_db, row.dielectric_db))
        yield (
            frequency(row.frequency_hz), interval(row.loss_db, row.loss_db_low, row.loss_db_high),
            percent(row.delivered_fraction), *parts, say("doubtful") if row.extrapolated else "",
        )  # fmt: skip
