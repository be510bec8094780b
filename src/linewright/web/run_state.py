"""What the address of a run's page holds, and the addresses that lead on from it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

ABOUT = ("station", "run", "plan", "band", "open", "tab", "view", "how", "do", "wide")
BARE = re.compile(r"[+-]?\d*[.,]?\d+")
VIEWS = ("bands", "choose", "share", "reception", "exposure", "ratings", "through")
MOST_TYPED, MOST_TEXT = 160, 4000
ASKED = "v."
"""What the name of a field of a view begins with: it stays while other things are touched."""


@dataclass(frozen=True, slots=True)
class RunState:
    """A run's page: the station, the run, a plan of it, the band drawn, what is opened, the view below, and a trial.

    ``open`` is what the inspector shows: a part by its number, ``gap2`` behind the second, ``radio``, ``antenna``,
    ``site``, ``limits``, ``run``, ``plans``. ``tab`` is which of its leaves. ``do`` is an edit that is tried and
    written nowhere, ``typed`` the fields it takes and those of the view below.
    """

    station: str
    run: str
    plan: str = ""
    band: str = ""
    open: str = ""
    tab: str = ""
    view: str = "bands"
    how: str = ""
    do: str = ""
    typed: tuple[tuple[str, str], ...] = ()

    @property
    def number(self) -> int:
        """Which part is opened; 0 where none is."""
        return int(self.open) if self.open.isascii() and self.open.isdigit() and len(self.open) < 4 else 0

    @property
    def gap(self) -> int | None:
        """Which gap is opened, 0 at the radio; None where none is."""
        told = self.open.removeprefix("gap")
        there = self.open.startswith("gap") and told.isascii() and told.isdigit() and len(told) < 4
        return int(told) if there else None


def state_of(asked: Mapping[str, str]) -> RunState:
    """Return what an address or a form holds; what is in it that is no state at all is passed over."""
    told = {name: str(asked.get(name, ""))[:MOST_TEXT] for name in ABOUT}
    pairs = [(name, str(value)[:MOST_TEXT]) for name, value in asked.items() if name not in (*ABOUT, "token", "at")]
    told.pop("wide")
    if not told["open"]:
        told["open"] = asked.get("at", "")
    told["view"] = told["view"] if told["view"] in VIEWS else VIEWS[0]
    return RunState(**told, typed=tuple(pairs[:MOST_TYPED]))


def address(state: RunState, **new: Any) -> str:
    """Return the address of a state, or of one that differs from it in some fields.

    >>> address(RunState("harbour-ridge", "beam"), open="2")
    '/runs/run?station=harbour-ridge&run=beam&open=2'
    """
    asked = replace(state, **new) if new else state
    return "&".join([f"/runs/run?{urlencode(_about(asked))}", *([_typed(asked.typed)] if asked.typed else [])])


@lru_cache(maxsize=8)
def _typed(typed: tuple[tuple[str, str], ...]) -> str:
    """Return what is typed as part of an address; the two hundred addresses of a page share it."""
    return urlencode(typed)


def pairs_of(s: RunState) -> list[tuple[str, str]]:
    """Return a state as the pairs of an address."""
    return [*_about(s), *s.typed]


def _about(s: RunState) -> list[tuple[str, str]]:
    told = [("plan", s.plan), ("band", s.band), ("open", s.open), ("tab", s.tab), ("how", s.how), ("do", s.do)]
    view = [("view", s.view)] if s.view != VIEWS[0] else []
    return [("station", s.station), ("run", s.run), *((k, v) for k, v in told if v), *view]


def asked_of(state: RunState) -> dict[str, str]:
    """Return what the view below the drawing is asked, by the names of its fields."""
    return {name.removeprefix(ASKED): value for name, value in state.typed if name.startswith(ASKED)}


def untried(state: RunState) -> RunState:
    """Return a state without its trial; what a view below is asked stays."""
    return replace(state, do="", typed=tuple(pair for pair in state.typed if pair[0].startswith(ASKED)))
