"""What is new in a ledger, for those who wait for it: its changes by their numbers, and what other programs call out.

Writers take turns, so no change appears after one of a higher number: the number of the last change seen is all that a
watcher must remember. A server tells its programs at once that one of them has written, and carries words between them
(PostgreSQL 15, LISTEN and NOTIFY); a file has nobody to carry them to, so one looks whether it was touched.
"""

from __future__ import annotations

import selectors
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import DBAPIError

from linewright.store.ledger import CHANNEL, Ledger, told

MOST_SAID = 7900
"""Bytes of one call: a server refuses 8,000 (PostgreSQL 15, NOTIFY)."""


GLANCE_S = 0.04
"""How often a file is glanced at; where a system is slow to say that it was written, the end of the waiting tells."""


class Watch:
    """Waits until something is written or called out; what this program writes itself wakes it at once."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._line: _Line | None = None if ledger.path is not None else _Line(ledger)
        self._woken = threading.Event()
        self._wake = self._woken.set if self._line is None else self._line.wake
        self._seen = self._touched()
        self._unsettled = False
        ledger.after_writing.append(self._wake)

    @property
    def hears(self) -> bool:
        """Whether it is told of what others write; else it sees for itself."""
        return self._line is not None

    def wait(self, most_s: float) -> list[str]:
        """Wait, for so long at most, and return what was called out meanwhile.

        Raises
        ------
        CannotError
            If the server does not answer.
        """
        if self._line is not None:
            return self._line.heard(most_s)
        until = time.monotonic() + most_s
        changed, again = False, self._unsettled
        while (left_s := until - time.monotonic()) > 0 and not self._woken.wait(min(GLANCE_S, left_s)):
            changed = self._touched() != self._seen
            if changed or again:
                break
        self._woken.clear()
        # Whoever waited looks into the file now. What is in the file is not in view until its log says so: where it had
        # just changed, the next wait ends after one glance.
        self._seen, self._unsettled = self._touched(), changed
        return []

    def _touched(self) -> list[tuple[int, int] | None]:
        """Return when the file and its log were written last, and how large they are: no look inside, and no lock."""
        path = self._ledger.path
        return [] if path is None else [_stamp(path), _stamp(path.with_name(f"{path.name}-wal"))]

    def wake(self) -> None:
        """End the waiting."""
        self._wake()

    def close(self) -> None:
        """Watch no longer."""
        self._ledger.after_writing.remove(self._wake)
        if self._line is not None:
            self._line.close()


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


class _Line:
    """A connection that hears what is called out, apart from those that read and write, and a bell to end the wait."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger, self._line = ledger, _line_to(ledger)
        self._bell, self._rung = socket.socketpair()
        self._bell.setblocking(False)
        self._rung.setblocking(False)
        self._either = selectors.DefaultSelector()
        self._either.register(self._rung, selectors.EVENT_READ)
        self._either.register(self._line, selectors.EVENT_READ)

    def wake(self) -> None:
        # A bell that is full, or gone, has rung already.
        with suppress(OSError):
            self._bell.send(b"!")

    def heard(self, most_s: float) -> list[str]:
        """Wait for the bell or for a call; a call without words says only that something was written."""
        self._either.select(most_s)
        with suppress(OSError):
            while self._rung.recv(4096):
                pass
        with _of_driver(self._ledger):
            return [heard.payload for heard in self._line.notifies(timeout=0) if heard.payload]

    def close(self) -> None:
        for one in (self._either, self._bell, self._rung, self._line):
            one.close()


def _line_to(ledger: Ledger) -> Any:
    """Return a connection that hears what is called out, apart from those that read and write."""
    with _of_driver(ledger):
        borrowed = ledger.engine.raw_connection()
        line: Any = borrowed.driver_connection
        borrowed.detach()
        line.autocommit = True
        line.execute(f"LISTEN {CHANNEL}")
        return line


@contextmanager
def _of_driver(ledger: Ledger) -> Iterator[None]:
    """Turn what the driver itself complains of into one of our errors."""
    from psycopg import Error

    with told(ledger.where):
        try:
            yield
        except Error as cause:
            raise DBAPIError(None, None, cause) from cause


def call_out(ledger: Ledger, words: str) -> None:
    """Call something out to the other programs on a server; too long a call, and one on a file, reaches nobody.

    Raises
    ------
    CannotError
        If the server does not answer.
    """
    if ledger.path is None and len(words.encode()) <= MOST_SAID:
        with told(ledger.where), ledger.engine.begin() as connection:
            connection.execute(select(func.pg_notify(CHANNEL, words)))
