"""A blank reading sheet on a terminal."""

from __future__ import annotations

from itertools import groupby

from linewright.cli.layout import items, page, section
from linewright.cli.table import Table
from linewright.model.blank_sheet import BlankSheet
from linewright.report.blank_sheet import cautions, directions
from linewright.units.writing import frequency


def blank_view(blank: BlankSheet) -> str:
    """Return the steps of a sheet, with what is to be minded."""
    table = Table(["step", "path"], "rl")
    for (hertz, meter), steps in groupby(blank.steps, key=lambda s: (s.frequency_hz, s.meter)):
        table.part(f"{frequency(hertz)}, {meter}")
        for step in steps:
            table.add(str(step.number), step.path_name)
    return page([
        section("Before keying", items(cautions(blank.bench))),
        section("How to read", items(directions(blank))),
        section(blank.bench.title, table.lines()),
    ])  # fmt: skip
