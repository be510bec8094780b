"""The page of a line's sweeps: the document's words and tables, with bars, charts and figures that open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.sweep import SweepReport
from linewright.inference.sweep.along import fault_start
from linewright.present.compose import sweep as compose
from linewright.web.drawing import bar
from linewright.web.rendering import Chart, chart
from linewright.web.workings import Opens, OpenTable, open_table


@dataclass(frozen=True, slots=True)
class SweepShown:
    """All that a sweep says, as its page shows it."""

    verdict: str
    grave: tuple[str, ...]
    losses: OpenTable
    line: OpenTable
    faults: OpenTable
    along: tuple[str, ...]
    types: OpenTable
    type_words: tuple[str, ...]
    charts: tuple[Chart, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


def shown(report: SweepReport) -> SweepShown:
    """Return a report as its page shows it."""
    grave = tuple(dict.fromkeys(h.why for h in report.finding.health if h.severity != "note"))
    words = tuple(w for w in (report.jacket, compose.likeliest(report)) if w)
    return SweepShown(
        report.verdict, grave, _losses(report), _line(report), _faults(report), compose.along(report).items,
        open_table(compose.types(report), report.workings, lambda _: ("", "", "resemblance")), words,
        tuple(_charts(report)), report.cautions, tuple(r for r in report.remarks if r not in grave), report.workings,
    )  # fmt: skip


def _losses(report: SweepReport) -> OpenTable:
    losses = [row.matched_loss_db for row in report.finding.losses]
    top = max((loss.high for loss in losses), default=1.0)

    def starts(cells: Sequence[str]) -> Sequence[str]:
        return "", "", f"matched loss at {cells[0]}", *(f"between the ports at {cells[0]}" for _ in cells[3:])

    bars = [bar(x.value, x.low, x.high, top) for x in losses]
    return open_table(compose.losses(report), report.workings, starts, bars, drawn=2)


OF_LINE: dict[compose.Figure, str] = {
    "impedance": "impedance of", "delay": "delay of", "length": "length", "law": "law of"
}  # fmt: skip
"""How the working of each figure begins; each delay that may be has one of its own."""


def _line(report: SweepReport) -> OpenTable:
    starts = iter([OF_LINE.get(of, "") for of, *_ in compose.named_figures(report)])
    found = open_table(compose.line(report), report.workings, lambda _: ("", next(starts)))
    weighed = [w for w in report.workings if w.figure.startswith("delay may be")]
    first = len(found.rows) - len(weighed)
    candidates = tuple(
        replace(row, cells=(row.cells[0], Opens(row.cells[1].words, (w,))))
        for row, w in zip(found.rows[first:], weighed, strict=True)
    )
    return replace(found, rows=(*found.rows[:first], *candidates))


def _faults(report: SweepReport) -> OpenTable:
    numbers = iter(range(1, len(report.along.faults) + 1 if report.along else 1))

    def starts(_: Sequence[str]) -> Sequence[str]:
        start = fault_start(next(numbers))
        return start, "", start, start

    return open_table(compose.faults(report), report.workings, starts)


def _charts(report: SweepReport) -> Iterator[Chart]:
    from linewright.present.charts.law import law_chart
    from linewright.present.charts.profile import profile_chart

    if report.finding.law is not None:
        about = "Loss of the whole line against frequency, square-root axis; the table of losses has the same figures."
        yield chart(lambda width: law_chart(report.finding, width_px=width), about)
    if report.along is not None:
        along, about = report.along, "What comes back along the line; the table of faults has the same places."
        yield chart(lambda width: profile_chart(along, "Along the line", width_px=width), about)
