"""``linewright chart``: a chart of what is known, as SVG, PNG, PDF or Vega-Lite JSON."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import (
    bare_json_option,
    debug_option,
    ledger_kept,
    ledger_option,
    lines_option,
    own_lines,
    write,
    write_json,
)
from linewright.core.errors import InputError
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.verbs.chart import Chart, ChartWish

HELP = """\
Draw a chart of WHAT: a bench sheet or a station (TOML), the sweeps of a line, or the name of a piece, a session, a
station or a run in the ledger. Without WHAT it is the station in the ledger.

\b
linewright chart spring.toml --list
linewright chart spring.toml -o loss.svg
linewright chart station.toml --run "two-metre beam" --kind flow -o flow.pdf
linewright chart drum.s2p --length "30 m" --kind law -o law.png
linewright chart "two-metre beam" -o flow.svg
linewright chart "blue 7" --kind years -o years.vl.json

Without --kind you get the main chart. A .vl.json file holds the chart as a Vega-Lite specification.
"""
SWEEP = re.compile(r"\.(s\d+p|ts)$", re.IGNORECASE)


@click.command(help=HELP, short_help="Draw a chart: SVG, PNG, PDF or Vega-Lite JSON.")
@click.argument("what", nargs=-1, metavar="[WHAT...]")
@click.option("--kind", metavar="NAME", help="Which chart; --list shows the choice.")
@click.option("--list", "listed", is_flag=True, help="List the charts that can be drawn.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help=".svg, .png, .pdf or .vl.json.")
@click.option("--width", type=click.IntRange(320, 2000), default=660, show_default=True, help="Width in pixels.")
@click.option("--dark", is_flag=True, help="Light ink on a dark background.")
@click.option("--language", type=click.Choice(["en", "de"]), default="en", show_default=True, help="Output language.")
@click.option("--decimal", type=click.Choice(["point", "comma"]), help="Decimal mark (default: that of the language).")
@click.option("--lengths", type=click.Choice(["m", "ft"]), default="m", show_default=True, help="Unit of lengths.")
@click.option("--run", "run", metavar="NAME", help="Which run of a station.")
@click.option("--station", metavar="NAME", help="Which station, if the ledger has several.")
@click.option("--prices", type=click.Path(path_type=Path), metavar="FILE", help="Your prices, CSV.")
@click.option("--far-end", multiple=True, metavar="END", help="through, open, short or load; once for each sweep.")
@click.option("--length", metavar="LENGTH", help='How long the swept line is: "30 m".')
@click.option("--line", "line_name", metavar="TYPE", help="Stated type of the swept line.")
@ledger_option
@lines_option
@bare_json_option
@debug_option
def chart(  # noqa: PLR0913 - one argument an option
    what: tuple[str, ...], kind: str | None, listed: bool, output: Path | None, width: int, dark: bool,
    language: str, decimal: str | None, lengths: str, as_json: bool, **given: Any,
) -> None:  # fmt: skip
    """Draw a chart."""
    from linewright.core.formatting import manner
    from linewright.core.messages import written
    from linewright.verbs.chart import Listing, chosen
    from linewright.verbs.results import check_chart_place, put_chart

    if output is None and not (listed or as_json):
        raise click.UsageError(say("Say where to draw it: -o chart.svg, .png, .pdf or .vl.json (or --list)."))
    check_chart_place(output)
    spoken = manner(language, decimal, lengths)
    charts = _charts(what, given)
    one = None if listed and kind is None else chosen(charts, kind)
    spec = None
    if one is not None:
        from linewright.present.charts.theme import DARK, LIGHT

        spec = one.draw(width_px=width, palette=DARK if dark else LIGHT, manner=spoken)
    if output is not None and spec is not None:
        put_chart(spec, output)
    if as_json:
        write_json(Listing(" ".join(what), charts, one.kind if one else None, spec, spoken))
    elif listed:
        widest = max(len(c.kind) for c in charts)
        write("\n".join(f"{c.kind:<{widest}}  {written(c.about, spoken)}" for c in charts))
    else:
        click.echo(f"Wrote {output}.")


def _charts(what: tuple[str, ...], given: dict[str, Any]) -> list[Chart]:
    """Return the charts there are of what was named."""
    from linewright.cli.progress import Progress
    from linewright.verbs import chart as verbs

    if what and all(SWEEP.search(name) for name in what):
        return _of_sweeps(what, given)
    if len(what) > 1:
        raise InputError("what to draw", f"must be one thing, or sweeps of one line; got {len(what)} names",
                         cure="Put a tag with spaces in quotation marks.")  # fmt: skip
    with Progress() as progress:
        if what and (what[0].lower().endswith(".toml") or Path(what[0]).is_file()):
            return verbs.charts_of_file(what[0], _wanted(given), progress=progress)
    name, station = what[0] if what else None, given["station"]
    with ledger_kept(given["ledger"]) as kept, Progress() as progress:
        return verbs.charts_of_kept(kept, name, _wanted(given), station=station, progress=progress)


def _wanted(given: dict[str, Any]) -> ChartWish:
    from linewright.files.prices import read_prices
    from linewright.verbs.chart import ChartWish

    own = own_lines(given["lines_file"])
    return ChartWish(given["run"], read_prices(given["prices"], own) if given["prices"] else None, own)


def _of_sweeps(files: tuple[str, ...], given: dict[str, Any]) -> list[Chart]:
    from linewright.core.nouns.sweep import SweepQuestion
    from linewright.core.quantities import length_m
    from linewright.verbs.chart import charts_of_sweep
    from linewright.verbs.sweep import read_sweep

    question = SweepQuestion(
        length_m=None if given["length"] is None else length_m(given["length"], "--length"),
        line=given["line_name"],
        own=own_lines(given["lines_file"]),
    )
    return charts_of_sweep(read_sweep(files, [end.lower() for end in given["far_end"]], question))
