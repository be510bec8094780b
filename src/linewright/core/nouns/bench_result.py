"""What a verb answers. A result is a value; showing it is someone else's work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, field, fields, is_dataclass
from typing import Any, Literal

from linewright.core.frozen import dataclass
from linewright.core.messages import mark

# Where a piece's extra loss comes from


@dataclass(frozen=True, slots=True)
class GrowthFinding:
    """Which part of a piece's loss grew beyond new: probabilities, and what a person would check.

    ``p_conductor`` is for the part that grows with √f (conductors, braid, corrosion), ``p_dielectric`` for the part
    that grows with f (dielectric, moisture), ``p_joint`` for plugs and joints, ``p_none`` for no growth worth a name;
    what is missing to 1 is the chance that the excess is none, for the piece is not what it is said to be.
    ``*_db`` is each part's median excess over new, at ``frequency_hz``, the highest frequency measured.
    """

    piece: str
    frequency_hz: float | None
    p_conductor: float
    p_dielectric: float
    p_joint: float
    p_none: float
    conductor_db: float
    dielectric_db: float
    joint_db: float
    sentence: str
    check: str

    def to_dict(self) -> dict[str, Any]:
        """Return the finding as plain data."""
        return asdict(self)


# The scales a meter may have

Scale = Literal["watts", "milliwatts", "dBm", "dB", "volts", "card", "loss"]
SCALE_WORDS = (mark("watts"), mark("milliwatts"), mark("volts"), mark("card"), mark("loss"))
"""The scales that are named by a word rather than by their unit."""
SCALE_UNIT: Mapping[Scale, str] = {
    "watts": "W",
    "milliwatts": "mW",
    "dBm": "dBm",
    "dB": "dB",
    "volts": "V",
    "card": "",
    "loss": "dB",
}
"""What stands behind a reading; a bare scale has no unit. On a scale of ``loss`` a test from one end is put down."""

# What a verb answers. A result is a value; showing it is someone else's work

Verdict = Literal["good", "worn", "bad", "cannot tell"]
Trust = Literal["good", "doubtful", "none", "unknown"]
Cause = Literal[
    "misread",
    "range",
    "decimal",
    "digits swapped",
    "rows swapped",
    "copied",
    "wrong piece",
    "all meters alike",
    "bad insertion",
    "open conductor",
    "resistive joint",
    "short",
    "wet connector",
    "braid",
    "water",
    "other type",
    "other length",
    "other impedance",
    "mismatch",
    "detector",
    "shared bend",
]
"""Why a reading is off, or a piece loses more than its type: codes, worded where they are shown."""
VERDICTS = (mark("good"), mark("worn"), mark("bad"), mark("cannot tell"))
TRUSTS = (mark("good"), mark("doubtful"), mark("none"), mark("unknown"))
USES = (mark("home station"), mark("portable"), mark("HF only"), mark("receive only"), mark("scrap"))
"""What a piece may serve for, as ``UseFinding.use`` names it."""


Key = tuple[str | float, ...]
"""What a working is of: the kind of figure, then what it is the figure of, such as ("loss", "blue 7", 144e6)."""


@dataclass(frozen=True, slots=True)
class Working:
    """How one figure was worked out: the formula, what went in, and where the formula stands.

    Figure, formula and inputs write themselves in any manner (``core.messages``); symbols and the source stay. A
    working is found by its ``key``, never by its words.
    """

    figure: str
    formula: str
    inputs: tuple[tuple[str, str], ...]
    source: str
    key: Key = ()


def workings_of(workings: Sequence[Working], *keys: Key) -> tuple[Working, ...]:
    """Return the workings under some keys, in the order of the keys; a key finds all that are named further too.

    >>> worked = [Working("", "", (), "", ("by hand", "7", 7e6, meter)) for meter in ("card", "desk")]
    >>> [w.key[-1] for w in workings_of(worked, ("by hand", "7", 7e6))]
    ['card', 'desk']
    """
    return tuple(w for key in keys for w in workings if w.key[: len(key)] == key)


@dataclass(frozen=True, slots=True)
class ByHand:
    """The plain figure: ratio in dB of one meter's readings, with its standard uncertainty."""

    meter: str
    loss_db: float
    loss_db_u: float


@dataclass(frozen=True, slots=True)
class LossFinding:
    """The loss of one piece at one frequency. Intervals are 95 %; ``ratio`` is against what its type should lose.

    ``catalogue_db`` is what a good piece of the claimed type loses, its connectors included.
    ``without_catalogue_db`` is what the readings alone say, and ``catalogue_pull_db`` how far the catalogue moved the
    answer from there.
    """

    piece: str
    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float
    delivered_fraction: float
    catalogue_db: float | None
    ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    p_worse_1_1: float | None
    p_worse_1_25: float | None
    by_hand: tuple[ByHand, ...] = ()
    without_catalogue_db: float | None = None
    without_catalogue_db_low: float | None = None
    without_catalogue_db_high: float | None = None
    catalogue_pull_db: float | None = None
    extrapolated: bool = False


@dataclass(frozen=True, slots=True)
class UseFinding:
    """Whether a piece serves a use: yes, no, or None for "cannot tell"."""

    use: str
    ok: bool | None
    why: str


@dataclass(frozen=True, slots=True)
class CauseFinding:
    """A cause with its probability; ``line`` is the likeliest type where the cause is another type."""

    cause: Cause
    p: float
    line: str | None = None


@dataclass(frozen=True, slots=True)
class PieceFinding:
    """The verdict on one piece. k1 and k2 are decibels per metre at 1 MHz (see ``AttenuationLaw``).

    ``cause`` is the likeliest cause of what it loses beyond its type, or of its being another cable than is said, with
    its probability ``p``; ``rivals`` are the other causes worth naming.
    """

    piece: str
    length_m: float
    k1_db_per_m: float
    k2_db_per_m: float
    ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    verdict: Verdict
    uses: tuple[UseFinding, ...]
    why: str
    cause: Cause | None = None
    p: float | None = None
    rivals: tuple[CauseFinding, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadingFinding:
    """What the rest of the bench says of one reading. ``expected`` is in the meter's own scale.

    ``cause`` names the likeliest slip of a doubted reading, ``p`` how likely it is that.
    """

    row: int
    meter: str
    frequency_hz: float
    path: str
    reading: float
    expected: float | None
    expected_low: float | None
    expected_high: float | None
    p_wrong: float
    checked: bool
    why: str
    scale: Scale = "watts"
    cause: Cause | None = None
    p: float | None = None


@dataclass(frozen=True, slots=True)
class MeterFinding:
    """What one meter is good for on one band. The exponent is 1 for a detector that reads true ratios."""

    meter: str
    frequency_hz: float
    trust: Trust
    exponent: float | None
    exponent_low: float | None
    exponent_high: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Prediction:
    """The believed loss of a piece at a frequency nobody measured."""

    piece: str
    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float


Lacking = Literal["attenuator", "second meter"]
"""Gear that is on no sheet, and that a reading may be proposed with unless nobody has it."""


@dataclass(frozen=True, slots=True)
class NextReading:
    """A reading worth taking next, and what it would settle.

    ``gain_nats`` is expected information on the loss that gains most, given that those before it are taken. ``needs``
    is gear that is not on the sheet; None where everything is.
    """

    action: str
    meter: str | None
    frequency_hz: float | None
    path: str | None
    gain_nats: float
    why: str
    needs: Lacking | None = None


@dataclass(frozen=True, slots=True)
class BenchResult:
    """All that a bench sheet says."""

    title: str
    losses: tuple[LossFinding, ...]
    pieces: tuple[PieceFinding, ...]
    readings: tuple[ReadingFinding, ...]
    meters: tuple[MeterFinding, ...]
    predictions: tuple[Prediction, ...]
    next: tuple[NextReading, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)
    growth: tuple[GrowthFinding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/bench-result/1``."""
        return document("linewright/bench-result/1", self)


def document(schema: str, noun: Any) -> dict[str, Any]:
    """Return a noun as a JSON document of a schema: its fields in order, sentences as they are, nouns as mappings."""
    return {"schema": schema, **{item.name: _plain(getattr(noun, item.name)) for item in fields(noun)}}


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(entry) for entry in value]
    return asdict(value) if is_dataclass(value) and not isinstance(value, type) else value
