"""``linewright lines``: the types at hand, or all that is known of one."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from linewright.cli.options import Reader, answer_options, lines_option, own_lines
from linewright.core.errors import InputError

if TYPE_CHECKING:
    from linewright.core.nouns.line import LineType


@click.command(short_help="List the known line types, or show everything about one.")
@click.argument("name", required=False)
@click.option("--chart", type=click.Path(path_type=Path), metavar="OUT", help="Draw the law: .svg, .png or .pdf.")
@lines_option
@answer_options(explain=False)
def lines(name: str | None, chart: Path | None, lines_file: Path | None, reader: Reader) -> None:
    """List the known line types, or show everything about the type NAME.

    That is its law, its construction, every figure and its source.
    """
    from linewright.catalogue import power_points
    from linewright.present.compose.line import line_document, lines_document
    from linewright.verbs.line_page import show_line
    from linewright.verbs.loss import list_lines

    own = own_lines(lines_file)
    if name is None:
        if chart is not None:
            raise InputError("--chart", "needs a type", cure="Name one: linewright lines RG-213/U --chart law.svg.")
        reader.show(list_lines(own), lines_document)
        return
    found = show_line(name, own)
    (kind,) = found.types
    if chart is not None:
        _draw(kind, chart)
    power = () if kind in own else power_points(kind.designator)
    reader.show(found, partial(line_document, power=power))


def _draw(kind: LineType, path: Path) -> None:
    from linewright.present.charts.line_type import line_chart
    from linewright.verbs.results import put_chart

    put_chart(line_chart(kind), path)
