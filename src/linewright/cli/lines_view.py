"""The catalogue on a terminal: all types in a line each, or one in full."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.catalogue import PowerPoint
from linewright.cli.cells import WIDEST
from linewright.cli.figures import figure_words
from linewright.cli.layout import bold, items, page, paragraph, section
from linewright.cli.table import Table
from linewright.model.line import LineType, Provenance
from linewright.model.loss import LineList
from linewright.units.writing import frequency, plain

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
