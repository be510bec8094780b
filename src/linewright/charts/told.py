"""The manner a chart is written in: known while it is laid out, since words take the room they need.

A chart's maker states ``manner`` among its arguments and stands under ``in_manner``; whatever it calls then measures
words as they will be written, and ``parts.framed`` writes them.
"""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from functools import wraps
from typing import Any, Final, ParamSpec

from linewright.charts.theme import Spec
from linewright.units.manner import ENGLISH, FEET_PER_METRE, Manner
from linewright.units.said import written

P = ParamSpec("P")

_MANNER: Final[ContextVar[Manner]] = ContextVar("manner of the chart being laid out", default=ENGLISH)


def in_manner(make: Callable[P, Spec]) -> Callable[P, Spec]:
    """Return a maker of charts that lays them out in the manner it is asked for by ``manner=``."""

    @wraps(make)
    def made(*args: P.args, **asked: P.kwargs) -> Spec:
        manner = asked.get("manner", ENGLISH)
        before = _MANNER.set(manner if isinstance(manner, Manner) else ENGLISH)
        try:
            return make(*args, **asked)
        finally:
            _MANNER.reset(before)

    return made


def told(text: str) -> str:
    """Return a text as the chart being laid out writes it, a plain string."""
    return str(written(text, _MANNER.get()))


def all_told(part: Any) -> Any:
    """Return a part of a specification with every text in it written."""
    if isinstance(part, dict):
        return {name: all_told(inner) for name, inner in part.items()}
    if isinstance(part, (list, tuple)):
        return [all_told(inner) for inner in part]
    return told(part) if isinstance(part, str) else part


def number_locale() -> Spec:
    """Return how the axes of the chart being laid out write numbers (a d3-format locale), as an entry of a config.

    >>> number_locale()
    {}
    """
    if _MANNER.get().decimal == ".":
        return {}
    return {"locale": {"number": {"decimal": ",", "thousands": "\u00a0", "grouping": [3], "currency": ["", ""]}}}


def metres_per_unit() -> float:
    """Return how many metres the unit has that lengths stand in."""
    return 1.0 if _MANNER.get().lengths == "m" else 1.0 / FEET_PER_METRE


def length_unit() -> str:
    """Return the sign of the unit that lengths stand in."""
    return _MANNER.get().lengths
