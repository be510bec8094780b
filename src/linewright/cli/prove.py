"""``linewright prove``: what a sheet of readings says."""

from __future__ import annotations

from contextlib import ExitStack
from datetime import datetime
from pathlib import Path

import click

from linewright.cli.options import Reader, answer_options, ledger_there, lines_option, own_lines
from linewright.core.messages import say


@click.command(short_help="Judge the pieces, meters and readings of a bench sheet.")
@click.argument("sheet", type=click.Path(path_type=Path))
@click.option(
    "--ledger",
    metavar="PATH",
    help="Also use what this ledger knows of the meters and the pieces; nothing is written.",
)
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="Day of the measurement (default: today).")
@lines_option
@answer_options()
def prove(sheet: Path, ledger: str | None, on: datetime | None, lines_file: Path | None, reader: Reader) -> None:
    """Judge the pieces, meters and readings of a bench SHEET (TOML).

    You get what each piece loses on each band, with an interval; what it is still good for; which readings and meters
    not to believe; what to measure next. To start from a sheet that works, run `linewright demo`, which writes one.

    The sheet is judged by itself, unless you name a ledger with --ledger: then earlier sessions show how its meters
    read, and tests of its pieces on other days count too, as if the sheet were filed there.
    """
    from linewright.cli.progress import Progress
    from linewright.cli.short import short_bench
    from linewright.present.compose.prove import bench_document
    from linewright.verbs.prove import prove_cable

    if on is not None and ledger is None:
        raise click.UsageError(say("--on goes with --ledger: a sheet that stands alone has no day."))
    with ExitStack() as stack:
        progress = stack.enter_context(Progress())
        kept = stack.enter_context(ledger_there(ledger)) if ledger is not None else None
        result = prove_cable(
            sheet, own=own_lines(lines_file), ledger=kept, on=on.date() if on else None, progress=progress,
            explained=reader.explained,
        )  # fmt: skip
    reader.show(result, bench_document, short_bench)
