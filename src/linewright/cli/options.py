"""Options that several commands share."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from linewright.formats.documents import Document
    from linewright.model.line import LineType

debug_option = click.option("--debug", is_flag=True, expose_value=False, help="Show the traceback of a bug.")
json_option = click.option("--json", "as_json", is_flag=True, help="Write JSON, for programs.")
explain_option = click.option("--explain", is_flag=True, help="Show how every figure was worked out.")
lines_option = click.option(
    "--lines",
    "lines_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Your own line types, TOML or CSV; they go before the catalogue's.",
)


def own_lines(lines_file: Path | None) -> tuple[LineType, ...]:
    """Return the person's own line types; none without a file."""
    if lines_file is None:
        return ()
    from linewright.formats.own_lines import read_lines

    return read_lines(lines_file)


def write(text: str) -> None:
    """Write an answer to standard output; without bold and dim where the person or the place wants none."""
    click.echo(text, color=False if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb" else None)


def write_json(document: Document) -> None:
    """Write an answer for programs: UTF-8, whatever the terminal speaks."""
    from linewright.formats.documents import to_json

    click.echo(to_json(document).encode())
