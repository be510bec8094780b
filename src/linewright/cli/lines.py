"""``linewright lines``: the types at hand, or all that is known of one."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from linewright.cli.options import answer, debug_option, json_option, lines_option, locale_options, own_lines

if TYPE_CHECKING:
    from linewright.core.locale import Manner


@click.command(short_help="List the line types at hand, or show all that is known of one.")
@click.argument("name", required=False)
@lines_option
@locale_options
@json_option
@debug_option
def lines(name: str | None, lines_file: Path | None, manner: Manner, as_json: bool) -> None:
    """List the line types at hand, or show every figure of the type NAME and where it came from."""
    from linewright.catalogue import power_points
    from linewright.present.compose.line import line_document, lines_document
    from linewright.verbs.loss import list_lines, show_line

    own = own_lines(lines_file)
    if name is None:
        answer(list_lines(own), lines_document, manner, as_json=as_json)
        return
    found = show_line(name, own)
    (kind,) = found.types
    power = () if kind in own else power_points(kind.designator)
    answer(found, partial(line_document, power=power), manner, as_json=as_json)
