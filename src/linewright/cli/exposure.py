"""``linewright exposure``: how far to keep away from an antenna."""

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

HELP = """\
Estimate how far to keep away from the antennas of a STATION (TOML), or from one of a given power and gain.

\b
linewright exposure station.toml --run "two-metre beam"
linewright exposure --power "100 W" --gain "2.15 dBi" --at "14.2 MHz" --mode SSB --duty "50 %"

An estimate for the far field and the main lobe. Local rules and licensed practice decide.
"""


@click.command(help=HELP, short_help="Estimate how far to keep away from an antenna.")
@click.argument("station", type=click.Path(path_type=Path), required=False)
@run_option
@click.option("--power", help='Power at the antenna, "100 W".')
@click.option("--gain", help='Gain of the antenna, "2.15 dBi" or "0 dBd".')
@click.option("--at", "at", multiple=True, metavar="FREQ", help="Frequency; may be given several times.")
@click.option("--duty", default="100 %", show_default=True, help="Share of the averaging time on air.")
@click.option("--mode", default="carrier", show_default=True, help="SSB, SSB processed, CW, FM, RTTY, AFSK, carrier.")
@click.option("--ground", default="EPA", show_default=True, help="Reflection from the ground: none, EPA, full.")
@click.option("--size", help='Largest dimension of the antenna, "4.2 m".')
@lines_option
@beside_option
@json_option
@explain_option
@debug_option
def exposure(
    station: Path | None,
    run_name: str | None,
    lines_file: Path | None,
    ledger: str | None,
    as_json: bool,
    explain: bool,
    **given: str,
) -> None:
    """Estimate how far to keep away from an antenna."""
    from linewright.cli.plan_view import exposure_view
    from linewright.cli.progress import Progress
    from linewright.core.nouns.plan import ExposurePlan
    from linewright.verbs.exposure import exposure_as_written
    from linewright.verbs.plan import plan_station

    named = sum(bool(given[name]) for name in ("power", "gain", "at"))
    if named != (3 if station is None else 0):
        raise click.UsageError("Name a station, or give --power, --gain and --at.")
    if station is None:
        found = exposure_as_written(given, "--{}")
    else:
        with Progress() as progress:
            known = station_with(station, own_lines(lines_file), ledger, progress)
            found = plan_station(known, run=run_name, progress=progress)
    if as_json:
        write_json(ExposurePlan(found))
    else:
        write(exposure_view(found, explain=explain))
