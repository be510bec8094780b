"""``linewright loss``: what a length of line should lose."""

from __future__ import annotations

from pathlib import Path

import click

from linewright.cli.options import debug_option, explain_option, json_option, lines_option, own_lines, write, write_json

HELP = """\
Say what LENGTH of LINE loses at each FREQ, by the catalogue or your own types.

\b
linewright loss "RG-213/U" "30 m" 14.2MHz 144MHz
linewright loss "club drum" "80 ft" 432MHz --lines club.toml

\b
A file of your own types holds points of their data sheets:
  [[line]]
  name = "club drum"
  impedance = "50 ohm"
  velocity_factor = 0.80
  points = [["10 MHz", "1.5 dB/100m"], ["1 GHz", "18 dB/100m"]]
or, as CSV: line,frequency,attenuation
"""


@click.command(help=HELP, short_help="Say what a length of line should lose.")
@click.argument("line")
@click.argument("length")
@click.argument("freq", nargs=-1, required=True)
@lines_option
@json_option
@explain_option
@debug_option
def loss(line: str, length: str, freq: tuple[str, ...], lines_file: Path | None, as_json: bool, explain: bool) -> None:
    """Say what a length of line should lose."""
    from linewright.cli.line_views import loss_view
    from linewright.core.quantities import frequency_hz, length_m
    from linewright.verbs.loss import line_loss

    metres, hertz = length_m(length, "LENGTH"), [frequency_hz(f, "FREQ") for f in freq]
    table = line_loss(line, metres, hertz, own_lines(lines_file))
    if as_json:
        write_json(table)
    else:
        write(loss_view(table, explain=explain))
