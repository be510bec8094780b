"""``linewright impedance``: what a line's dimensions make of it."""

from __future__ import annotations

from typing import Any

import click

from linewright.cli.options import Reader, answer_options

HELP = """\
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


@click.command(help=HELP, short_help="Work out a line's impedance from its dimensions.")
@make_options
@answer_options(explain=False)
def impedance(reader: Reader, **told: str | None) -> None:
    """Say what a line's dimensions make of it."""
    from linewright.present.compose.line import impedance_document
    from linewright.verbs.line_page import from_dimensions

    reader.show(from_dimensions({k: v for k, v in told.items() if v is not None}), impedance_document)
