"""``linewright plan``: a station's runs, from the radio to the antenna."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

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

if TYPE_CHECKING:
    from linewright.core.nouns.plan import Plan, WhatIf

HELP = """\
Plan the runs of a station, from the radio to the antenna, on every band.

Without an argument, it plans the station in the ledger; with RUN, that run of it; with a STATION file (TOML), that file
alone.

You get the power that reaches the antenna, where the rest goes, whether the parts can take it, what the run costs
reception, and how far to stay away. To start from a station that works, run `linewright demo`, which writes one.

\b
linewright plan
linewright plan "two-metre beam"
linewright plan station.toml --run "two-metre beam"
linewright plan station.toml --with "line 2 = RG-213/U" --with "drop part 4"
linewright plan station.toml --ledger club.sqlite

\b
A change is [RUN: ]WHAT[ NUMBER][ PROPERTY] = VALUE, counted from the radio:
  line 2 = RG-213/U              line 2 length = 12 m
  piece 1 = blue 18              part "surge arrestor" loss = 0.3 dB
  antenna swr = 2                preamplifier at = radio
  add part 3 = part filter, loss 0.5 dB
  add preamplifier = gain 18 dB, noise figure 0.8 dB, at antenna
  receiver = 35 K                sky = elevation 30 deg, ground 10 %
  drop part 3                    wire: power = 25 W
"""

with_option = click.option(
    "--with", "changes", multiple=True, metavar="CHANGE", help="Change something, and show before and after."
)


@click.command(help=HELP, short_help="Plan a station's runs, and what changes would do to them.")
@station_options()
@with_option
@lines_option
@answer_options()
def plan(asked: Asked, changes: tuple[str, ...], lines_file: Path | None, reader: Reader) -> None:
    """Plan the runs of a station."""
    from linewright.cli.progress import Progress

    with Progress() as progress:
        known, run = asked_station(asked, own_lines(lines_file), progress)
        if changes:
            from linewright.verbs.what_if import what_if

            found = what_if(known, changes, run=run, progress=progress)
        else:
            from linewright.verbs.plan import plan_station

            planned = plan_station(known, run=run, progress=progress, explained=reader.explained)
    if changes:
        reader.write(found, lambda: _what_if(found, reader), lambda: _short_what_if(found))
    else:
        reader.write(planned, lambda: _plan(planned, reader), lambda: _short_plan(planned))


def _plan(planned: Plan, reader: Reader) -> str:
    from linewright.cli.plan_view import plan_view

    return plan_view(planned, explain=reader.explain)


def _short_plan(planned: Plan) -> str:
    from linewright.cli.short import short_plan

    return short_plan(planned)


def _what_if(found: WhatIf, reader: Reader) -> str:
    from linewright.cli.plan_view import what_if_view

    return what_if_view(found, explain=reader.explain)


def _short_what_if(found: WhatIf) -> str:
    from linewright.cli.short import short_what_if

    return short_what_if(found)
