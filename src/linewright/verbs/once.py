"""Worked out once: whoever asks for what another is just working out waits for that one's answer."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from functools import lru_cache
from typing import Generic, TypeVar

T = TypeVar("T")


class Once(Generic[T]):
    """A function whose last ``most`` answers are remembered, and that never works one out twice at the same time.

    What goes wrong is not remembered: the next who asks tries again.

    >>> root = Once(lambda x: x**0.5, most=2)
    >>> root(9), root(9), root.cache_clear()
    (3.0, 3.0, None)
    """

    def __init__(self, function: Callable[..., T], most: int) -> None:
        self._answer = lru_cache(maxsize=most)(function)
        self._lock_of = lru_cache(maxsize=4 * most)(lambda *_: threading.Lock())
        self._lock = threading.Lock()
        self.cache_clear = self._answer.cache_clear

    def __call__(self, *given: Hashable) -> T:
        """Return the answer."""
        with self._lock:
            mine = self._lock_of(*given)
        with mine:
            return self._answer(*given)


def once(most: int) -> Callable[[Callable[..., T]], Once[T]]:
    """Return a decorator that makes a function one that is worked out once."""
    return lambda function: Once(function, most)
