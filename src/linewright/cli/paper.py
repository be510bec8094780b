"""What is put on paper: reports, cable labels, and a blank reading sheet."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import (
    Reader,
    answer_options,
    debug_option,
    json_option,
    ledger_kept,
    ledger_option,
    lines_option,
    opened,
    own_lines,
    write_json,
)
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.core.locale import Manner
    from linewright.core.nouns.paper import BlankSheet, Labels
    from linewright.present.labels import WantedLabels as Wanted

# ``linewright report``: a report of a sheet, a station or a piece

REPORT_HELP = """\
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


@click.command(help=REPORT_HELP, short_help="Write a report: bench, station or piece, as PDF or HTML.")
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
    from linewright.verbs.report import ReportWish, ending_of, report_of_file, write_report
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
    asked = ReportWish((day or datetime.now().astimezone()).date(), options, lines_file)
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


# ``linewright label``: cable labels

LABEL_HELP = """\
Typeset labels for the pieces TAGS: tag, type, length, loss by band, verdict, when tested and when to test again.

\b
linewright label "blue 7" -o blue-7.png
linewright label -o labels.pdf --sheet "a4 3x8 70x37" --first 4
linewright label --all -o flags.pdf --sheet "letter 2x10 4x1in" --wrap

Without TAGS you get every piece on the shelf. Without -o, the text of the labels is shown here. The file's ending
chooses the format: .pdf, or .svg and .png for one label.
"""


@click.command(help=LABEL_HELP, short_help="Typeset cable labels, on label sheets or one by one.")
@click.argument("tags", nargs=-1)
@click.option("--all", "every", is_flag=True, help="Every piece on the shelf (the default if none is named).")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Output file: .pdf, .svg, .png.")
@click.option("--sheet", metavar="NAME", help="Label sheet, named by its size; --list shows them.")
@click.option("--list", "list_", is_flag=True, help="List the label sheets.")
@click.option("--first", type=int, default=1, show_default=True, help="Start at this label of a part-used sheet.")
@click.option("--size", metavar="WxH", help="Size of the label, such as 70x37mm; not with --sheet.")
@click.option("--wrap", is_flag=True, help="Make flags to fold round the cable: both halves say the same.")
@click.option("--qr", is_flag=True, help="Add a QR code that holds the tag.")
@click.option("--address", metavar="URL", help="URL prefix for the QR code; implies --qr.")
@click.option(
    "--bands", metavar="LIST", help=('Bands to show, such as "14.2 MHz, 144.3 MHz" (default: those measured).')
)
@click.option(
    "--date", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="Date to use as 'today' (default: today)."
)
@ledger_option
@answer_options()
def label(  # noqa: PLR0913 - one argument an option
    tags: tuple[str, ...], every: bool, output: Path | None, list_: bool, bands: str | None, day: datetime | None,
    ledger: str | None, reader: Reader, **how: Any,
) -> None:  # fmt: skip
    """Set labels; the help text stands above."""
    from linewright.files.blank_sheet import bands_listed
    from linewright.present.compose.paper import label_sheets_document, labels_document
    from linewright.present.labels import LabelSheets
    from linewright.verbs.label import label_pieces

    if list_:
        reader.show(LabelSheets(), label_sheets_document)
        return
    if tags and every:
        raise click.UsageError(say("Name the pieces, or say --all; not both."))
    wanted = _wanted(reader.manner, **how)
    with opened(ledger) as found:
        hertz = bands_listed(bands) if bands else ()
        made = label_pieces(found, tags or None, bands_hz=hertz, on=day.date() if day else None)
    remarks = _set(made, wanted, output) if output else ()
    for remark in (*made.remarks, *remarks) if output and not reader.as_json else ():
        click.echo(remark, err=True)
    if reader.as_json or reader.explain or output is None:
        reader.show(made, labels_document)
    if output and not reader.as_json:
        click.echo(f"Wrote {output}.")


def _wanted(manner: Manner, *, sheet: str | None, size: str | None, first: int, wrap: bool, **code: Any) -> Wanted:
    from linewright.present.labels import OWN_SIZE_MM, label_sheet, label_size
    from linewright.present.labels import WantedLabels as Wanted

    if sheet and size:
        raise click.UsageError(say("A sheet has labels of its own size: say --sheet or --size, not both."))
    if first != 1 and not sheet:
        raise click.UsageError(say("--first goes with --sheet."))
    return Wanted(
        label_sheet(sheet) if sheet else None, label_size(size) if size else OWN_SIZE_MM, first, wrap,
        code["qr"] or code["address"] is not None, code["address"], manner,
    )  # fmt: skip


def _set(made: Labels, wanted: Wanted, output: Path) -> tuple[str, ...]:
    """Write the labels to a file, and return what should be said of them."""
    from linewright.core.errors import InputError
    from linewright.present.labels import code_remarks, label_pages, label_picture
    from linewright.verbs.results import put_result

    kind = output.suffix.lower()
    if kind == ".pdf":
        content = label_pages(made.labels, wanted)
    elif kind in (".svg", ".png"):
        if len(made.labels) != 1:
            rule = f"must end in .pdf for {len(made.labels)} labels; got {output.name!r}"
            raise InputError("output", rule, cure="A picture holds one label.")
        content = label_picture(made.labels[0], wanted, "svg" if kind == ".svg" else "png")
    else:
        raise InputError("output", f"must end in .pdf, .svg or .png; got {output.name!r}")
    put_result(output, content)
    return code_remarks(made.labels, wanted)


# ``linewright sheet``: a blank reading sheet for a bench without a computer

SHEET_HELP = """\
Make a blank reading sheet for the bench SHEET (TOML), to fill in with a pencil.

\b
linewright sheet spring.toml -o spring.pdf
linewright sheet spring.toml -o spring.csv
linewright prove spring.toml

The sheet names source, reference, meters and pieces as for `linewright prove`, and above its first table the bands to
read: frequencies = ["14.2 MHz", "144.3 MHz"]. The order of the steps keeps a drift from falling on one piece. The CSV
file has the same steps with empty readings: fill it in, name it as file under [readings], and prove.
"""


@click.command(help=SHEET_HELP, short_help="Make a blank reading sheet, to print or to fill in.")
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
