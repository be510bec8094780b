"""``linewright one-end``: what a line loses, from its near end alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import (
    Reader,
    answer_options,
    kept_words,
    ledger_kept,
    ledger_option,
    lines_option,
    own_lines,
    who_option,
)
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.core.nouns.one_end import OneEndResult, OneEndTest
    from linewright.store.ledger import Ledger

# ``linewright one-end``: what a line loses, from its near end alone

HELP = """\
Find the loss of an installed line from readings at its near end.

\b
linewright one-end --open 7.1 --short 6.8 --at "144 MHz"
linewright one-end --open "1.9 dB" --at "50 MHz" --open "3.5 dB" --short "3.4 dB" --at "144 MHz"
linewright one-end --load 3.0 --load-seen 1.8 --at "14.2 MHz"
linewright one-end --peak "12.5 @ 160 MHz" --peak "11.8 @ 171 MHz"
linewright one-end --resonance "5.7 ohm @ 14.2 MHz" --impedance "50 ohm"
linewright one-end --file readings.csv --line "RG-213/U" --length "30 m"
linewright one-end --piece "blue 7" --open 7.1 --short 6.8 --at "144 MHz" --keep

A bare number is an SWR, a number with dB a return loss, one with ohm a resistance; "inf" and "over 20" are limits. --at
gives the frequency of the readings before it. A file has the columns frequency, far_end (open, short, load:SWR, load,
antenna), one of swr, return_loss and resistance, and, as needed, direct, step, piece and note.
"""


class InOrder(click.Command):
    """A command that remembers in which order its options were written."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse, and keep the names of the options as they came."""
        _, _, order = self.make_parser(ctx).parse_args(args=list(args))
        ctx.meta["order"] = [option.name for option in order]
        return super().parse_args(ctx, args)


@click.command("one-end", cls=InOrder, help=HELP, short_help="Find a line's loss from its near end alone.")
@click.option("--open", "open_", multiple=True, metavar="READING", help="Reading with the far end open.")
@click.option("--short", multiple=True, metavar="READING", help="Reading with the far end shorted.")
@click.option("--load", multiple=True, metavar="READING", help="Reading of a load right at the instrument.")
@click.option("--load-swr", multiple=True, metavar="SWR", help="Known SWR of a load that was not read directly.")
@click.option("--load-seen", multiple=True, metavar="READING", help="Reading with that load at the far end.")
@click.option("--at", multiple=True, metavar="FREQ", help="Frequency of the readings before it.")
@click.option(
    "--peak", multiple=True, metavar='"SWR @ FREQ"', help="An SWR peak off the antenna's band, antenna connected."
)
@click.option("--resonance", multiple=True, metavar='"OHM @ FREQ"', help="Resistance of the open or shorted line.")
@click.option("--file", "readings", type=click.Path(path_type=Path), metavar="FILE", help="Readings in a CSV file.")
@click.option("--step", metavar="STEP", help="Smallest step that can be read (default: the last digit written).")
@click.option(
    "--directivity", metavar="DB", help=('Directivity of the instrument, "30 dB" (default: that of a usual one).')
)
@click.option("--meter", metavar="NAME", help="Meter that took the reading: use its directivity from the ledger.")
@click.option("--source-swr", metavar="SWR", help="SWR of the instrument's own port.")
@click.option("--impedance", metavar="OHM", help='Impedance of the line, "75 ohm" (default: its type\'s, or 50 ohm).')
@click.option("--line", metavar="LINE", help="Type of the line; with --length, the loss is judged against it.")
@click.option("--length", metavar="LENGTH", help="Length of the line.")
@click.option("--piece", metavar="TAG", help="A piece in the ledger; type and length are taken from there.")
@click.option("--keep", is_flag=True, help="File the test in the ledger, under this piece.")
@click.option(
    "--on", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="Day of the readings (default: today)."
)
@ledger_option
@who_option
@lines_option
# Its --short is what was read with the far end shorted; the answer is a short one anyway.
@answer_options(short=False)
@click.pass_context
def one_end(ctx: click.Context, /, lines_file: Path | None, reader: Reader, **said: Any) -> None:
    """Find the loss of an installed line from readings at its near end."""
    from linewright.cli.one_end_words import written_test
    from linewright.present.compose.one_end import one_end_document
    from linewright.verbs.one_end import prove_one_end

    if said["keep"] and said["piece"] is None:
        raise click.UsageError(say("--keep files a test of a piece: name it with --piece TAG."))
    if said["piece"] is not None and (said["line"] or said["length"]):
        raise click.UsageError(say("--piece brings its type and length: leave out --line and --length."))
    if said["meter"] is not None and said["directivity"] is not None:
        raise click.UsageError(say("--meter brings its directivity: leave out --directivity."))
    test = written_test(ctx.meta["order"], said, own_lines(lines_file))
    if said["meter"] is not None:
        from linewright.verbs.meters import directivity_at

        hertz = {r.frequency_hz for r in test.readings}
        with ledger_kept(said["ledger"]) as found:
            test = replace(test, directivity_db=min(directivity_at(found, said["meter"], f) for f in hertz))
    if said["piece"] is not None:
        with ledger_kept(said["ledger"]) as found:
            result = _of_piece(found, test, said)
    else:
        result = prove_one_end(test)
    reader.show(result, one_end_document)


def _of_piece(ledger: Ledger, test: OneEndTest, said: Mapping[str, Any]) -> OneEndResult:
    """Return what a test says of a kept piece, having filed it where that is asked."""
    from linewright.verbs.one_end import keep_one_end, prove_one_end, test_of_piece
    from linewright.verbs.shelf import By

    whole = test_of_piece(ledger, said["piece"], test)
    result = prove_one_end(whole)
    if said["keep"]:
        kept = keep_one_end(ledger, whole, on=said["day"].date() if said["day"] else None, by=By(who=said["who"]))
        click.echo(kept_words((kept,)), err=True)
    return result
