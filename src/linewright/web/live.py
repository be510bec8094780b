"""Report changes of the ledger, as they are made, to every listening page and program (server-sent events).

One thread looks at the ledger while anybody listens: at once after this app wrote something, and as soon as others did,
such as the command line or another app on the same ledger. So whoever writes has nobody to tell::

    live: Live = request.app.state.live
    if live.full:
        ...                                     # say so; the page then asks from time to time
    return StreamingResponse(live.events(wants, topic), media_type=EVENTS)

``wants`` says of a ``Change`` whether it is to be told. ``topic`` names what else is told, with ``Live.tell``: things
that are in no ledger, such as who types where. A change's number is the id of its event, and whoever comes back with
the last one seen (``after``) misses nothing. Apps on one server tell each other what is in no ledger.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import threading
import time
from collections import deque
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from linewright.core.errors import LinewrightError
from linewright.core.nouns.ledger import Change
from linewright.store.ledger import Ledger
from linewright.store.watching import Watch, call_out
from linewright.verbs.shelf import changes

EVENTS = "text/event-stream"
MOST_LISTENERS, MOST_OF_ONE = 200, 50
"""Connections that may listen at once, and those of one visitor."""
MOST_WAITING = 100
"""Events that wait for one listener. One that falls further behind is cut off; it comes again and looks anew."""
MOST_CHANGES = 200
"""Changes told one by one; of more at once only the newest are told."""
LOOK_S = 0.2
"""How often a file is asked for what others wrote, whether it seems touched or not."""
LISTEN_S = 2.0
"""How often a server is asked, which tells of everything that a program of this version writes."""
AGAIN_S = 1.0
"""When a ledger that could not be read is tried again, and when a browser that was cut off comes back."""
BEAT_S = 15.0
"""How often a silent stream shows that it lives, so that whoever left is noticed, and who may listen no more."""
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""What those at one bench are called, in the order they come; whoever comes after the last shares it."""
HANDS, HANDS_S = "hands", 60.0
"""The event that tells who is where, and how long what another server says of its own people holds."""
MOST_WORD = 100
"""Characters of a name or a place that another server tells."""
Wants = Callable[[Change], bool]
EVERYTHING = "*"
"""The topic of a listener who hears every topic."""


def always() -> bool:
    """Return True: whoever listens may do so to the end."""
    return True


@dataclass(slots=True, eq=False)
class _Listener:
    wants: Wants
    topic: str
    who: str
    visitor: str
    loop: asyncio.AbstractEventLoop
    waiting: asyncio.Queue[tuple[int, bytes]] = field(default_factory=asyncio.Queue)
    seen: int = 0
    ended: bool = False

    def put(self, told: bytes, number: int) -> None:
        """Let an event wait; one too many, and the end itself, end the stream."""
        self.ended = self.ended or not told or self.waiting.qsize() >= MOST_WAITING
        self.waiting.put_nowait((number, b"" if self.ended else told))

    async def next(self) -> tuple[int, bytes]:
        """Return the next event with its number; a beat where nothing comes."""
        try:
            return await asyncio.wait_for(self.waiting.get(), BEAT_S)
        except TimeoutError:
            return 0, b": still here\n\n"

    def from_thread(self, told: bytes, number: int = 0) -> None:
        if not self.ended:
            with suppress(RuntimeError):  # its loop has ended
                self.loop.call_soon_threadsafe(self.put, told, number)


@dataclass(frozen=True, slots=True)
class Hand:
    """Somebody at a topic: the letter others know them by, and where they type."""

    letter: str
    place: str = ""


@dataclass(slots=True)
class Live:
    """Whoever listens to one app. ``ledger`` returns the ledger that is looked at."""

    ledger: Callable[[], Ledger]
    on_change: Callable[[Change], object] | None = None
    _listeners: list[_Listener] = field(default_factory=list)
    # What ends the app calls close() whatever this thread was about to do.
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _watch: Watch | None = None
    _thread: threading.Thread | None = None
    _ready: threading.Event = field(default_factory=threading.Event)
    _seen: int = -1
    _hands: dict[str, dict[str, Hand]] = field(default_factory=dict)
    _to_call: deque[str] = field(default_factory=lambda: deque(maxlen=MOST_WAITING))
    _elsewhere: dict[tuple[str, str], tuple[float, list[dict[str, str]]]] = field(default_factory=dict)
    _closed: bool = False
    _me: str = field(default_factory=lambda: secrets.token_hex(8))

    @property
    def closed(self) -> bool:
        """Whether the app ends."""
        return self._closed

    @property
    def full(self) -> bool:
        """Whether nobody else can listen."""
        return self._closed or len(self._listeners) >= MOST_LISTENERS

    def full_for(self, visitor: str) -> bool:
        """Return whether this visitor cannot listen once more."""
        return self.full or sum(one.visitor == visitor for one in self._now()) >= MOST_OF_ONE

    async def events(
        self,
        wants: Wants,
        topic: str = "",
        who: str = "",
        *,
        after: int | None = None,
        visitor: str = "",
        may: Callable[[], bool] = always,
    ) -> AsyncIterator[bytes]:
        """Yield what is told, as server-sent events, until the listener leaves or the app ends.

        The first, ``hello``, has the number of the newest change, and how many changes were missed that are not told:
        whoever missed any asks anew. ``change`` has a change's number, kind, key and time, and what stands after it.

        Parameters
        ----------
        wants : callable
            Says of a ``Change`` whether it is to be told.
        topic : str
            What else is told.
        who : str
            Who it is, to be seen by the others of the topic until they leave.
        after : int, optional
            The last change that was seen; those behind it come first.
        visitor : str
            Who listens, for ``full_for``.
        may : callable
            Asked from time to time whether the stream may go on.
        """
        mine = _Listener(wants, topic, who, visitor, asyncio.get_running_loop())
        self._begin(mine)
        try:
            for told in await asyncio.to_thread(self._missed, mine, after):
                yield told
            if who:
                self.place(topic, who, "")
            asked_s = time.monotonic()
            while not mine.ended:
                number, told = await mine.next()
                if not number or number > mine.seen:
                    mine.seen = max(number, mine.seen)
                    yield told
                if time.monotonic() - asked_s >= BEAT_S:
                    if not await asyncio.to_thread(may):
                        return
                    asked_s = time.monotonic()
        finally:
            with self._lock:
                self._listeners.remove(mine)
                there = any((one.topic, one.who) == (topic, who) for one in self._listeners)
            if who and not there:
                self._left(topic, who)

    def nudge(self) -> None:
        """Look at the ledger now: something was written."""
        watch = self._watch
        if watch is not None:
            watch.wake()

    def tell(self, topic: str, name: str, data: Mapping[str, Any]) -> None:
        """Tell all who listen to a topic something that is in no ledger, here and at the ledger's other servers."""
        self._tell(topic, name, data)
        self._call(topic, name, data)

    def _call(self, topic: str, name: str, data: Mapping[str, Any]) -> None:
        """Have something called out to the other servers, by the thread that has a line to them."""
        self._to_call.append(json.dumps([self._me, topic, name, data]))
        self.nudge()

    def tell_here(self, topic: str, name: str, data: Mapping[str, Any]) -> None:
        """Tell all who listen here to a topic something that other servers find out by themselves."""
        self._tell(topic, name, data)

    def place(self, topic: str, who: str, at: str) -> None:
        """Tell all of a topic where somebody types; only who listens is seen."""
        with self._lock:
            if not any((one.topic, one.who) == (topic, who) for one in self._listeners):
                return
            hands = self._hands.setdefault(topic, {})
            letter = hands[who].letter if who in hands else _free({hand.letter for hand in hands.values()})
            hands[who] = Hand(letter, at)
        self._show(topic)
        self._call(topic, HANDS, {HANDS: self._mine(topic)})

    def _left(self, topic: str, who: str) -> None:
        """Forget somebody."""
        with self._lock:
            hands = self._hands.get(topic, {})
            hands.pop(who, None)
            if not hands:
                self._hands.pop(topic, None)
        self._show(topic)
        self._call(topic, HANDS, {HANDS: self._mine(topic)})

    def _mine(self, topic: str) -> list[dict[str, str]]:
        with self._lock:
            hands = dict(self._hands.get(topic, {}))
        return [{"who": who, "letter": hand.letter, "place": hand.place} for who, hand in hands.items()]

    def _show(self, topic: str) -> None:
        """Tell who is where, at the other servers too; whose letter is taken here gets another."""
        shown, now_s = self._mine(topic), time.monotonic()
        with self._lock:
            others = [h for (t, _), (at_s, found) in self._elsewhere.items() if t == topic and now_s - at_s < HANDS_S
                      for h in found]  # fmt: skip
        for hand in others:
            taken = {h["letter"] for h in shown}
            shown.append({**hand, "letter": _free(taken) if hand["letter"] in taken else hand["letter"]})
        self._tell(topic, HANDS, {HANDS: shown})

    def heard(self, topic: str) -> bool:
        """Return whether somebody listens to a topic."""
        return any(one.topic in (topic, EVERYTHING) for one in self._now())

    def close(self) -> None:
        """End every stream; nobody can listen any more."""
        self._closed = True
        for one in self._now():
            one.from_thread(b"")
        self.nudge()

    def wait(self) -> None:
        """Wait, once it is closed, until the ledger is let go of."""
        thread = self._thread
        if thread is not None:
            thread.join(AGAIN_S)

    def _now(self) -> list[_Listener]:
        with self._lock:
            return list(self._listeners)

    def _begin(self, mine: _Listener) -> None:
        with self._lock:
            self._listeners.append(mine)
            mine.ended = self._closed
            if self._thread is None and not self._closed:
                self._thread = threading.Thread(target=self._look, name="watch", daemon=True)
                self._thread.start()

    def _missed(self, mine: _Listener, after: int | None) -> list[bytes]:
        """Return what a new listener gets first; the watching thread sends everything newer."""
        self._ready.wait(AGAIN_S)
        newest = _newest(self.ledger())
        since = newest if after is None else after
        found = changes(self.ledger(), most=MOST_CHANGES, after=since).changes if since < newest else ()
        oldest_first = [c for c in reversed(found) if c.id <= newest]
        mine.seen = newest
        # What was seen may be ahead of a ledger that was put back to an older copy.
        whole = since <= newest and len(found) < MOST_CHANGES
        untold = 0 if whole else max(abs(newest - since) - len(found), 1)
        before = oldest_first[0].id - 1 if oldest_first else newest
        told = [event("change", facts(c), c.id) for c in oldest_first if mine.wants(c)]
        return [event("hello", {"number": newest, "missed": untold}, before), *told]

    def _tell(self, topic: str, name: str, data: Mapping[str, Any]) -> None:
        told = event(name, data)
        for one in self._now():
            if one.topic in (topic, EVERYTHING):
                one.from_thread(told)

    def _look(self) -> None:
        """Look and tell, until nobody listens."""
        while self._goes_on():
            try:
                self._look_at(self.ledger())
            except LinewrightError:  # a ledger that cannot be read now may be read soon
                time.sleep(AGAIN_S)

    def _goes_on(self) -> bool:
        with self._lock:
            if self._listeners and not self._closed:
                return True
            self._ready.clear()
            self._thread, self._seen = None, -1
            return False

    def _look_at(self, ledger: Ledger) -> None:
        watch = Watch(ledger)
        try:
            self._watch = watch
            self._seen = _newest(ledger) if self._seen < 0 else self._seen
            self._ready.set()
            while self._now() and not self._closed and self.ledger() is ledger:
                for words in watch.wait(LISTEN_S if watch.hears else LOOK_S):
                    self._called(words)
                self._call_out(ledger)
                for change in reversed(changes(ledger, most=MOST_CHANGES, after=self._seen).changes):
                    self._told(change)
                    self._seen = change.id
            self._call_out(ledger)
        finally:
            self._watch = None
            watch.close()

    def _call_out(self, ledger: Ledger) -> None:
        while self._to_call:
            words = self._to_call.popleft()
            with suppress(LinewrightError):  # a server that does not answer carries nothing
                call_out(ledger, words)

    def _called(self, words: str) -> None:
        """Tell what another server called out; what is no such call is passed over."""
        with suppress(ValueError, TypeError, KeyError):
            server, topic, name, data = json.loads(words)
            if server == self._me:
                return
            if name != HANDS:
                self._tell(str(topic), str(name), dict(data))
                return
            found = [{key: str(hand[key])[:MOST_WORD] for key in ("who", "letter", "place")} for hand in data[HANDS]]
            now_s = time.monotonic()
            with self._lock:
                self._elsewhere[str(topic), str(server)] = (now_s, found)
                late = [key for key, (at_s, hands) in self._elsewhere.items() if now_s - at_s > HANDS_S or not hands]
                for key in late:
                    del self._elsewhere[key]
            self._show(str(topic))

    def _told(self, change: Change) -> None:
        told = b""
        for one in self._now():
            if one.wants(change):
                told = told or event("change", facts(change), change.id)
                one.from_thread(told, change.id)
        if self.on_change is not None:
            self.on_change(change)


def _free(taken: set[str]) -> str:
    return next((letter for letter in LETTERS if letter not in taken), LETTERS[-1])


def _newest(ledger: Ledger) -> int:
    return next((c.id for c in changes(ledger, most=1).changes), 0)


def event(name: str, data: Mapping[str, Any], number: int | None = None) -> bytes:
    r"""Return an event as it is sent (WHATWG HTML, section 9.2).

    >>> event("hello", {"number": 3}, 3)
    b'id: 3\nevent: hello\ndata: {"number": 3}\n\n'
    """
    called = f"id: {number}\n" if number is not None else ""
    return f"{called}event: {name}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n".encode()


def facts(change: Change) -> dict[str, Any]:
    """Return a change as its event tells it; of a reading its session and its number in it, too."""
    session, _, reading = change.key.rpartition(" / ") if change.kind == "reading" else (session_of(change), "", "")
    return {
        "number": change.id, "at": change.at, "who": change.who, "kind": change.kind, "key": change.key,
        "session": session or None, "reading": int(reading) if reading else None,
        "before": change.before, "after": change.after, "undoes": change.undoes,
    }  # fmt: skip


def session_of(change: Change) -> str:
    """Return the bench session a change belongs to: by its readings, its sheet, the notes on it; else ""."""
    if change.kind == "note":
        body = (change.after or change.before or {}).get("body", {})
        return str(body.get("key")) if body.get("kind") == "sheet" else ""
    if change.kind == "reading":
        return change.key.rpartition(" / ")[0]
    return change.key if change.kind == "sheet" else ""


def of_session(session: str) -> Wants:
    """Return what to tell whoever looks at one bench session: its readings, its sheet, the notes on it."""
    return lambda change: session_of(change) == session
