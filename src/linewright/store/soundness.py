"""Whether a ledger's file is whole: every table with its indexes, and every reference from one row to another.

The check reads each page of a table, so it finds pages that are torn, zeroed or out of order, and indexes that no
longer fit their table (https://www.sqlite.org/pragma.html#pragma_integrity_check). Text changed within a row still
reads as text: the checksum that was written beside it finds that, and so does the SHA-256 of a kept file.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import time
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from linewright.core.frozen import dataclass

SUMMED = {
    "item": ("kind", "key", "body", "version", "archived", "changed_at"),
    "reading": ("item_id", "number", "version", "at", "token", "cells"),
    "change": ("at", "who", "kind", "key", "before", "after", "note"),
}
"""What the checksum of a row covers, by table, in this order: all but its number."""
UNREADABLE = (sqlite3.DatabaseError, UnicodeError)
"""What reading a damaged file raises; the second where the driver cannot say a fault that quotes bytes of the file."""
MAX_OPENING_S = 2.0
"""How long a check at opening may begin further tables; one of 100 MB takes under 0.1 s."""
MAX_COPY_S = 60.0
"""How long the check of a copy may begin further tables."""


@dataclass(frozen=True, slots=True)
class Soundness:
    """What a check found: what is hurt, in words, and the tables there was no time for."""

    hurt: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether everything was checked and nothing is hurt."""
        return not (self.hurt or self.unchecked)


def row_sum(table: str, values: Sequence[Any]) -> str:
    """Return the checksum of a row: 64 bits of BLAKE2b (RFC 7693) over its table's name and its values as JSON.

    >>> row_sum("item", ("piece", "blue 7", "{}", 1, False, "")) == row_sum("item", ("piece", "blue 7", "{}", 1, 0, ""))
    True
    """
    plain = [int(v) if isinstance(v, bool) else v for v in values]
    text = json.dumps([table, *plain], ensure_ascii=True, separators=(",", ":"), default=repr)
    return hashlib.blake2b(text.encode(), digest_size=8).hexdigest()


def with_sum(table: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a row with their checksum beside them."""
    return {**values, "checksum": row_sum(table, [values[name] for name in SUMMED[table]])}


def check_file(path: Path, most_s: float, *, rows: bool = False) -> Soundness:
    """Return what is hurt in a ledger's file.

    Parameters
    ----------
    path : Path
        The file; one that is no database at all is left to whoever opens it.
    most_s : float
        After so many seconds no further table is begun.
    rows : bool
        Whether to hold every row against its checksum, too.
    """
    end_s = time.monotonic() + most_s
    try:
        with closing(sqlite3.connect(path)) as raw:
            raw.text_factory = lenient
            return _check_tables(raw, end_s, rows)
    except sqlite3.OperationalError:
        return Soundness(unchecked=("every table",))  # locked, or out of reach: whoever opens it says so
    except UNREADABLE as cause:
        return Soundness() if "not a database" in str(cause) else Soundness((f"the list of tables ({_said(cause)})",))


def lenient(text: bytes) -> str:
    """Return text even where its bytes are no UTF-8 any more: its checksum tells."""
    return text.decode("utf-8", "surrogateescape")


def _check_tables(raw: sqlite3.Connection, end_s: float, rows: bool) -> Soundness:
    names = [name for (name,) in raw.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY rootpage")]
    hurt: list[str] = []
    for i, name in enumerate(names):
        if time.monotonic() > end_s:
            return Soundness(tuple(hurt), tuple(names[i:]))
        found = _faults(raw, name)
        hurt += found or (_silent(raw, name) if rows else ())
    return Soundness(tuple(hurt))


def _faults(raw: sqlite3.Connection, table: str) -> list[str]:
    """Return what is hurt in one table, the first fault as the database words it."""
    quoted = '"' + table.replace('"', '""') + '"'
    try:
        found = [said for (said,) in raw.execute(f"PRAGMA integrity_check({quoted})") if said != "ok"]
        lost = raw.execute(f"PRAGMA foreign_key_check({quoted})").fetchall()
    except sqlite3.OperationalError:
        raise
    except UNREADABLE as cause:
        found, lost = [_said(cause)], []
    shown = table.encode("utf-8", "replace").decode()
    told = [f"the table {shown} ({' '.join(found[0].split())[:80]})"] if found else []
    return told + ([f"{len(lost)} rows of the table {shown} that belong to nothing"] if lost else [])


def _said(cause: Exception) -> str:
    """Return what the database says of a damage; nothing of bytes that are no text."""
    return "bytes that are no text" if isinstance(cause, UnicodeError) else str(cause)


def _silent(raw: sqlite3.Connection, table: str) -> list[str]:
    """Return, in words, the rows of a table of a file that no longer are what was written."""
    asked = query_of_rows(table)
    if asked is None or ("checksum" in asked and not _has_sums(raw, table)):
        return []
    return changed_rows(table, raw.execute(asked))


def _has_sums(raw: sqlite3.Connection, table: str) -> bool:
    """Return whether a table has checksums; older ones, as copies may be, have none."""
    return "checksum" in {row[1] for row in raw.execute(f'PRAGMA table_info("{table}")')}


def query_of_rows(table: str) -> str | None:
    """Return the SQL for the rows of a table as ``changed_rows`` takes them; None for one without checksums."""
    if table == "blob":
        return "SELECT 0, content, sha256 FROM blob"
    if table not in SUMMED:
        return None
    return f'SELECT {", ".join(f"{chr(34)}{c}{chr(34)}" for c in ("id", *SUMMED[table], "checksum"))} FROM "{table}"'


def changed_rows(table: str, rows: Iterable[Sequence[Any]]) -> list[str]:
    """Return, in words, the rows that no longer are what was written; each with its checksum last."""
    hurt = [row for row in rows if not is_as_written(table, row)]
    if not hurt:
        return []
    named = ", ".join(dict.fromkeys(f"{row[0]}" if row[0] else f"{row[-1]}"[:12] for row in hurt[:3]))
    which = f"row {named}" if len(hurt) == 1 else f"rows {named}{', ...' if len(hurt) > 3 else ''}"
    return [f"the table {table} ({which} changed since written)"]


def is_as_written(table: str, row: Sequence[Any]) -> bool:
    """Return whether a row, its number first and its checksum last, is what was written."""
    if table == "blob":
        return isinstance(row[1], bytes | memoryview) and hashlib.sha256(row[1]).hexdigest() == str(row[2])
    return bool(row_sum(table, row[1:-1]) == row[-1])


def changes_in(path: Path) -> int:
    """Return the number of the newest change in a ledger's file, -1 if it cannot be read: its own count of time."""
    try:
        with closing(sqlite3.connect(path)) as raw:
            return int(raw.execute("SELECT coalesce(max(id), 0) FROM change").fetchone()[0])
    except (sqlite3.Error, UnicodeError):
        return -1
