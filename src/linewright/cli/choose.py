"""``linewright choose``: which line to lay for one run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from linewright.cli.options import (
    Reader,
    StationAsked,
    answer_options,
    applied,
    asked_station,
    lines_option,
    own_lines,
    refuse_file,
    station_options,
    who_option,
)
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.core.nouns.choice import Choice

HELP = """\
Choose a line for one run of a station: price against power at the antenna and loss on reception.

Without a STATION file (TOML), the station is the one in the ledger, and the pieces on its shelf that are in no run
compete with what may be bought.

\b
linewright choose --run "two-metre beam" --prices prices.csv
linewright choose station.toml --run "two-metre beam" --prices prices.csv --limit "1 dB"
linewright choose station.toml --run "two-metre beam" --prices prices.csv --tail "3 m" --budget 120
linewright choose station.toml --run "two-metre beam" --prices prices.csv --chart trade-off.svg

\b
Requirements for the line can be given in the station file, under [run.choose]:
  replace, tail, limit, sure, max_diameter, max_mass, bend_radius, voltage_margin, heat_margin,
  budget, impedance, outdoors, connector, shorter, moved, preamplifier
"""


@click.command(help=HELP, short_help="Choose a line for a run: price against loss.")
@station_options()
@click.option(
    "--prices", "prices_file", required=True, type=click.Path(path_type=Path), metavar="FILE", help="Your prices, CSV."
)
@click.option("--tail", metavar="LENGTH", help="Add a flexible tail of this length at the antenna end.")
@click.option("--limit", metavar="LOSS", help="The most the whole run may lose (default: 1 dB).")
@click.option("--budget", type=click.FloatRange(min=0), metavar="SUM", help="The most that may be spent.")
@click.option(
    "--apply",
    "number",
    type=int,
    metavar="N",
    help="Put choice N, counted from the cheapest, into the run in the ledger.",
)
@who_option
@click.option(
    "--chart", type=click.Path(path_type=Path), metavar="OUT", help="Draw price against loss: .svg, .png or .pdf."
)
@click.option(
    "--lengths-chart", type=click.Path(path_type=Path), metavar="OUT", help="Draw the longest run of each line."
)
@lines_option
@answer_options()
def choose(  # noqa: PLR0913
    asked: StationAsked,
    prices_file: Path,
    tail: str | None,
    limit: str | None,
    budget: float | None,
    number: int | None,
    who: str,
    chart: Path | None,
    lengths_chart: Path | None,
    lines_file: Path | None,
    reader: Reader,
) -> None:
    """Choose a line for a run."""
    from linewright.cli.progress import Progress
    from linewright.files.fields import length
    from linewright.files.prices import limit as limit_of
    from linewright.files.prices import read_prices
    from linewright.present.compose.choice import choose_document
    from linewright.verbs.choose import choose_for, wishing
    from linewright.verbs.plan import the_run
    from linewright.verbs.results import check_chart_place
    from linewright.verbs.shelf_apply import apply_choice
    from linewright.verbs.shelf_open import By

    check_chart_place(chart)
    if number is not None:
        refuse_file(asked)
    check_chart_place(lengths_chart)
    own = own_lines(lines_file)
    wishes: dict[str, Any] = {}
    if tail is not None:
        wishes["tail_m"] = length(tail, "tail")
    if limit is not None:
        wishes["limit_db"] = limit_of(limit, "limit")
    if budget is not None:
        wishes["budget"] = budget
    with Progress() as progress:
        station, run = asked_station(asked, own, progress, whole=True)
        if run is None:
            raise click.UsageError(say("Name the run that wants a line: --run NAME."))
        known = wishing(station, run, wishes)
        prices = read_prices(prices_file, (*own, *known.lines))
        choice = choose_for(known, run, prices, own=own, progress=progress)
    if number is not None:
        wanted, by = the_run(known, run), By(who=who)
        applied(asked, lambda found, name: apply_choice(found, name, wanted, choice, number, by=by), run)
    if chart is not None:
        _draw("trade_off", choice, chart)
    if lengths_chart is not None:
        _draw("longest_run", choice, lengths_chart)
    reader.show(choice, choose_document)


def _draw(what: Literal["trade_off", "longest_run"], choice: Choice, path: Path) -> None:
    from linewright.present.charts.longest_run import longest_run_chart
    from linewright.present.charts.trade_off import trade_off_chart
    from linewright.verbs.results import put_chart

    put_chart((trade_off_chart if what == "trade_off" else longest_run_chart)(choice), path)
