"""An open ledger: reads on a snapshot, writes one at a time, each all or nothing."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from linewright.core.errors import CannotError, DamagedError, InputError, LinewrightError
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say

# What a database says when it cannot, in words that say what to do

SAID = (
    (("database is locked", "database table is locked", "lock timeout", "locking protocol"),
     mark("{where} is locked: another program is writing to it and does not finish. Nothing was written. "
     "Close that program, or try again in a moment.")),
    (("disk is full", "no space left", "disk i/o error", "could not extend file"),
     mark("{where} cannot grow: the disk is full, over its limit, or failing. Nothing of this change was written; "
     "what was kept before is intact. Make room, then try again.")),
    (("readonly database", "read-only"),
     mark("{where} is in a place that cannot be written to. Copy it to one that can, or name another with --ledger.")),
    (("unable to open database file",),
     mark("{where} cannot be opened: its folder is missing or may not be written to. Name another with --ledger.")),
    (("malformed", "disk image"),
     mark("{where} is damaged. Close it and open it again: that says what is hurt and which of its copies is whole.")),
    (("connection failed", "could not connect", "connection refused", "server closed", "connection is lost",
     "terminating connection"),
     mark("{where} does not answer. Is the server running, and the address right?")),
)  # fmt: skip


@contextmanager
def told(where: str) -> Iterator[None]:
    """Turn a database's complaint into one of ours.

    Raises
    ------
    InputError
        If the file is no database.
    CannotError
        If it is locked, full, read-only, damaged or does not answer.
    """
    try:
        yield
    except LinewrightError:
        raise
    except DBAPIError as cause:
        raise _words(str(cause.orig), where) from cause
    except UnicodeDecodeError as cause:  # the driver cannot even say what is wrong: its words hold bytes of the file
        raise _words("malformed", where) from cause


def _words(said: str, where: str) -> LinewrightError:
    low = said.lower()
    if "not a database" in low:
        rule = say("must be a ledger; {where} is a file of another kind", where=where)
        return InputError("ledger", rule, cure=say("Name another file with --ledger."))
    for signs, words in SAID:
        if any(sign in low for sign in signs):
            return CannotError(say(words, where=where))
    return CannotError(
        say("{where} could not do it: {why}.", where=where, why=said.splitlines()[0] if said else "no reason given")
    )


# An open ledger: reads on a snapshot, writes one at a time, each all or nothing

CHANNEL = "linewright"
"""Where a server tells the programs of a ledger that something was written, and what they call out to each other."""
Snapshot = Connection
"""What is read from: the ledger as it was when the reading began."""


@dataclass(frozen=True, slots=True)
class Writing:
    """One transaction that writes: when, on whose word, and which earlier change it sets back."""

    connection: Connection
    at: str
    who: str
    note: str = ""
    undoes: int | None = None


@dataclass(slots=True)
class Ledger:
    """An open ledger.

    Attributes
    ----------
    where : str
        Its file, or its URL without the password.
    path : Path, optional
        Its file; None on a server.
    remarks : list of str
        What went amiss on opening without being in the way: a daily copy that could not be written.
    after_writing : list of callable
        Called, quickly, each time something was written here.
    """

    engine: Engine
    where: str
    path: Path | None = None
    remarks: list[str] = field(default_factory=list)
    after_writing: list[Callable[[], object]] = field(default_factory=list)
    _writer: threading.Lock = field(default_factory=threading.Lock)
    _moment: threading.local = field(default_factory=threading.local, repr=False)

    @contextmanager
    def one_moment(self) -> Iterator[None]:
        """Let all that this thread reads meanwhile be of one moment, whoever writes: what rests on it goes together."""
        before: Connection | None = getattr(self._moment, "snapshot", None)
        with self.reads() as snapshot:
            self._moment.snapshot = snapshot
            try:
                yield
            finally:
                self._moment.snapshot = before

    @contextmanager
    def reads(self) -> Iterator[Connection]:
        """Open a snapshot to read from; within one moment, that of the moment."""
        held: Connection | None = getattr(self._moment, "snapshot", None)
        if held is not None:
            yield held
            return
        with told(self.where), self.engine.connect() as plain:
            # A server shows each statement the newest state unless told otherwise; a file does not.
            connection = plain.execution_options(isolation_level="REPEATABLE READ") if self.path is None else plain
            with connection.begin():
                yield connection

    @contextmanager
    def writes(self, at: datetime, who: str = "", note: str = "") -> Iterator[Writing]:
        """Open a transaction to write in. Once it ends without an error, what it wrote is on the disk."""
        with told(self.where), self._writer, self.engine.connect() as plain:
            connection = plain.execution_options(writes=True)
            with connection.begin():
                yield Writing(connection, stamp(at), who, note)
        for tell in list(self.after_writing):
            tell()

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def stamp(at: datetime) -> str:
    """Return a time as it is kept: UTC, to the millisecond, so that later sorts after earlier.

    >>> stamp(datetime(2026, 4, 2, 10, 30, tzinfo=UTC))
    '2026-04-02T10:30:00.000Z'
    """
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def written(body: Mapping[str, Any]) -> str:
    """Return a body as it is kept: JSON, no number that JSON does not know.

    Raises
    ------
    InputError
        If it holds what no text can.
    """
    text = json.dumps(body, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    try:
        text.encode()
    except UnicodeEncodeError as cause:
        raise InputError("text", say("must hold characters only"), cure=say("Type it again.")) from cause
    return text


def parsed(text: str | None) -> Any:
    """Return what was kept as plain data; None for nothing.

    Raises
    ------
    DamagedError
        If it is no JSON any more.
    """
    try:
        return None if text is None else json.loads(text)
    except ValueError as cause:
        raise DamagedError(say("A row of the ledger is damaged. {see}", see=SEE)) from cause


SEE = "`linewright shelf check` names each row that is hurt; `linewright shelf recover` makes a whole ledger again."
"""What to do about a row that is no longer what was written."""
