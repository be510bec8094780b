"""The names that a ledger's file holds, read in a few milliseconds: for a shell that completes what is typed."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

from linewright.core.errors import CannotError
from linewright.core.messages import say

WAIT_S = 0.2
"""Nobody waits longer for a name."""


def names_in(path: Path, kind: str) -> list[str]:
    """Return the names of what is kept of a kind and not put away; of "run", those of every station.

    A file that is missing, busy, damaged or no ledger has no names. Nothing is written, not even beside it.
    """
    asked = "station" if kind == "run" else kind
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=WAIT_S)) as raw:
            rows = raw.execute("SELECT key, body FROM item WHERE kind = ? AND NOT archived", (asked,)).fetchall()
    except (sqlite3.Error, UnicodeError):
        return []
    found = [str(name) for key, body in rows for name in (_runs(body) if kind == "run" else (key,))]
    return sorted(dict.fromkeys(found))


def _runs(body: str) -> list[str]:
    try:
        return [run["name"] for run in json.loads(body)["station"]["run"]]
    except (ValueError, KeyError, TypeError):
        return []


def standing_of(path: Path) -> tuple[str, str]:
    """Return the revision of a ledger's file and when its newest change was made; "" for what it has not.

    Raises
    ------
    CannotError
        If it cannot be read, or is no ledger.
    """
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=1.0)) as raw:
            (found,) = raw.execute("SELECT version_num FROM alembic_version").fetchone()
            newest = raw.execute("SELECT max(at) FROM change").fetchone()[0]
    except (sqlite3.Error, UnicodeError, TypeError) as cause:
        raise CannotError(say("{path} cannot be read: {cause}", path=path, cause=cause)) from cause
    return str(found), str(newest or "")
