"""``linewright lines``: the types at hand, or all that is known of one."""

from __future__ import annotations

from pathlib import Path

import click

from linewright.cli.options import debug_option, json_option, lines_option, own_lines, write, write_json


@click.command(short_help="List the line types at hand, or show all that is known of one.")
@click.argument("name", required=False)
@lines_option
@json_option
@debug_option
def lines(name: str | None, lines_file: Path | None, as_json: bool) -> None:
    """List the line types at hand, or show every figure of the type NAME and where it came from."""
    from linewright.catalogue import power_points
    from linewright.cli.line_views import line_view, list_view
    from linewright.verbs.loss import list_lines, show_line

    own = own_lines(lines_file)
    found = list_lines(own) if name is None else show_line(name, own)
    if as_json:
        write_json(found)
    elif name is None:
        write(list_view(found))
    else:
        (kind,) = found.types
        power = () if kind in own else power_points(kind.designator)
        write(line_view(kind, power, found.cautions))
