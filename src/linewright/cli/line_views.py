"""The catalogue on a terminal: all types in a line each, or one in full."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.catalogue import PowerPoint
from linewright.cli.text import WIDEST, Table, bold, clean, items, page, paragraph, section, workings_view
from linewright.core.formatting import frequency, interval, metres, percent, places_for, plain, signed
from linewright.core.nouns.line import LineList, LineType, LossTable, Provenance
from linewright.core.nouns.meaning import Meaning, Signal

# Figures of a data sheet in the units people use: the library keeps SI, and the last word of a name says which

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


def figure_words(name: str, value: float | str) -> tuple[str, str]:
    """Return a figure's name and value as a person reads them.

    >>> figure_words("outer_diameter_m", 0.00495), figure_words("velocity_factor", 0.66)
    (('outer diameter', '4.95 mm'), ('velocity factor', '0.66'))
    >>> figure_words("strands", "19 x 0.18")
    ('strands', '19 x 0.18')
    """
    if isinstance(value, str):
        return name.replace("_", " "), clean(value)
    for end, (unit, times) in UNITS.items():
        if name.endswith(f"_{end}"):
            return name.removesuffix(f"_{end}").replace("_", " "), f"{value * times:.6g} {unit}"
    return name.replace("_", " "), f"{value:.6g}"


# The catalogue on a terminal: all types in a line each, or one in full

SHOWN_HZ = (14e6, 144e6, 432e6)
BEYOND = "*"
KNOWN = (
    f"{BEYOND} No published figure on this side of the frequency; the law is carried on. Spread: relative standard"
    " deviation of published tables. Known by: read in a public text, from memory, typical of its class, or given by"
    " the person."
)
GRADES = {"read": "read", "memory": "from memory", "class": "typical of its class", "person": "given by the person"}


def list_view(found: LineList) -> str:
    """Return the types at hand, one a line."""
    heads = ("", "ohm", "velocity", *(frequency(f) for f in SHOWN_HZ), "spread", "known by")
    table = Table(heads, "lrrdddrl")
    for kind in found.types:
        table.add(*_listed(kind))
    title = f"{len(found.types)} line types: impedance, velocity factor, loss in dB per 100 m"
    return page([[bold(title)], table.lines(), paragraph(KNOWN), section("Cautions", items(found.cautions))])


def _listed(kind: LineType) -> tuple[str, ...]:
    grades = ", ".join(dict.fromkeys(p.provenance.grade for p in kind.points))
    spread = f"{100 * kind.law.spread:.0f} %"
    losses = [_per_100_m(kind, f) for f in SHOWN_HZ]
    return kind.designator, f"{kind.impedance_ohm:g}", f"{kind.velocity_factor:.2f}", *losses, spread, grades


def _per_100_m(kind: LineType, frequency_hz: float) -> str:
    loss = 100.0 * float(kind.law.db_per_m(frequency_hz))
    return f"{loss:.2f}" if kind.law.covers(frequency_hz) else f"{loss:.2f}{BEYOND}"


def line_view(kind: LineType, power: Sequence[PowerPoint] = (), cautions: Sequence[str] = ()) -> str:
    """Return all that is known of one type, every figure with its grade and the number of its source."""
    known = [f.provenance for f in kind.figures.values()]
    known += [point.provenance for point in kind.points]
    known += [point.provenance for point in power]
    sources = list(dict.fromkeys(_source(p) for p in known))
    return page([
        [bold(kind.designator), *(paragraph(kind.note) if kind.note else [])],
        section("Figures", _figures(kind, sources)),
        section("Attenuation law", paragraph(_law(kind))),
        section("Published attenuation, dB per 100 m", _points(kind, sources)),
        section("Published mean power, matched, at 40 °C", _power(power, sources)),
        section("Sources", items((f"[{i}] {source}" for i, source in enumerate(sources, start=1)), WIDEST)),
        section("Cautions", items(cautions)),
    ])  # fmt: skip


def _source(provenance: Provenance) -> str:
    return f"{provenance.source}: {provenance.note}" if provenance.note else provenance.source


def _known(provenance: Provenance, sources: Sequence[str]) -> tuple[str, str]:
    return GRADES[provenance.grade], f"[{sources.index(_source(provenance)) + 1}]"


def _figures(kind: LineType, sources: Sequence[str]) -> list[str]:
    table = Table(("", "", "", ""), "llll")
    for name, figure in kind.figures.items():
        table.add(*figure_words(name, figure.value), *_known(figure.provenance, sources))
    return table.lines()


def _law(kind: LineType) -> str:
    law = kind.law
    low, high = (frequency(f) for f in law.valid_hz)
    steel = f" Its steel centre leaves the law below {frequency(law.sqrt_floor_hz)}." if law.sqrt_floor_hz else ""
    return (
        f"k0 + k1 √f + k2 f with f in MHz: k0 {law.k0_db_per_m:.4g}, k1 {law.k1_db_per_m:.4g}, k2 {law.k2_db_per_m:.4g}"
        f" dB/m, fitted from {low} to {high}; relative spread {100 * law.spread:.0f} %.{steel}"
    )


def _points(kind: LineType, sources: Sequence[str]) -> list[str]:
    table = Table(("", "", "", "", ""), "rdlll")
    for point in sorted(kind.points, key=lambda p: p.frequency_hz):
        loss = f"{100.0 * point.attenuation_db_per_m:.4g}"
        table.add(frequency(point.frequency_hz), loss, point.kind, *_known(point.provenance, sources))
    return table.lines()


def _power(power: Sequence[PowerPoint], sources: Sequence[str]) -> list[str]:
    table = Table(("", "", "", ""), "rdll")
    for point in power:
        table.add(frequency(point.frequency_hz), f"{plain(point.power_w, 0)} W", *_known(point.provenance, sources))
    return table.lines()


# The table of ``linewright loss``


def loss_view(table: LossTable, *, explain: bool = False) -> str:
    """Return what a length of line loses, for a terminal."""
    parts = [
        [bold(f"{metres(table.length_m)} of {table.line.designator}")],
        _rows(table),
        _remarks(table),
        section("Cautions", items(table.cautions)),
    ]
    if explain:
        parts.append(workings_view(table.workings))
    return page(parts)


def _rows(table: LossTable) -> list[str]:
    out = Table(("", "loss (95 %)", "arrives", "in conductors", "in dielectric", ""), "rdrddl")
    for row in table.rows:
        places = max(2, places_for(row.loss_db_low, row.loss_db_high))
        out.add(
            frequency(row.frequency_hz),
            interval(row.loss_db, row.loss_db_low, row.loss_db_high),
            percent(row.delivered_fraction),
            f"{plain(row.conductor_db, places)} dB",
            f"{plain(row.dielectric_db, places)} dB",
            "extrapolated" if row.extrapolated else "",
        )
    return out.lines()


def _remarks(table: LossTable) -> list[str]:
    return items(table.remarks)


# The page of ``linewright meaning``


def meaning_view(found: Meaning, *, explain: bool = False) -> str:
    """Return what a change means, for a terminal."""
    which = " less" if found.change_db < 0 else " more" if found.change_db else ""
    parts = [
        [bold(f"{abs(found.change_db):.4g} dB{which}")],
        paragraph(found.text),
        _meaning_figures(found),
        items(found.remarks),
    ]
    if explain:
        parts.append(workings_view(found.workings))
    return page(parts)


def _meaning_figures(found: Meaning) -> list[str]:
    out = Table(("", "before", "after", "change"), "lrrr")
    ratio = found.power_ratio
    out.add("transmitter power", _watts(found.power_w), _watts(found.equivalent_power_w), _times(ratio))
    if found.signal_before and found.signal_after:
        before, after = found.signal_before, found.signal_after
        out.add("signal", before.reading, after.reading, f"{signed(found.s_units, 2)} S units")
        if before.level_dbm is not None:
            out.add("level", _level(before), _level(after), f"{signed(found.change_db, 1)} dB")
    else:
        out.add("signal", "", "", f"{signed(found.s_units, 2)} S units")
    out.add("range in free space", "", "", _times(found.free_space_range_ratio))
    out.add("range over plane earth", "", "", _times(found.plane_earth_range_ratio))
    if found.s9_dbm is not None and found.frequency_hz is not None:
        out.under(f"S9 is {plain(found.s9_dbm, 0)} dBm at {frequency(found.frequency_hz)}.")
    return out.lines()


def _watts(power_w: float) -> str:
    return f"{power_w:.3g} W"


def _times(ratio: float) -> str:
    return f"{ratio:.3g} times"


def _level(signal: Signal) -> str:
    return f"{plain(signal.level_dbm or 0.0, 1)} dBm"
