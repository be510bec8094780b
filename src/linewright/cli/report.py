"""``linewright report``: a report on paper or as a page, of a sheet, a station or a piece."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from linewright.cli.options import debug_option, json_option, ledger_kept, ledger_option, lines_option, write_json
from linewright.core.messages import say

HELP = """\
Write a report on SUBJECT, for others to read, print and question.

SUBJECT is a bench sheet or a station (TOML), or the name of a piece, a session, a station or a run in the ledger.
Without SUBJECT it is the station in the ledger.

\b
linewright report harbour-ridge.toml -o bench.pdf
linewright report harbour-ridge-station.toml -o station.html
linewright report -o station.pdf
linewright report "two-metre beam" -o beam.pdf
linewright report "blue 7" -o blue-7.pdf --language de --paper letter

A report is as short as a letter: two pages for a bench, one page for each run of a station. --appendix adds every
reading and how each figure was worked out. The same files, options and --date give the same bytes.
"""


@click.command(help=HELP, short_help="Write a report: bench, station or piece, as PDF or HTML.")
@click.argument("subject", required=False)
@click.option("--station", metavar="NAME", help="Which station, if the ledger has several.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Output file: .pdf or .html.")
@click.option("--language", type=click.Choice(["en", "de"]), default="en", show_default=True, help="Output language.")
@click.option("--decimal", type=click.Choice(["point", "comma"]), help="Decimal mark (default: that of the language).")
@click.option("--lengths", type=click.Choice(["m", "ft"]), default="m", show_default=True, help="Unit of lengths.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper size.")
@click.option("--appendix", is_flag=True, help="Add every reading and how each figure was worked out.")
@click.option(
    "--date", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="Date on the report (default: today)."
)
@ledger_option
@lines_option
@json_option
@debug_option
def report(  # noqa: PLR0913 - one argument an option
    subject: str | None, station: str | None, output: Path | None, language: str, decimal: str | None, lengths: str,
    paper: str, appendix: bool, day: datetime | None, ledger: str | None, lines_file: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Write a report."""
    from linewright.cli.progress import Progress
    from linewright.core.formatting import manner
    from linewright.files.tables import is_a_file
    from linewright.verbs.report import Asked, ending_of, report_of_file, write_report
    from linewright.verbs.results import check_place

    if output is None and not as_json:
        raise click.UsageError(say("Say where to write it: -o report.pdf or -o report.html (or --json)."))
    if output is not None:
        ending_of(output)
        check_place(output)
    spoken = manner(language, decimal, lengths)
    told = [("--output", output and output.name), ("--language", language if language != "en" else None),
            ("--decimal", decimal), ("--lengths", lengths if lengths != "m" else None),
            ("--station", station),
            ("--paper", paper if paper != "a4" else None), ("--lines", lines_file and lines_file.name)]  # fmt: skip
    options = tuple(word for name, value in told if value for word in (name, str(value)))
    options += ("--appendix",) if appendix else ()
    asked = Asked((day or datetime.now().astimezone()).date(), options, lines_file)
    if subject is not None and is_a_file(subject):
        with Progress() as progress:
            document = report_of_file(subject, asked, progress=progress)
    else:
        from linewright.verbs.report_kept import report_of_kept

        with ledger_kept(ledger) as kept, Progress() as progress:
            document = report_of_kept(kept, subject, asked, station=station, progress=progress)
    if output is not None:
        write_report(document, output, spoken, paper, appendix=appendix)
    if as_json:
        write_json(document)
    else:
        click.echo(f"Wrote {output}.")
