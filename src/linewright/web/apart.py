"""Work in a process of its own: it can be ended whatever holds it, has a budget, and takes no turn from the others.

A person's heavy requests are done one after the other, those of several people in the order in which they came, and all
with a lower priority than what a page needs at once. The process begins with everything loaded, in some 20 ms, where
the system has a server of forks; elsewhere it loads it first.
"""

from __future__ import annotations

import asyncio
import os
import threading
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

from linewright.core.errors import CannotError
from linewright.core.machine import keep_to, pass_interrupts_by, processes
from linewright.core.messages import mark, say

MOST_S, MOST_MB = 60, 1000
"""What one work may take: seconds of a processor, and memory."""
MOST_WAIT_S = 300.0
"""How long it may take in all, on a busy machine or where the system keeps no count."""
NICE = 10
"""How much lower the priority of such work is than that of a page (setpriority(2))."""
AT_ONCE = max((os.cpu_count() or 1) - 1, 1)
"""Works at once: a core is left to the pages."""
MOST_WAITING = 4
"""Works of one person that wait for their turn."""
BEAT_S = 0.2
"""How often a waiting caller checks whether the work is still wanted."""
LOADED = [f"linewright.{name}" for name in (
    "web.app", "verbs.prove", "verbs.plan", "verbs.sweep", "verbs.choose", "verbs.share", "verbs.chart", "verbs.shelf",
    "verbs.report_kept", "verbs.cut", "verbs.one_end", "verbs.through", "verbs.exposure",
    "present.labels", "present.writers.html", "present.writers.paper",
)]  # fmt: skip
"""What the server of forks has loaded."""

Tell = Callable[[float, str], None]


def begin() -> None:
    """Begin the server of forks, so that the first work finds everything loaded."""
    with suppress(CannotError):
        Apart(len, ()).answer()


class Apart:
    """One work in a process of its own, begun at once.

    Parameters
    ----------
    job : Callable
        A function of a module, called there with ``given``, and with a function to tell how far it is if ``tells``.
    nice : int
        How far it stands behind what a page needs at once.
    """

    def __init__(self, job: Callable[..., Any], *given: Any, tells: bool = False, nice: int = NICE) -> None:
        context = processes(LOADED)
        self._pipe, theirs = context.Pipe()
        self._until_s = time.monotonic() + MOST_WAIT_S
        most = MOST_MB, MOST_S, nice
        self._process = context.Process(target=_work, args=(theirs, job, given, tells, most), daemon=True)
        self._process.start()
        theirs.close()

    def answer(self, tell: Tell | None = None) -> Any:
        """Return what it found, having waited for it.

        ``tell`` is called again and again meanwhile, however long it says nothing; what that raises ends the work.

        Raises
        ------
        CannotError
            If it took more time or memory than it may.
        Exception
            What it raised.
        """
        far = (0.0, "")
        try:
            while (left_s := self._until_s - time.monotonic()) > 0:
                if self._pipe.poll(min(left_s, BEAT_S)):
                    what, found = self._pipe.recv()
                    if what == "answer":
                        return found
                    if what == "error":
                        raise found
                    far = found
                if tell is not None:
                    tell(*far)
        except (EOFError, OSError):
            raise CannotError(say(LESS, seconds=f"{MOST_S}", megabytes=f"{MOST_MB:,}")) from None
        finally:
            self.end()
            self._process.join()
            self._pipe.close()
        raise CannotError(say(LESS, seconds=f"{MOST_S}", megabytes=f"{MOST_MB:,}"))

    def end(self) -> None:
        """End it, whatever holds it; who waits for its answer is told."""
        with suppress(OSError):
            self._process.kill()


LESS = mark(
    "It took more than {seconds} s of work or {megabytes} MB of memory and was ended; nothing was changed."
    " Ask for less at once, or use the command, which has no such limits."
)


def _work(pipe: Any, job: Callable[..., Any], given: tuple[Any, ...], tells: bool, most: tuple[int, int, int]) -> None:
    """Do a work and say what came of it; end with whoever asked for it."""
    keep_to(*most)
    threading.Thread(target=_end_with, args=(pipe,), daemon=True).start()
    try:
        told = (lambda share, doing: pipe.send(("told", (share, doing))),) if tells else ()
        found: tuple[str, Any] = ("answer", job(*given, *told))
    except MemoryError:
        found = ("error", CannotError(say(LESS, seconds=f"{most[1]}", megabytes=f"{most[0]:,}")))
    except Exception as cause:
        found = ("error", cause)
    pipe.send(found)


def _end_with(pipe: Any) -> None:
    with suppress(EOFError, OSError):
        pipe.recv()
    os._exit(1)


_AT_ONCE = threading.BoundedSemaphore(AT_ONCE)


def typeset(apart: bool, job: Callable[..., bytes], *given: Any) -> bytes:
    """Return a file that a job writes, in a process of its own if told: a typesetter keeps what it once held.

    It takes a tenth of a second, and somebody waits for it: it stands behind nothing.

    Raises
    ------
    CannotError
        If it took too long or too much.
    """
    if not apart:
        return job(*given)
    with _AT_ONCE:
        found: bytes = Apart(job, *given, nice=0).answer()
    return found


class Drawer:
    """A process that draws charts one after the other, begun with the first and ended with this one.

    It is begun anew if it ends, and where a chart takes longer than ``MOST_DRAWN_S``.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: Any = None
        self._pipe: Any = None

    def __call__(self, spec: dict[str, Any]) -> str:
        """Return a chart as SVG text.

        Raises
        ------
        CannotError
            If it cannot be drawn, or takes too long or too much.
        """
        with self._lock:
            if self._process is None or not self._process.is_alive():
                self._begin()
            try:
                self._pipe.send(spec)
                if not self._pipe.poll(MOST_DRAWN_S):
                    raise EOFError
                drawn, found = self._pipe.recv()
            except (EOFError, OSError):
                self._process.kill()
                self._process = None
                raise CannotError(say(UNDRAWN, seconds=f"{MOST_DRAWN_S:.0f}", megabytes=f"{MOST_MB:,}")) from None
        if not drawn:
            raise found
        return str(found)

    def _begin(self) -> None:
        context = processes(LOADED)
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_draw, args=(theirs,), name="drawing", daemon=True)
        self._process.start()
        theirs.close()


MOST_DRAWN_S = 30.0
"""How long a chart may take; the largest takes a second on a busy machine."""
ALL_DRAWN_S = 24 * 3600
"""The work after which the process that draws is ended, to begin anew."""
UNDRAWN = mark("The chart could not be drawn within {seconds} s and {megabytes} MB. Its figures are in its table.")


def _draw(pipe: Any) -> None:
    from linewright.present.charts.render import drawn_here

    keep_to(MOST_MB, ALL_DRAWN_S, 0)
    pass_interrupts_by()  # whoever stops the station on its terminal stops its parent
    while True:
        try:
            spec = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            found: tuple[bool, Any] = True, drawn_here(spec)
        except CannotError as cause:
            found = False, cause
        pipe.send(found)


# Requests: each person has a few at a time, and one heavy one


@dataclass(slots=True)
class _Lane:
    """Where one person's requests stand: so many of them at a time, the others wait."""

    free: asyncio.Semaphore
    there: int = 0


@dataclass(slots=True)
class Turns:
    """Turns by person: ``at_once`` at a time, and at most ``waiting`` beyond those."""

    at_once: int
    waiting: int
    _lines: dict[str, _Lane] = field(default_factory=dict)

    def full(self, person: str) -> bool:
        """Return whether as many of a person's requests wait as may."""
        return person in self._lines and self._lines[person].there >= self.at_once + self.waiting

    @asynccontextmanager
    async def of(self, person: str) -> AsyncIterator[None]:
        """Wait for a person's turn, and have it."""
        line = self._lines.setdefault(person, _Lane(asyncio.Semaphore(self.at_once)))
        line.there += 1
        try:
            async with line.free:
                yield
        finally:
            line.there -= 1
            if not line.there:
                self._lines.pop(person, None)


async def unless_gone(work: Apart, receive: Callable[[], Any]) -> Any:
    """Return what a work found; end it if whoever asked leaves, and return None.

    Raises
    ------
    Exception
        As ``Apart.answer``.
    """
    gone = asyncio.ensure_future(_left(receive))
    found = asyncio.ensure_future(asyncio.to_thread(work.answer))
    try:
        await asyncio.wait({gone, found}, return_when=asyncio.FIRST_COMPLETED)
        if found.done():
            return found.result()
        work.end()
        with suppress(Exception):
            await found
        return None
    finally:
        gone.cancel()


async def _left(receive: Callable[[], Any]) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
