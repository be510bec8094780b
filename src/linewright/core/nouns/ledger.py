"""What a ledger keeps: items with their versions, readings that are never rewritten, and every change ever made."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, get_args

from linewright.core.errors import CannotError
from linewright.core.frozen import dataclass
from linewright.core.messages import say

Kind = Literal[
    "piece", "stock", "line", "meter", "sheet", "sweep", "station", "note", "attenuator", "load", "radio", "antenna"
]
KINDS: tuple[Kind, ...] = get_args(Kind)
"""What an item can be. A ``line`` is a type of the person's own; a ``sheet`` is one bench session."""
Body = Mapping[str, Any]
"""An item as it is written in files: names, numbers, and quantities as people write them ("7.2 m")."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing kept. ``version`` counts its changes from 1; ``changed_at`` is UTC, ISO 8601."""

    kind: Kind
    key: str
    body: Body
    version: int
    archived: bool
    changed_at: str


@dataclass(frozen=True, slots=True)
class KeptReading:
    """One reading of a sheet as it stands.

    ``number`` counts the readings of the sheet from 1, ``version`` its corrections. ``cells`` are its fields by the
    headings of a readings file, as typed; None once it is withdrawn. ``token`` is what its sender called it.
    """

    sheet: str
    number: int
    version: int
    at: str
    token: str | None
    cells: Mapping[str, str] | None


@dataclass(frozen=True, slots=True)
class Change:
    """One change: what stood before it and what after; None where there was nothing.

    ``kind`` is an item's kind or "reading"; the key of a reading is its sheet and number, "spring / 12". ``undoes`` is
    the id of the change that this one set back.
    """

    id: int
    at: str
    who: str
    kind: str
    key: str
    before: Body | None
    after: Body | None
    note: str
    undoes: int | None = None


Scope = Literal["read", "write"]
SCOPES: tuple[Scope, ...] = get_args(Scope)


@dataclass(frozen=True, slots=True)
class Token:
    """What a program may do by its token. Times are UTC, ISO 8601; the last use is kept to the minute."""

    id: int
    name: str
    scope: Scope
    made_at: str
    used_at: str | None = None


class ConflictError(CannotError):
    """Somebody else changed it meanwhile; nothing was written.

    Attributes
    ----------
    mine, theirs : mapping
        What was to be written, and what stands now.
    version : int
        The version that stands now: give it as ``expect`` to write over it knowingly.
    """

    def __init__(self, what: str, mine: Body | None, theirs: Body | None, version: int) -> None:
        self.mine, self.theirs, self.version = mine, theirs, version
        super().__init__(
            say("{what} was changed meanwhile. Nothing was written: look at both, then decide.", what=what)
        )
