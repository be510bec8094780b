"""Whether a ledger's file is whole: every table with its indexes, and every reference from one row to another.

The check reads each page of a table, so it finds pages that are torn, zeroed or out of order, and indexes that no
longer fit their table (https://www.sqlite.org/pragma.html#pragma_integrity_check). What it cannot find is text changed
within a row: that still reads as text.
"""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

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


def check_file(path: Path, most_s: float) -> Soundness:
    """Return what is hurt in a ledger's file.

    Parameters
    ----------
    path : Path
        The file; one that is no database at all is left to whoever opens it.
    most_s : float
        After so many seconds no further table is begun.
    """
    end_s = time.monotonic() + most_s
    try:
        with closing(sqlite3.connect(path)) as raw:
            return _check_tables(raw, end_s)
    except sqlite3.OperationalError:
        return Soundness(unchecked=("every table",))  # locked, or out of reach: whoever opens it says so
    except sqlite3.DatabaseError as cause:
        return Soundness() if "not a database" in str(cause) else Soundness((f"the list of tables ({cause})",))


def _check_tables(raw: sqlite3.Connection, end_s: float) -> Soundness:
    names = [name for (name,) in raw.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY rootpage")]
    hurt: list[str] = []
    for i, name in enumerate(names):
        if time.monotonic() > end_s:
            return Soundness(tuple(hurt), tuple(names[i:]))
        hurt += _faults(raw, name)
    return Soundness(tuple(hurt))


def _faults(raw: sqlite3.Connection, table: str) -> list[str]:
    """Return what is hurt in one table, the first fault as the database words it."""
    quoted = '"' + table.replace('"', '""') + '"'
    try:
        found = [said for (said,) in raw.execute(f"PRAGMA integrity_check({quoted})") if said != "ok"]
        lost = raw.execute(f"PRAGMA foreign_key_check({quoted})").fetchall()
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError as cause:
        found, lost = [str(cause)], []
    told = [f"the table {table} ({' '.join(found[0].split())[:80]})"] if found else []
    return told + ([f"{len(lost)} rows of the table {table} that belong to nothing"] if lost else [])


def changes_in(path: Path) -> int:
    """Return the number of the newest change in a ledger's file, -1 if it cannot be read: its own count of time."""
    try:
        with closing(sqlite3.connect(path)) as raw:
            return int(raw.execute("SELECT coalesce(max(id), 0) FROM change").fetchone()[0])
    except sqlite3.Error:
        return -1
