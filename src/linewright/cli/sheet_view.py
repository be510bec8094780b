"""A blank reading sheet on a terminal."""

from __future__ import annotations

from functools import partial
from itertools import groupby

from linewright.cli.layout import items, page, section
from linewright.cli.table import Table
from linewright.model.blank_sheet import BlankSheet
from linewright.report.blank_sheet import cautions, directions
from linewright.units.manner import ENGLISH, Manner
from linewright.units.said import say, written
from linewright.units.writing import frequency


def blank_view(blank: BlankSheet, manner: Manner = ENGLISH) -> str:
    """Return the steps of a sheet, with what is to be minded."""
    said = partial(written, manner=manner)
    table = Table([said(say("no.")), said(say("path"))], "rl")
    for (hertz, meter), steps in groupby(blank.steps, key=lambda s: (s.frequency_hz, s.meter)):
        table.part(f"{said(frequency(hertz))}, {meter}")
        for step in steps:
            table.add(str(step.number), said(step.path_name))
    return page([
        section(said(blank.bench.title), items(map(said, cautions(blank.bench)))),
        section(said(say("How to read")), items(map(said, directions(blank)))),
        section(said(say("Reading sheet")), table.lines()),
    ])  # fmt: skip
