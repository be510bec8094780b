"""``linewright exposure``: how far to keep away from an antenna."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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
from linewright.core.messages import say

HELP = """\
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


@click.command(help=HELP, short_help="Estimate how far to stay from an antenna.")
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
def exposure(asked: Asked, lines_file: Path | None, reader: Reader, **figures: Any) -> None:
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
