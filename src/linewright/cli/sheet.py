"""``linewright sheet``: a blank reading sheet for a bench without a computer."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import Reader, answer_options, lines_option, own_lines

if TYPE_CHECKING:
    from linewright.core.locale import Manner
    from linewright.core.nouns.paper import BlankSheet

HELP = """\
Make a blank reading sheet for the bench SHEET (TOML), to fill in with a pencil.

\b
linewright sheet spring.toml -o spring.pdf
linewright sheet spring.toml -o spring.csv
linewright prove spring.toml

The sheet names source, reference, meters and pieces as for `linewright prove`, and above its first table the bands to
read: frequencies = ["14.2 MHz", "144.3 MHz"]. The order of the steps keeps a drift from falling on one piece. The CSV
file has the same steps with empty readings: fill it in, name it as file under [readings], and prove.
"""


@click.command(help=HELP, short_help="Make a blank reading sheet, to print or to fill in.")
@click.argument("sheet", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Output file: .pdf or .csv.")
@click.option(
    "--repeats", type=int, default=1, show_default=True, help="Number of readings of each path; 2 cancels drift."
)
@click.option("--every-meter", is_flag=True, help="Read meters outside their rated band too.")
@click.option("--force", is_flag=True, help="Overwrite an existing CSV file.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper size.")
@click.option(
    "--date", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="Date on the sheet (default: none)."
)
@lines_option
@answer_options(explain=False)
def sheet(sheet: Path, output: Path | None, lines_file: Path | None, reader: Reader, **how: Any) -> None:
    """Set a blank reading sheet; the help text stands above."""
    from linewright.present.compose.paper import sheet_document
    from linewright.verbs.blank_sheet import blank_sheet

    blank = blank_sheet(sheet, own=own_lines(lines_file), rounds=how.pop("repeats"), every_meter=how.pop("every_meter"))
    if output is not None:
        _write(blank, output, reader.manner, **how)
    if reader.as_json or output is None:
        reader.show(blank, sheet_document)
    else:
        click.echo(f"Wrote {output}.")


def _write(blank: BlankSheet, output: Path, manner: Manner, *, paper: str, day: datetime | None, force: bool) -> None:
    from linewright.core.errors import InputError
    from linewright.files.blank_sheet import template_csv
    from linewright.present.blank_sheet import sheet_pages
    from linewright.verbs.results import put_file, put_result

    kind = output.suffix.lower()
    if kind == ".pdf":
        put_result(output, sheet_pages(blank, paper=paper, manner=manner, on=day.date() if day else None))
    elif kind == ".csv":
        if output.exists() and not force:
            raise InputError("output", f"is there already: {output}", cure="It may hold readings. Say --force if not.")
        put_file(output, template_csv(blank.steps, manner).encode())
    else:
        raise InputError("output", f"must end in .pdf or .csv; got {output.name!r}")
