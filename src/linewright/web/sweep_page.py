"""The page of a line's sweeps: the document's words and tables, with bars, charts and figures that open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import count

from linewright.core.messages import say
from linewright.core.nouns.bench_result import Key, Working
from linewright.core.nouns.sweep import SweepReport
from linewright.present.compose import sweep as compose
from linewright.web.drawing import bar
from linewright.web.pictures import Drawable
from linewright.web.workings import OpenTable, open_table


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
    charts: tuple[Drawable, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


def shown(report: SweepReport) -> SweepShown:
    """Return a report as its page shows it."""
    grave = tuple(dict.fromkeys(h.why for h in report.finding.health if h.severity != "note"))
    words = tuple(w for w in (report.jacket, compose.likeliest(report)) if w)
    return SweepShown(
        report.verdict, grave, _losses(report), _line(report), _faults(report), compose.along(report).items,
        _types(report), words,
        tuple(_charts(report)), report.cautions, tuple(r for r in report.remarks if r not in grave), report.workings,
    )  # fmt: skip


def _losses(report: SweepReport) -> OpenTable:
    losses = report.finding.losses
    top = max((x.matched_loss_db.high for x in losses), default=1.0)
    keys: list[tuple[Key, ...]] = [
        ((), (), ("matched loss", x.frequency_hz), ("insertion loss", x.frequency_hz)) for x in losses
    ]
    bars = [bar(x.value, x.low, x.high, top) for x in (row.matched_loss_db for row in losses)]
    return open_table(compose.losses(report), report.workings, keys, bars, drawn=2)


def _line(report: SweepReport) -> OpenTable:
    number = count(1)
    keys: list[tuple[Key, ...]] = [
        ((), (of, next(number)) if of == "candidate" else (of,)) for of, *_ in compose.named_figures(report)
    ]
    return open_table(compose.line(report), report.workings, keys)


def _types(report: SweepReport) -> OpenTable:
    found = compose.types(report)
    keys: list[tuple[Key, ...]] = [((), (), ("resemblance",)) for part in found.parts for _ in part.rows]
    return open_table(found, report.workings, keys)


def _faults(report: SweepReport) -> OpenTable:
    faults = report.along.faults if report.along else ()
    keys: list[Key] = [("fault", number) for number, _ in enumerate(faults, start=1)]
    return open_table(compose.faults(report), report.workings, [(key, (), key, key) for key in keys])


def _charts(report: SweepReport) -> Iterator[Drawable]:
    from linewright.present.charts.law import law_chart
    from linewright.present.charts.profile import profile_chart

    if report.finding.law is not None:
        about = say(
            "Loss of the whole line against frequency, square-root axis; the table of losses has the same figures."
        )
        yield Drawable("law", about, partial(law_chart, report.finding))
    if report.along is not None:
        about = say("What comes back along the line; the table of faults has the same places.")
        yield Drawable("profile", about, partial(profile_chart, report.along))
