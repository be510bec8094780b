"""``linewright listen``: readings from an instrument, put where the bench expects them."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import bare_json_option, debug_option, echo, language_option, ledger_option
from linewright.core.errors import InputError
from linewright.core.formatting import digits, quantity
from linewright.core.frozen import dataclass
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.verbs.listen import Channel, ReadingSink, Taken

TOKEN = "LINEWRIGHT_TOKEN"
HELP = """\
Take readings from an instrument and put them into SESSION, each into the next empty field in its order; without
SESSION, the one begun last.

\b
linewright listen --from tcp:192.0.2.7 --ask "MEAS?" --unit W --meter "desk meter"
linewright listen --from serial:/dev/ttyUSB0@19200 --unit dBm --readings 9
other-program | linewright listen "2026-04-02 Spring" --unit mW --station https://shack.local:8731

\b
The instrument:
  tcp:HOST[:PORT]       lines of text over TCP, default port 5025 (SCPI, IEEE 488.2)
  serial:PORT[@BAUD]    lines of text over a serial port, default 9600 baud
  visa:RESOURCE         anything PyVISA can reach (install linewright[instruments])
  - or a path           a pipe or a file, one number per line
--ask gives the command, from its manual, that asks for a reading. Without it, the instrument sends by itself.

With --ask, the command waits for you before each field: put the path in, key, press Enter; s and Enter skips the field,
q and Enter quits. Readings go straight into the ledger; an app that shows the session is told. With --station they go
to an app on another machine, with a token in LINEWRIGHT_TOKEN (made there under Settings, Tokens).
"""


@click.command(help=HELP, short_help="Take readings from an instrument, field by field.")
@click.argument("session", default="")
@click.option(
    "--from", "where", default="-", metavar="INSTRUMENT", help="Where the numbers come from; - reads standard input."
)
@click.option("--ask", default="", metavar="TEXT", help="What to send for one reading.")
@click.option("--setup", multiple=True, metavar="TEXT", help="A line to send once at the start; may be repeated.")
@click.option("--unit", metavar="UNIT", help="The unit of a bare number: W, mW, dBm, dB, V, or scale.")
@click.option("--meter", metavar="NAME", help="Fill in only this meter's fields.")
@click.option("--readings", default=1, show_default=True, metavar="N", help="Take the median of this many readings.")
@click.option("--settle", default="0 s", show_default=True, metavar="TIME", help="Wait this long before the first.")
@click.option("--at-once", is_flag=True, help="Do not wait for Enter before each field.")
@click.option("--most", type=click.IntRange(1, 100_000), metavar="N", help="Stop after this many fields.")
@click.option("--station", metavar="ADDRESS", help="Send the readings to the app at this address; needs a token.")
@click.option("--certificate", metavar="FILE", help="Trust this certificate, for an app that made its own.")
@ledger_option
@bare_json_option
@language_option
@debug_option
def listen(where: str, session: str, **told: Any) -> None:
    """Take readings from an instrument."""
    from linewright.catalogue.cautions import cautions_of
    from linewright.files.rules import duration
    from linewright.present.writers.terminal import items
    from linewright.verbs.listen import open_channel, who

    settle_s = 0.0 if told["settle"] == "0 s" else duration(told["settle"], "settle")
    with _bench(session, told) as (bench, called), closing(open_channel(where, sys.stdin.buffer)) as channel:
        tell = _say if told["as_json"] else echo
        tell(say("Into {session}.", session=called))
        if told["ask"] or told["setup"]:
            _say(say("The instrument is {name}.", name=who(channel) or say("one that does not say what it is")))
        for line in told["setup"]:
            channel.send(line)
        tell("\n".join(items(cautions_of("listen"))))
        waits = not told["at_once"] and where != "-" and bool(told["ask"])
        kept = list(_Listening(bench, channel, settle_s, waits, told).run())
    if told["as_json"]:
        document = {
            "schema": "linewright/readings/1", "session": called, "readings": kept, "change": None,
            "cautions": [str(caution) for caution in cautions_of("listen")],
        }  # fmt: skip
        click.echo(json.dumps(document, ensure_ascii=False, indent=2).encode())


@dataclass(frozen=True, slots=True)
class _Listening:
    """One session with an instrument; ``waits`` for Enter before each field."""

    bench: ReadingSink
    channel: Channel
    settle_s: float
    waits: bool
    told: Mapping[str, Any]

    def run(self) -> Iterator[dict[str, Any]]:
        """Fill field after field; yield each reading as it is kept."""
        done, passed = 0, 0
        while self.told["most"] is None or done < self.told["most"]:
            place = self.bench.next(self.told["meter"], passed)
            if place is None:
                _say(say("Only what was passed over is left.") if passed else say("Nothing is left to read here."))
                return
            _say(say("Next: {where}, in {scale}.", where=_where(place), scale=str(place["scale"])))
            wish = _answer() if self.waits else ""
            if wish == "q":
                return
            if wish == "s":
                passed += 1
                continue
            taken = self._taken(place["scale"])
            if taken is None:
                _say(say("The instrument has ended."))
                return
            kept = self._put(place, taken)
            if kept is not None:
                done += 1
                yield kept

    def _taken(self, scale: str) -> Taken | None:
        from linewright.verbs.listen import take_number

        told = self.told
        return take_number(
            self.channel, scale=scale, unit=told["unit"], ask=told["ask"], readings=told["readings"],
            settle_s=self.settle_s,
        )  # fmt: skip

    def _put(self, place: dict[str, Any], taken: Taken) -> dict[str, Any] | None:
        """Keep what was taken; where somebody else read this field meanwhile theirs stays, and the next one comes."""
        cells = {name: place[name] for name in ("meter", "frequency", "path")} | {"reading": f"{taken.value:.6g}"}
        cells |= {"note": str(taken.note)} if taken.note else {}
        try:
            kept = self.bench.put(place, cells)
        except InputError as cause:
            if cause.argument not in ("token", "Idempotency-Key"):
                raise
            _say(say("Somebody else has read that meanwhile: theirs stays."))
            return None
        value = quantity(digits(taken.value), taken.unit)
        if taken.note:
            value = say("{value} ({note})", value=value, note=taken.note)
        tell = _say if self.told["as_json"] else echo
        number = str(kept["number"])
        tell(say("{where}: {value}, kept as reading {number}.", where=_where(place), value=value, number=number))
        return kept


@contextmanager
def _bench(session: str, told: Mapping[str, Any]) -> Iterator[tuple[ReadingSink, str]]:
    """Open the session that is fed: of an app if one is named, by a token, else of the ledger."""
    from linewright.verbs.listen import RemoteSession, newest_session

    if told["station"] is not None:
        token = os.environ.get(TOKEN, "")
        if not token:
            cure = say("Make one in the app there, under Settings, Tokens.")
            raise InputError(TOKEN, say("must hold a token that may write"), cure=cure)
        station = RemoteSession(told["station"], token, session, told["certificate"])
        yield station, station.begin()
        return
    from linewright.verbs.shelf import all_kept, open_ledger
    from linewright.web.feeding import KeptBench

    with open_ledger(told["ledger"]) as ledger:
        newest = sorted(all_kept(ledger, "sheet"), key=lambda i: (i.body["measured_on"], i.changed_at), reverse=True)
        called = newest_session(session, [item.key for item in newest])
        yield KeptBench(ledger, called), called


def _answer() -> str:
    """Return what a person says before a field: "" to read it, s to pass it over, q to end."""
    line = sys.stdin.readline()
    return line.strip().lower()[:1] if line else "q"


def _where(place: Mapping[str, Any]) -> str:
    path, meter, at = (str(place[name]) for name in ("label", "meter", "frequency"))
    return say("{path} on the {meter} at {frequency}", path=path, meter=meter, frequency=at)


def _say(words: str) -> None:
    echo(words, err=True)
