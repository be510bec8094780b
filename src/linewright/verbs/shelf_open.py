"""Where the ledger lies, and on whose word something is written."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from linewright.store import backups
from linewright.store.ledger import Ledger, Writing
from linewright.store.opening import open_at

VARIABLE = "LINEWRIGHT_LEDGER"


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


def usual_place() -> str:
    """Return where the ledger lies if nobody says: what LINEWRIGHT_LEDGER names, or the user's data folder."""
    if named := os.environ.get(VARIABLE):
        return named
    from platformdirs import user_data_path

    return str(user_data_path("linewright", appauthor=False) / "ledger.sqlite")


def open_ledger(where: str | Path | None = None, *, at: datetime | None = None) -> Ledger:
    """Return an open ledger, made when it is not there, brought up to date when it is old.

    Its file is copied once a day, and before its tables change. Close it, or use it in a ``with``.

    Parameters
    ----------
    where : str or Path, optional
        A file, or the URL of a PostgreSQL database. Without it: LINEWRIGHT_LEDGER, or the usual place.
    at : datetime, optional
        The time now.

    Raises
    ------
    InputError
        If there is something else than a ledger.
    CannotError
        If it is locked, comes from a newer version, cannot be written, or the server does not answer.
    """
    return open_at(str(where) if where is not None else usual_place(), at or datetime.now(UTC))


def back_up(ledger: Ledger, *, at: datetime | None = None) -> Path:
    """Copy a ledger's file now, and return where the copy is.

    Raises
    ------
    CannotError
        If it cannot be written, or the ledger is on a server.
    """
    return backups.back_up(ledger, at or datetime.now(UTC))


@contextmanager
def writing(ledger: Ledger, by: By) -> Iterator[Writing]:
    """Open a transaction on someone's word."""
    who, note = _line(by.who, 80), _line(by.note, 1000)
    with ledger.writes(by.time, who, note) as opened:
        yield opened


def _line(text: str, most: int) -> str:
    """Return text as one printable line."""
    return "".join(c for c in " ".join(text.split()) if c.isprintable())[:most]
