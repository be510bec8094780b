"""``linewright label``: labels to tie on cables."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import debug_option, explain_option, json_option, ledger_option, opened, write, write_json

if TYPE_CHECKING:
    from linewright.core.nouns.paper import Labels
    from linewright.present.labels import WantedLabels as Wanted

HELP = """\
Set labels to tie on the pieces TAGS: tag, type, length, loss by band, verdict, when tested and when to test again.

\b
linewright label "blue 7" -o blue-7.png
linewright label --all -o labels.pdf --sheet "a4 3x8 70x37" --first 4
linewright label --all -o flags.pdf --sheet "letter 2x10 4x1in" --wrap

Without -o, what would stand on them is shown here. The ending says the form: .pdf, or .svg and .png for one label.
"""


@click.command(help=HELP, short_help="Set labels to tie on cables, on label sheets or singly.")
@click.argument("tags", nargs=-1)
@click.option("--all", "every", is_flag=True, help="Every piece on the shelf.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Where to: .pdf, .svg, .png.")
@click.option("--sheet", metavar="NAME", help="The sheet of labels, by measure; --list names them.")
@click.option("--list", "list_", is_flag=True, help="List the sheets of labels.")
@click.option("--first", type=int, default=1, show_default=True, help="Start at this label of a part-used sheet.")
@click.option("--size", metavar="WxH", help="Without --sheet: the label's own size, such as 70x37mm.")
@click.option("--wrap", is_flag=True, help="Fold each label round its cable: both halves say the same.")
@click.option("--qr", is_flag=True, help="Put a square code on each, for phones; it holds the tag.")
@click.option("--address", metavar="URL", help="What stands before the tag in the code; takes --qr as said.")
@click.option("--bands", metavar="LIST", help='Which bands to show, as "14.2 MHz, 144.3 MHz"; else those measured.')
@click.option("--language", type=click.Choice(["en", "de"]), default="en", show_default=True, help="In which language.")
@click.option("--decimal", type=click.Choice(["point", "comma"]), help="The decimal mark; the language's own if not.")
@click.option("--lengths", type=click.Choice(["m", "ft"]), default="m", show_default=True, help="Unit of lengths.")
@click.option(
    "--date", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="The day it is seen from; today if not."
)
@ledger_option
@json_option
@explain_option
@debug_option
def label(  # noqa: PLR0913 - one argument an option
    tags: tuple[str, ...], every: bool, output: Path | None, list_: bool, bands: str | None, day: datetime | None,
    ledger: str | None, as_json: bool, explain: bool, **how: Any,
) -> None:  # fmt: skip
    """Set labels; the help text stands above."""
    from linewright.cli.shelf_views import Sheets, labels_view, sheets_view
    from linewright.files.blank_sheet import bands_listed
    from linewright.verbs.label import label_pieces

    if list_:
        write_json(Sheets()) if as_json else write(sheets_view())
        return
    if bool(tags) == every:
        raise click.UsageError("Name the pieces, or say --all; not both.")
    wanted = _wanted(**how)
    with opened(ledger) as found:
        hertz = bands_listed(bands) if bands else ()
        made = label_pieces(found, None if every else tags, bands_hz=hertz, on=day.date() if day else None)
    remarks = _set(made, wanted, output) if output else ()
    for remark in (*made.remarks, *remarks) if output and not as_json else ():
        click.echo(remark, err=True)
    if as_json:
        write_json(made)
        return
    if explain or output is None:
        write(labels_view(made, wanted.manner, explain=explain))
    if output:
        click.echo(f"Wrote {output}.")


def _wanted(
    *, sheet: str | None, size: str | None, first: int, wrap: bool, qr: bool, address: str | None, **said: str | None
) -> Wanted:
    from linewright.core.locale import manner
    from linewright.present.labels import OWN_SIZE_MM, label_sheet, label_size
    from linewright.present.labels import WantedLabels as Wanted

    if sheet and size:
        raise click.UsageError("A sheet has labels of its own size: say --sheet or --size, not both.")
    if first != 1 and not sheet:
        raise click.UsageError("--first goes with --sheet.")
    spoken = manner(said["language"] or "en", said["decimal"], said["lengths"] or "m")
    return Wanted(
        label_sheet(sheet) if sheet else None, label_size(size) if size else OWN_SIZE_MM, first, wrap,
        qr or address is not None, address, spoken,
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
