"""``linewright reception``: what a run does to what is received."""

from __future__ import annotations

from pathlib import Path

import click

from linewright.cli.options import (
    Asked,
    asked_station,
    debug_option,
    explain_option,
    json_option,
    lines_option,
    own_lines,
    station_options,
    write,
    write_json,
)


@click.command(short_help="Say what a run does to reception, before and after each remedy.")
@station_options()
@lines_option
@json_option
@explain_option
@debug_option
def reception(asked: Asked, lines_file: Path | None, as_json: bool, explain: bool) -> None:
    """Say what the runs of a station do to reception, before and after each remedy.

    Without an argument, of the station the ledger keeps; of one RUN of it; or of a STATION file (TOML).

    The loss of signal-to-noise against a lossless line: next to nothing on HF, where noise from outside is loud;
    decisive on UHF. The station states its noise category, the run its receiver's noise figure.
    """
    from linewright.cli.plan_view import reception_view
    from linewright.cli.progress import Progress
    from linewright.core.nouns.plan import Reception
    from linewright.verbs.plan import plan_station

    with Progress() as progress:
        known, run = asked_station(asked, own_lines(lines_file), progress)
        found = plan_station(known, run=run, progress=progress)
    if as_json:
        write_json(Reception(found))
    else:
        write(reception_view(found, explain=explain))
