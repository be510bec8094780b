"""``linewright reception``: what a run does to what is received."""

from __future__ import annotations

from pathlib import Path

import click

from linewright.cli.options import (
    Asked,
    Reader,
    answer_options,
    asked_station,
    lines_option,
    own_lines,
    station_options,
)


@click.command(short_help="Say what a run costs reception, before and after each remedy.")
@station_options()
@lines_option
@answer_options()
def reception(asked: Asked, lines_file: Path | None, reader: Reader) -> None:
    """Say what the runs of a station cost reception, before and after each remedy.

    Without an argument, it takes the station in the ledger; with RUN, that run of it; or a STATION file (TOML).

    The loss of signal-to-noise ratio is given against the same receiver with no loss ahead of it: next to nothing on
    HF, where external noise is strong; decisive on UHF. You also get noise figure, noise temperature and G/T of the
    whole chain, part by part. The station states its noise category, or the run what its antenna hears; the run states
    its receiver.
    """
    from linewright.cli.progress import Progress
    from linewright.cli.short import short_reception
    from linewright.core.nouns.plan import Reception
    from linewright.present.compose.reception import reception_document
    from linewright.verbs.plan import plan_station

    with Progress() as progress:
        known, run = asked_station(asked, own_lines(lines_file), progress)
        found = plan_station(known, run=run, progress=progress)
    reader.show(Reception(found), lambda r: reception_document(r.plan), short_reception)
