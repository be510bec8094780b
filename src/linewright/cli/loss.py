"""``linewright loss``: what a length of line should lose."""

from __future__ import annotations

from pathlib import Path

import click

from linewright.cli.options import Reader, answer_options, lines_option, own_lines

HELP = """\
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


@click.command(help=HELP, short_help="Say what a length of line should lose.")
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

    metres, hertz = length_m(length, "LENGTH"), [frequency_hz(f, "FREQ") for f in freq]
    reader.show(line_loss(line, metres, hertz, own_lines(lines_file)), loss_document)
