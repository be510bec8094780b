"""What the address of a run's page holds, and the addresses that lead on from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import QueryParams

ABOUT = ("station", "run", "kept", "at", "how")
MOST_KEPT = 6


@dataclass(frozen=True, slots=True)
class RunState:
    """A run's page: the station, the run, the fields as they stand, the plans kept, the part and figure opened.

    ``values`` and each of ``kept`` hold the fields that say something else than the station, as (name, value).
    """

    station: str
    run: str
    values: tuple[tuple[str, str], ...] = ()
    kept: tuple[tuple[tuple[str, str], ...], ...] = ()
    at: int = 0
    how: str = ""


def state_of(asked: QueryParams) -> RunState:
    """Return what an address holds; what is in it that is no state at all is passed over."""
    kept = tuple(dict.fromkeys(tuple(sorted(parse_qsl(text)[:40])) for text in asked.getlist("kept")))
    at = asked.get("at", "")
    values = {name: value for name, value in asked.items() if name not in ABOUT}
    return RunState(
        asked.get("station", ""), asked.get("run", ""), tuple(values.items()), tuple(k for k in kept if k)[:MOST_KEPT],
        int(at) if at.isascii() and at.isdigit() and len(at) < 4 else 0, asked.get("how", ""),
    )  # fmt: skip


def address(state: RunState, **new: Any) -> str:
    """Return the address of a state, or of one that differs from it in some fields."""
    s = replace(state, **new)
    pairs = [("station", s.station), ("run", s.run), *s.values]
    pairs += [("kept", urlencode(kept)) for kept in s.kept]
    pairs += [("at", str(s.at))] if s.at else []
    pairs += [("how", s.how)] if s.how else []
    return f"/runs/run?{urlencode(pairs)}"


def sorted_values(values: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Return fields as a state holds them, in one order."""
    return tuple(sorted(values.items()))
