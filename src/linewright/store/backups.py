"""Dated copies of a ledger's file, in a folder beside it: checked as they are made; kept by day, by week and by month.

What is newest is told by the ledger's own count of changes, since a clock can be set back.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Sequence
from contextlib import closing, suppress
from datetime import date, datetime
from pathlib import Path

from linewright.core.errors import CannotError
from linewright.core.messages import say
from linewright.store.ledger import Ledger, stamp
from linewright.store.soundness import MAX_COPY_S, Soundness, changes_in, check_file

KEPT = 14
"""Newest copies that are kept; those made before a change of the tables are kept for good."""
WEEKS, MONTHS = 8, 12
"""Of older ones, the last of each week and of each month is kept, for the newest so many weeks and months."""
MIN_WHOLE = 3
"""Copies that must be whole besides an older whole one before that makes room."""

MAGIC = b"SQLite format 3\0"
"""How every such file begins (https://www.sqlite.org/fileformat2.html, section 1.3)."""
RECOVER = "`linewright shelf recover` repairs it from what can be read and the newest sound copy."
"""The cure for a damaged ledger."""


def folder(path: Path) -> Path:
    """Return where the copies of a ledger's file are.

    >>> folder(Path("shack/ledger.sqlite")).as_posix()
    'shack/ledger-backups'
    """
    return path.with_name(f"{path.stem}-backups")


def is_due(path: Path, day: str) -> bool:
    """Return whether a copy is to be made on a day, "2026-04-02".

    It is if there is none of that day. Where copies of later days show that the clock was set back, it is if something
    was changed since the newest.
    """
    there = backups(path)
    if not any(day in p.stem[len(path.stem) :] for p in there):
        return True
    later = any(p.stem[len(path.stem) + 1 :][:10] > day for p in there)
    return later and changes_in(path) > max(changes_in(p) for p in there)


def backups(path: Path) -> list[Path]:
    """Return the copies there are, oldest first."""
    return sorted(folder(path).glob(f"{path.stem}-????-??-??*.sqlite"))


def back_up(ledger: Ledger, at: datetime, *, why: str = "", keep: int = KEPT) -> Path:
    """Copy a ledger's file as it stands, whoever is writing to it, and drop daily copies over the number kept.

    Raises
    ------
    CannotError
        If the copy cannot be written or is not whole, or the ledger is on a server.
    """
    if ledger.path is None:
        raise CannotError(
            say("A ledger on a server is backed up by the server. `linewright shelf export` copies it whole.")
        )
    moment = stamp(at)[:19].replace("T", "-").replace(":", "")
    target = folder(ledger.path) / f"{ledger.path.stem}-{moment}{f'-{why}' if why else ''}.sqlite"
    # Others may be copying it at the same moment, each into a file of its own.
    part = target.with_suffix(f".{os.getpid()}.part")
    try:
        target.parent.mkdir(exist_ok=True)
        _copy(ledger.path, part)
        found = check_file(part, MAX_COPY_S, rows=True)
        if found.hurt:
            raise CannotError(
                say(
                    "No backup was made: {path} is damaged in {hurt}. {recover}",
                    path=ledger.path,
                    hurt=", ".join(found.hurt),
                    recover=RECOVER,
                )
            )
        part.replace(target)
    except (OSError, sqlite3.Error, UnicodeError) as cause:
        raise CannotError(say("The backup {target} cannot be written: {cause}.", target=target, cause=cause)) from cause
    finally:
        with suppress(OSError):
            part.unlink()
    if found.whole:
        _thin(ledger.path, target, keep)
    return target


def newest_whole(path: Path) -> Path | None:
    """Return the newest copy that is whole, None if none is."""
    return next((p for p in reversed(_by_age(backups(path))) if check_file(p, MAX_COPY_S, rows=True).whole), None)


def check_beside_copies(path: Path, most_s: float, *, rows: bool = False) -> Soundness:
    """Return what is hurt in a ledger's file, as ``check_file`` does; with copies beside it, it once was a database."""
    found = check_file(path, most_s, rows=rows)
    with path.open("rb") as file:
        lost = file.read(len(MAGIC)) != MAGIC
    return Soundness(("its first page",)) if lost and not found.hurt and backups(path) else found


def _copy(source: Path, target: Path) -> None:
    target.unlink(missing_ok=True)
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
        # A copy is one file: no write-ahead log beside it.
        new.execute("PRAGMA journal_mode = DELETE")
    with target.open("r+b") as copied:
        os.fsync(copied.fileno())


def _by_age(copies: Sequence[Path]) -> list[Path]:
    """Return copies by the ledger's own count of changes, oldest first; one that cannot be read stands before all."""
    return sorted(copies, key=lambda p: (changes_in(p), p.name))


def _outlived(daily: Sequence[Path], stem: str, keep: int) -> list[Path]:
    """Return which copies, given oldest first, are neither new enough nor the last of their week or month."""
    weeks: dict[str, Path] = {}
    months: dict[str, Path] = {}
    older = list(reversed(daily))[keep:]
    for copy in older:
        day = copy.stem[len(stem) + 1 :][:10]
        try:
            year, week, _ = date.fromisoformat(day).isocalendar()
        except ValueError:
            continue
        weeks.setdefault(f"{year} {week}", copy)
        months.setdefault(day[:7], copy)
    kept = {*list(weeks.values())[:WEEKS], *list(months.values())[:MONTHS]}
    return [copy for copy in reversed(older) if copy not in kept]


def _thin(path: Path, made: Path, keep: int) -> None:
    """Drop copies that have had their time: a whole one only while others are whole, never the new one."""
    daily = [p for p in backups(path) if re.fullmatch(r"\d{4}-\d\d-\d\d-\d{6}", p.stem[len(path.stem) + 1 :])]
    older = [p for p in _by_age(daily) if p != made]
    whole = {made}
    for old in _outlived([*older, made], path.stem, keep):
        others = (p for p in reversed(older) if p != old and p not in whole)
        while len(whole) < MIN_WHOLE and (other := next(others, None)):
            whole |= {other} if check_file(other, MAX_COPY_S, rows=True).whole else set()
        if len(whole - {old}) >= min(MIN_WHOLE, keep) or check_file(old, MAX_COPY_S).hurt:
            old.unlink(missing_ok=True)
