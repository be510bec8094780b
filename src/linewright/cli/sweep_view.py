"""The page of ``linewright sweep``: verdict, loss at the bands, the line itself, what lies along it, its type."""

from __future__ import annotations

from linewright.cli.layout import bold, items, page, paragraph, section
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.faults import FaultFinding
from linewright.model.sweep_report import SweepReport
from linewright.model.sweep_result import BandLoss, Interval, SweepFinding
from linewright.units.writing import frequency, interval, percent, places_for, plain

MOST_TOLD, LEAST_TOLD = 5, 0.02
SLIGHT = 6
"""So many of the smaller marks along a line are listed."""


def sweep_view(report: SweepReport, *, explain: bool = False) -> str:
    """Return what a sweep says, for a terminal."""
    found = report.finding
    parts = [
        [bold(found.name), *paragraph(report.verdict)],
        section("Loss", _losses(found.losses)),
        section("The line", _line(found)),
        section("Along it", _along(report)),
        section("Which type", _types(report)),
        section("To know", items(report.remarks)),
        section("Cautions", items(report.cautions)),
    ]
    return page([*parts, workings_view(report.workings)] if explain else parts)


def _losses(rows: tuple[BandLoss, ...]) -> list[str]:
    insertion = any(row.insertion_loss_db for row in rows)
    out = Table(("", "band", "matched loss (95 %)", "between the ports" if insertion else "", ""), "rldl" + "l")
    for row in rows:
        direct = f"{row.insertion_loss_db.value:.2f} dB" if row.insertion_loss_db else ""
        out.add(frequency(row.frequency_hz), row.band, _said(row.matched_loss_db), direct, "")
    return out.lines()


def _line(found: SweepFinding) -> list[str]:
    out = Table(("", ""), "ll")
    for name, value, scale, unit in (
        ("impedance", found.impedance_ohm, 1.0, "ohm"),
        ("delay, one way", found.delay_s, 1e9, "ns"),
        ("length", found.length_m, 1.0, "m"),
        ("velocity factor", found.velocity_factor, 1.0, ""),
    ):
        if value is not None:
            out.add(name, _said(value.times(scale), unit))
    if found.law is not None:
        out.add("k1, √f part at 1 MHz", _said(found.law.k1_db))
        out.add("k2, f part at 1 MHz", _said(found.law.k2_db))
    for other in found.candidates if len(found.candidates) > 1 else ():
        out.add("delay may be", f"{1e9 * other.delay_s:.2f} ns, {percent(other.probability)}")
    return out.lines()


def _said(x: Interval, unit: str = "dB") -> str:
    return interval(x.value, x.low, x.high, unit)


def _along(report: SweepReport) -> list[str]:
    along = report.along
    if along is None:
        return items([report.along_why])
    out = Table(("at", "(95 %)", "what", "comes back", "sure", ""), "dlldrw")
    for fault in along.faults:
        places = max(1, places_for(fault.low_m, fault.high_m))
        reach = f"({plain(fault.low_m, places)} to {plain(fault.high_m, places)})"
        out.add(f"{plain(fault.distance_m, places)} m", reach, fault.kind, percent(fault.size),
                percent(fault.confidence), fault.why)  # fmt: skip
    nothing = [] if along.faults else ["No fault shows."]
    return [*out.lines(), *items([*nothing, *_marks(along), _reach(along)])]


def _marks(along: FaultFinding) -> list[str]:
    """Return the ends, and how many slight things there are, in sentences."""
    end = [f"{m.why.rstrip('.')}, {m.distance_m:.4g} m out." for m in along.landmarks if m.kind == "far end"]
    slight = [m for m in along.landmarks if m.kind in ("unevenness", "ghost")]
    if not slight:
        return end
    where = ", ".join(f"{m.distance_m:.3g} m ({percent(m.size)})" for m in slight[:SLIGHT])
    more = f" and {len(slight) - SLIGHT} more" if len(slight) > SLIGHT else ""
    return [*end, f"Seen too, and no faults: slight unevenness or re-reflections at {where}{more}."]


def _reach(along: FaultFinding) -> str:
    return (
        f"Two things nearer than {along.cell_m:.2g} m are not told apart, and within {along.blind_m:.2g} m of either "
        f"end a fault hides behind the connector. Less than {percent(along.least_size)} back counts as even."
    )


def _types(report: SweepReport) -> list[str]:
    out = Table(("", "", "chance"), "llr")
    told = [row for row in report.resembles if row.probability >= LEAST_TOLD][:MOST_TOLD]
    for row in told:
        worn = f"worn, {row.worn_ratio:.1f} times the loss" if row.worn_ratio else ""
        out.add(row.line, worn or ("as published" if row.kind == "as published" else ""), percent(row.probability))
    jacket = items([report.jacket]) if report.jacket else []
    return [*jacket, *out.lines(), *items([f"{told[0].line}: {told[0].why}"] if told else [])]
