"""A station's runs on the command line: what reaches the antenna, what is received, how far to keep away."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from linewright.cli.options import (
    Reader,
    StationAsked,
    answer_options,
    asked_station,
    lines_option,
    own_lines,
    station_options,
)
from linewright.core.messages import say

# ``linewright plan``: a station's runs, from the radio to the antenna

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
def plan(asked: StationAsked, changes: tuple[str, ...], lines_file: Path | None, reader: Reader) -> None:
    """Plan the runs of a station."""
    from linewright.cli.progress import Progress
    from linewright.cli.short import short_plan, short_what_if
    from linewright.present.compose.plan import plan_document, what_if_document

    with Progress() as progress:
        known, run = asked_station(asked, own_lines(lines_file), progress)
        if changes:
            from linewright.verbs.what_if import what_if

            found = what_if(known, changes, run=run, progress=progress)
        else:
            from linewright.verbs.plan import plan_station

            planned = plan_station(known, run=run, progress=progress, explained=reader.explained)
    if changes:
        reader.show(found, what_if_document, short_what_if)
    else:
        reader.show(planned, plan_document, short_plan)


# ``linewright reception``: what a run does to what is received


@click.command(short_help="Say what a run costs reception, before and after each remedy.")
@station_options()
@lines_option
@answer_options()
def reception(asked: StationAsked, lines_file: Path | None, reader: Reader) -> None:
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


# ``linewright exposure``: how far to keep away from an antenna

EXPOSURE_HELP = """\
Estimate how far to stay from the antennas of a station, or from an antenna of given power and gain or dimensions.

Without an argument, it takes the station in the ledger; with RUN, that run of it; or a STATION file (TOML).

\b
linewright exposure
linewright exposure "two-metre beam"
linewright exposure station.toml --run "two-metre beam"
linewright exposure station.toml --distance "10 m" --rules rules.toml
linewright exposure --power "100 W" --gain "12 dBi" --at "144.3 MHz" --mode SSB --duty "50 %"
linewright exposure --power "100 W" --antenna "dipole, length 20 m, height 10 m" --at "7.1 MHz"

Near a wire the field is calculated from its dimensions, far from an antenna from its gain. Where neither works, no
figure is given. Local rules and licensed practice decide.
"""


@click.command(help=EXPOSURE_HELP, short_help="Estimate how far to stay from an antenna.")
@station_options()
@click.option("--power", help='Power at the antenna, "100 W".')
@click.option("--gain", help='Gain of the antenna, "2.15 dBi" or "0 dBd".')
@click.option("--antenna", help='Kind and dimensions: "vertical, length 10 m, top 10 m, loss 30 ohm".')
@click.option("--at", "at", multiple=True, metavar="FREQ", help="Frequency; may be repeated.")
@click.option("--duty", default="100 %", show_default=True, help="Share of the averaging time on the air.")
@click.option("--mode", default="carrier", show_default=True, help="SSB, CW, FM, RTTY, FT8, WSPR, carrier ...")
@click.option("--over", help='Longest over, "3 min"; use with --pause instead of --duty.')
@click.option("--pause", help='Shortest pause between two overs, "5 min".')
@click.option("--ground", default="EPA", show_default=True, help="Reflection from the ground: none, EPA, full.")
@click.option("--size", help='Largest dimension of the antenna, "4.2 m".')
@click.option("--distance", help='How near people come, "10 m": shows how much of each limit is used there.')
@click.option("--window", help='Height of a neighbour\'s window, "5 m".')
@click.option(
    "--limits", multiple=True, help="Limits to compare with: ICNIRP 2020, 47 CFR 1.1310 ...; may be repeated."
)
@click.option("--rules", type=click.Path(), help="Your own limits and licence, TOML.")
@lines_option
@answer_options()
def exposure(asked: StationAsked, lines_file: Path | None, reader: Reader, **figures: Any) -> None:
    """Estimate how far to keep away from an antenna."""
    from linewright.cli.progress import Progress
    from linewright.cli.short import short_exposure
    from linewright.core.nouns.plan import ExposurePlan
    from linewright.files import fields
    from linewright.files.rules import read_rules
    from linewright.files.station_run import standards
    from linewright.present.compose.exposure import exposure_document
    from linewright.verbs.exposure import NO_RULES, People, exposure_as_written, exposure_at

    rules = read_rules(figures["rules"]) if figures["rules"] else NO_RULES
    alone = figures["power"] and figures["at"] and (figures["gain"] or figures["antenna"])
    named = any(figures[name] for name in ("power", "gain", "antenna", "at"))
    if named and (not alone or asked.given or asked.run or asked.station):
        raise click.UsageError(say("Ask about a station, or give --power, --at and --gain or --antenna."))
    if named:
        found = exposure_as_written(figures, "--{}", rules)
    else:
        limits = standards(list(figures["limits"]), "--limits")
        people_m, window_m = (
            fields.length(figures[k], f"--{k}") if figures[k] else None for k in ("distance", "window")
        )
        with Progress() as progress:
            known, run = asked_station(asked, own_lines(lines_file), progress)
            found = exposure_at(known, run=run, near=People(people_m, window_m, limits), rules=rules, progress=progress)
    reader.show(ExposurePlan(found), lambda known: exposure_document(known.plan), short_exposure)
