"""Reports of what a ledger keeps: a piece over the years, a bench session, a station."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from difflib import get_close_matches
from typing import Literal

from linewright.core.errors import UnknownNameError
from linewright.core.messages import say
from linewright.core.nouns.ledger import Item, Kind
from linewright.files.toml import toml_text
from linewright.present.compose.provenance import Input
from linewright.present.document import Document
from linewright.store import items
from linewright.store.ledger import Ledger
from linewright.verbs.report import Progress, ReportWish, report_of_station
from linewright.verbs.shelf_evidence import Shelved
from linewright.verbs.shelf_stations import kept_runs, station_of, the_station
from linewright.verbs.shelf_words import evidence_name

# What a report of something in a ledger rests on, each with the SHA-256 of its text there


def inputs_of_piece(ledger: Ledger, tag: str) -> tuple[Input, ...]:
    """Return what a ledger holds of a piece: itself, and each sheet and sweep that speaks of it."""
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "piece", tag)
        shelf = Shelved.of(snapshot)
        return (_item(item), *(_evidence(shelf, e.kind, e.key) for e in shelf.evidence(item.key)))


def inputs_of_sheet(ledger: Ledger, session: str) -> tuple[Input, ...]:
    """Return a session of a ledger with its current readings."""
    with ledger.reads() as snapshot:
        return (_evidence(Shelved.of(snapshot), "sheet", session),)


def inputs_of_station(ledger: Ledger, name: str) -> tuple[Input, ...]:
    """Return a station of a ledger, and every sheet and sweep that may speak of its pieces."""
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "station", name)
        shelf = Shelved.of(snapshot)
        sheets = [_evidence(shelf, "sheet", key) for key in shelf.sheets if shelf.kept[key]]
        return (_item(item), *sheets, *(_evidence(shelf, "sweep", key) for key in shelf.sweeps))


def _item(item: Item) -> Input:
    named = {
        "piece": say("piece {key}", key=item.key), "meter": say("meter {key}", key=item.key)
    }.get(item.kind, say("station {key}", key=item.key))  # fmt: skip
    return Input(named, _sha(toml_text(item.body)))


def _evidence(shelf: Shelved, kind: str, key: str) -> Input:
    if kind == "sweep":
        return Input(evidence_name(kind, key), shelf.sweeps[key].body["files"][0]["sha256"])
    sheet = shelf.written(key)
    whole = "\0".join([sheet.text, *(text for pair in sheet.files for text in pair)])
    return Input(evidence_name(kind, key), _sha(whole))


def _sha(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


# Reports of what a ledger keeps: a piece over the years, a bench session, a station

REPORTED: tuple[Kind, ...] = ("piece", "sheet", "station", "meter")
"""Where a name is looked for, in this order."""


def report_of_kept(
    ledger: Ledger,
    name: str | None,
    asked: ReportWish,
    *,
    station: str | None = None,
    progress: Progress | None = None,
) -> Document:
    """Return the report on the piece with this tag, or else on the session, station, meter or run with this name.

    That of a meter is its correction card.

    Parameters
    ----------
    ledger : Ledger
        An open ledger.
    name : str
        What it is called there; without a name it is the station that is kept.
    asked : Asked
        The date it bears, and how to ask for it again.
    station : str, optional
        Which station, where several are kept.

    Returns
    -------
    Document
        As of ``report_of_file``.

    Raises
    ------
    UnknownNameError
        If nothing answers to the name.
    InputError
        If several stations could be meant.
    CannotError
        If a session holds no reading yet.

    >>> from linewright.verbs.examples import example_ledger
    >>> from datetime import date
    >>> with example_ledger() as ledger:
    ...     report_of_kept(ledger, "blue 7", ReportWish(date(2026, 3, 14))).to_dict()["schema"]
    'linewright/report/1'
    """
    if name is None:
        return report_of_kept_station(ledger, the_station(ledger, station), asked, progress=progress)
    kind = _kind(ledger, name)
    if kind == "piece":
        return report_of_piece(ledger, name, asked, progress=progress)
    if kind == "sheet":
        return report_of_session(ledger, name, asked, progress=progress)
    if kind == "meter":
        return card_of_meter(ledger, name, asked)
    if kind == "run":
        return report_of_kept_run(ledger, name, asked, station=station, progress=progress)
    return report_of_kept_station(ledger, name, asked, progress=progress)


def _kind(ledger: Ledger, name: str) -> Kind | Literal["run"]:
    """Return what a name stands for; where nothing answers to it, say what is near."""
    runs = [run.run for run in kept_runs(ledger).runs]
    with ledger.reads() as snapshot:
        for kind in REPORTED:
            if items.find(snapshot, kind, name) is not None:
                return kind
        if name.lower() in map(str.lower, runs):
            return "run"
        known = runs + [i.key for kind in REPORTED for i in items.every(snapshot, kind, archived=False)]
    near = get_close_matches(name, known, 3, 0.5) or known[:5]
    rule = say(
        "must be a file, or a piece, session, station, meter or run of the ledger; got {value}", value=repr(name)
    )
    raise UnknownNameError(
        "subject", rule, cure=say("There is {known}.", known=", ".join(near)) if near else say("Nothing is kept yet.")
    )


def report_of_piece(ledger: Ledger, tag: str, asked: ReportWish, *, progress: Progress | None = None) -> Document:
    """Return the report of a piece, on the shelf or put away; reminders are seen from the day it bears."""
    from linewright.present.compose.piece import PieceKnown, piece_report
    from linewright.verbs.history import PREFERRED_HZ, history_of, ladder_of
    from linewright.verbs.shelf_beliefs import belief_of_piece
    from linewright.verbs.standing import standing_of

    with ledger.one_moment():
        history = history_of(ledger, tag, on=asked.day, progress=progress)
        at_hz = history.points[0].frequency_hz if history.points else PREFERRED_HZ
        noun, rungs = ladder_of(ledger, tag, at_hz, on=asked.day, progress=progress)
        believed = belief_of_piece(ledger, tag, on=asked.day)
        inputs = inputs_of_piece(ledger, history.piece.tag)
    stand = standing_of(believed, noun)
    known = PieceKnown(history, stand.standing, stand.why, rungs, at_hz, noun, believed.belief)
    return piece_report(known, asked.made(history.piece.tag, inputs))


def card_of_meter(ledger: Ledger, name: str, asked: ReportWish) -> Document:
    """Return the correction card of a meter, on the shelf or put away, as it is known on the day it bears."""
    from linewright.present.compose.meter import meter_card
    from linewright.verbs.meters import show_meter

    known = show_meter(ledger, name, on=asked.day)
    with ledger.reads() as snapshot:
        shelf, item = Shelved.of(snapshot), items.needed(snapshot, "meter", name)
        inputs = (_item(item), *(_evidence(shelf, "sheet", key) for key in known.sessions))
    return meter_card(known, asked.made(name, inputs))


def report_of_session(
    ledger: Ledger, session: str, asked: ReportWish, *, progress: Progress | None = None
) -> Document:  # fmt: skip
    """Return the report of a bench session from the readings it has so far."""
    from linewright.present.compose.bench import bench_report
    from linewright.verbs.shelf_sessions import prove_session, sheet_of

    result = prove_session(ledger, session, progress=progress)
    return bench_report(sheet_of(ledger, session), result, asked.made(session, inputs_of_sheet(ledger, session)))


def report_of_kept_station(
    ledger: Ledger, name: str, asked: ReportWish, *, progress: Progress | None = None
) -> Document:  # fmt: skip
    """Return the report of a station that is kept: all that was measured of its pieces flows in."""
    station = station_of(ledger, name, progress=progress)
    return report_of_station(station, asked.made(name, inputs_of_station(ledger, name)), progress=progress)


def report_of_kept_run(
    ledger: Ledger, run: str, asked: ReportWish, *, station: str | None = None, progress: Progress | None = None
) -> Document:
    """Return the report of one run of a station that is kept."""
    from linewright.verbs.plan import the_run

    name = the_station(ledger, station, run=run)
    whole = station_of(ledger, name, progress=progress)
    only = replace(whole, runs=(the_run(whole, run),))
    return report_of_station(only, asked.made(run, inputs_of_station(ledger, name)), progress=progress)
