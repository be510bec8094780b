"""``linewright share``: which piece goes to which run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

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
    from linewright.core.nouns.choice import Shared

HELP = """\
Share out the pieces on hand among the runs of a station that state a route.

It says which piece goes where, what to join, what is left over and what to buy, so that the weighted loss is least.
Without a STATION file (TOML), the station is the one in the ledger, and the pieces are those on its shelf.

\b
linewright share
linewright share --apply
linewright share fieldday.toml
linewright share fieldday.toml --prices prices.csv --budget 80
linewright share fieldday.toml --chart plan.svg

\b
In the station file, each run also has:
  route = "23 m"          how far its line must reach
  weight = 2              how much its decibels count; 1 if not stated
"""


@click.command(help=HELP, short_help="Share out the pieces on hand among several runs.")
@station_options("[STATION.toml]")
@click.option("--prices", "prices_file", type=click.Path(path_type=Path), metavar="FILE", help="Your prices, CSV.")
@click.option("--budget", type=click.FloatRange(min=0), default=0.0, metavar="SUM", help="The most that may be spent.")
@click.option("--apply", is_flag=True, help="Put the result into the runs in the ledger; can be undone.")
@who_option
@click.option("--chart", type=click.Path(path_type=Path), metavar="OUT", help="Draw the plan: .svg, .png or .pdf.")
@lines_option
@answer_options()
def share(asked: StationAsked, chart: Path | None, reader: Reader, **given: Any) -> None:
    """Share out the pieces on hand."""
    from linewright.cli.progress import Progress
    from linewright.files.prices import read_prices
    from linewright.present.compose.choice import share_document
    from linewright.verbs.results import check_chart_place
    from linewright.verbs.share import share_shelf
    from linewright.verbs.shelf_apply import apply_share
    from linewright.verbs.shelf_open import By

    check_chart_place(chart)
    if given["apply"]:
        refuse_file(asked)
    own, prices_file = own_lines(given["lines_file"]), given["prices_file"]
    prices = read_prices(prices_file, own) if prices_file else None
    with Progress() as progress:
        if asked.given is not None and not asked.is_file:
            raise click.UsageError(
                say("{name} is no station file. Pieces are shared among all runs: name none.", name=asked.given)
            )
        known, _ = asked_station(asked, own, progress, whole=True)
        shared = share_shelf(known, prices=prices, budget=given["budget"], own=own, progress=progress)
    if given["apply"]:
        by = By(who=given["who"])
        applied(asked, lambda found, station: apply_share(found, station, shared, by=by))
    if chart is not None:
        _draw(shared, {tag: piece.length_m for tag, piece in known.pieces.items()}, chart)
    reader.show(shared, share_document)


def _draw(shared: Shared, lengths_m: dict[str, float], path: Path) -> None:
    from linewright.present.charts.assignment import assignment_chart
    from linewright.verbs.results import put_chart

    put_chart(assignment_chart(shared, lengths_m), path)
