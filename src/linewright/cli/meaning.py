"""``linewright meaning``: what a decibel means on the air."""

from __future__ import annotations

import click

from linewright.cli.options import Reader, answer_options

HELP = """\
Say what WHAT means on the air: power, S units, microvolts, range.

WHAT is a change in decibels; without a sign it is a loss, so write +6dB for a gain. Or it is two figures: two powers,
two signals, two distances. Or one signal. Or an EIRP, for the field at a distance.

\b
linewright meaning 3dB
linewright meaning "100 W to 25 W"
linewright meaning "S9 to S7"
linewright meaning "10 km to 20 km"
linewright meaning 2dB --power "100 W" --at "144 MHz" --signal S7
linewright meaning "10 µV" --at "7 MHz"
linewright meaning "100 W EIRP" --distance "10 km" --at "144 MHz"
"""


@click.command(
    help=HELP,
    short_help="Say what a decibel means on the air.",
    # "-3dB" is a change, not an option.
    context_settings={"ignore_unknown_options": True},
)
@click.argument("what", nargs=-1, required=True)
@click.option("--power", default="100 W", show_default=True, help="The transmitter power to compare with.")
@click.option("--at", metavar="FREQ", help="Frequency; it decides the level of S9.")
@click.option("--signal", metavar="READING", help='A signal before the change: S7, S9+20, "-97 dBm" or "10 µV".')
@click.option("--distance", metavar="LENGTH", help="Distance, for an EIRP.")
@click.option("--gain", default="0 dBi", show_default=True, help="Gain of the antenna that receives an EIRP.")
@answer_options()
def meaning(what: tuple[str, ...], reader: Reader, **given: str | None) -> None:
    """Say what a decibel means on the air."""
    from linewright.present.compose.meaning import meant
    from linewright.verbs.meaning import written_meaning

    for word in what:
        if word.startswith("--"):
            raise click.NoSuchOption(word)
    reader.show(written_meaning(" ".join(what), given, {name: f"--{name}" for name in given}), meant)
