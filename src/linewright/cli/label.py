"""``linewright label``: cable labels."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import Reader, answer_options, ledger_option, opened
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.core.locale import Manner
    from linewright.core.nouns.paper import Labels
    from linewright.present.labels import WantedLabels as Wanted

HELP = """\
Typeset labels for the pieces TAGS: tag, type, length, loss by band, verdict, when tested and when to test again.

\b
linewright label "blue 7" -o blue-7.png
linewright label -o labels.pdf --sheet "a4 3x8 70x37" --first 4
linewright label --all -o flags.pdf --sheet "letter 2x10 4x1in" --wrap

Without TAGS you get every piece on the shelf. Without -o, the text of the labels is shown here. The file's ending
chooses the format: .pdf, or .svg and .png for one label.
"""


@click.command(help=HELP, short_help="Typeset cable labels, on label sheets or one by one.")
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
