"""``linewright one-end``: what a line loses, from its near end alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import (
    Reader,
    answer_options,
    ledger_kept,
    ledger_option,
    lines_option,
    own_lines,
    who_option,
)
from linewright.core.errors import Culprit, InputError
from linewright.core.messages import say
from linewright.core.nouns.line import LineType
from linewright.core.nouns.one_end import FarEnd, OneEndReading, OneEndResult, OneEndTest
from linewright.core.quantities import ratio_db
from linewright.files import fields
from linewright.files.one_end import read_one_end, shown
from linewright.files.own_lines import impedance_ohm

if TYPE_CHECKING:
    from linewright.store.ledger import Ledger

# ``linewright one-end``: what a line loses, from its near end alone

HELP = """\
Say what an installed line loses, from readings at its near end.

\b
linewright one-end --open 7.1 --short 6.8 --at "144 MHz"
linewright one-end --open "1.9 dB" --at "50 MHz" --open "3.5 dB" --short "3.4 dB" --at "144 MHz"
linewright one-end --load 3.0 --load-seen 1.8 --at "14.2 MHz"
linewright one-end --peak "12.5 @ 160 MHz" --peak "11.8 @ 171 MHz"
linewright one-end --resonance "5.7 ohm @ 14.2 MHz" --impedance "50 ohm"
linewright one-end --file readings.csv --line "RG-213/U" --length "30 m"
linewright one-end --piece "blue 7" --open 7.1 --short 6.8 --at "144 MHz" --keep

A bare number is an SWR, one with dB a return loss, one with ohm a resistance; "inf" and "over 20" are limits. An --at
belongs to the readings before it. A file has the columns frequency, far_end (open, short, load:SWR, load, antenna), one
of swr, return_loss and resistance, and, where there is more to say, direct, step, piece and note.
"""


class InOrder(click.Command):
    """A command that remembers in which order its options were written."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse, and keep the names of the options as they came."""
        _, _, order = self.make_parser(ctx).parse_args(args=list(args))
        ctx.meta["order"] = [option.name for option in order]
        return super().parse_args(ctx, args)


@click.command("one-end", cls=InOrder, help=HELP, short_help="Say what a line loses, from its near end alone.")
@click.option("--open", "open_", multiple=True, metavar="READING", help="Shown with the far end open.")
@click.option("--short", multiple=True, metavar="READING", help="Shown with the far end shorted.")
@click.option("--load", multiple=True, metavar="READING", help="Shown with a load right at the instrument.")
@click.option("--load-swr", multiple=True, metavar="SWR", help="Known SWR of a load not read directly.")
@click.option("--load-seen", multiple=True, metavar="READING", help="Shown with that load at the far end.")
@click.option("--at", multiple=True, metavar="FREQ", help="Frequency of the readings before it.")
@click.option("--peak", multiple=True, metavar='"SWR @ FREQ"', help="A peak off the antenna's band, antenna connected.")
@click.option("--resonance", multiple=True, metavar='"OHM @ FREQ"', help="Resistance of the open or shorted line.")
@click.option("--file", "readings", type=click.Path(path_type=Path), metavar="FILE", help="Readings as CSV.")
@click.option("--step", metavar="STEP", help="Smallest step that can be read; else the last digit written.")
@click.option("--directivity", metavar="DB", help='Of the instrument, "30 dB"; else that of a usual one.')
@click.option("--source-swr", metavar="SWR", help="SWR of the instrument's own port.")
@click.option("--impedance", metavar="OHM", help='Of the line, "75 ohm"; else its type\'s, or 50 ohm.')
@click.option("--line", metavar="LINE", help="Its type; with --length it is judged against that.")
@click.option("--length", metavar="LENGTH", help="Its length.")
@click.option("--piece", metavar="TAG", help="A piece of the ledger's shelf; its type and length are those kept there.")
@click.option("--keep", is_flag=True, help="Keep the test in the ledger, as one of this piece.")
@click.option("--on", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="When it was read; else today.")
@ledger_option
@who_option
@lines_option
# Its --short is what was read with the far end shorted; the answer is a short one anyway.
@answer_options(short=False)
@click.pass_context
def one_end(ctx: click.Context, /, lines_file: Path | None, reader: Reader, **said: Any) -> None:
    """Say what an installed line loses, from readings at its near end."""
    from linewright.present.compose.one_end import one_end_document
    from linewright.verbs.one_end import prove_one_end

    if said["keep"] and said["piece"] is None:
        raise click.UsageError("--keep files a test of a piece: name it with --piece TAG.")
    if said["piece"] is not None and (said["line"] or said["length"]):
        raise click.UsageError("--piece brings its type and length: leave out --line and --length.")
    test = written_test(ctx.meta["order"], said, own_lines(lines_file))
    if said["piece"] is not None:
        with ledger_kept(said["ledger"]) as found:
            result = _of_piece(found, test, said)
    else:
        result = prove_one_end(test)
    reader.show(result, one_end_document)


def _of_piece(ledger: Ledger, test: OneEndTest, said: Mapping[str, Any]) -> OneEndResult:
    """Return what a test says of a kept piece, having filed it where that is asked."""
    from linewright.cli.shelf_views import kept_view
    from linewright.verbs.one_end import keep_one_end, prove_one_end, test_of_piece
    from linewright.verbs.shelf import By

    whole = test_of_piece(ledger, said["piece"], test)
    result = prove_one_end(whole)
    if said["keep"]:
        kept = keep_one_end(ledger, whole, on=said["day"].date() if said["day"] else None, by=By(who=said["who"]))
        click.echo(kept_view((kept,)), err=True)
    return result


# The words of ``linewright one-end`` as a test: readings in the order they were written, each with its frequency

ENDS: Mapping[str, FarEnd] = {"open_": "open", "short": "short", "load_seen": "load"}
NAMES = {"open_": "--open", "load_swr": "--load-swr", "load_seen": "--load-seen"}


def written_test(order: Sequence[str], said: Mapping[str, Any], own: Sequence[LineType]) -> OneEndTest:
    """Return the test that was written; ``order`` names the options as they came."""
    from linewright.catalogue import line_type

    found = [*_written(order, said), *_lone(said, "peak", "antenna"), *_lone(said, "resonance", "short")]
    if said["readings"] is not None:
        found += _of_file(said["readings"])
    else:
        found = [replace(r, row=i) for i, r in enumerate(found, start=1)]
    if not found:
        raise InputError("readings", "are missing", cure='Give --open 7.1 --short 6.8 --at "144 MHz", or --file.')
    return OneEndTest(
        tuple(_stepped(r, said["step"]) for r in found),
        directivity_db=None if said["directivity"] is None else ratio_db(said["directivity"], "--directivity"),
        source_swr=None if said["source_swr"] is None else fields.swr(said["source_swr"], "--source-swr"),
        impedance_ohm=None if said["impedance"] is None else impedance_ohm(said["impedance"], "--impedance"),
        line=None if said["line"] is None else line_type(said["line"], own),
        length_m=None if said["length"] is None else fields.length(said["length"], "--length"),
        tag=next((r.piece for r in found if r.piece), say("The line")),
        source=None if said["readings"] is None else str(said["readings"]),
    )


def _written(order: Sequence[str], said: Mapping[str, Any]) -> Iterator[OneEndReading]:
    """Yield the readings between one ``--at`` and the next."""
    values = {name: iter(said[name]) for name in ("open_", "short", "load", "load_swr", "load_seen", "at")}
    group: dict[str, str] = {}
    for name in order:
        if name not in values:
            continue
        if name != "at":
            if name in group:
                raise InputError(_name(name), "stands twice before an --at", cure="Give each frequency its own --at.")
            group[name] = next(values[name])
            continue
        yield from _group(group, fields.frequency(next(values["at"]), "--at"))
        group = {}
    if group:
        raise InputError(_name(next(iter(group))), "has no frequency", cure='Write --at "144 MHz" after it.')


def _group(group: Mapping[str, str], frequency_hz: float) -> Iterator[OneEndReading]:
    if not group:
        raise InputError("--at", "has no reading before it", cure='Write --open 7.1 --at "144 MHz".')
    if ("load" in group or "load_swr" in group) != ("load_seen" in group):
        cure = "Give --load (or --load-swr) and --load-seen together."
        raise InputError("--load-seen", "is what shows through the line, and goes with its load", cure=cure)
    for name, end in ENDS.items():
        if name in group:
            reading = _reading(group[name], _name(name), end, frequency_hz)
            yield _with_load(reading, group) if end == "load" else reading


def _with_load(reading: OneEndReading, group: Mapping[str, str]) -> OneEndReading:
    known = None if "load_swr" not in group else fields.swr(group["load_swr"], "--load-swr")
    if "load" not in group:
        return replace(reading, load_swr=known)
    quantity, value, step, _ = shown(group["load"], "--load")
    if quantity != reading.quantity:
        raise InputError("--load", "must be the same kind of reading as --load-seen", cure="Both SWR, or both dB.")
    return replace(reading, load_swr=known, direct=value, direct_step=step)


def _lone(said: Mapping[str, Any], option: str, end: FarEnd) -> Iterator[OneEndReading]:
    """Yield readings that carry their own frequency: "12.5 @ 160 MHz"."""
    for text in said[option]:
        what, at, where = text.partition("@")
        if not at:
            example = "5.7 ohm @ 14.2 MHz" if option == "resonance" else "12.5 @ 160 MHz"
            raise InputError(
                f"--{option}", f"must be a reading @ a frequency; got {text!r}", cure=f'Write "{example}".'
            )
        reading = _reading(what, f"--{option}", end, fields.frequency(where.strip(), f"--{option}"))
        if option == "resonance" and reading.quantity != "resistance_ohm":
            raise InputError("--resonance", f"must be a resistance; got {text!r}", cure='Write "5.7 ohm @ 14.2 MHz".')
        yield reading


def _reading(text: str, name: str, end: FarEnd, frequency_hz: float) -> OneEndReading:
    quantity, value, step, bound = shown(text, name)
    return OneEndReading(0, end, frequency_hz, quantity, value, step, bound)


def _of_file(path: Path) -> list[OneEndReading]:
    found = list(read_one_end(path))
    pieces = {r.piece for r in found}
    if len(pieces) > 1:
        named = ", ".join(sorted(str(p) for p in pieces if p))
        cure = "One test is one line: keep the rows of one piece, or put them in a bench sheet."
        raise InputError("piece", f"must be one and the same; got {named}", where=Culprit(str(path)), cure=cure)
    return found


def _stepped(reading: OneEndReading, step: str | None) -> OneEndReading:
    """Return a reading with the step that holds for all of its kind."""
    if step is None:
        return reading
    quantity, value, _, _ = shown(step, "--step")
    return replace(reading, step=value, direct_step=value) if quantity == reading.quantity else reading


def _name(option: str) -> str:
    return NAMES.get(option, f"--{option}")
