"""The page of a line's sweeps: verdict, loss, the line itself, what lies along it, its type; words as the commands'."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from linewright.core.formatting import frequency, interval, percent, places_for, plain
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.sweep import Interval, Resemblance, SweepReport
from linewright.inference.sweep.along import fault_start
from linewright.web.drawing import Bar, bar
from linewright.web.rendering import Chart, chart
from linewright.web.workings import Opens, opens

MOST_TOLD, LEAST_TOLD, SLIGHT = 5, 0.02, 6


@dataclass(frozen=True, slots=True)
class LossLine:
    """The loss at one frequency, with its interval drawn."""

    frequency: str
    band: str
    matched: Opens
    bar: Bar
    insertion: Opens


@dataclass(frozen=True, slots=True)
class FaultLine:
    """One fault along the line."""

    at: Opens
    kind: str
    size: Opens
    sure: Opens
    why: str


@dataclass(frozen=True, slots=True)
class Told:
    """All that a sweep says, as its page shows it."""

    verdict: str
    grave: tuple[str, ...]
    losses: tuple[LossLine, ...]
    insertion: bool
    line: tuple[tuple[str, Opens], ...]
    faults: tuple[FaultLine, ...]
    along: tuple[str, ...]
    types: tuple[tuple[str, str, Opens], ...]
    type_words: tuple[str, ...]
    charts: tuple[Chart, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


def told(report: SweepReport) -> Told:
    """Return a report as its page shows it."""
    found = report.finding
    grave = tuple(dict.fromkeys(h.why for h in found.health if h.severity != "note"))
    rows = [row for row in report.resembles if row.probability >= LEAST_TOLD][:MOST_TOLD]
    words = (*([report.jacket] if report.jacket else []), *([f"{rows[0].line}: {rows[0].why}"] if rows else []))
    return Told(
        report.verdict, grave, tuple(_losses(report)), any(row.insertion_loss_db for row in found.losses),
        tuple(_line(report)), tuple(_faults(report)), tuple(_along(report)), tuple(_types(report, rows)), words,
        tuple(_charts(report)), report.cautions, tuple(r for r in report.remarks if r not in grave), report.workings,
    )  # fmt: skip


def _losses(report: SweepReport) -> Iterator[LossLine]:
    found, worked = report.finding, report.workings
    top = max((row.matched_loss_db.high for row in found.losses), default=1.0)
    for row in found.losses:
        at, loss = frequency(row.frequency_hz), row.matched_loss_db
        direct = f"{row.insertion_loss_db.value:.2f} dB" if row.insertion_loss_db else ""
        yield LossLine(
            at, row.band, opens(said(loss), worked, f"matched loss at {at}"), bar(loss.value, loss.low, loss.high, top),
            opens(direct, worked, f"between the ports at {at}"),
        )  # fmt: skip


def _line(report: SweepReport) -> Iterator[tuple[str, Opens]]:
    found, worked = report.finding, report.workings
    for name, value, scale, unit, start in (
        ("impedance", found.impedance_ohm, 1.0, "ohm", "impedance of"),
        ("delay, one way", found.delay_s, 1e9, "ns", "delay of"),
        ("length", found.length_m, 1.0, "m", "length"),
        ("velocity factor", found.velocity_factor, 1.0, "", "length"),
    ):
        if value is not None:
            yield name, opens(said(value.times(scale), unit), worked, start)
    if found.law is not None:
        yield "k1, √f part at 1 MHz", opens(said(found.law.k1_db), worked, "law of")
        yield "k2, f part at 1 MHz", opens(said(found.law.k2_db), worked, "law of")
    weighed = [w for w in worked if w.figure.startswith("delay may be")]
    for i, other in enumerate(found.candidates if len(found.candidates) > 1 else ()):
        chance = percent(other.probability)
        yield "delay may be", Opens(f"{1e9 * other.delay_s:.2f} ns, {chance}", tuple(weighed[i : i + 1]))


def said(x: Interval, unit: str = "dB") -> str:
    """Write a value with its interval."""
    return interval(x.value, x.low, x.high, unit)


def _faults(report: SweepReport) -> Iterator[FaultLine]:
    for number, fault in enumerate(report.along.faults if report.along else (), start=1):
        places = max(1, places_for(fault.low_m, fault.high_m))
        reach = f"({plain(fault.low_m, places)} to {plain(fault.high_m, places)})"
        at, size, sure = (
            opens(words, report.workings, fault_start(number))
            for words in (
                f"{plain(fault.distance_m, places)} m {reach}", percent(fault.size), percent(fault.confidence)
            )
        )  # fmt: skip
        yield FaultLine(at, fault.kind, size, sure, fault.why)


def _types(report: SweepReport, rows: Sequence[Resemblance]) -> Iterator[tuple[str, str, Opens]]:
    for r in rows:
        yield r.line, _kind(r.kind, r.worn_ratio), opens(percent(r.probability), report.workings, "resemblance")


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
    from linewright.present.charts.law import law_chart
    from linewright.present.charts.profile import profile_chart

    if report.finding.law is not None:
        about = "Loss of the whole line against frequency, square-root axis; the table of losses has the same figures."
        yield chart(lambda width: law_chart(report.finding, width_px=width), about)
    if report.along is not None:
        along, about = report.along, "What comes back along the line; the table of faults has the same places."
        yield chart(lambda width: profile_chart(along, "Along the line", width_px=width), about)
