"""The result of a bench session: judged once for each state of its readings, however many ask at once."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, NamedTuple, get_args
from urllib.parse import quote

from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import BenchResult, Lacking
from linewright.core.nouns.ledger import Body, Item, KeptReading
from linewright.store import items as readings
from linewright.store.ledger import Ledger
from linewright.store.standing import AllKept, kept_now
from linewright.verbs.shelf import imagined, sheet_of_rows
from linewright.verbs.shelf_evidence import HeardSession
from linewright.web.apart import Apart
from linewright.web.jobs import Tell, Work, Works

if TYPE_CHECKING:
    from linewright.inference.bench.pieces import SheetMessages

MOST = 24
LACKING = "lacking"
"""What a note keeps beside its words where it says that some gear is not at hand, now and for all sessions to come."""
Found = tuple[BenchSheet, BenchResult | None]
Proved = tuple[Found, Callable[[], bool] | None]
"""A judgement, and what tells the shelf what it says of its pieces, where that could not be told yet."""
Cells = Mapping[str, str]


class EvidenceState(NamedTuple):
    """What a judgement rests on: the session and its version, own line types with theirs, the readings that stand.

    ``lacking`` is gear that nobody has, so that no reading is proposed with it.
    """

    session: str
    version: int
    lines: tuple[tuple[str, int], ...]
    readings: tuple[tuple[int, tuple[tuple[str, str], ...]], ...]
    lacking: tuple[Lacking, ...] = ()


Asked = tuple[EvidenceState, bool]
"""A state, and whether the workings of its figures are wanted."""


@dataclass(frozen=True, eq=False)
class _Standing:
    """A session as it stands or might stand: its name, its item, own line types with their versions, all its rows."""

    session: str
    item: Item
    lines: tuple[tuple[str, int], ...]
    rows: tuple[KeptReading, ...]
    lacking: tuple[Lacking, ...] = ()
    notes: tuple[Body, ...] = ()

    @cached_property
    def state(self) -> EvidenceState:
        told = tuple((r.number, tuple(sorted(r.cells.items()))) for r in readings.standing(self.rows) if r.cells)
        return EvidenceState(self.session, self.item.version, self.lines, told, self.lacking)

    def followed_by(self, now: AllKept, touched: Sequence[str]) -> _Standing:
        """Return how it stands once readings came to some sessions."""
        return replace(self, rows=now.rows(self.item.key)) if self.item.key in touched else self


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


class _Manner(NamedTuple):
    """How a judgement is asked for."""

    anew: bool = False
    explained: bool = False
    patience_s: float | None = None


@dataclass(slots=True)
class Judgements:
    """Judgements of an app, the latest few. A caller waits briefly for one already under way."""

    works: Works = field(default_factory=Works)
    apart: bool = False
    _under_way: dict[tuple[str, bool], Work] = field(default_factory=dict)
    _ahead: dict[str, Work] = field(default_factory=dict)
    _known: OrderedDict[Asked, Found] = field(default_factory=OrderedDict)
    _read: OrderedDict[str, tuple[EvidenceState, BenchSheet]] = field(default_factory=OrderedDict)
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
            standing, found = self._now(ledger, session, _Manner(anew, explained))
        item, rows = standing.item, standing.rows
        if isinstance(found, Work):
            return Session(item, rows, self._sheet(ledger, standing), standing.notes, None, found)
        return Session(item, rows, found[0], standing.notes, found[1])

    def ahead(self, ledger: Ledger, session: str, changes: Sequence[tuple[int, Cells | None]]) -> None:
        """Begin to judge a session as it would be with some readings changed, if nobody waits for other work.

        Once they are kept, the judgement is there or on its way. A newer guess takes the place of an older one.

        Raises
        ------
        InputError
            If a change cannot be.
        """
        now = _standing(ledger, session)
        would = replace(now, rows=imagined(now.rows, changes))
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

    def rows(self, ledger: Ledger, session: str, now: AllKept | None = None) -> Session:
        """Return a session without a judgement, for those who only need its lines; ``now`` is the ledger as read."""
        standing = _standing(ledger, session, now)
        return Session(standing.item, standing.rows, self._sheet(ledger, standing), standing.notes, None)

    def _sheet(self, ledger: Ledger, standing: _Standing) -> BenchSheet:
        """Return a session's sheet; the one it was judged by, else the one that was read last, where it is the same."""
        state, name = standing.state, standing.session
        with self._lock:
            known = self._known.get((state, False)) or self._known.get((state, True))
            read = self._read.get(name)
        if known:
            return known[0]
        if read is None or read[0] != state:
            read = state, sheet_of_rows(ledger, standing.item, standing.rows)
            with self._lock:
                self._read[name] = read
                self._read.move_to_end(name)
                while len(self._read) > MOST:
                    self._read.popitem(last=False)
        return read[1]

    def glance(
        self, ledger: Ledger, session: str, patience_s: float, now: AllKept | None = None
    ) -> tuple[BenchResult | None, bool]:
        """Return what a session says, and whether that is of its newest readings; wait for it no longer than told."""
        mine = self._lock_of(ledger, session)
        if mine.acquire(timeout=patience_s):
            try:
                _, found = self._now(ledger, session, _Manner(patience_s=patience_s), now)
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

    def _now(
        self, ledger: Ledger, session: str, how: _Manner, now: AllKept | None = None
    ) -> tuple[_Standing, Found | Work]:
        standing = _standing(ledger, session, now)
        return standing, self._judged(ledger, standing, how)

    def _judged(self, ledger: Ledger, standing: _Standing, how: _Manner) -> Found | Work:
        state = standing.state
        with self._lock:
            for asked in ((state, True),) if how.explained else ((state, False), (state, True)):
                if asked in self._known:
                    self._known.move_to_end(asked)
                    return self._known[asked]
        work = self._work(ledger, standing, how)
        if not work.wait(how.patience_s) or (work.failed and work.stopped):
            return work
        proved: Proved = work.answer()
        found, hear = proved
        self.works.forget(work)
        if hear is not None:
            hear()  # of readings that were not kept yet when it was judged
        with self._lock:
            self._known[state, how.explained] = found
            while len(self._known) > MOST:
                self._known.popitem(last=False)
        return found

    def _work(self, ledger: Ledger, standing: _Standing, how: _Manner) -> Work:
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
            self._dropped(older)
        with self._lock:
            self._under_way = {of: one for of, one in self._under_way.items() if not one.done} | {mine: work}
        return work

    def _begun(self, ledger: Ledger, standing: _Standing, name: str, *, explained: bool) -> Work:
        title, back = f"What {standing.item.body['title']} says", f"/bench/said/{quote(standing.item.key)}"
        return self.works.begin(name, title, back, partial(_proved, ledger, standing, (explained, self.apart)))

    def _dropped(self, work: Work) -> None:
        """Let go of work that nobody waits for."""
        work.stop()
        self.works.forget(work)


def _standing(ledger: Ledger, session: str, now: AllKept | None = None) -> _Standing:
    """Return a session as it stands, worked out once for as long as nothing is written."""
    now = kept_now(ledger) if now is None else now
    return now.once(("standing", session), lambda: _standing_in(now, _name(ledger, session), session))


def _standing_in(now: AllKept, name: str, session: str) -> _Standing:
    lines = tuple((i.key, i.version) for i in now.every("line", archived=False))
    notes = now.every("note", archived=False)
    told = [n.body.get(LACKING) for n in notes]
    missing = {what for words in told if isinstance(words, list) for what in words}
    lacking = tuple(what for what in get_args(Lacking) if what in missing)
    mine = sorted((n.body for n in notes if (n.body["kind"], n.body["key"]) == ("sheet", session)), key=_written_at)
    return _Standing(name, now.needed("sheet", session), lines, now.rows(session), lacking, tuple(mine))


def _written_at(note: Body) -> str:
    return str(note["at"])


def _name(ledger: Ledger, session: str) -> str:
    return f"{ledger.where}\n{session}"


LARGE = 60
"""Bands read, counted for each meter, from which on a bench is judged in a process of its own: seconds of work."""


def _proved(ledger: Ledger, standing: _Standing, how: tuple[bool, bool], tell: Tell) -> Proved:
    """Judge a session, for its page and for the shelf at once."""
    explained, apart = how
    with ledger.one_moment():
        sheet = sheet_of_rows(ledger, standing.item, standing.rows)
        kept = [r for r in readings.standing(standing.rows) if r.cells is not None]
        hearing = HeardSession.of(ledger, standing.item, sheet, kept)
    if not ((sheet.readings or sheet.one_end) and sheet.pieces):
        return (sheet, None), None
    if apart and len({(r.meter, r.frequency_hz) for r in sheet.readings}) > LARGE:
        result, said = Apart(_judged, sheet, explained, standing.lacking, tells=True).answer(tell)
    else:
        result, said = _judged(sheet, explained, standing.lacking, tell)
    hear = partial(hearing.heard, ledger, sheet, said) if hearing else None
    return (sheet, result), None if hear is None or hear() else hear


def _judged(
    sheet: BenchSheet, explained: bool, lacking: Collection[Lacking], tell: Tell
) -> tuple[BenchResult, SheetMessages]:
    from linewright.verbs.prove import prove_and_tell

    return prove_and_tell(sheet, progress=tell, explained=explained, lacking=lacking)
