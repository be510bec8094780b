"""Dated copies of a ledger's file, in a folder beside it; the newest few are kept."""

from __future__ import annotations

import os
import re
import sqlite3
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path

from linewright.errors import CannotError
from linewright.ledger.store import Ledger, stamp

KEPT = 14
"""Daily copies that are kept; those made before a change of the tables are kept for good."""


def folder(path: Path) -> Path:
    """Return where the copies of a ledger's file are.

    >>> folder(Path("shack/ledger.sqlite")).as_posix()
    'shack/ledger-backups'
    """
    return path.with_name(f"{path.stem}-backups")


def backed_up_on(path: Path, day: str) -> bool:
    """Return whether there is a copy of a day, "2026-04-02"."""
    return any(folder(path).glob(f"{path.stem}-{day}*.sqlite"))


def backups(path: Path) -> list[Path]:
    """Return the copies there are, oldest first."""
    return sorted(folder(path).glob(f"{path.stem}-????-??-??*.sqlite"))


def back_up(ledger: Ledger, at: datetime, *, why: str = "", keep: int = KEPT) -> Path:
    """Copy a ledger's file as it stands, whoever is writing to it, and drop daily copies over the number kept.

    Raises
    ------
    CannotError
        If the copy cannot be written, or the ledger is on a server.
    """
    if ledger.path is None:
        raise CannotError("A ledger on a server is backed up by the server. `linewright shelf export` copies it whole.")
    moment = stamp(at)[:19].replace("T", "-").replace(":", "")
    target = folder(ledger.path) / f"{ledger.path.stem}-{moment}{f'-{why}' if why else ''}.sqlite"
    # Others may be copying it at the same moment, each into a file of its own.
    part = target.with_suffix(f".{os.getpid()}.part")
    try:
        target.parent.mkdir(exist_ok=True)
        _copy(ledger.path, part)
        part.replace(target)
    except (OSError, sqlite3.Error) as cause:
        with suppress(OSError):
            part.unlink()
        raise CannotError(f"The backup {target} cannot be written: {cause}.") from cause
    _thin(ledger.path, keep)
    return target


def _copy(source: Path, target: Path) -> None:
    target.unlink(missing_ok=True)
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
        # A copy is one file: no write-ahead log beside it.
        new.execute("PRAGMA journal_mode = DELETE")
    with target.open("r+b") as copied:
        os.fsync(copied.fileno())


def _thin(path: Path, keep: int) -> None:
    daily = [p for p in backups(path) if re.fullmatch(r"\d{4}-\d\d-\d\d-\d{6}", p.stem[len(path.stem) + 1 :])]
    for old in daily[: max(len(daily) - keep, 0)]:
        old.unlink(missing_ok=True)
