"""The catalogue on the command line: types of line, what a length loses, what dimensions make, connectors."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import Reader, answer_options, lines_option, own_lines
from linewright.core.errors import InputError
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.core.nouns.line import LineType

# ``linewright lines``: the types at hand, or all that is known of one


@click.command(short_help="List the known line types, or show everything about one.")
@click.argument("name", required=False)
@click.option("--chart", type=click.Path(path_type=Path), metavar="OUT", help="Draw the law: .svg, .png or .pdf.")
@lines_option
@answer_options(explain=False)
def lines(name: str | None, chart: Path | None, lines_file: Path | None, reader: Reader) -> None:
    """List the known line types, or show everything about the type NAME.

    That is its law, its construction, every figure and its source.
    """
    from linewright.catalogue import power_points
    from linewright.present.compose.line import line_document, lines_document
    from linewright.verbs.line_page import show_line
    from linewright.verbs.loss import list_lines

    own = own_lines(lines_file)
    if name is None:
        if chart is not None:
            raise InputError("--chart", "needs a type", cure="Name one: linewright lines RG-213/U --chart law.svg.")
        reader.show(list_lines(own), lines_document)
        return
    found = show_line(name, own)
    (kind,) = found.types
    if chart is not None:
        _draw(kind, chart)
    power = () if kind in own else power_points(kind.designator)
    reader.show(found, partial(line_document, power=power))


def _draw(kind: LineType, path: Path) -> None:
    from linewright.present.charts.line_type import line_chart
    from linewright.verbs.results import put_chart

    put_chart(line_chart(kind), path)


# ``linewright loss``: what a length of line should lose

LOSS_HELP = """\
Say what LENGTH of LINE should lose at each FREQ, by the catalogue or your own types.

\b
linewright loss "RG-213/U" "30 m" 14.2MHz 144MHz
linewright loss "club drum" "80 ft" 432MHz --lines club.toml

\b
A file of your own types lists points from their data sheets:
  [[line]]
  name = "club drum"
  impedance = "50 ohm"
  velocity_factor = 0.80
  points = [["10 MHz", "1.5 dB/100m"], ["1 GHz", "18 dB/100m"]]
or, as CSV: line,frequency,attenuation
"""


@click.command(help=LOSS_HELP, short_help="Say what a length of line should lose.")
@click.argument("line")
@click.argument("length")
@click.argument("freq", nargs=-1, required=True)
@lines_option
@answer_options()
def loss(line: str, length: str, freq: tuple[str, ...], lines_file: Path | None, reader: Reader) -> None:
    """Say what a length of line should lose."""
    from linewright.core.quantities import frequency_hz, length_m
    from linewright.present.compose.line import loss_document
    from linewright.verbs.loss import line_loss

    _in_order(line, length)
    metres, hertz = length_m(length, "LENGTH"), [frequency_hz(f, "FREQ") for f in freq]
    reader.show(line_loss(line, metres, hertz, own_lines(lines_file)), loss_document)


def _in_order(line: str, length: str) -> None:
    """Refuse a length that stands where the line should."""
    from linewright.core.quantities import length_m

    try:
        length_m(line, "LINE")
    except InputError:
        return
    raise InputError(
        "LINE",
        say("must stand before the length; got {value}", value=repr(line)),
        cure=say("Write: linewright loss {line} {length} 144MHz.", line=f'"{length}"', length=f'"{line}"'),
    )


# ``linewright impedance``: what a line's dimensions make of it

IMPEDANCE_HELP = """\
Work out from a line's dimensions its impedance, capacitance and delay, and what it should lose.

\b
linewright impedance --centre-diameter 0.9mm --strands 19 --dielectric-diameter 2.95mm --velocity-factor 0.66
linewright impedance --centre-diameter 2mm --spacing 150mm --velocity-factor 0.97

The default is copper and a braid, or two bare wires. A stranded centre counts with its effective diameter, a braid with
its mean diameter.
"""


def make_options(command: Any) -> Any:
    """Add what tells how a line is made."""
    for option in (
        click.option("--velocity-factor", metavar="NUMBER", help="Its velocity factor, such as 0.66."),
        click.option("--impedance", metavar="OHM", help="Its impedance, such as 50ohm (default: from the dimensions)."),
        click.option("--spacing", metavar="SIZE", help="Spacing of a pair of wires, centre to centre, such as 150mm."),
        click.option(
            "--screen", metavar="KIND", help='"braid", "two braids", "foil and braid", "corrugated", "tube" ...'
        ),
        click.option("--dielectric-diameter", metavar="SIZE", help="Diameter over the dielectric, such as 2.95mm."),
        click.option("--dielectric", metavar="KIND", help='"PE", "foam PE", "PTFE", "PE web", "air" ...'),
        click.option("--cladding", metavar="SIZE", help="Thickness of the copper on steel or aluminium, such as 12um."),
        click.option("--strands", metavar="NUMBER", help="Number of strands in the centre: 1, 7, 19."),
        click.option("--centre", metavar="KIND", help='"copper", "tinned copper", "clad steel" ...'),
        click.option(
            "--centre-diameter",
            metavar="SIZE",
            help="Diameter of the centre conductor or of one wire, such as 0.9mm.",
        ),
    ):
        command = option(command)
    return command


@click.command(help=IMPEDANCE_HELP, short_help="Work out a line's impedance from its dimensions.")
@make_options
@answer_options(explain=False)
def impedance(reader: Reader, **told: str | None) -> None:
    """Say what a line's dimensions make of it."""
    from linewright.present.compose.line import impedance_document
    from linewright.verbs.line_page import from_dimensions

    reader.show(from_dimensions({k: v for k, v in told.items() if v is not None}), impedance_document)


# ``linewright connectors``: what connectors and adapters take and bear


@click.command(short_help="Say what connectors, adapters and arrestors lose and withstand.")
@answer_options(explain=False)
def connectors(reader: Reader) -> None:
    """Say what a mated pair of each connector family loses on each band, what it withstands, and how that is known."""
    from linewright.present.compose.connectors import connectors_document
    from linewright.verbs.connector_list import list_connectors

    reader.show(list_connectors(), connectors_document)
