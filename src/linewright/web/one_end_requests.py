"""One end in hand, asked one thing at a time: the line, the way it was read, then reading by reading.

All that was told stands in the address: ``of`` (a piece or a run that is kept, or "other"), ``line`` and ``length``,
``method``, and a ``row`` for each reading, its cells set apart by "; ".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from starlette.datastructures import QueryParams

from linewright.core.errors import InputError
from linewright.core.formatting import frequency, interval
from linewright.core.messages import say
from linewright.core.nouns.line import LineType
from linewright.core.nouns.one_end import OneEndTest
from linewright.store.ledger import Ledger
from linewright.web import requests as asked
from linewright.web.sweep_requests import given_in, readings_of
from linewright.web.through_page import OneEndShown, one_end_shown

CELLS = ("frequency", "far_end", "swr", "return_loss", "resistance", "direct", "note")
MOST_READINGS = 60
OLD_ROWS = 3
"""Readings that an address may tell as at1, open1 and short1."""
INSTRUMENT = ("directivity", "source_swr", "impedance")
Step = Literal["line", "method", "reading"]


@dataclass(frozen=True, slots=True)
class MethodAsked:
    """One way of reading a line from its near end: what to do, what it asks for, and an example."""

    key: str
    name: str
    what: str
    ends: tuple[tuple[str, str], ...]
    label: str
    example: str
    direct: str = ""


METHODS = (
    MethodAsked("open", say("Far end open, then shorted"),
                say("Somebody opens and shorts the far end; the near end shows an SWR or a return loss."),
                (("open", say("open")), ("short", say("shorted"))), say("Shown at the near end"),
                say("SWR as 7.1, return loss as 1.9 dB, a limit as over 20")),
    MethodAsked("load", say("A load of known SWR at the far end"),
                say("A load of SWR 2 to 5 at the far end; the same instrument reads it there and right at itself."),
                (("load", say("the load")),), say("Shown through the line"),
                say("SWR as 1.8, or return loss as 10.9 dB"),
                say("Shown with the load right at the instrument")),
    MethodAsked("peaks", say("The antenna left connected: peaks of SWR"),
                say("Off its own band the antenna reflects nearly all: the highest peaks of SWR there tell the loss."),
                (("antenna", say("the antenna")),), say("SWR at a peak"), "12.5"),
    MethodAsked("resonance", say("Resistance at resonance"),
                say("Where the open or shorted line shows a resistance alone, a bridge reads it."),
                (("open", say("open")), ("short", say("shorted"))), say("Resistance there"), "5.7 ohm"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class OneEndInput:
    """The input so far; ``next_end`` and ``next_at`` are the likeliest far end and frequency of the next reading."""

    of: str
    given: Mapping[str, str]
    method: MethodAsked | None
    rows: tuple[str, ...]
    step: Step
    next_at: str
    next_end: str


def told_in(params: QueryParams) -> OneEndInput:
    """Return what an address tells."""
    given = given_in(params, ("line", "length", *INSTRUMENT))
    rows = [r for r in params.getlist("row") if r][:MOST_READINGS]
    old = given_in(params, [f"{name}{i}" for i in range(1, OLD_ROWS + 1) for name in ("at", "open", "short")])
    rows += [row_of(cells) for i in range(1, OLD_ROWS + 1) for cells in readings_of(old, i)]
    of = " ".join(params.get("of", "").split()) or ("other" if rows or given["line"] else "")
    method = next((m for m in METHODS if m.key == params.get("method")), METHODS[0] if rows else None)
    step: Step = "line" if not of else "method" if method is None else "reading"
    last = cells_of(rows[-1]) if rows else {}
    ends = [end for end, _ in method.ends] if method else []
    after = ends[(ends.index(last["far_end"]) + 1) % len(ends)] if last.get("far_end") in ends else (ends or [""])[0]
    same = len(ends) > 1 and last and after != ends[0]
    return OneEndInput(of, given, method, tuple(rows), step, str(last.get("frequency", "")) if same else "", after)


def row_of(cells: Mapping[str, str]) -> str:
    """Return the cells of a reading as one text of an address."""
    return "; ".join(cells.get(name, "").replace(";", ",") for name in CELLS)


def cells_of(row: str) -> dict[str, str]:
    """Return a reading's cells from its text, empty ones left out.

    >>> cells_of(row_of({"frequency": "144 MHz", "far_end": "open", "swr": "7.1"}))
    {'frequency': '144 MHz', 'far_end': 'open', 'swr': '7.1'}
    """
    parts = [part.strip() for part in row.split(";")]
    return {name: part for name, part in zip(CELLS, parts, strict=False) if part}


def new_row(params: QueryParams, method: MethodAsked) -> str:
    """Return the reading that the form of a method holds.

    Raises
    ------
    InputError
        If its frequency or what was shown is missing.
    """
    typed = given_in(params, ("at", "read", "end", "direct", "load_swr", "note"))
    for name, field in (("at", "frequency"), ("read", "reading")):
        if not typed[name]:
            raise InputError(field, say("is missing"), cure=say("Write it as it was read."))
    read = typed["read"]
    unit = "ohm" if method.key == "resonance" and read.replace(".", "").isdecimal() else ""
    read = f"{read} {unit}".strip()
    column = "return_loss" if "db" in read.lower() else "resistance" if "ohm" in read.lower() else "swr"
    end = typed["end"] or method.ends[0][0]
    if method.key == "load" and typed["load_swr"]:
        end = f"load:{typed['load_swr']}"
    row = {"frequency": typed["at"], "far_end": end, column: read, "direct": typed["direct"], "note": typed["note"]}
    asked.one_end_test([cells_of(row_of(row))], {})
    return row_of(row)


def file_rows(name: str, content: bytes) -> list[str]:
    """Return the readings of a CSV file, as texts of an address.

    Raises
    ------
    InputError
        If it breaks a rule, or holds more than an address may.
    """
    from linewright.files.one_end import NEEDED, OPTIONAL, read_one_end_text
    from linewright.files.tables import SourceText, csv_rows, decoded

    text = decoded(content, "readings", name)
    read_one_end_text(text, name)
    rows = [
        row_of({k: str(v) for k, v in cells.items()}) for _, cells in csv_rows(SourceText(name, text), NEEDED, OPTIONAL)
    ]
    if len(rows) > MOST_READINGS:
        cure = say("linewright one-end --file {name} takes any number.", name=name)
        raise InputError(
            "readings", say("must be at most {most} here; got {value}", most=MOST_READINGS, value=len(rows)), cure=cure
        )
    return rows


# What the readings say, of a line of their own, of a piece or of a run


def test_told(told: OneEndInput, own: Sequence[LineType], ledger: Ledger) -> tuple[OneEndTest, str | None]:
    """Return the test that was told, and the tag of the piece it can be kept for; None without one."""
    from linewright.verbs.one_end import test_of_piece

    kind, _, name = told.of.partition(":")
    typed = {n: told.given[n] or None for n in ("line", "length", *INSTRUMENT)}
    if kind in ("piece", "run"):
        typed |= {"line": None, "length": None}
    rows = [{"frequency": "", "far_end": "", **cells_of(row)} for row in told.rows]
    test = asked.one_end_test(rows, typed, own)
    tag = name if kind == "piece" else _lone_piece(ledger, name) if kind == "run" else None
    if tag is not None:
        return test_of_piece(ledger, tag, test), tag
    return (replace(test, tag=name) if kind == "run" else test), None


test_told.__test__ = False  # type: ignore[attr-defined]  # what is tested here is a cable


def _lone_piece(ledger: Ledger, run: str) -> str | None:
    """Return the one piece of which a run is made, connectors and small parts aside; None where it has several."""
    from linewright.core.nouns.station import LinePart
    from linewright.verbs.plan import the_run
    from linewright.verbs.shelf_stations import station_of, the_station

    station = station_of(ledger, the_station(ledger, None, run=run))
    lines = [p for p in the_run(station, run).chain if isinstance(p, LinePart)]
    return lines[0].piece.tag if len(lines) == 1 and lines[0].measured else None


def proved(told: OneEndInput, own: Sequence[LineType], ledger: Ledger) -> tuple[OneEndShown, str | None]:
    """Return what the readings say, and the piece they can be kept for."""
    from linewright.verbs.one_end import prove_one_end

    test, tag = test_told(told, own, ledger)
    result = prove_one_end(test)
    kind, _, name = told.of.partition(":")
    if kind == "run" and tag is None:
        result = replace(result, remarks=(*_run_believed(ledger, name, result.losses[0].frequency_hz), *result.remarks))
    return one_end_shown(result), tag


def _run_believed(ledger: Ledger, run: str, at_hz: float) -> tuple[str, ...]:
    """Return what is believed of a whole run, to hold the test against; a run of several pieces keeps no test."""
    import numpy as np

    from linewright.verbs.through import kept_run_behind

    draws = kept_run_behind(ledger, run, at_hz=at_hz).loss_db(at_hz)
    low, value, high = (float(q) for q in np.quantile(draws, [0.025, 0.5, 0.975]))
    believed = interval(value, low, high)
    return (
        f"By what is believed of its parts the run {run} loses {believed} at {frequency(at_hz)}, connectors included.",
        "A run of several lines keeps no test of its own: test its pieces, or keep this one for a piece by itself.",
    )
