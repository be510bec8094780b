"""The answer of ``linewright through`` on a terminal."""

from __future__ import annotations

from linewright.cli.layout import bold, items, page, paragraph, section
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.through import ThroughResult
from linewright.report import through_words as words


def through_view(result: ThroughResult, *, explain: bool = False) -> str:
    """Return what stands behind a line, for a terminal."""
    head = [bold(words.title(result))]
    parts = [
        head,
        paragraph(result.verdict),
        _figures(result),
        _curve(result),
        items(result.remarks),
        section("Cautions", items(result.cautions)),
    ]
    if explain:
        parts.append(workings_view(result.workings))
    return page(parts)


def _figures(r: ThroughResult) -> list[str]:
    table = Table(("", "at the radio", "at the antenna (95 %)"), "lll")
    for row in words.figures(r):
        table.add(*row)
    return table.lines()


def _curve(r: ThroughResult) -> list[str]:
    table = Table(("", "at the radio", "at the antenna (95 %)", "plain formula", "most the radio can show"), "lrllr")
    for row in words.curve(r):
        table.add(*row)
    return table.lines()
