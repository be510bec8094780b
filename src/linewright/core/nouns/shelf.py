"""What a shelf of pieces answers: what is believed of each, what it rests on, how it changed, when to test again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import TYPE_CHECKING, Any, Literal

from linewright.core.messages import mark
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.ledger import Change, Item

if TYPE_CHECKING:
    from linewright.core.nouns.belief import Belief

EvidenceKind = Literal["sheet", "sweep"]
Urgency = Literal["due", "soon", "later"]
Trend = Literal["rising", "falling", "cannot tell"]
EVIDENCE_KINDS = (mark("sheet"), mark("sweep"))
URGENCIES = (mark("due"), mark("soon"), mark("later"))
TRENDS = (mark("rising"), mark("falling"), mark("cannot tell"))


@dataclass(frozen=True, slots=True)
class Evidence:
    """One sheet or sweep that speaks of a piece. ``measured_on`` is a day, "2026-04-02"."""

    kind: EvidenceKind
    key: str
    measured_on: str
    what: str


@dataclass(frozen=True, slots=True)
class BandLoss:
    """The believed loss at one frequency, with its 95 % interval; ``ratio`` is against a new piece of its type."""

    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PieceBelief:
    """What all evidence of a piece lets one believe of it; None where nothing is known, not even its type."""

    belief: Belief | None
    evidence: tuple[Evidence, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ShelfPiece:
    """A piece on the shelf with what is believed of it.

    ``basis`` says what that rests on; ``tested_on`` is the day of the newest evidence.
    """

    tag: str
    line: str | None
    length_m: float
    connectors: int
    stock: str | None
    exposure: str
    version: int
    archived: bool
    basis: str
    tests: int
    tested_on: str | None
    losses: tuple[BandLoss, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reminder:
    """When to test a piece again. ``why`` names the rule."""

    piece: str
    due_on: str
    urgency: Urgency
    why: str


@dataclass(frozen=True, slots=True)
class Shelf:
    """The pieces on the shelf, and which to test again."""

    pieces: tuple[ShelfPiece, ...]
    reminders: tuple[Reminder, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/shelf/1``."""
        return _document("shelf", self)


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """What one piece of evidence says alone of the loss at one frequency; 95 % interval."""

    evidence: Evidence
    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float


@dataclass(frozen=True, slots=True)
class Drift:
    """How the loss at one frequency moves over the years, percent of itself a year, with its 95 % interval.

    ``p_rising`` is the probability that it rises at all: near 1 or near 0 the drift is real, near 0.5 it is noise.
    """

    frequency_hz: float
    percent_per_year: float
    percent_per_year_low: float
    percent_per_year_high: float
    p_rising: float
    verdict: Trend
    why: str


@dataclass(frozen=True, slots=True)
class PieceHistory:
    """A piece over the years: what each test said, the drift, what was changed and noted, when to test again.

    ``disagreement`` says where tests do not agree; there is no drift then.
    """

    piece: ShelfPiece
    points: tuple[HistoryPoint, ...]
    drift: Drift | None
    reminder: Reminder | None
    notes: tuple[Item, ...]
    changes: tuple[Change, ...]
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)
    disagreement: str = ""
    cautions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/history/1``."""
        return _document("history", self)


@dataclass(frozen=True, slots=True)
class Changes:
    """Changes, newest first."""

    changes: tuple[Change, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/changes/1``."""
        return _document("changes", self)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a command wrote: the item as it stands, what else came with it, and what should be said of it."""

    item: Item
    with_it: tuple[Item, ...] = ()
    remarks: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/kept/1``."""
        return _document("kept", self)


@dataclass(frozen=True, slots=True)
class Filed:
    """What came of filing a file."""

    filed: tuple[Kept, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/filed/1``."""
        return _document("filed", self)


@dataclass(frozen=True, slots=True)
class SessionPlan:
    """What a bench session starts with, as people write it; meters and pieces by their names on the shelf.

    ``source``, ``reference``, ``attenuators``, ``limits`` and ``analyser`` are the tables of a bench sheet
    (``{"power": "10 W"}``, ``{"line": "RG-58C/U", "length": "0.9 m"}``).
    """

    title: str
    meters: tuple[str, ...] = ()
    pieces: tuple[str, ...] = ()
    source: Mapping[str, Any] = field(default_factory=dict)
    reference: Mapping[str, Any] = field(default_factory=dict)
    attenuators: tuple[Mapping[str, Any], ...] = ()
    limits: Mapping[str, Any] = field(default_factory=dict)
    analyser: Mapping[str, Any] = field(default_factory=dict)


def _document(name: str, found: Any) -> dict[str, Any]:
    return {"schema": f"linewright/{name}/1"} | {f.name: _plain(getattr(found, f.name)) for f in fields(found)}


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    return asdict(value) if hasattr(value, "__dataclass_fields__") else value
