"""Repair of a damaged ledger: what can still be read of it, and the rest from its newest sound copy.

Every row carries a checksum, so a row that can be read is taken only if it is what was written. Rows that neither the
file nor the copy holds are made again from the history, which keeps the state after every change. The damaged file is
kept beside the new one, under a name of its own.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from linewright.core.errors import CannotError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.store.backups import newest_whole
from linewright.store.ledger import stamp
from linewright.store.opening import BUSY_MS, new_file
from linewright.store.soundness import MAX_COPY_S, SUMMED, UNREADABLE, check_file, is_as_written, lenient, with_sum

COLUMNS = {**{t: ("id", *c, "checksum") for t, c in SUMMED.items()}, "blob": ("rowid", "content", "sha256")}
"""What is brought over of each table, the row's number first; answers worked out before are worked out anew."""
BEYOND = 10_000
"""How far beyond the newest row of the copy rows are looked for where a table cannot say its newest."""

Row = tuple[Any, ...]
Tables = dict[str, dict[int, Row]]


@dataclass(frozen=True, slots=True)
class Recovered:
    """What became of a damaged ledger.

    Attributes
    ----------
    path, damaged : Path
        Where the whole ledger is, and where the damaged file is now.
    copy : Path, optional
        The copy that filled the gaps; None if there was none.
    read, copied, rebuilt : int
        Rows that the damaged file still held, that came from the copy, and that were made again from the history.
    lost : int
        Rows whose numbers show that they were there, and that nothing holds any more.
    """

    path: Path
    damaged: Path
    copy: Path | None
    read: int
    copied: int
    rebuilt: int
    lost: int

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        paths = {"path": self.path, "damaged": self.damaged, "copy": self.copy}
        told = {name: None if found is None else str(found) for name, found in paths.items()}
        counts = {"read": self.read, "copied": self.copied, "rebuilt": self.rebuilt, "lost": self.lost}
        return {"schema": "linewright/recover/1", **told, **counts}


def recover(path: Path, at: datetime) -> Recovered:
    """Put a whole ledger in the place of a damaged one.

    Raises
    ------
    CannotError
        If another program has the file open, nothing can be read and no copy is whole, or the disk takes no file.
    """
    copy = newest_whole(path)
    _nobody_else(path)
    held = _rows_of_file(copy) if copy else {name: {} for name in COLUMNS}
    read = {name: dict(_readable(path, name, max(held[name], default=0))) for name in COLUMNS}
    if copy is None and not any(read.values()):
        raise CannotError(
            say("Nothing can be read of {path}, and no copy of it is whole. It was left as it is.", path=path)
        )
    tables = {name: held[name] | read[name] for name in COLUMNS}
    rebuilt = _rebuild(tables)
    lost = sum(max(rows, default=0) - len(rows) for name, rows in tables.items() if name != "blob")
    lost += _drop_orphans(tables)
    new = path.with_name(f"{path.stem}.{os.getpid()}.part")
    try:
        _write(new, tables, at)
        damaged = _put_in_place(new, path, at)
    except (OSError, sqlite3.Error) as cause:
        raise CannotError(
            say("{path} could not be recovered: {cause}. It was left as it is.", path=path, cause=cause)
        ) from cause
    finally:
        with suppress(OSError):
            new.unlink()
    kept = {name: sum(row == read[name].get(number) for number, row in rows.items()) for name, rows in tables.items()}
    copied = sum(map(len, tables.values())) - sum(kept.values()) - rebuilt
    return Recovered(path, damaged, copy, sum(kept.values()), copied, rebuilt, lost)


def _nobody_else(path: Path) -> None:
    """Refuse while another program has the file open: it would go on writing into the replaced file."""
    try:
        with closing(sqlite3.connect(path, timeout=0.5, isolation_level=None)) as raw:
            raw.execute("PRAGMA locking_mode = EXCLUSIVE")
            raw.execute("BEGIN EXCLUSIVE")
            raw.execute("ROLLBACK")
    except UNREADABLE as cause:
        if "locked" in str(cause):
            raise CannotError(say("{path} is open in another program. Stop that, then recover.", path=path)) from cause


# What can be read


def _rows_of_file(path: Path) -> Tables:
    return {name: dict(_readable(path, name, 0)) for name in COLUMNS}


def _readable(path: Path, table: str, newest: int) -> Iterator[tuple[int, Row]]:
    """Yield the rows of a table that can be read and are what was written, by their numbers."""
    try:
        with closing(sqlite3.connect(path)) as raw:
            raw.text_factory = lenient
            there = {row[1] for row in raw.execute(f'PRAGMA table_info("{table}")')}
            summed = table == "blob" or "checksum" in there
            names = ", ".join(f'"{c}"' if c != "rowid" else c for c in COLUMNS[table] if c != "checksum" or summed)
            asked = f'SELECT {names} FROM "{table}" WHERE rowid BETWEEN ? AND ?'
            for row in _pieces(raw, asked, 1, _last(raw, table, newest)):
                whole = row if summed else (*row, _sum(table, row))
                if is_as_written(table, whole):
                    yield row[0], whole
    except UNREADABLE:
        return


def _last(raw: sqlite3.Connection, table: str, newest: int) -> int:
    try:
        return int(raw.execute(f'SELECT coalesce(max(rowid), 0) FROM "{table}"').fetchone()[0])
    except UNREADABLE:
        return newest + BEYOND


def _pieces(raw: sqlite3.Connection, asked: str, low: int, high: int) -> Iterator[Row]:
    """Yield the rows between two numbers; where that fails, those of each half."""
    if low > high:
        return
    try:
        found = raw.execute(asked, (low, high)).fetchall()
    except UNREADABLE:
        if low < high:
            middle = (low + high) // 2
            yield from _pieces(raw, asked, low, middle)
            yield from _pieces(raw, asked, middle + 1, high)
        return
    yield from found


def _sum(table: str, row: Row) -> str:
    return str(with_sum(table, dict(zip(SUMMED[table], row[1:], strict=True)))["checksum"])


# What the history says besides


def _rebuild(tables: Tables) -> int:
    """Make again, from the state after every change, what is missing or stands at an older state; return how much."""
    items: dict[tuple[str, str], int] = {}
    for number, row in _named(tables, "item"):
        names = (row["key"], *json.loads(row["body"]).get("formerly", ()))
        items |= {(row["kind"], name): number for name in names}
    made = 0
    for (kind, key), last in _last_states(tables).items():
        known = [items[kind, name] for name in (key, *last.names) if (kind, name) in items]
        number = known[0] if known else _number_of(tables, kind, key)
        items[kind, key] = number
        made += _set_item(tables, number, kind, key, last)
    return made + _rebuild_readings(tables, items)


@dataclass(slots=True)
class _Last:
    """The state of a thing after its last change: when, and the names it had before."""

    at: str
    after: Mapping[str, Any]
    names: tuple[str, ...] = ()
    changes: int = 1


def _last_states(tables: Tables) -> dict[tuple[str, str], _Last]:
    found: dict[tuple[str, str], _Last] = {}
    for _, c in _named(tables, "change"):
        if c["kind"] == "reading" or c["after"] is None:
            continue
        kind, key = c["kind"], c["key"]
        was = json.loads(c["before"])["body"].get("tag", key) if c["before"] and kind == "piece" else key
        old = found.pop((kind, was), None)
        names = ((*old.names, was) if was != key else old.names) if old else ()
        found[kind, key] = _Last(c["at"], json.loads(c["after"]), names, old.changes + 1 if old else 1)
    return found


def _set_item(tables: Tables, number: int, kind: str, key: str, last: _Last) -> bool:
    """Bring an item to its last state, if it is missing or stands at an older version: each change makes one."""
    old = _as_named("item", tables["item"][number]) if number in tables["item"] else None
    body, archived = last.after["body"], int(last.after["archived"])
    if old is not None and old["version"] >= last.changes:
        return False
    text = json.dumps(body, ensure_ascii=False, separators=(",", ":"))
    values = {"kind": kind, "key": key, "body": text, "version": last.changes, "archived": archived}
    _put(tables, "item", number, {**values, "changed_at": last.at})
    return True


def _number_of(tables: Tables, kind: str, key: str) -> int:
    """Return the number of an item that is missing: a session's readings still carry it, else any that is free."""
    orphans = {
        (row["number"], row["at"], row["cells"]): row["item_id"]
        for _, row in _named(tables, "reading")
        if row["item_id"] not in tables["item"]
    }
    if kind == "sheet":
        for _, c in _named(tables, "change"):
            sheet, _, number = c["key"].rpartition(" / ")
            if c["kind"] == "reading" and sheet == key:
                of = orphans.get((int(number), c["at"], c["after"]))
                if of is not None:
                    return int(of)
    taken = {*tables["item"], *orphans.values()}
    return next(n for n in range(1, len(taken) + 2) if n not in taken)


def _rebuild_readings(tables: Tables, items: Mapping[tuple[str, str], int]) -> int:
    """Make again the readings that are missing: the changes of one, in order, are its versions."""
    there = {(row["item_id"], row["number"], row["version"]) for _, row in _named(tables, "reading")}
    versions: dict[str, int] = {}
    made = 0
    for _, c in _named(tables, "change"):
        if c["kind"] != "reading":
            continue
        sheet, _, number = c["key"].rpartition(" / ")
        versions[c["key"]] = version = versions.get(c["key"], 0) + 1
        of = items.get(("sheet", sheet))
        if of is None or (of, int(number), version) in there:
            continue
        free = next(n for n in range(1, len(tables["reading"]) + 2) if n not in tables["reading"])
        values = {"item_id": of, "number": int(number), "version": version, "at": c["at"], "token": None}
        _put(tables, "reading", free, {**values, "cells": c["after"]})
        made += 1
    return made


def _put(tables: Tables, table: str, number: int, values: Mapping[str, Any]) -> None:
    summed = with_sum(table, values)
    tables[table][number] = (number, *(summed[name] for name in COLUMNS[table][1:]))


def _named(tables: Tables, table: str) -> list[tuple[int, dict[str, Any]]]:
    return [(number, _as_named(table, row)) for number, row in sorted(tables[table].items())]


def _as_named(table: str, row: Row) -> dict[str, Any]:
    return dict(zip(COLUMNS[table], row, strict=True))


def _drop_orphans(tables: Tables) -> int:
    """Leave out readings whose session nothing holds any more; return how many."""
    lost = [n for n, row in _named(tables, "reading") if row["item_id"] not in tables["item"]]
    for number in lost:
        del tables["reading"][number]
    return len(lost)


# The new file


def _write(new: Path, tables: Tables, at: datetime) -> None:
    with suppress(FileNotFoundError):
        new.unlink()
    new_file(new, at, BUSY_MS)
    with closing(sqlite3.connect(new)) as raw:
        for name, columns in COLUMNS.items():
            names, marks = ", ".join(f'"{c}"' if c != "rowid" else c for c in columns), ", ".join("?" for _ in columns)
            rows = [tuple(tables[name][number]) for number in sorted(tables[name])]
            raw.executemany(f'INSERT INTO "{name}" ({names}) VALUES ({marks})', rows)
        raw.commit()
        raw.execute("PRAGMA journal_mode = DELETE")
    found = check_file(new, MAX_COPY_S, rows=True)
    if found.hurt:
        raise sqlite3.DatabaseError(f"what was made of it is not whole ({', '.join(found.hurt)})")
    with new.open("r+b") as file:
        os.fsync(file.fileno())


def _put_in_place(new: Path, path: Path, at: datetime) -> Path:
    """Keep the damaged file, with the log that belongs to it, under another name; then put the new one in its place."""
    moment = stamp(at)[:19].replace("T", "-").replace(":", "")
    damaged = path.with_name(f"{path.stem}-damaged-{moment}{path.suffix}")
    count = 1
    while damaged.exists():
        count += 1
        damaged = path.with_name(f"{path.stem}-damaged-{moment}-{count}{path.suffix}")
    for end in ("", "-wal", "-shm"):
        part = path.with_name(path.name + end)
        if part.exists():
            shutil.copy2(part, damaged.with_name(damaged.name + end))
    # The old log must not be found beside the new file: SQLite would write it in.
    for end in ("-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)
    new.replace(path)
    return damaged
