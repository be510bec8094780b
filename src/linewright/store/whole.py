"""A ledger row by row, for copies that lose nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import func, insert, select

from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.ledger import KINDS, Change, Item, KeptReading
from linewright.store import items
from linewright.store import items as blobs
from linewright.store import items as readings
from linewright.store.items import changes
from linewright.store.ledger import Snapshot, Writing, written
from linewright.store.schema import change, item
from linewright.store.soundness import with_sum


@dataclass(frozen=True, slots=True)
class Whole:
    """Everything in a ledger but what can be worked out again. ``files`` are bytes by their SHA-256."""

    items: tuple[Item, ...]
    readings: tuple[KeptReading, ...]
    changes: tuple[Change, ...]
    files: Mapping[str, bytes]


def taken_out(snapshot: Snapshot) -> Whole:
    """Return everything in a ledger; changes oldest first."""
    return Whole(
        tuple(i for kind in KINDS for i in items.every(snapshot, kind)),
        tuple(readings.all_of(snapshot)),
        tuple(reversed(changes(snapshot))),
        {name: blobs.content(snapshot, name) for name in blobs.names(snapshot)},
    )


def is_empty(snapshot: Snapshot) -> bool:
    """Return whether a ledger has never held anything."""
    return not snapshot.execute(select(func.count()).select_from(change)).scalar_one()


def put_in(w: Writing, whole: Whole) -> None:
    """Write everything into an empty ledger, history and all.

    Raises
    ------
    InputError
        If it is not empty.
    """
    if not is_empty(w.connection):
        cure = say("Name a new file with --ledger, then import into that.")
        raise InputError(
            "ledger", say("must be empty to import into: nothing is ever mixed or written over"), cure=cure
        )
    for content in whole.files.values():
        blobs.keep(w, content)
    rows = {item: [items.row_of(i) for i in whole.items], change: [_change_row(c) for c in whole.changes]}
    for table, found in rows.items():
        if found:
            w.connection.execute(insert(table), found)
    readings.append_rows(w.connection, whole.readings)
    if w.connection.dialect.name == "postgresql":
        # The changes kept their numbers; the next one is to follow them.
        last = max((c.id for c in whole.changes), default=0)
        w.connection.execute(select(func.setval("change_id_seq", last + 1, False)))


def _change_row(c: Change) -> dict[str, Any]:
    sides = {k: None if side is None else written(side) for k, side in (("before", c.before), ("after", c.after))}
    values = {"at": c.at, "who": c.who, "kind": c.kind, "key": c.key, "note": c.note, **sides}
    return {"id": c.id, "undoes": c.undoes, **with_sum("change", values)}
