"""Readings of a sheet: added, corrected, withdrawn; never rewritten."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Row, func, insert, select

from linewright.errors import CannotError, InputError, UnknownNameError
from linewright.ledger.items import log, needed
from linewright.ledger.schema import item, reading
from linewright.ledger.store import Writing, parsed, written
from linewright.model.ledger import ConflictError, KeptReading

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
            rule = f"must be new for each reading; {token!r} was reading {found.number} of {sheet}"
            raise InputError("token", rule)
        return found
    if needed(w.connection, "sheet", sheet).archived:
        raise CannotError(f"{sheet} is put away. Restore it before adding a reading.")
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
        raise ConflictError(f"Reading {number} of {sheet}", cells, old.cells, old.version)
    new = None if cells is None else dict(cells)
    if new == old.cells:
        return old
    return _append(w, KeptReading(sheet, number, old.version + 1, w.at, None, new), old.cells)


def one(connection: Connection, sheet: str, number: int) -> KeptReading:
    """Return a reading as it stands, withdrawn or not."""
    asked = _asked(sheet).where(reading.c.number == number).order_by(reading.c.version.desc()).limit(1)
    row = connection.execute(asked).one_or_none()
    if row is None:
        raise UnknownNameError("reading", f"must be one of {sheet}; it has no number {number}")
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
    append_row(w.connection, new)
    log(w, "reading", f"{new.sheet} / {new.number}", before, new.cells)
    return new


def append_row(connection: Connection, new: KeptReading) -> None:
    """Write a row as it is."""
    of_it = select(item.c.id).where(item.c.kind == "sheet", item.c.key == new.sheet).scalar_subquery()
    cells = None if new.cells is None else written(new.cells)
    connection.execute(
        insert(reading).values(
            item_id=of_it, number=new.number, version=new.version, at=new.at, token=new.token, cells=cells
        )
    )


def _asked(sheet: str | None) -> Any:
    r = reading.c
    asked = select(item.c.key.label("sheet"), r.number, r.version, r.at, r.token, r.cells).join_from(reading, item)
    asked = asked.where(item.c.kind == "sheet")
    return asked if sheet is None else asked.where(item.c.key == sheet)


def _kept(row: Row[Any]) -> KeptReading:
    return KeptReading(row.sheet, row.number, row.version, row.at, row.token, _cells(row.cells))


@lru_cache(maxsize=4096)
def _cells(text: str | None) -> Cells | None:
    """Return the cells of a row; the same text is read over and over while a sheet fills."""
    found: Cells | None = parsed(text)
    return found
