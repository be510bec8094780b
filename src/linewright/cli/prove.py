"""``linewright prove``: what a sheet of readings says."""

from __future__ import annotations

from pathlib import Path

import click

from linewright.cli.options import (
    debug_option,
    explain_option,
    is_short,
    json_option,
    lines_option,
    own_lines,
    write,
    write_json,
)


@click.command(short_help="Judge the pieces, meters and readings of a bench sheet.")
@click.argument("sheet", type=click.Path(path_type=Path))
@lines_option
@json_option
@explain_option
@debug_option
def prove(sheet: Path, lines_file: Path | None, as_json: bool, explain: bool) -> None:
    """Judge the pieces, meters and readings of a bench SHEET (TOML).

    What each piece loses on each band, with an interval; what it is still good for; which readings and which meters not
    to believe; what to measure next. Start from a sheet that works: `linewright demo` writes one.
    """
    from linewright.cli.bench_view import bench_view
    from linewright.cli.progress import Progress
    from linewright.verbs.prove import prove_cable

    with Progress() as progress:
        result = prove_cable(sheet, own=own_lines(lines_file), progress=progress)
    if as_json:
        write_json(result)
    elif is_short():
        from linewright.cli.short import short_bench

        write(short_bench(result))
    else:
        write(bench_view(result, explain=explain))
