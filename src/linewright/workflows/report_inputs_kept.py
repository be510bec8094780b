"""What a report of something in a ledger rests on, each with the SHA-256 of its text there."""

from __future__ import annotations

import hashlib

from linewright.ledger import items
from linewright.ledger.store import Ledger
from linewright.model.ledger import Item
from linewright.report.made import Input
from linewright.units.said import say
from linewright.workflows.ledger_toml import toml_text
from linewright.workflows.shelf_evidence import Shelved
from linewright.workflows.shelf_words import evidence_name


def inputs_of_piece(ledger: Ledger, tag: str) -> tuple[Input, ...]:
    """Return what a ledger holds of a piece: itself, and each sheet and sweep that speaks of it."""
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "piece", tag)
        shelf = Shelved.of(snapshot)
        return (_item(item), *(_evidence(shelf, e.kind, e.key) for e in shelf.evidence(item.key)))


def inputs_of_sheet(ledger: Ledger, session: str) -> tuple[Input, ...]:
    """Return a session of a ledger, its readings as they stand."""
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
    named = say("piece {key}", key=item.key) if item.kind == "piece" else say("station {key}", key=item.key)
    return Input(named, _sha(toml_text(item.body)))


def _evidence(shelf: Shelved, kind: str, key: str) -> Input:
    if kind == "sweep":
        return Input(evidence_name(kind, key), shelf.sweeps[key].body["files"][0]["sha256"])
    sheet = shelf.written(key)
    whole = "\0".join([sheet.text, *(text for pair in sheet.files for text in pair)])
    return Input(evidence_name(kind, key), _sha(whole))


def _sha(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
