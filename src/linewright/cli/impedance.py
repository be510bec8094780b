"""``linewright impedance``: what a line's dimensions make of it."""

from __future__ import annotations

from typing import Any

import click

from linewright.cli.options import Reader, answer_options

HELP = """\
Say what a line's dimensions make of it: impedance, capacitance, delay, and what it should lose.

\b
linewright impedance --centre-diameter 0.9mm --strands 19 --dielectric-diameter 2.95mm --velocity-factor 0.66
linewright impedance --centre-diameter 2mm --spacing 150mm --velocity-factor 0.97

Copper and a braid, or two bare wires, unless told otherwise. Strands count with their
effective diameter, a braid with that of its middle.
"""


def make_options(command: Any) -> Any:
    """Add what tells how a line is made."""
    for option in (
        click.option("--velocity-factor", metavar="NUMBER", help="Its velocity factor, such as 0.66."),
        click.option("--impedance", metavar="OHM", help="Its impedance, such as 50ohm; else from the dimensions."),
        click.option("--spacing", metavar="SIZE", help="Between the middles of the wires of a pair, such as 150mm."),
        click.option(
            "--screen", metavar="KIND", help='"braid", "two braids", "foil and braid", "corrugated", "tube" ...'
        ),
        click.option("--dielectric-diameter", metavar="SIZE", help="Over the dielectric, such as 2.95mm."),
        click.option("--dielectric", metavar="KIND", help='"PE", "foam PE", "PTFE", "PE web", "air" ...'),
        click.option("--cladding", metavar="SIZE", help="Thickness of copper on steel or aluminium, such as 12um."),
        click.option("--strands", metavar="NUMBER", help="How many strands the centre has: 1, 7, 19."),
        click.option("--centre", metavar="KIND", help='"copper", "tinned copper", "clad steel" ...'),
        click.option("--centre-diameter", metavar="SIZE", help="Over the centre conductor or one wire, such as 0.9mm."),
    ):
        command = option(command)
    return command


@click.command(help=HELP, short_help="Say what a line's dimensions make of it.")
@make_options
@answer_options(explain=False)
def impedance(reader: Reader, **told: str | None) -> None:
    """Say what a line's dimensions make of it."""
    from linewright.present.compose.line import impedance_document
    from linewright.verbs.line_page import from_dimensions

    reader.show(from_dimensions({k: v for k, v in told.items() if v is not None}), impedance_document)
