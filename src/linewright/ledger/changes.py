"""Every change ever made, and undoing one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from sqlalchemy import Connection, Row, select

from linewright.errors import UnknownNameError
from linewright.ledger import items, readings
from linewright.ledger.schema import change
from linewright.ledger.store import Writing, parsed
from linewright.model.ledger import Change, ConflictError, Kind


def changes(
    connection: Connection, *, kind: str | None = None, key: str | Sequence[str] | None = None, most: int | None = None
) -> list[Change]:
    """Return changes, newest first; of one kind, of one thing under any of its names, or at most so many."""
    asked = select(change).order_by(change.c.id.desc()).limit(most)
    if kind is not None:
        asked = asked.where(change.c.kind == kind)
    if key is not None:
        asked = asked.where(change.c.key.in_([key] if isinstance(key, str) else key))
    return [_change(row) for row in connection.execute(asked)]


def undo(w: Writing, number: int) -> Change:
    """Set back what a change changed, as a change of its own. What it made is put away, not wiped out.

    Returns
    -------
    Change
        The change that undoes it.

    Raises
    ------
    UnknownNameError
        If there is no such change.
    ConflictError
        If the same thing was changed again since; later changes are undone first.
    """
    row = w.connection.execute(select(change).where(change.c.id == number)).one_or_none()
    if row is None:
        raise UnknownNameError("change", f"must be one that was made; got {number}", cure="See the history.")
    old = _change(row)
    back = Writing(w.connection, w.at, w.who, w.note or f"undoes change {number}")
    (_undo_reading if old.kind == "reading" else _undo_item)(back, old)
    return changes(w.connection, kind=old.kind, most=1)[0]


def _undo_item(w: Writing, old: Change) -> None:
    kind = cast("Kind", old.kind)
    now = items.find(w.connection, kind, old.key)
    if now is None or items.state(now) != old.after:
        raise ConflictError(f"{old.kind} {old.key}", old.before, items.state(now), now.version if now else 0)
    if old.before is None:
        items.archive(w, kind, old.key)
        return
    was = old.before["body"].get("tag", old.key) if kind == "piece" else old.key
    if was != old.key:
        items.rename(w, kind, old.key, was, old.before["body"])
    else:
        items.set_state(w, kind, old.key, old.before)


def _undo_reading(w: Writing, old: Change) -> None:
    sheet, _, number = old.key.rpartition(" / ")
    now = readings.one(w.connection, sheet, int(number))
    if now.cells != old.after:
        raise ConflictError(f"Reading {number} of {sheet}", old.before, now.cells, now.version)
    readings.correct(w, sheet, int(number), cast("Any", old.before))


def _change(row: Row[Any]) -> Change:
    return Change(row.id, row.at, row.who, row.kind, row.key, parsed(row.before), parsed(row.after), row.note)
