"""``linewright reception``: what a run does to what is received."""

from __future__ import annotations

from pathlib import Path

import click

from linewright.cli.options import (
    beside_option,
    debug_option,
    explain_option,
    json_option,
    lines_option,
    own_lines,
    station_with,
    write,
    write_json,
)
from linewright.cli.plan import run_option


@click.command(short_help="Say what a run does to reception, before and after each remedy.")
@click.argument("station", type=click.Path(path_type=Path))
@run_option
@lines_option
@beside_option
@json_option
@explain_option
@debug_option
def reception(
    station: Path, run_name: str | None, lines_file: Path | None, ledger: str | None, as_json: bool, explain: bool
) -> None:
    """Say what the runs of a STATION (TOML) do to reception, before and after each remedy.

    The loss of signal-to-noise against a lossless line: next to nothing on HF, where noise from outside is loud;
    decisive on UHF. The station states its noise category, the run its receiver's noise figure.
    """
    from linewright.cli.plan_view import reception_view
    from linewright.cli.progress import Progress
    from linewright.core.nouns.plan import Reception
    from linewright.verbs.plan import plan_station

    with Progress() as progress:
        known = station_with(station, own_lines(lines_file), ledger, progress)
        found = plan_station(known, run=run_name, progress=progress)
    if as_json:
        write_json(Reception(found))
    else:
        write(reception_view(found, explain=explain))
