"""What a shelf of pieces answers: what is believed of each, what it rests on, how it changed, when to test again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, field, fields
from typing import TYPE_CHECKING, Any, Literal

from linewright.core.frozen import dataclass
from linewright.core.messages import mark
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.ledger import Change, Item
from linewright.core.nouns.plan import Difference

if TYPE_CHECKING:
    from linewright.core.nouns.belief import Belief

EvidenceKind = Literal["sheet", "sweep"]
Urgency = Literal["due", "soon", "later"]
Trend = Literal["rising", "falling", "cannot tell"]
Standing = Literal["good", "worn", "bad", "cannot tell", "not measured"]
EVIDENCE_KINDS = (mark("sheet"), mark("sweep"))
URGENCIES = (mark("due"), mark("soon"), mark("later"))
STANDINGS = (mark("good"), mark("worn"), mark("bad"), mark("cannot tell"), mark("not measured"))
TRENDS = (mark("rising"), mark("falling"), mark("cannot tell"))


@dataclass(frozen=True, slots=True)
class Evidence:
    """One sheet or sweep that speaks of a piece. ``measured_on`` is a day, "2026-04-02"."""

    kind: EvidenceKind
    key: str
    measured_on: str
    what: str


@dataclass(frozen=True, slots=True)
class BelievedLoss:
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

    ``basis`` says what that rests on; ``tested_on`` is the day of the newest evidence. ``standing`` is the verdict over
    the bands it was measured on together, and ``ratio`` its loss there as a multiple of what its type should lose.
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
    losses: tuple[BelievedLoss, ...]
    remarks: tuple[str, ...] = ()
    standing: Standing = "not measured"
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None


@dataclass(frozen=True, slots=True)
class Reminder:
    """When to test a piece again. ``why`` names the rule."""

    piece: str
    due_on: str
    urgency: Urgency
    why: str


@dataclass(frozen=True, slots=True)
class KeptGear:
    """The meters, attenuators, loads, radios and antennas that are kept."""

    gear: tuple[Item, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/gear/1``."""
        return _document("gear", self)


@dataclass(frozen=True, slots=True)
class KeptRun:
    """A run of a kept station, as it is written: its bands, its power, its parts in words, the pieces it lies on."""

    station: str
    run: str
    frequencies: tuple[str, ...]
    power: str
    parts: tuple[str, ...]
    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KeptRuns:
    """The runs of all stations that are kept."""

    runs: tuple[KeptRun, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/runs/1``."""
        return _document("runs", self)


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan kept beside a run: what it says otherwise than the run, and what that would do.

    ``fields`` holds what it says otherwise as a station file has it, None for what it leaves out; ``differences`` one
    a frequency, the run as it lies before, the plan after.
    """

    station: str
    run: str
    plan: str
    fields: Mapping[str, Any]
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class KeptPlans:
    """Plans that are kept beside runs."""

    plans: tuple[KeptPlan, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/plans/1``."""
        told = [
            {
                "station": p.station, "run": p.run, "plan": p.plan, "fields": dict(p.fields),
                "differences": [d.to_dict() for d in p.differences],
            }
            for p in self.plans
        ]  # fmt: skip
        return {"schema": "linewright/plans/1", "plans": told}


@dataclass(frozen=True, slots=True)
class Shelf:
    """The pieces on the shelf, which to test again, and the runs they may lie in."""

    pieces: tuple[ShelfPiece, ...]
    reminders: tuple[Reminder, ...]
    runs: tuple[KeptRun, ...] = ()

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
class MeterBand:
    """How a meter reads on a band, intervals of 95 %.

    Attributes
    ----------
    frequency_hz : float
        The band.
    exponent, exponent_low, exponent_high : float, optional
        Its detector exponent, the decibels it shows for one; None where no session showed it.
    since : str
        The day of the first session that showed anything of it.
    sources : tuple of str
        All sessions that did.
    why : str
        The sentences that say so.
    gain_db, gain_db_low, gain_db_high : float, optional
        By how much it shows a power above what ``against`` shows of it; None where no better meter read beside it.
    against : str, optional
        A meter in its rated band that read the same carrier.
    both_rated : bool
        Whether both are in their rated bands, so that neither is a yardstick for the other.
    bottom, bottom_low, bottom_high : float, optional
        The reading, on its own scale, below which it shows nothing; None where no session showed that it sleeps beyond
        the first step of its scale.
    """

    frequency_hz: float
    exponent: float | None
    exponent_low: float | None
    exponent_high: float | None
    since: str
    sources: tuple[str, ...]
    why: str
    gain_db: float | None = None
    gain_db_low: float | None = None
    gain_db_high: float | None = None
    against: str | None = None
    both_rated: bool = False
    bottom: float | None = None
    bottom_low: float | None = None
    bottom_high: float | None = None


@dataclass(frozen=True, slots=True)
class BridgeBand:
    """What SWR readings of known loads tell of a meter on a band, intervals of 95 %.

    Attributes
    ----------
    frequency_hz : float
        The band.
    directivity_db, directivity_db_low, directivity_db_high : float
        The directivity of its bridge.
    scale, scale_low, scale_high : float
        The reflection it shows over the true one.
    tests : int
        How many readings that comes from.
    since : str
        The day of the first.
    why : str
        The sentence that says so.
    """

    frequency_hz: float
    directivity_db: float
    directivity_db_low: float
    directivity_db_high: float
    scale: float
    scale_low: float
    scale_high: float
    tests: int
    since: str
    why: str


@dataclass(frozen=True, slots=True)
class MeterKnown:
    """A meter with its sessions, oldest first, and how it reads on the bands that some of them showed.

    ``bridges`` says how it reads SWR, on the bands it was held against known loads on.
    """

    meter: str
    sessions: tuple[str, ...]
    bands: tuple[MeterBand, ...]
    bridges: tuple[BridgeBand, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/meter/1``."""
        return _document("meter", self)


@dataclass(frozen=True, slots=True)
class Meters:
    """The meters on the shelf."""

    meters: tuple[MeterKnown, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/meters/1``."""
        return _document("meters", self)


HAPPENED = (mark("steady"), mark("ageing"), mark("step"), mark("other piece"))
"""The codes of what may have happened to a piece."""


@dataclass(frozen=True, slots=True)
class PieceChange:
    """One thing that may have happened to a piece between its first test and its last.

    Attributes
    ----------
    kind : str
        "steady", "ageing", "step" or "other piece".
    p : float
        Its probability. A step and a test of another piece may both be so.
    first_on, last_on : str
        The days between which it happened; of a test of another piece, the day of that test.
    rate_per_year, rate_low, rate_high : float, optional
        Of ageing: the share by which the loss grows in a year, with its 95 % interval.
    why : str
        The sentence that says so.
    """

    kind: str
    p: float
    first_on: str
    last_on: str
    rate_per_year: float | None = None
    rate_low: float | None = None
    rate_high: float | None = None
    why: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        found = asdict(self)
        return {"kind": found.pop("kind"), "p": found.pop("p"), "from": found.pop("first_on"),
                "to": found.pop("last_on"), **found}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Passing:
    """When the loss of a piece passes a limit, if it goes on as it does.

    Attributes
    ----------
    frequency_hz, limit_db : float
        Where, and which limit.
    p_now, p_1_year, p_5_years : float
        How likely it is over the limit today, in a year, in five years.
    years_low, years, years_high : float, optional
        Years from the day of the belief until it passes, with a 95 % interval; 0 for already, None for beyond twenty.
    why : str
        The sentence that says so.
    """

    frequency_hz: float
    limit_db: float
    p_now: float
    p_1_year: float
    p_5_years: float
    years_low: float | None
    years: float | None
    years_high: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Due:
    """A piece to test, and what the plans stand to gain by it.

    Attributes
    ----------
    piece, due_on, urgency : str
        Which, by when, and how pressing that is.
    gain_db : float
        By how much a test would narrow the intervals of what the runs lose that the piece lies in, all runs together,
        each at its frequency where that is most; 0 for a piece in no run.
    run, frequency_hz, width_db, width_db_after : str, float, optional
        The run that gains most, where, and how wide the interval of its loss is there before and after.
    why : str
        The sentence that says so.
    """

    piece: str
    due_on: str
    urgency: Urgency
    gain_db: float
    run: str | None
    frequency_hz: float | None
    width_db: float | None
    width_db_after: float | None
    why: str


@dataclass(frozen=True, slots=True)
class DueList:
    """What to test first, the greatest gain to the plans before."""

    due: tuple[Due, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/due/1``."""
        return _document("due", self)


@dataclass(frozen=True, slots=True)
class PieceHistory:
    """A piece over the years: what each test said, what happened to it, what was edited and noted, when to test again.

    ``changes`` are what may have happened, likeliest first; ``edits`` what people changed in the ledger.
    ``disagreement`` says where tests do not agree; there is no drift then. ``passes`` says when limits are passed.
    ``day`` is the day that the losses are of.
    """

    piece: ShelfPiece
    points: tuple[HistoryPoint, ...]
    drift: Drift | None
    reminder: Reminder | None
    notes: tuple[Item, ...]
    changes: tuple[PieceChange, ...]
    edits: tuple[Change, ...]
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)
    disagreement: str = ""
    cautions: tuple[str, ...] = ()
    passes: tuple[Passing, ...] = ()
    day: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/history/1``."""
        losses = [{"piece": self.piece.tag, **asdict(x)} for x in self.piece.losses]
        return _document("history", self) | {"losses": losses, "changes": [c.to_dict() for c in self.changes]}


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
