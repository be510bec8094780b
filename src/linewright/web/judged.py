"""What a bench session says: judged once for each state of its readings, whoever asks and however many at once."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import NamedTuple
from urllib.parse import quote

from linewright.ledger import items, readings
from linewright.ledger.store import Ledger
from linewright.model.bench import BenchSheet
from linewright.model.ledger import Item, KeptReading
from linewright.model.result import BenchResult
from linewright.web.long_work import PATIENCE_S, Tell, Work, Works
from linewright.workflows.shelf import notes_of, sheet_of

MOST = 24
State = tuple[str, int, tuple[tuple[int, int], ...]]
Asked = tuple[State, bool]
"""A state, and whether the workings of its figures are wanted."""


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """A session as it stands: its item, every row of its readings, its sheet, its notes, and what it all says.

    ``result`` is None while there is nothing to judge, and while ``pending``, the work that judges it, is under way or
    was stopped.
    """

    item: Item
    rows: tuple[KeptReading, ...]
    sheet: BenchSheet
    notes: tuple[str, ...]
    result: BenchResult | None
    pending: Work | None = None


class _How(NamedTuple):
    """How a judgement is asked for."""

    anew: bool = False
    explained: bool = False
    patience_s: float = PATIENCE_S


@dataclass(slots=True)
class Judged:
    """Judgements of an app, the latest few. Who asks for one that is under way waits a moment for it."""

    works: Works = field(default_factory=Works)
    _under_way: dict[tuple[str, bool], Work] = field(default_factory=dict)
    _known: OrderedDict[Asked, tuple[BenchSheet, BenchResult | None]] = field(default_factory=OrderedDict)
    _locks: dict[str, threading.Lock] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def bench(self, ledger: Ledger, session: str, *, anew: bool = False, explained: bool = False) -> Bench:
        """Return a session with what it says now, or with the work that finds out.

        A judgement of older readings is stopped for that of newer ones. One that a person stopped stays so unless it is
        asked ``anew``. The workings of its figures are there only where they are asked for: they take longer.

        Raises
        ------
        UnknownNameError
            If there is no such session.
        """
        with self._lock_of(ledger, session):
            item, rows, found = self._now(ledger, session, _How(anew, explained))
        notes = tuple(n.body["text"] for n in notes_of(ledger, "sheet", session))
        if isinstance(found, Work):
            return Bench(item, rows, sheet_of(ledger, session), notes, None, found)
        return Bench(item, rows, found[0], notes, found[1])

    def rows(self, ledger: Ledger, session: str) -> Bench:
        """Return a session without a judgement, for those who only need its lines."""
        with ledger.reads() as snapshot:
            item = items.needed(snapshot, "sheet", session)
            rows = tuple(readings.all_of(snapshot, [session]))
        notes = tuple(n.body["text"] for n in notes_of(ledger, "sheet", session))
        with self._lock:
            state = _state(ledger, item, rows)
            known = self._known.get((state, False)) or self._known.get((state, True))
        return Bench(item, rows, known[0] if known else sheet_of(ledger, session), notes, None)

    def glance(self, ledger: Ledger, session: str, patience_s: float) -> tuple[BenchResult | None, bool]:
        """Return what a session says, and whether that is of its newest readings; wait for it no longer than told."""
        mine = self._lock_of(ledger, session)
        if mine.acquire(timeout=patience_s):
            try:
                found = self._now(ledger, session, _How(patience_s=patience_s))[2]
            finally:
                mine.release()
            if not isinstance(found, Work):
                return found[1], True
        return self._before(ledger, session), False

    def _before(self, ledger: Ledger, session: str) -> BenchResult | None:
        """Return the newest judgement of a session that is remembered, of fewer readings than it has now."""
        name = _name(ledger, session)
        with self._lock:
            return next((found[1] for (state, _), found in reversed(self._known.items()) if state[0] == name), None)

    def _lock_of(self, ledger: Ledger, session: str) -> threading.Lock:
        with self._lock:
            return self._locks.setdefault(_name(ledger, session), threading.Lock())

    def _now(
        self, ledger: Ledger, session: str, how: _How
    ) -> tuple[Item, tuple[KeptReading, ...], tuple[BenchSheet, BenchResult | None] | Work]:
        with ledger.reads() as snapshot:
            item = items.needed(snapshot, "sheet", session)
            rows = tuple(readings.all_of(snapshot, [session]))
        return item, rows, self._judged(ledger, item, rows, how)

    def _judged(
        self, ledger: Ledger, item: Item, rows: Sequence[KeptReading], how: _How
    ) -> tuple[BenchSheet, BenchResult | None] | Work:
        state = _state(ledger, item, rows)
        with self._lock:
            for asked in ((state, True),) if how.explained else ((state, False), (state, True)):
                if asked in self._known:
                    self._known.move_to_end(asked)
                    return self._known[asked]
        work = self._work(ledger, item, (state, how.explained), how.anew)
        if not work.wait(how.patience_s) or (work.failed and work.stopped):
            return work
        found: tuple[BenchSheet, BenchResult | None] = work.answer()
        self.works.forget(work)
        with self._lock:
            self._known[state, how.explained] = found
            while len(self._known) > MOST:
                self._known.popitem(last=False)
        return found

    def _work(self, ledger: Ledger, item: Item, asked: Asked, anew: bool) -> Work:
        name, explained = repr(asked), asked[1]
        known = self.works.named(name)
        if known is not None and known.stopped and not anew:
            return known
        older = self._under_way.get((item.key, explained))
        work = self.works.begin(
            name,
            f"What {item.body['title']} says",
            f"/bench/said/{quote(item.key)}",
            partial(_proved, ledger, item.key, explained),
        )
        if older is not None and older is not work:
            older.stop()
        self._under_way[item.key, explained] = work
        return work


def _state(ledger: Ledger, item: Item, rows: Sequence[KeptReading]) -> State:
    return (_name(ledger, item.key), item.version, tuple((r.number, r.version) for r in rows))


def _name(ledger: Ledger, session: str) -> str:
    return f"{ledger.where}\n{session}"


def _proved(ledger: Ledger, session: str, explained: bool, tell: Tell) -> tuple[BenchSheet, BenchResult | None]:
    from linewright.workflows.prove import prove_cable

    sheet = sheet_of(ledger, session)
    judge = bool(sheet.readings or sheet.one_end) and bool(sheet.pieces)
    return sheet, prove_cable(sheet, progress=tell, explained=explained) if judge else None
