"""The ledger of a running app: opened once, when it is first asked for, and shared by all of its threads.

Its connections come from a pool; readers see a snapshot each, writers take turns. One app, one open ledger.
"""

from __future__ import annotations

import threading
import time
from collections.abc import AsyncIterator, Iterable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from fastapi import FastAPI, Request

from linewright.core.errors import LinewrightError
from linewright.core.messages import mark, say, together
from linewright.core.nouns.ledger import Change
from linewright.store.ledger import Ledger
from linewright.verbs.shelf import changes
from linewright.verbs.shelf_open import By, keep_daily, open_ledger
from linewright.web.bearers import bearer

# The ledger of a running app: opened once, when it is first asked for, and shared by all of its threads


DAY_S = 24 * 3600.0
"""A ledger that stays open is checked whole, and copied, this often."""


@dataclass(slots=True)
class Opened:
    """The one ledger of an app; a failed opening is tried again at the next request."""

    where: str | None
    _ledger: Ledger | None = None
    _found: tuple[str, ...] = ()
    _checked_s: float = 0.0
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
                self._found, self._checked_s = (), time.monotonic()
            if time.monotonic() - self._checked_s > DAY_S:
                self._checked_s = time.monotonic()
                threading.Thread(target=self._daily, args=(self._ledger,), name="daily check", daemon=True).start()
            return self._ledger

    @property
    def remarks(self) -> tuple[str, ...]:
        """What should be known of the ledger: what went amiss on opening, and what the last daily check found."""
        ledger = self._ledger
        return tuple(dict.fromkeys((*ledger.remarks, *self._found))) if ledger else ()

    def _daily(self, ledger: Ledger) -> None:
        try:
            self._found = keep_daily(ledger)
        except LinewrightError as cause:
            self._found = (str(cause),)

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
    """Return on whose word something is written: who sits at the station, a visitor on the network, or a token."""
    program = bearer(request)
    if program is not None:
        return By(who=program.name, note=note)
    lan = bool(request.app.state.settings.pass_phrase)
    return By(who="network" if lan else "", note=note)


@asynccontextmanager
async def closed_at_the_end(app: FastAPI) -> AsyncIterator[None]:
    """Close the ledger when the app stops."""
    yield
    app.state.live.close()
    app.state.live.wait()
    app.state.opened.close()


# Which change is the next to be undone: undone ones, and those that undid, are passed over

MOST = 60
"""Changes looked back through for one that can be undone."""


@dataclass(frozen=True, slots=True)
class Undoable:
    """A change that can be undone now, in words."""

    number: int
    words: str
    at: str


def pending(found: Iterable[Change]) -> list[Change]:
    """Return changes that stand, newest first, from all changes newest first."""
    undone: set[int] = set()
    standing = []
    for c in found:
        if c.undoes is not None:
            undone.add(c.undoes)
        elif c.id not in undone:
            standing.append(c)
    return standing


def last_of_session(ledger: Ledger, session: str) -> Undoable | None:
    """Return the last change to a session's readings that stands."""
    found = changes(ledger, kind="reading", most=MOST).changes
    mine = [c for c in found if c.key.rpartition(" / ")[0] == session]
    return next((Undoable(c.id, words_of(c), c.at) for c in pending(mine)), None)


def undoables(found: Sequence[Change], most: int = 20) -> tuple[Undoable, ...]:
    """Return the newest changes that stand, one a thing: what was changed again since is undone first."""
    first: dict[tuple[str, str], Change] = {}
    for c in pending(found):
        first.setdefault((c.kind, c.key), c)
    return tuple(Undoable(c.id, words_of(c), c.at) for c in list(first.values())[:most])


def words_of(c: Change) -> str:
    """Return a change in words: "blue 7 on the desk meter at 14.2 MHz: 8.2, was 8.0"."""
    if c.kind == "reading":
        told = c.after or c.before or {}
        where = {name: str(told.get(name)) for name in ("path", "meter", "frequency")}
        if c.before:
            now, was = _value(c.after), _value(c.before)
            return say("{path} on the {meter} at {frequency}: {now}, was {was}", now=now, was=was, **where)
        return say("{path} on the {meter} at {frequency}: {now}", now=_value(c.after), **where)
    if c.before is None:
        return say("{thing} added", thing=_thing(c))
    before, after = c.before.get("archived"), (c.after or {}).get("archived")
    if before != after:
        return say("{thing} put away", thing=_thing(c)) if after else say("{thing} brought back", thing=_thing(c))
    was = c.before.get("body", {}).get("tag", c.key)
    if was != c.key:
        return say("{kind} {was} renamed {now}", kind=say(c.kind), was=was, now=c.key)
    fields = fields_of(c)
    if fields:
        return say("{thing} changed: {fields}", thing=_thing(c), fields=fields)
    return say("{thing} changed", thing=_thing(c))


def _thing(c: Change) -> str:
    """Return what was changed, by the name a person knows it by: a note by what it is on."""
    if c.kind != "note":
        return say("{kind} {name}", kind=say(c.kind), name=c.key)
    body = (c.after or c.before or {}).get("body", {})
    return say("note on {kind} {name}", kind=say(str(body.get("kind"))), name=str(body.get("key")))


def _value(cells: object) -> str:
    return str(cells["reading"]) if isinstance(cells, dict) else say("withdrawn")


def fields_of(c: Change) -> str:
    """Return the changed fields of a thing: "length 7 m to 7.2 m"; empty where that is too long to tell."""
    old, new = (c.before or {}).get("body", {}), (c.after or {}).get("body", {})
    names = [k for k in {**old, **new} if old.get(k) != new.get(k)]
    none = say("not stated")
    said = [
        say(
            "{field} {was} to {now}",
            field=k,
            was=str(old[k]) if k in old else none,
            now=str(new[k]) if k in new else none,
        )
        for k in names
        if k != "card"
    ]
    told = together(said, "; ")
    return told if len(told) < MOST_FIELDS else ""


MOST_FIELDS = 120
"""Letters in which the changed fields of a thing are told."""

KIND_WORDS = (
    mark("piece"), mark("stock"), mark("line"), mark("meter"), mark("sheet"), mark("sweep"), mark("station"),
    mark("note"), mark("attenuator"), mark("load"), mark("radio"), mark("antenna"),
)  # fmt: skip
"""Each kind of thing kept, in words."""
