"""The place of the ledger, and the author of a change."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from linewright.core.errors import CannotError, InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.store import backups
from linewright.store.ledger import Ledger, Writing, stamp
from linewright.store.opening import check_rows, is_url, open_at
from linewright.store.recovery import Recovered, recover
from linewright.store.soundness import MAX_COPY_S, check_file
from linewright.verbs.names import usual_place


@dataclass(frozen=True, slots=True)
class By:
    """When something is written (None: now), on whose word, and why."""

    at: datetime | None = None
    who: str = ""
    note: str = ""

    @property
    def time(self) -> datetime:
        """When, with its zone."""
        return self.at or datetime.now(UTC)

    @property
    def day(self) -> str:
        """The day, as the person's calendar has it."""
        return today(self.at.date() if self.at else None)


def today(on: date | None = None) -> str:
    """Return a day as it is kept, "2026-04-02"; today's if none is given."""
    return (on or datetime.now().astimezone().date()).isoformat()


def open_ledger(where: str | Path | None = None, *, at: datetime | None = None) -> Ledger:
    """Return an open ledger, made when it is not there, brought up to date when it is old.

    Its file is copied once a day, and before its tables change. Close it, or use it in a ``with``.

    Parameters
    ----------
    where : str or Path, optional
        A file, or the URL of a PostgreSQL database. Without it: LINEWRIGHT_LEDGER, or the usual place.
    at : datetime, optional
        The time now.

    Returns
    -------
    Ledger
        Open; close it, or use it in a ``with``.

    Raises
    ------
    InputError
        If there is something else than a ledger.
    CannotError
        If it is locked, comes from a newer version, cannot be written, or the server does not answer.

    >>> from linewright.verbs.shelf_beliefs import list_shelf
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as place, open_ledger(Path(place) / "ledger.sqlite") as ledger:
    ...     list_shelf(ledger).pieces
    ()
    """
    return open_at(str(where) if where is not None else usual_place(), at or datetime.now(UTC))


def back_up(ledger: Ledger, *, at: datetime | None = None) -> Path:
    """Copy a ledger's file now, and return where the copy is.

    Parameters
    ----------
    at : datetime, optional
        The time now, which the copy bears in its name.

    Returns
    -------
    Path
        Where the copy is.

    Raises
    ------
    CannotError
        If it cannot be written, or the ledger is on a server.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     back_up(ledger).exists()
    True
    """
    return backups.back_up(ledger, at or datetime.now(UTC))


@dataclass(frozen=True, slots=True)
class Checked:
    """The result of a full check of a ledger: the damage, in words, and the newest sound copy."""

    ledger: str
    hurt: tuple[str, ...]
    unchecked: tuple[str, ...]
    copies: int = 0
    newest_whole: str | None = None

    @property
    def can_recover(self) -> bool:
        """Whether ``recover_ledger`` is for it: a server has its own means."""
        return bool(self.hurt) and not is_url(self.ledger)

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {"schema": "linewright/check/1", "whole": not (self.hurt or self.unchecked), **asdict(self)}


def check_ledger(where: str | Path | None = None) -> Checked:
    """Check a ledger whole, every row of it; its file need not open for that. Nothing is changed.

    Parameters
    ----------
    where : str or Path, optional
        As for ``open_ledger``.

    Returns
    -------
    Checked
        What was looked at, and what is hurt.

    Raises
    ------
    InputError
        If there is no such file, or the server holds something else than a ledger.
    CannotError
        If the server does not answer.

    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as place:
    ...     where = Path(place) / "ledger.sqlite"
    ...     open_ledger(where).close()
    ...     check_ledger(where).hurt
    ()
    """
    name = str(where) if where is not None else usual_place()
    if is_url(name):
        with open_ledger(name) as ledger:
            return Checked(ledger.where, check_rows(ledger), ())
    path = _there(name)
    found, copy = backups.check_beside_copies(path, math.inf, rows=True), backups.newest_whole(path)
    return Checked(
        str(path), found.hurt, found.unchecked, len(backups.backups(path)), None if copy is None else str(copy)
    )


def recover_ledger(where: str | Path | None = None, *, at: datetime | None = None) -> Recovered:
    """Put a whole ledger in the place of a damaged one, and keep the damaged file beside it.

    Parameters
    ----------
    where : str or Path, optional
        As for ``open_ledger``.
    at : datetime, optional
        The time now, which the damaged file's new name bears.

    Returns
    -------
    Recovered
        What was saved, and where the damaged file is kept.

    Raises
    ------
    InputError
        If there is no such file, or nothing is hurt.
    CannotError
        If another program has it open, or neither it nor a copy can be read; a server's own means recover its ledger.

    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as place:
    ...     where = Path(place) / "ledger.sqlite"
    ...     open_ledger(where).close()
    ...     try:
    ...         recover_ledger(where)
    ...     except InputError as error:
    ...         error.rule.split(";")[0]
    'must be damaged to be recovered'
    """
    name = str(where) if where is not None else usual_place()
    if is_url(name):
        raise CannotError(say("A ledger on a server is recovered from the server's own backups, or from an export."))
    path = _there(name)
    if not backups.check_beside_copies(path, math.inf, rows=True).hurt:
        raise InputError("ledger", say("must be damaged to be recovered; nothing is hurt in {path}", path=path))
    return recover(path, at or datetime.now(UTC))


def _there(name: str) -> Path:
    path = Path(name).expanduser()
    if not path.is_file():
        raise InputError(
            "ledger",
            say("must be a file that is there; {path} is not", path=path),
            cure=say("Name another with --ledger."),
        )
    return path


def keep_daily(ledger: Ledger, *, at: datetime | None = None) -> tuple[str, ...]:
    """Do what is due once a day while a ledger stays open: check it whole, and copy its file. Return what is wrong."""
    if ledger.path is None:
        return tuple(f"{ledger.where} is damaged in {hurt}." for hurt in check_rows(ledger))
    moment = at or datetime.now(UTC)
    if not backups.is_due(ledger.path, stamp(moment)[:10]):
        found = check_file(ledger.path, MAX_COPY_S, rows=True)
        return (f"{ledger.path} is damaged in {', '.join(found.hurt)}. {backups.RECOVER}",) if found.hurt else ()
    try:
        backups.back_up(ledger, moment)
    except CannotError as cause:
        return (str(cause),)
    return ()


@contextmanager
def writing(ledger: Ledger, by: By) -> Iterator[Writing]:
    """Open a transaction on someone's word."""
    who, note = _line(by.who, 80), _line(by.note, 1000)
    with ledger.writes(by.time, who, note) as opened:
        yield opened


def _line(text: str, most: int) -> str:
    """Return text as one printable line."""
    return "".join(c for c in " ".join(text.split()) if c.isprintable())[:most]
