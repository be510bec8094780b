"""The ledger of a running app: opened once, when it is first asked for, and shared by all of its threads.

Its connections come from a pool; readers see a snapshot each, writers take turns. One app, one open ledger.
"""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from fastapi import FastAPI, Request

from linewright.ledger.store import Ledger
from linewright.workflows.shelf_open import By, open_ledger


@dataclass(slots=True)
class Opened:
    """The one ledger of an app; a failed opening is tried again at the next request."""

    where: str | None
    _ledger: Ledger | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def ledger(self) -> Ledger:
        """Return the open ledger.

        Raises
        ------
        CannotError
            If it is locked, comes from a newer version, or cannot be written.
        """
        with self._lock:
            if self._ledger is None:
                self._ledger = open_ledger(self.where)
            return self._ledger

    def close(self) -> None:
        """Close it; the next request opens it again."""
        with self._lock:
            if self._ledger is not None:
                self._ledger.close()
            self._ledger = None


def ledger_of(request: Request) -> Ledger:
    """Return the ledger the app was started on."""
    opened: Opened = request.app.state.opened
    return opened.ledger()


def by(request: Request, note: str = "") -> By:
    """Return on whose word something is written: who sits at the station, or a visitor on the network."""
    lan = bool(request.app.state.settings.pass_phrase)
    return By(who="network" if lan else "", note=note)


@asynccontextmanager
async def closed_at_the_end(app: FastAPI) -> AsyncIterator[None]:
    """Close the ledger when the app stops."""
    yield
    app.state.opened.close()
