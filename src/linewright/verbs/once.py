"""Work things out once: a caller waits for an answer that another is already working out."""

from __future__ import annotations

import pickle
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from linewright import __version__

T = TypeVar("T")
ENGINE = f"{__version__}/23"
"""What worked out a remembered answer: raise the last number whenever an engine or what follows from it changes."""


@dataclass(slots=True, eq=False)
class _Waiting:
    """Those who ask for one answer: the first works it out, the others wait."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    asking: int = 0


@dataclass(slots=True, eq=False)
class _Answer(Generic[T]):
    """An answer that is remembered, its size in bytes, and what it is the newest answer to."""

    found: T
    size: int
    place: Hashable


class Once(Generic[T]):
    """A function whose last answers are remembered, and that never works one out twice at the same time.

    What goes wrong is not remembered: the next who asks tries again.

    Parameters
    ----------
    function : Callable
        What works an answer out.
    most : int
        How many answers are remembered.
    most_mb : float, optional
        How large they may be together; the newest is remembered whatever its size.
    key : Callable, optional
        Returns what tells one question from another; without it, all that is given. Only that is held on to.
    place : Callable, optional
        Returns a place in which only the newest answer is remembered: what was asked there before is not asked again.
        None, and the answer has no place.

    >>> root = Once(lambda x: x**0.5, most=2)
    >>> root(9), root(9), root.cache_clear()
    (3.0, 3.0, None)
    """

    def __init__(
        self,
        function: Callable[..., T],
        most: int,
        *,
        most_mb: float | None = None,
        key: Callable[..., Hashable] | None = None,
        place: Callable[..., Hashable] | None = None,
    ) -> None:
        self._function, self._most, self._most_mb, self._key, self._place = function, most, most_mb, key, place
        self._lock = threading.Lock()
        self._turns: dict[Hashable, _Waiting] = {}
        self.cache_clear()

    def cache_clear(self) -> None:
        """Forget all answers."""
        with self._lock:
            self._known: OrderedDict[Hashable, _Answer[T]] = OrderedDict()
            self._placed: dict[Hashable, Hashable] = {}
            self._bytes = 0

    def __len__(self) -> int:
        """Return how many answers are remembered."""
        return len(self._known)

    def __call__(self, *given: Any) -> T:
        """Return the answer."""
        key = self._key(*given) if self._key else given
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
                return self._known[key].found
            turn = self._turns.setdefault(key, _Waiting())
            turn.asking += 1
        try:
            with turn.lock:
                known = self._known.get(key)
                if known is not None:
                    return known.found
                found = self._function(*given)
                self._remember(key, found, given)
                return found
        finally:
            with self._lock:
                turn.asking -= 1
                if not turn.asking:
                    del self._turns[key]

    def learn(self, found: T, *given: Any) -> None:
        """Remember an answer that somebody had at hand, who worked it out on the way to another."""
        key = self._key(*given) if self._key else given
        if key not in self._known:
            self._remember(key, found, given)

    def _remember(self, key: Hashable, found: T, given: tuple[Any, ...]) -> None:
        size = len(pickle.dumps(found)) if self._most_mb is not None else 0
        answer = _Answer(found, size, self._place(*given) if self._place else None)
        with self._lock:
            if key in self._known:
                return
            older = self._placed.get(answer.place)
            if older is not None:
                self._forget(older)
            self._known[key] = answer
            self._bytes += answer.size
            if answer.place is not None:
                self._placed[answer.place] = key
            while len(self._known) > self._most or (len(self._known) > 1 and self._bytes > (self._most_mb or 0) * 1e6):
                self._forget(next(iter(self._known)))

    def _forget(self, key: Hashable) -> None:
        gone = self._known.pop(key)
        self._bytes -= gone.size
        self._placed.pop(gone.place, None)


def once(most: int, **how: Any) -> Callable[[Callable[..., T]], Once[T]]:
    """Return a decorator that makes a function one that is worked out once; for ``how`` see ``Once``."""
    return lambda function: Once(function, most, **how)
