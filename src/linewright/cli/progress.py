"""How far the work is, on a terminal's standard error, and only when it takes long enough to wonder."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from typing import TextIO

from linewright.present.writers.terminal import WIDEST, cut, left

PATIENCE_S = 1.0
"""Work shorter than this is not spoken of."""
BLINK_S = 0.1
BAR = 24


class Progress:
    """Shows share, step and time left. Call it with the share done (0 to 1) and what is being done."""

    def __init__(self, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream, self._clock = stream or sys.stderr, clock
        self._began = self._last = clock()
        self._drawn = False

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *_: object) -> None:
        self._wipe()

    def __call__(self, share: float, doing: str) -> None:
        """Take note of how far the work is."""
        now = self._clock()
        if now - self._began < PATIENCE_S or now - self._last < BLINK_S or not self._stream.isatty():
            return
        self._last = now
        self._show(progress_line(share, doing, now - self._began))

    def say(self, sentence: str) -> None:
        """Say what is done next."""
        self._wipe()
        self._stream.write(f"{sentence}\n")
        self._stream.flush()

    def _show(self, line: str) -> None:
        room = self._room()
        self._stream.write(f"\r{left(cut(line, room), room)}")
        self._stream.flush()
        self._drawn = True

    def _room(self) -> int:
        """Return the cells of a line that does not run over the edge of the terminal."""
        try:
            return min(WIDEST, os.get_terminal_size(self._stream.fileno()).columns or WIDEST) - 1
        except OSError:
            return WIDEST - 1

    def _wipe(self) -> None:
        if self._drawn:
            self._stream.write(f"\r{' ' * self._room()}\r")
            self._stream.flush()
            self._drawn = False


def progress_line(share: float, doing: str, spent_s: float) -> str:
    """Return one line of progress.

    >>> progress_line(0.25, "weighing readings", 3.0)
    '######.................. 25 % weighing readings, about 9 s left'
    """
    share = min(max(share, 0.0), 1.0)
    bar = left("#" * int(share * BAR), BAR).replace(" ", ".")
    return cut(f"{bar} {100 * share:.0f} % {doing}{_time_left(share, spent_s)}", WIDEST - 1)


def _time_left(share: float, spent_s: float) -> str:
    if share < 0.02:
        return ""
    rest_s = spent_s * (1.0 - share) / share
    if rest_s < 90:
        return f", about {max(rest_s, 1):.0f} s left"
    return f", about {rest_s / 60:.0f} min left"
