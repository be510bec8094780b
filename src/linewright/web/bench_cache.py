"""What a bench session says: judged once for each state of its readings, whoever asks and however many at once."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import NamedTuple
from urllib.parse import quote

from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.ledger import Body, Item, KeptReading
from linewright.store import items
from linewright.store import items as readings
from linewright.store.ledger import Ledger
from linewright.verbs.shelf import imagined, notes_of, sheet_of_rows
from linewright.web.jobs import PATIENCE_S, Tell, Work, Works

MOST = 24
Found = tuple[BenchSheet, BenchResult | None]
Cells = Mapping[str, str]


class EvidenceState(NamedTuple):
    """What a judgement rests on: the session and its version, own line types with theirs, the readings that stand."""

    session: str
    version: int
    lines: tuple[tuple[str, int], ...]
    readings: tuple[tuple[int, tuple[tuple[str, str], ...]], ...]


Asked = tuple[EvidenceState, bool]
"""A state, and whether the workings of its figures are wanted."""


class _Standing(NamedTuple):
    """A session as it stands or might stand: its name, its item, own line types with their versions, all its rows."""

    session: str
    item: Item
    lines: tuple[tuple[str, int], ...]
    rows: tuple[KeptReading, ...]

    @property
    def state(self) -> EvidenceState:
        told = tuple((r.number, tuple(sorted(r.cells.items()))) for r in readings.standing(self.rows) if r.cells)
        return EvidenceState(self.session, self.item.version, self.lines, told)


@dataclass(frozen=True, slots=True, eq=False)
class Session:
    """A session as it stands: its item, every row of its readings, its sheet, its notes, and what it all says.

    ``result`` is None while there is nothing to judge, and while ``pending``, the work that judges it, is under way or
    was stopped.
    """

    item: Item
    rows: tuple[KeptReading, ...]
    sheet: BenchSheet
    notes: tuple[Body, ...]
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
    _ahead: dict[str, Work] = field(default_factory=dict)
    _known: OrderedDict[Asked, Found] = field(default_factory=OrderedDict)
    _locks: dict[str, threading.Lock] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def bench(self, ledger: Ledger, session: str, *, anew: bool = False, explained: bool = False) -> Session:
        """Return a session with what it says now, or with the work that finds out.

        A judgement of older readings is stopped for that of newer ones. One that a person stopped stays so unless it is
        asked ``anew``. The workings of its figures are there only where they are asked for: they take longer.

        Raises
        ------
        UnknownNameError
            If there is no such session.
        """
        with self._lock_of(ledger, session):
            standing, found = self._now(ledger, session, _How(anew, explained))
        item, rows = standing.item, standing.rows
        notes = tuple(n.body for n in notes_of(ledger, "sheet", session))
        if isinstance(found, Work):
            return Session(item, rows, sheet_of_rows(ledger, item, rows), notes, None, found)
        return Session(item, rows, found[0], notes, found[1])

    def ahead(self, ledger: Ledger, session: str, changes: Sequence[tuple[int, Cells | None]]) -> None:
        """Begin to judge a session as it would be with some readings changed, if nobody waits for other work.

        Once they are kept, the judgement is there or on its way. A newer guess takes the place of an older one.

        Raises
        ------
        InputError
            If a change cannot be.
        """
        now = _standing(ledger, session)
        would = now._replace(rows=imagined(now.rows, changes))
        name = repr((would.state, False))
        with self._lock:
            older = self._ahead.get(now.session)
            if older is not None and older is self.works.named(name):
                return
            if older is not None:
                del self._ahead[now.session]
                self._dropped(older)
            known = (would.state, False) in self._known or (would.state, True) in self._known
            if not known and self.works.idle:
                self._ahead[now.session] = self._begun(ledger, would, name, explained=False)

    def rows(self, ledger: Ledger, session: str) -> Session:
        """Return a session without a judgement, for those who only need its lines."""
        standing = _standing(ledger, session)
        item, rows, state = standing.item, standing.rows, standing.state
        notes = tuple(n.body for n in notes_of(ledger, "sheet", session))
        with self._lock:
            known = self._known.get((state, False)) or self._known.get((state, True))
        return Session(item, rows, known[0] if known else sheet_of_rows(ledger, item, rows), notes, None)

    def glance(self, ledger: Ledger, session: str, patience_s: float) -> tuple[BenchResult | None, bool]:
        """Return what a session says, and whether that is of its newest readings; wait for it no longer than told."""
        mine = self._lock_of(ledger, session)
        if mine.acquire(timeout=patience_s):
            try:
                _, found = self._now(ledger, session, _How(patience_s=patience_s))
            finally:
                mine.release()
            if not isinstance(found, Work):
                return found[1], True
        return self._before(ledger, session), False

    def _before(self, ledger: Ledger, session: str) -> BenchResult | None:
        """Return the newest judgement of a session that is remembered, of fewer readings than it has now."""
        name = _name(ledger, session)
        with self._lock:
            return next(
                (found[1] for (state, _), found in reversed(self._known.items()) if state.session == name), None
            )

    def _lock_of(self, ledger: Ledger, session: str) -> threading.Lock:
        with self._lock:
            return self._locks.setdefault(_name(ledger, session), threading.Lock())

    def _now(self, ledger: Ledger, session: str, how: _How) -> tuple[_Standing, Found | Work]:
        standing = _standing(ledger, session)
        return standing, self._judged(ledger, standing, how)

    def _judged(self, ledger: Ledger, standing: _Standing, how: _How) -> Found | Work:
        state = standing.state
        with self._lock:
            for asked in ((state, True),) if how.explained else ((state, False), (state, True)):
                if asked in self._known:
                    self._known.move_to_end(asked)
                    return self._known[asked]
        work = self._work(ledger, standing, how)
        if not work.wait(how.patience_s) or (work.failed and work.stopped):
            return work
        found: Found = work.answer()
        self.works.forget(work)
        with self._lock:
            self._known[state, how.explained] = found
            while len(self._known) > MOST:
                self._known.popitem(last=False)
        return found

    def _work(self, ledger: Ledger, standing: _Standing, how: _How) -> Work:
        """Return the work that judges a session, one that was begun ahead if it is the same."""
        name, mine = repr((standing.state, how.explained)), (standing.state.session, how.explained)
        with self._lock:
            known, ahead = self.works.named(name), self._ahead.pop(standing.state.session, None)
            if ahead is not None and ahead is not known:
                self._dropped(ahead)
        if known is not None and known.stopped and not how.anew:
            return known
        older = self._under_way.get(mine)
        work = self._begun(ledger, standing, name, explained=how.explained)
        if older is not None and older is not work:
            older.stop()
        self._under_way[mine] = work
        return work

    def _begun(self, ledger: Ledger, standing: _Standing, name: str, *, explained: bool) -> Work:
        title, back = f"What {standing.item.body['title']} says", f"/bench/said/{quote(standing.item.key)}"
        return self.works.begin(name, title, back, partial(_proved, ledger, standing, explained))

    def _dropped(self, work: Work) -> None:
        """Let go of work that nobody waits for."""
        work.stop()
        self.works.forget(work)


def _standing(ledger: Ledger, session: str) -> _Standing:
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "sheet", session)
        rows = tuple(readings.all_of(snapshot, [session]))
        lines = tuple((i.key, i.version) for i in items.every(snapshot, "line", archived=False))
    return _Standing(_name(ledger, session), item, lines, rows)


def _name(ledger: Ledger, session: str) -> str:
    return f"{ledger.where}\n{session}"


def _proved(ledger: Ledger, standing: _Standing, explained: bool, tell: Tell) -> Found:
    from linewright.verbs.prove import prove_cable

    sheet = sheet_of_rows(ledger, standing.item, standing.rows)
    judge = bool(sheet.readings or sheet.one_end) and bool(sheet.pieces)
    return sheet, prove_cable(sheet, progress=tell, explained=explained) if judge else None
