"""The catalogue on a terminal: all types in a line each, or one in full."""

from __future__ import annotations

from linewright.cli.layout import Table, heading, joined
from linewright.model.line import LineType
from linewright.model.loss import LineList

SHOWN_HZ = (14e6, 144e6, 432e6)


def list_view(found: LineList) -> str:
    """Return the types at hand, one a line."""
    out = Table(("type", "ohm", "velocity", "14 MHz", "144 MHz", "432 MHz", "spread", "known by"), "lrrrrrrl")
    for kind in found.types:
        out.add(
            kind.designator,
            f"{kind.impedance_ohm:g}",
            f"{kind.velocity_factor:.2f}",
            *(f"{100 * float(kind.law.db_per_m(f)):.2f}" for f in SHOWN_HZ),
            f"{100 * kind.law.spread:.0f} %",
            ", ".join(dict.fromkeys(p.provenance.grade for p in kind.points)),
        )
    return joined([[heading(f"{len(found.types)} line types, dB per 100 m")], out.lines()])


def line_view(kind: LineType) -> str:
    """Return all that is known of one type."""
    out = Table(("", "", "", ""), "lrll")
    for name, figure in kind.figures.items():
        out.add(name, str(figure.value), figure.provenance.grade, figure.provenance.source)
    return joined([[heading(kind.designator)], out.lines()])
