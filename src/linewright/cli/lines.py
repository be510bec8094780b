"""``linewright lines``: the types at hand, or all that is known of one."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from linewright.cli.options import Reader, answer_options, lines_option, own_lines


@click.command(short_help="List the line types at hand, or show all that is known of one.")
@click.argument("name", required=False)
@lines_option
@answer_options(explain=False)
def lines(name: str | None, lines_file: Path | None, reader: Reader) -> None:
    """List the line types at hand, or show every figure of the type NAME and where it came from."""
    from linewright.catalogue import power_points
    from linewright.present.compose.line import line_document, lines_document
    from linewright.verbs.loss import list_lines, show_line

    own = own_lines(lines_file)
    if name is None:
        reader.show(list_lines(own), lines_document)
        return
    found = show_line(name, own)
    (kind,) = found.types
    power = () if kind in own else power_points(kind.designator)
    reader.show(found, partial(line_document, power=power))
