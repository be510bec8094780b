"""Items: looked up, written, put away and brought back; each change with what stood before it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, cast

from sqlalchemy import Connection, Row, delete, func, insert, select, update

from linewright.core.errors import CannotError, DamagedError, InputError, UnknownNameError
from linewright.core.messages import say
from linewright.core.nouns.ledger import Body, Change, ConflictError, Item, KeptReading, Kind
from linewright.store.ledger import SEE, Writing, parsed, written
from linewright.store.schema import blob, change, derived, item, reading
from linewright.store.soundness import SUMMED, row_sum, with_sum

# Items: looked up, written, put away and brought back; each change with what stood before it


def find(connection: Connection, kind: Kind, key: str) -> Item | None:
    """Return an item, archived or not; None if there is none."""
    row = connection.execute(select(item).where(item.c.kind == kind, item.c.key == key)).one_or_none()
    return None if row is None else item_in(row)


def needed(connection: Connection, kind: Kind, key: str) -> Item:
    """Return an item that must be there.

    Raises
    ------
    UnknownNameError
        If it is not; the message names what is near.
    """
    found = find(connection, kind, key)
    if found is None:
        raise not_there(kind, key, [i.key for i in every(connection, kind)])
    return found


def not_there(kind: Kind, key: str, keys: Sequence[str]) -> UnknownNameError:
    """Return the error that says what is near a name that nothing of a kind has."""
    from difflib import get_close_matches

    near = get_close_matches(key, keys, 3, 0.5) or keys[:5]
    none = say("No {kind} is kept yet: file a sheet, or add it, with linewright shelf.", kind=kind)
    cure = say("There is {known}.", known=", ".join(near)) if near else none
    return UnknownNameError(kind, say("must be one that is kept; got {value}", value=repr(key)), cure=cure)


def every(connection: Connection, kind: Kind, *, archived: bool | None = None) -> list[Item]:
    """Return all items of a kind by key; with ``archived``, only those put away or only those not."""
    asked = select(item).where(item.c.kind == kind)
    if archived is not None:
        asked = asked.where(item.c.archived == archived)
    # By code point, so that both databases agree.
    return sorted((item_in(row) for row in connection.execute(asked)), key=lambda i: i.key)


def put(w: Writing, kind: Kind, key: str, body: Mapping[str, Any], *, expect: int | None = None) -> Item:
    """Write an item. With ``expect``, only over that version; 0 stands for a new one.

    Raises
    ------
    ConflictError
        If another version stands there; it tells both sides.
    """
    return _write(w, kind, key, body, None, expect)


def archive(w: Writing, kind: Kind, key: str, *, away: bool = True, expect: int | None = None) -> Item:
    """Put an item away, or bring it back."""
    return _write(w, kind, key, needed(w.connection, kind, key).body, away, expect)


def rename(w: Writing, kind: Kind, key: str, new: str, body: Mapping[str, Any], *, expect: int | None = None) -> Item:
    """Write an item under another key, one nobody has; the change of both is one.

    Raises
    ------
    ConflictError
        If it stands at another version than expected.
    """
    old = needed(w.connection, kind, key)
    if expect is not None and expect != old.version:
        raise ConflictError(f"{kind} {key}", body, old.body, old.version)
    found = Item(kind, new, parsed(written(body)), old.version + 1, old.archived, w.at)
    w.connection.execute(update(item).where(item.c.kind == kind, item.c.key == key).values(row_of(found)))
    log(w, kind, new, state(old), state(found))
    return found


def set_state(w: Writing, kind: Kind, key: str, to: Body) -> Item:
    """Set an item to what a change says it was."""
    return _write(w, kind, key, to["body"], to["archived"], None)


def _write(
    w: Writing, kind: Kind, key: str, body: Mapping[str, Any], archived: bool | None, expect: int | None
) -> Item:
    old = find(w.connection, kind, key)
    if expect is not None and expect != (old.version if old else 0):
        raise ConflictError(f"{kind} {key}", body, old.body if old else None, old.version if old else 0)
    away = archived if archived is not None else old is not None and old.archived
    # What is not there is left out, so that files of any format can hold it.
    text = written({k: v for k, v in body.items() if v is not None})
    new = Item(kind, key, parsed(text), old.version + 1 if old else 1, away, w.at)
    if old and (old.body, old.archived) == (new.body, new.archived):
        return old
    if old:
        w.connection.execute(update(item).where(item.c.kind == kind, item.c.key == key).values(row_of(new)))
    else:
        w.connection.execute(insert(item).values(row_of(new)))
    log(w, kind, key, state(old), state(new))
    return new


def state(found: Item | None) -> Body | None:
    """Return what a change says of an item."""
    return None if found is None else {"body": found.body, "archived": found.archived}


def log(w: Writing, kind: str, key: str, before: Body | None, after: Body | None) -> None:
    """Write down a change, in the transaction that makes it."""
    was, is_now = (None if side is None else written(side) for side in (before, after))
    values = {"at": w.at, "who": w.who, "kind": kind, "key": key, "before": was, "after": is_now, "note": w.note}
    w.connection.execute(insert(change).values({**with_sum("change", values), "undoes": w.undoes}))


def row_of(i: Item) -> dict[str, Any]:
    """Return an item as a row."""
    return with_sum("item", {
        "kind": i.kind, "key": i.key, "body": written(i.body), "version": i.version, "archived": i.archived,
        "changed_at": i.changed_at,
    })  # fmt: skip


def item_in(row: Row[Any]) -> Item:
    """Return the item in a row.

    Raises
    ------
    DamagedError
        If the row is no longer what was written.
    """
    kind = cast("Kind", row.kind)
    if row.checksum and row_sum("item", [getattr(row, name) for name in SUMMED["item"]]) != row.checksum:
        raise DamagedError(
            say(
                "{kind} {key} is no longer what was written: its row is damaged. {see}",
                kind=row.kind,
                key=row.key,
                see=SEE,
            )
        )
    return Item(kind, row.key, parsed(row.body), row.version, bool(row.archived), row.changed_at)


# Files kept exactly as they came, each once, called by what is in it


def keep(w: Writing, content: bytes) -> str:
    """Keep some bytes and return their SHA-256, which is what they are called."""
    name = hashlib.sha256(content).hexdigest()
    if w.connection.execute(select(blob.c.sha256).where(blob.c.sha256 == name)).one_or_none() is None:
        w.connection.execute(insert(blob).values(sha256=name, content=content))
    return name


def content(connection: Connection, name: str) -> bytes:
    """Return the bytes of this name.

    Raises
    ------
    CannotError
        If they are not there, or no longer what they were.
    """
    found = connection.execute(select(blob.c.content).where(blob.c.sha256 == name)).scalar_one_or_none()
    if found is None or hashlib.sha256(bytes(found)).hexdigest() != name:
        raise CannotError(
            say("The kept file {name} is gone. Open a backup.", name=name[:12])
            if found is None
            else say("The kept file {name} is damaged. Open a backup.", name=name[:12])
        )
    return bytes(found)


def names(connection: Connection) -> list[str]:
    """Return what every kept file is called."""
    return sorted(connection.execute(select(blob.c.sha256)).scalars())


# What was worked out before: good as long as engine and evidence are the same


def known(connection: Connection, kind: str, engine: str) -> dict[str, tuple[str, Any]]:
    """Return what this engine worked out of a kind: by key, the evidence it rests on and the answer."""
    asked = select(derived).where(derived.c.kind == kind, derived.c.engine == engine)
    found = {row.key: _answer(row.kind, row.key, row.evidence, row.body) for row in connection.execute(asked)}
    return {key: answer for key, answer in found.items() if answer is not None}


@lru_cache(maxsize=1024)
def _answer(kind: str, key: str, evidence: str, text: str) -> tuple[str, Any] | None:
    """Return what a row remembers, None where it does not fit its checksum; the same rows are read for every page."""
    body, _, checksum = text.rpartition("\n")
    return (evidence, parsed(body)) if checksum == _sum_of(kind, key, evidence, body) else None


def _sum_of(*parts: str) -> str:
    """Return the checksum that stands in a last line of an answer's body; one that does not fit is worked out anew."""
    return row_sum("derived", parts)


def remember(w: Writing, kind: str, engine: str, answers: Mapping[str, tuple[str, Mapping[str, Any]]]) -> None:
    """Remember answers by key, each with the evidence it rests on."""
    if not answers:
        return
    w.connection.execute(delete(derived).where(derived.c.kind == kind, derived.c.key.in_(list(answers))))
    rows = []
    for key, (evidence, body) in answers.items():
        text = written(body)
        summed = f"{text}\n{_sum_of(kind, key, evidence, text)}"
        rows.append({"kind": kind, "key": key, "engine": engine, "evidence": evidence, "body": summed})
    w.connection.execute(insert(derived), rows)


# Readings of a sheet: added, corrected, withdrawn; never rewritten

Cells = Mapping[str, str]


def add(w: Writing, sheet: str, cells: Cells, token: str | None = None, number: int | None = None) -> KeptReading:
    """Add a reading to a sheet; the same token again returns what it added before.

    Raises
    ------
    InputError
        If the token came before with another reading.
    CannotError
        If the sheet is put away.
    """
    found = _by_token(w.connection, sheet, token) if token else None
    if found is not None:
        if found.cells != dict(cells):
            rule = say(
                "must be new for each reading; {token} was reading {number} of {sheet}",
                token=repr(token),
                number=found.number,
                sheet=sheet,
            )
            raise InputError("token", rule)
        return found
    if needed(w.connection, "sheet", sheet).archived:
        raise CannotError(say("{sheet} is put away. Restore it before adding a reading.", sheet=sheet))
    number = _last(w.connection, sheet) + 1 if number is None else number
    return _append(w, KeptReading(sheet, number, 1, w.at, token, dict(cells)), None)


def correct(w: Writing, sheet: str, number: int, cells: Cells | None, *, expect: int | None = None) -> KeptReading:
    """Set a reading right, or withdraw it with no cells. With ``expect``, only if that version stands.

    Raises
    ------
    UnknownNameError
        If the sheet has no reading of that number.
    ConflictError
        If another version stands there.
    """
    old = one(w.connection, sheet, number)
    if expect is not None and expect != old.version:
        raise ConflictError(
            say("Reading {number} of {sheet}", number=number, sheet=sheet), cells, old.cells, old.version
        )
    new = None if cells is None else dict(cells)
    if new == old.cells:
        return old
    return _append(w, KeptReading(sheet, number, old.version + 1, w.at, None, new), old.cells)


def one(connection: Connection, sheet: str, number: int) -> KeptReading:
    """Return a reading as it stands, withdrawn or not."""
    asked = _asked(sheet).where(reading.c.number == number).order_by(reading.c.version.desc()).limit(1)
    row = connection.execute(asked).one_or_none()
    if row is None:
        raise UnknownNameError(
            "reading", say("must be one of {known}; it has no number {number}", known=sheet, number=number)
        )
    return _kept(row)


def of_sheet(connection: Connection, sheet: str) -> list[KeptReading]:
    """Return the readings of a sheet as they stand, in order; those withdrawn are left out."""
    return [r for r in standing(all_of(connection, [sheet])) if r.cells is not None]


def all_of(connection: Connection, sheets: Sequence[str] | None = None) -> list[KeptReading]:
    """Return every row ever written for some sheets or all, in order of sheet, number and version."""
    asked = _asked(None)
    if sheets is not None:
        asked = asked.where(item.c.key.in_(sheets))
    found = [_kept(row) for row in connection.execute(asked)]
    return sorted(found, key=lambda r: (r.sheet, r.number, r.version))


def standing(rows: Sequence[KeptReading]) -> list[KeptReading]:
    """Return the newest version of each, from rows in order."""
    return list({(r.sheet, r.number): r for r in rows}.values())


def _by_token(connection: Connection, sheet: str, token: str) -> KeptReading | None:
    row = connection.execute(_asked(sheet).where(reading.c.token == token)).one_or_none()
    return None if row is None else _kept(row)


def _last(connection: Connection, sheet: str) -> int:
    of_it = select(func.max(reading.c.number)).join(item).where(item.c.kind == "sheet", item.c.key == sheet)
    return connection.execute(of_it).scalar() or 0


def _append(w: Writing, new: KeptReading, before: Cells | None) -> KeptReading:
    append_rows(w.connection, [new])
    log(w, "reading", f"{new.sheet} / {new.number}", before, new.cells)
    return new


def append_rows(connection: Connection, new: Sequence[KeptReading]) -> None:
    """Write rows as they are, all in one statement."""
    if not new:
        return
    wanted = select(item.c.key, item.c.id).where(item.c.kind == "sheet", item.c.key.in_({r.sheet for r in new}))
    ids = {row.key: row.id for row in connection.execute(wanted)}
    rows = (
        {"item_id": ids[r.sheet], "number": r.number, "version": r.version, "at": r.at, "token": r.token,
         "cells": None if r.cells is None else written(r.cells)}
        for r in new
    )  # fmt: skip
    connection.execute(insert(reading), [with_sum("reading", row) for row in rows])


def _asked(sheet: str | None) -> Any:
    r = reading.c
    asked = select(item.c.key.label("sheet"), *(r[name] for name in (*SUMMED["reading"], "checksum")))
    asked = asked.join_from(reading, item)
    asked = asked.where(item.c.kind == "sheet")
    return asked if sheet is None else asked.where(item.c.key == sheet)


def _kept(row: Row[Any]) -> KeptReading:
    return reading_in(row, row.sheet)


def reading_in(row: Row[Any], sheet: str) -> KeptReading:
    """Return the reading in a row of a sheet.

    Raises
    ------
    DamagedError
        If the row is no longer what was written.
    """
    if row.checksum and not _is_as_written(row.checksum, *(getattr(row, name) for name in SUMMED["reading"])):
        words = say(
            "Reading {number} of {sheet} is no longer what was written: its row is damaged. {see}",
            number=row.number,
            sheet=sheet,
            see=SEE,
        )
        raise DamagedError(words)
    return KeptReading(sheet, row.number, row.version, row.at, row.token, _cells(row.cells))


@lru_cache(maxsize=16384)
def _is_as_written(checksum: str, *values: Any) -> bool:
    """Return whether a row of readings fits its checksum; the same rows are read over and over while a sheet fills."""
    return row_sum("reading", values) == checksum


@lru_cache(maxsize=4096)
def _cells(text: str | None) -> Cells | None:
    """Return the cells of a row; the same text is read over and over while a sheet fills."""
    found: Cells | None = parsed(text)
    return found


# Every change ever made, and undoing one


def changes(
    connection: Connection,
    *,
    kind: str | None = None,
    key: str | Sequence[str] | None = None,
    most: int | None = None,
    after: int = 0,
) -> list[Change]:
    """Return changes, newest first; of one kind, of one thing under any of its names, after one, or at most so many."""
    asked = select(change).order_by(change.c.id.desc()).limit(most)
    if kind is not None:
        asked = asked.where(change.c.kind == kind)
    if key is not None:
        asked = asked.where(change.c.key.in_([key] if isinstance(key, str) else key))
    if after:
        asked = asked.where(change.c.id > after)
    return [_change(row) for row in connection.execute(asked)]


def last_change(connection: Connection, *, besides: str = "") -> int:
    """Return the number of the last change, of any kind but one; 0 where nothing was changed."""
    found = connection.execute(select(func.max(change.c.id)).where(change.c.kind != besides)).scalar_one()
    return int(found or 0)


OLD_UNDO = re.compile(r"undoes change (\d+)")
"""How an undoing was written down before it was kept as a number (tables 0002)."""


def undone_in(note: str) -> int | None:
    """Return which change an old ledger or an old export says was undone, by its note.

    >>> undone_in("undoes change 12"), undone_in("undoes change 12, I think")
    (12, None)
    """
    found = OLD_UNDO.fullmatch(note)
    return int(found[1]) if found else None


MAX_ROW = 2**31 - 1
"""The largest number a row can have on a server."""


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
    found = select(change).where(change.c.id == number)
    row = w.connection.execute(found).one_or_none() if 0 < number <= MAX_ROW else None
    if row is None:
        raise UnknownNameError(
            "change", say("must be one that was made; got {value}", value=number), cure=say("See the history.")
        )
    old = _change(row)
    back = Writing(w.connection, w.at, w.who, w.note or f"undoes change {number}", number)
    (_undo_reading if old.kind == "reading" else _undo_item)(back, old)
    return changes(w.connection, kind=old.kind, most=1)[0]


def _undo_item(w: Writing, old: Change) -> None:
    kind = cast("Kind", old.kind)
    now = find(w.connection, kind, old.key)
    if now is None or state(now) != old.after:
        raise ConflictError(f"{old.kind} {old.key}", old.before, state(now), now.version if now else 0)
    if old.before is None:
        archive(w, kind, old.key)
        return
    was = old.before["body"].get("tag", old.key) if kind == "piece" else old.key
    if was != old.key:
        rename(w, kind, old.key, was, old.before["body"])
    else:
        set_state(w, kind, old.key, old.before)


def _undo_reading(w: Writing, old: Change) -> None:
    sheet, _, number = old.key.rpartition(" / ")
    now = one(w.connection, sheet, int(number))
    if now.cells != old.after:
        raise ConflictError(
            say("Reading {number} of {sheet}", number=number, sheet=sheet), old.before, now.cells, now.version
        )
    correct(w, sheet, int(number), cast("Any", old.before))


def _change(row: Row[Any]) -> Change:
    before, after = parsed(row.before), parsed(row.after)
    return Change(row.id, row.at, row.who, row.kind, row.key, before, after, row.note, row.undoes)
