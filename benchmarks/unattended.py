"""What lets a long benchmark run by itself: a part that hangs is broken off, and the next one begins."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


class OverdueError(Exception):
    """A part took longer than it may."""


@contextmanager
def within(minutes: float) -> Iterator[None]:
    """Break off what takes longer, wherever it waits; only in a program's main thread, and not one in another.

    >>> with within(1.0):
    ...     print("in time")
    in time
    """

    def break_off(_: int, __: FrameType | None) -> None:
        raise OverdueError(f"It did not end within {minutes:g} minutes.")

    before = signal.signal(signal.SIGALRM, break_off)
    signal.setitimer(signal.ITIMER_REAL, 60.0 * minutes, 60.0)  # again, where something swallows the first
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
