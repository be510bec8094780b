"""A blank reading sheet on paper: cautions and gear first, then the steps with boxes to write in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from itertools import groupby
from typing import Any

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import UnknownNameError
from linewright.core.formatting import digits, frequencies, frequency, metres, quantity
from linewright.core.formatting import swr as said_swr
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, say_many, together, written
from linewright.core.nouns.bench import REFERENCE, BenchSheet, Meter, Piece
from linewright.core.nouns.bench_result import SCALE_UNIT
from linewright.core.nouns.paper import BlankSheet, SheetStep
from linewright.present.localize import BREAK, apart, breakable, foreign, printable, visible
from linewright.present.writers.paper import PAPERS, set_pages

TEMPLATE = "sheet.typ"
ROW_MM = 9.0
"""Tall enough for a pencil."""
HEADS = (
    mark("no."), mark("band"), mark("meter"), mark("path"), mark("reading"), mark("SWR"), mark("low"), mark("high"),
    mark("time"), mark("note"),
)  # fmt: skip
GEAR_HEADS = (mark("meter"), mark("scale"), mark("smallest step"), mark("rated for"))
PIECE_HEADS = (mark("piece"), mark("type"), mark("length"), mark("connectors"), mark("stock"))
SCALES = {
    "watts": mark("watts"), "milliwatts": mark("milliwatts"), "dBm": "dBm", "dB": "dB", "volts": mark("volts"),
    "card": mark("bare scale with a card"),
}  # fmt: skip
Shown = Callable[[str], str]


def sheet_pages(blank: BlankSheet, *, paper: str = "a4", manner: Manner = ENGLISH, on: date | None = None) -> bytes:
    """Return a blank reading sheet as a tagged PDF.

    Parameters
    ----------
    blank : BlankSheet
        The steps and the gear.
    paper : str
        "a4" or "letter".
    manner : Manner
        How it is worded.
    on : date, optional
        The day it bears; a line to write one on without.

    Returns
    -------
    bytes
        A tagged PDF.

    Raises
    ------
    UnknownNameError
        If the paper is not known.

    >>> from linewright.verbs.examples import demo_file
    >>> from linewright.verbs.blank_sheet import blank_sheet
    >>> sheet_pages(blank_sheet(demo_file("harbour-ridge.toml")))[:4]
    b'%PDF'
    """
    if paper not in PAPERS:
        raise UnknownNameError(
            "paper", say("must be one of {known}; got {value}", known=", ".join(PAPERS), value=repr(paper))
        )
    bench = blank.bench
    names = [bench.title, *(m.name for m in bench.meters), *(a.tag for a in bench.attenuators)]
    names += [text for p in bench.pieces for text in (p.tag, p.stock or "", p.line.designator if p.line else "")]
    turned = foreign([visible(name) for name in names])

    def shown(text: str) -> str:
        return breakable(printable(apart(visible(written(text, manner)), turned)))

    data = {
        "paper": paper,
        "language": manner.language,
        "row": ROW_MM,
        **_front(blank, shown, on),
        **_steps(blank, shown),
    }
    return set_pages(TEMPLATE, data)


def _front(blank: BlankSheet, shown: Shown, on: date | None) -> dict[str, Any]:
    bench = blank.bench
    count = len(blank.steps)
    return {
        "title": shown(bench.title),
        "kind": shown(say("Reading sheet")),
        "count": shown(say_many("{count} step", "{count} steps", count)),
        "day": on.isoformat() if on else "",
        "fields": [shown(say("Read by")), shown(say("Date")), shown(say("Temperature"))],
        "cautions": [shown(s) for s in cautions(bench)],
        "how_title": shown(say("How to read")),
        "how": [shown(s) for s in directions(blank)],
        "bench": shown(_source(bench)),
        "tables": [
            {"heads": [shown(say(h)) for h in GEAR_HEADS], "rows": [[*map(shown, _meter(m))] for m in bench.meters]},
            {"heads": [shown(say(h)) for h in PIECE_HEADS], "rows": [[*map(shown, _piece(p))] for p in bench.pieces]},
        ],
        "page": shown(say("page {number} of {total}", number="{number}", total="{total}")),
    }


def cautions(bench: BenchSheet) -> tuple[str, ...]:
    """Return what is to be minded before the carrier goes on."""
    power, usual = bench.source.power_w, cautions_of("sheet")
    if power is None:
        return usual
    bears = say("The load must bear {power} for as long as the carrier is on.", power=quantity(digits(power, 4), "W"))
    return (*usual, bears)


def directions(blank: BlankSheet) -> tuple[str, ...]:
    """Return how the sheet is filled in."""
    bench = blank.bench
    in_place = (
        say("For a piece, take the jumper out and put the piece in where it was.")
        if bench.reference.in_place == "replaced"
        else say("For a piece, leave the jumper in and put the piece behind it.")
    )
    return (
        say("Let transmitter and meters warm up on the dummy load before step 1."),
        say("Set the power so that the reference stands high on the scale, then leave it until the band or the meter"
            " changes."),
        say("Read in the order of the steps: each meter begins and ends with the reference, and its next band runs the"
            " other way round, so that a drift does not fall on one piece."),
        in_place,
        say("Write what the scale shows, to its smallest step. Where it wanders, write the ends under low and high."),
        say("Below the first mark: write 0 as the reading, 0 under low and the first mark under high."),
        say("What you could not read stays empty."),
        *_left_out(blank),
    )  # fmt: skip


def _left_out(blank: BlankSheet) -> Iterator[str]:
    """Yield, meter by meter, where it is not read."""
    for meter in blank.bench.meters:
        hertz = [f for name, f in blank.left_out if name == meter.name]
        if hertz:
            yield say("Not on this sheet: {meter} on {frequencies}, outside its rated band.", meter=meter.name,
                      frequencies=frequencies(hertz))  # fmt: skip


def _source(bench: BenchSheet) -> str:
    source, jumper = bench.source, bench.reference
    said = []
    if source.power_w is not None:
        said.append(say("Power: {power}.", power=quantity(digits(source.power_w, 4), "W")))
    if source.swr is not None:
        said.append(say("SWR of the source: {swr}.", swr=said_swr(source.swr)))
    if jumper.line is not None and jumper.length_m:
        length = metres(jumper.length_m)
        said.append(say("Reference: a jumper of {length} of {line}.", length=length, line=jumper.line.designator))
    for pad in bench.attenuators:
        said.append(say("{tag}: an attenuator of {loss}.", tag=pad.tag, loss=quantity(digits(pad.loss_db, 4), "dB")))
    return together(said)


def _unit(meter: Meter) -> str:
    return SCALE_UNIT[meter.scale]


def _meter(meter: Meter) -> tuple[str, ...]:
    step = "" if meter.division is None else digits(meter.division)
    rated = meter.rated_hz
    return (
        meter.name,
        say(SCALES[meter.scale]),
        quantity(step, _unit(meter)) if step and _unit(meter) else step or say("not stated"),
        say("{low} to {high}", low=frequency(rated[0]), high=frequency(rated[1])) if rated else say("not stated"),
    )


def _piece(piece: Piece) -> tuple[str, ...]:
    line = piece.line.designator if piece.line else say("unknown type")
    return piece.tag, line, metres(piece.length_m), str(piece.connectors), piece.stock or ""


def _steps(blank: BlankSheet, shown: Shown) -> dict[str, Any]:
    """Return the steps in groups: one meter on one band each."""
    groups = groupby(blank.steps, key=lambda s: (s.frequency_hz, s.meter))
    return {
        "heads": [shown(say(head)) for head in HEADS],
        "groups": [[_row(blank, step, shown) for step in some] for _, some in groups],
    }


def _row(blank: BlankSheet, step: SheetStep, shown: Shown) -> dict[str, str]:
    path = step.path_name.replace("+", f"+{BREAK}") if step.path else say(REFERENCE)
    return {
        "step": str(step.number),
        "band": shown(frequency(step.frequency_hz)),
        "meter": shown(step.meter).replace(BREAK, ""),
        "path": shown(path),
        "unit": _unit(blank.bench.meter(step.meter)),
    }
