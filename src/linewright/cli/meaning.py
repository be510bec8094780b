"""``linewright meaning``: what a decibel means on the air."""

from __future__ import annotations

import click

from linewright.cli.options import Reader, answer_options

HELP = """\
Say what CHANGE, so many decibels, means on the air: power, S units, range.

A change without a sign is a loss; write +6dB for a gain.

\b
linewright meaning 3dB
linewright meaning 2dB --power "100 W" --at "144 MHz" --signal S7
linewright meaning +6dB --signal S9+10
"""


@click.command(
    help=HELP,
    short_help="Say what a decibel means on the air.",
    # "-3dB" is a change, not an option.
    context_settings={"ignore_unknown_options": True},
)
@click.argument("change", nargs=-1, required=True)
@click.option("--power", default="100 W", show_default=True, help="The transmitter power to compare with.")
@click.option("--at", metavar="FREQ", help="The frequency; it says which level S9 has.")
@click.option("--signal", metavar="READING", help='A signal before the change: S7, S9+20 or "-97 dBm".')
@answer_options()
def meaning(change: tuple[str, ...], power: str, at: str | None, signal: str | None, reader: Reader) -> None:
    """Say what a decibel means on the air."""
    from linewright.core.quantities import frequency_hz, power_w
    from linewright.present.compose.line import meaning_document
    from linewright.verbs.meaning import meaning_of, read_change_db

    for word in change:
        if word.startswith("--"):
            raise click.NoSuchOption(word)
    hertz = None if at is None else frequency_hz(at, "--at")
    found = meaning_of(read_change_db(" ".join(change)), power_w(power, "--power"), hertz, signal)
    reader.show(found, meaning_document)
