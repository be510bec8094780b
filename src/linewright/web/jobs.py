"""Work that takes longer than a page may: it goes on by itself, says how far it is, and can be stopped.

A page that may take long begins its work by a name, waits a moment, and sends the visitor to the waiting page if that
was not enough. The waiting page follows the work, offers to stop it, and leads back once it is done; without script it
loads itself anew::

    job = partial(share_out, ...)  # called with a function to tell how far it is
    work = works_of(request).begin(name, "Sharing out the shelf", str(request.url), job)
    if not work.wait():
        return RedirectResponse(work.address, 303)
    found = work.answer()

The name identifies the question, with everything the answer depends on: the same name is the same job, for any caller.
What rests on a ledger that others write to meanwhile has no such name: ``Works.of_moment`` answers it of one moment.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple
from weakref import WeakValueDictionary

from fastapi import Request

from linewright.core.errors import CannotError

Tell = Callable[[float, str], None]
"""Told the share done, 0 to 1, and what is being done. It raises ``StoppedError`` once nobody wants the work."""
Job = Callable[[Tell], Any]
PATIENCE_S = 0.6
"""How long a page waits before it shows how far the work is."""
GIVE_WAY_S = 0.002
"""How long low-priority work pauses for a caller who is waiting."""
TURN_S = 1.0
"""How long a work has the machine for itself; works that last longer share it from then on."""
MOST = 32
"""Finished works that are remembered, and as many of one moment."""
MOST_GONE = 1000
"""Dropped works of which is known where their answer is."""
HELD_S = 300.0
"""How long an answer of one moment is there for those who waited for it, whatever was kept since."""
GONE_S = 120.0
"""Work of one moment ends when nobody looked after it for so long: a page in the background asks once a minute."""


class StoppedError(CannotError):
    """Somebody stopped the work; it changed nothing."""

    def __init__(self) -> None:
        super().__init__("It was stopped before it was done. Nothing was changed.")


@dataclass(slots=True, eq=False)
class Work:
    """One piece of work.

    Attributes
    ----------
    key, title, back : str
        What its page is called, what it does in words, and the address that shows its answer.
    share : float
        How much of it is done, 0 to 1.
    doing : str
        What it is doing.
    moment : int, optional
        The number of the newest change when it was asked for, where its answer is of one moment.
    began : str
        The time of day when it began, "14:05:10"; its answer is of then.
    """

    key: str
    title: str
    back: str
    share: float = 0.0
    doing: str = ""
    moment: int | None = None
    began: str = ""
    ended_s: float = 0.0
    _looked_s: float = field(default_factory=time.monotonic)
    _answer: Any = None
    _failed: BaseException | None = None
    _done: threading.Event = field(default_factory=threading.Event)
    _unwanted: threading.Event = field(default_factory=threading.Event)

    @property
    def address(self) -> str:
        """Where one waits for it."""
        return f"/waiting/{self.key}"

    @property
    def done(self) -> bool:
        """Whether it has come to an end, good or bad."""
        return self._done.is_set()

    @property
    def stopped(self) -> bool:
        """Whether somebody stopped it."""
        return self._unwanted.is_set()

    @property
    def failed(self) -> bool:
        """Whether it ended without an answer."""
        return self.done and self._failed is not None

    @property
    def wanted(self) -> bool:
        """Whether it has an answer or will have one."""
        return not self.failed and (self.done or not self.stopped)

    def wait(self, seconds: float | None = None) -> bool:
        """Wait for its end, at most so long, ``PATIENCE_S`` if untold; return whether it has come."""
        found = self._done.wait(PATIENCE_S if seconds is None else seconds)
        self.look()
        return found

    def look(self) -> None:
        """Look after it: somebody waits for it."""
        self._looked_s = time.monotonic()

    @property
    def left(self) -> bool:
        """Whether it was for people who waited, and none does any more."""
        return self.moment is not None and time.monotonic() - self._looked_s > GONE_S

    def answer(self) -> Any:
        """Return what it found, having waited for it; raise what went wrong."""
        self._done.wait()
        if self._failed is not None:
            raise self._failed
        return self._answer

    def stop(self) -> None:
        """Stop it where it next says how far it is."""
        self._unwanted.set()

    def run(self, job: Job, turn: _Turn | None, after: threading.Lock | None = None) -> None:
        """Do it, to whatever end: once ``after`` is free, and with a turn; without those, at once."""

        def tell(share: float, doing: str) -> None:
            if self.stopped or self.left:
                raise StoppedError
            self.share, self.doing = share, doing
            if turn is not None:
                turn.shared()

        try:
            with after or nullcontext(), turn or nullcontext():
                tell(0.0, "")
                self.began = f"{datetime.now().astimezone():%H:%M:%S}"
                self._answer = job(tell)
        except BaseException as cause:  # whoever asks for the answer is told
            self._failed = cause
        finally:
            self.ended_s = time.monotonic()
            self._done.set()


class MovingQuestion(NamedTuple):
    """A question of what moves: its name, what is done in words, where one asks it, and the number of the last change.

    The name says all that the answer depends on, but the moment. What is ``light`` takes no longer than a glance: it is
    answered at once, and takes no turn. Questions of one ``subject`` are answered one after the other: each finds what
    the one before judged, and only one holds it all.
    """

    name: str
    title: str
    back: str
    moment: int
    light: bool = False
    subject: str = ""

    def at(self, moment: int) -> str:
        """Return the name of its answer of a moment."""
        return f"{self.name}\nof {moment}"


class _Turns:
    """One turn at the machine at a time, in the order of coming. Whoever stands aside has it when nobody else waits."""

    def __init__(self) -> None:
        self._lock, self._taken = threading.Lock(), False
        self._queue: deque[threading.Event] = deque()
        self._aside: deque[threading.Event] = deque()

    @property
    def waiting(self) -> int:
        """How many wait who do not stand aside."""
        return len(self._queue)

    def take(self, aside: bool) -> None:
        """Wait for the turn."""
        with self._lock:
            if not self._taken:
                self._taken = True
                return
            mine = threading.Event()
            (self._aside if aside else self._queue).append(mine)
        mine.wait()

    def give(self) -> None:
        """Let the next one have it."""
        with self._lock:
            following = self._queue or self._aside
            if following:
                following.popleft().set()
            else:
                self._taken = False


class _Turn:
    """The machine for oneself: short works go one after the other, which is quicker for all than all at once.

    Work that stands ``aside`` lets everybody else begin at each of its steps.
    """

    def __init__(self, turns: _Turns, aside: bool) -> None:
        self._turns, self._aside, self._mine, self._since = turns, aside, False, 0.0

    def __enter__(self) -> None:
        self._turns.take(self._aside)
        self._mine, self._since = True, time.monotonic()

    def shared(self) -> None:
        """Let others begin, once this one lasts or if it stands aside."""
        if self._aside:
            self._let_go()
            time.sleep(GIVE_WAY_S)
            self.__enter__()
        elif self._mine and time.monotonic() - self._since > TURN_S:
            self._let_go()

    def __exit__(self, *_: object) -> None:
        if self._mine:
            self._let_go()

    def _let_go(self) -> None:
        self._mine = False
        self._turns.give()


@dataclass(slots=True)
class Works:
    """The works of one start of the app, oldest first."""

    _known: dict[str, Work] = field(default_factory=dict)
    _last: dict[str, Work] = field(default_factory=dict)
    _gone: OrderedDict[str, str] = field(default_factory=OrderedDict)
    _subjects: WeakValueDictionary[str, threading.Lock] = field(default_factory=WeakValueDictionary)
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _turns: _Turns = field(default_factory=_Turns)

    @property
    def idle(self) -> bool:
        """Whether there is nothing to do that somebody wants."""
        return not any(w.wanted and not w.done for w in list(self._known.values()))

    def begin(self, name: str, title: str, back: str, job: Job, *, aside: bool = False) -> Work:
        """Return the work of a name: the one under way or done, else begun now.

        What was stopped or went wrong is begun anew. Work that nobody waits for stands ``aside``: it lets all other
        work go first.
        """
        return self._begun(Work(_key(name), title, back), job, aside)

    def of_moment(self, question: MovingQuestion, job: Job, made: int | None = None, *, aside: bool = False) -> Work:
        """Return the work whose answer is of one moment, whatever is kept while it is worked out.

        One under way is joined: what came since is in the next. One that is done is taken while nothing was kept since,
        and for ``HELD_S`` by those who come for the one they waited for: ``made`` is the moment of that. Else one is
        begun now. It ends when nobody looks after it any more.
        """
        with self._lock:
            over_s = time.monotonic() - HELD_S
            for work in [w for w in self._known.values() if w.moment is not None and w.done and w.ended_s < over_s]:
                self.forget(work)
            waited = None if made is None else self._known.get(_key(question.at(made)))
            if waited is not None and waited.wanted:
                waited.look()
                return waited
            last = self._last.get(question.name)
            if last is not None and last.wanted and not (last.left or (last.done and last.moment != question.moment)):
                last.look()
                return last
            key = _key(question.at(question.moment))
            work = self._last[question.name] = Work(key, question.title, question.back, moment=question.moment)
            if not question.light:
                mine = self._subjects.setdefault(question.subject, threading.Lock()) if question.subject else None
                return self._begun(work, job, aside, mine)
        work.run(job, None)
        return work

    def _begun(self, work: Work, job: Job, aside: bool = False, after: threading.Lock | None = None) -> Work:
        with self._lock:
            known = self._known.get(work.key)
            if known is not None and known.wanted and not known.left:
                return known
            self._known.pop(work.key, None)
            self._known[work.key] = work
            self._thin()
        given = job, _Turn(self._turns, aside), after
        threading.Thread(target=work.run, args=given, name=work.title, daemon=True).start()
        return work

    def named(self, name: str) -> Work | None:
        """Return the work of a name, None if nobody began it."""
        return self._known.get(_key(name))

    def called(self, key: str) -> Work | None:
        """Return the work of a key, None if it is not known any more."""
        return self._known.get(key)

    def went(self, key: str) -> str | None:
        """Return where the answer is of a work that was dropped, or where to ask anew; None for one never begun."""
        return self._gone.get(key)

    def forget(self, work: Work) -> None:
        """Drop a job whose answer is stored elsewhere, or that is not needed; who waits for it is led to its page."""
        with self._lock:
            if self._known.get(work.key) is work:
                del self._known[work.key]
                self._gone[work.key] = work.back
                while len(self._gone) > MOST_GONE:
                    self._gone.popitem(last=False)
            for name in [name for name, last in self._last.items() if last is work]:
                del self._last[name]

    def _thin(self) -> None:
        done = sorted((w for w in self._known.values() if w.done), key=lambda w: w.ended_s)
        for some in ([w for w in done if w.moment is None], [w for w in done if w.moment is not None]):
            for work in some[: max(len(some) - MOST, 0)]:
                self.forget(work)


def _key(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()[:24]


def works_of(request: Request) -> Works:
    """Return the works of this app."""
    found: Works = request.app.state.works
    return found
