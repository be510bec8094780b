"""The page of a line's sweeps: verdict, loss, the line itself, what lies along it, its type; words as the commands'."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from linewright.model.faults import FaultFinding
from linewright.model.result import Working
from linewright.model.sweep_report import SweepReport
from linewright.model.sweep_result import Interval, SweepFinding
from linewright.units.writing import frequency, interval, percent, places_for, plain
from linewright.web.drawn import Bar, bar
from linewright.web.inline import Chart, chart

MOST_TOLD, LEAST_TOLD, SLIGHT = 5, 0.02, 6


@dataclass(frozen=True, slots=True)
class LossLine:
    """The loss at one frequency, with its interval drawn."""

    frequency: str
    band: str
    matched: str
    bar: Bar
    insertion: str


@dataclass(frozen=True, slots=True)
class FaultLine:
    """One fault along the line."""

    at: str
    kind: str
    size: str
    sure: str
    why: str


@dataclass(frozen=True, slots=True)
class Told:
    """All that a sweep says, as its page shows it."""

    verdict: str
    grave: tuple[str, ...]
    losses: tuple[LossLine, ...]
    insertion: bool
    line: tuple[tuple[str, str], ...]
    faults: tuple[FaultLine, ...]
    along: tuple[str, ...]
    types: tuple[tuple[str, str, str], ...]
    type_words: tuple[str, ...]
    charts: tuple[Chart, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


def told(report: SweepReport) -> Told:
    """Return a report as its page shows it."""
    found = report.finding
    grave = tuple(dict.fromkeys(h.why for h in found.health if h.severity != "note"))
    rows = [row for row in report.resembles if row.probability >= LEAST_TOLD][:MOST_TOLD]
    words = (*([report.jacket] if report.jacket else []), *([f"{rows[0].line}: {rows[0].why}"] if rows else []))
    return Told(
        report.verdict, grave, tuple(_losses(found)), any(row.insertion_loss_db for row in found.losses),
        tuple(_line(found)), tuple(_faults(report.along)), tuple(_along(report)),
        tuple((r.line, _kind(r.kind, r.worn_ratio), percent(r.probability)) for r in rows), words,
        tuple(_charts(report)), tuple(r for r in report.remarks if r not in grave), report.workings,
    )  # fmt: skip


def _losses(found: SweepFinding) -> Iterator[LossLine]:
    top = max((row.matched_loss_db.high for row in found.losses), default=1.0)
    for row in found.losses:
        loss = row.matched_loss_db
        direct = f"{row.insertion_loss_db.value:.2f} dB" if row.insertion_loss_db else ""
        drawn = bar(loss.value, loss.low, loss.high, top)
        yield LossLine(frequency(row.frequency_hz), row.band, said(loss), drawn, direct)


def _line(found: SweepFinding) -> Iterator[tuple[str, str]]:
    for name, value, scale, unit in (
        ("impedance", found.impedance_ohm, 1.0, "ohm"),
        ("delay, one way", found.delay_s, 1e9, "ns"),
        ("length", found.length_m, 1.0, "m"),
        ("velocity factor", found.velocity_factor, 1.0, ""),
    ):
        if value is not None:
            yield name, said(value.times(scale), unit)
    if found.law is not None:
        yield "k1, √f part at 1 MHz", said(found.law.k1_db)
        yield "k2, f part at 1 MHz", said(found.law.k2_db)
    for other in found.candidates if len(found.candidates) > 1 else ():
        yield "delay may be", f"{1e9 * other.delay_s:.2f} ns, {percent(other.probability)}"


def said(x: Interval, unit: str = "dB") -> str:
    """Write a value with its interval."""
    return interval(x.value, x.low, x.high, unit)


def _faults(along: FaultFinding | None) -> Iterator[FaultLine]:
    for fault in along.faults if along else ():
        places = max(1, places_for(fault.low_m, fault.high_m))
        reach = f"({plain(fault.low_m, places)} to {plain(fault.high_m, places)})"
        at = f"{plain(fault.distance_m, places)} m {reach}"
        yield FaultLine(at, fault.kind, percent(fault.size), percent(fault.confidence), fault.why)


def _along(report: SweepReport) -> Iterator[str]:
    along = report.along
    if along is None:
        yield report.along_why
        return
    if not along.faults:
        yield "No fault shows."
    yield from (f"{m.why.rstrip('.')}, {m.distance_m:.4g} m out." for m in along.landmarks if m.kind == "far end")
    slight = [m for m in along.landmarks if m.kind in ("unevenness", "ghost")]
    if slight:
        where = ", ".join(f"{m.distance_m:.3g} m ({percent(m.size)})" for m in slight[:SLIGHT])
        more = f" and {len(slight) - SLIGHT} more" if len(slight) > SLIGHT else ""
        yield f"Seen too, and no faults: slight unevenness or re-reflections at {where}{more}."
    yield (
        f"Two things nearer than {along.cell_m:.2g} m are not told apart, and within {along.blind_m:.2g} m of either"
        f" end a fault hides behind the connector. Less than {percent(along.least_size)} back counts as even."
    )


def _kind(kind: str, worn: float | None) -> str:
    if worn:
        return f"worn, {worn:.1f} times the loss"
    return "as published" if kind == "as published" else ""


def _charts(report: SweepReport) -> Iterator[Chart]:
    from linewright.charts.law import law_chart
    from linewright.charts.profile import profile_chart

    if report.finding.law is not None:
        about = "Loss of the whole line against frequency, square-root axis; the table of losses has the same figures."
        yield chart(lambda width: law_chart(report.finding, width_px=width), about)
    if report.along is not None:
        along, about = report.along, "What comes back along the line; the table of faults has the same places."
        yield chart(lambda width: profile_chart(along, "Along the line", width_px=width), about)
