"""A line with one end in hand: what was read at the near end, the test it belongs to, and what it says."""

from __future__ import annotations

from dataclasses import field
from math import inf, isfinite
from typing import Any, Literal

from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.bench_result import Verdict, Working, document
from linewright.core.nouns.line import LineType

FarEnd = Literal["open", "short", "load", "antenna"]
FAR_ENDS: tuple[FarEnd, ...] = ("open", "short", "load", "antenna")
Quantity = Literal["swr", "return_loss_db", "resistance_ohm"]
QUANTITIES: tuple[Quantity, ...] = ("swr", "return_loss_db", "resistance_ohm")
Bound = Literal["is", "above", "below"]
Method = Literal["open and short", "known load", "antenna left connected", "resonance"]
FAR_END_WORDS = (mark("open"), mark("short"), mark("load"), mark("antenna"))
METHODS = (mark("open and short"), mark("known load"), mark("antenna left connected"), mark("resonance"))


def printed_step(text: str) -> float:
    """Return the step of a number as printed: one unit of its last digit.

    >>> printed_step("7.0"), printed_step("12"), printed_step("1.25")
    (0.1, 1.0, 0.01)
    """
    return float(10.0 ** -len(text.strip().partition(".")[2]))


@dataclass(frozen=True, slots=True)
class OneEndReading:
    """One reading at the near end.

    Attributes
    ----------
    row : int
        Its place in its file, or among the readings.
    far_end : str
        What is at the far end: ``open``, ``short``, ``load`` (of known SWR) or ``antenna`` (left connected; read at a
        peak of SWR away from its band).
    value : float
        The reading in its quantity. Infinite where an SWR is off the scale.
    step : float, optional
        Smallest step that can be read there; the reading stands for half of it either way. None: the last digit of
        the value, at most a tenth.
    bound : str
        ``is``; or ``above`` or ``below`` where only a limit could be read ("over 20").
    load_swr : float, optional
        Known SWR of the load; not listened to where ``direct`` tells it better.
    direct : float, optional
        What the same instrument shows with the load right at it, in the same quantity. ``direct_step`` as ``step``.
    piece : str, optional
        Tag of the piece, where readings stand in a bench sheet.
    """

    row: int
    far_end: FarEnd
    frequency_hz: float
    quantity: Quantity
    value: float
    step: float | None = None
    bound: Bound = "is"
    load_swr: float | None = None
    direct: float | None = None
    direct_step: float | None = None
    piece: str | None = None
    note: str = ""

    @property
    def method(self) -> Method:
        """Return the method the reading belongs to."""
        if self.quantity == "resistance_ohm":
            return "resonance"
        if self.far_end == "load":
            return "known load"
        return "antenna left connected" if self.far_end == "antenna" else "open and short"

    @property
    def ends(self) -> tuple[float, float]:
        """Return the least and the most the reading stands for, in its own quantity."""
        if self.bound == "above" or self.value == inf:
            return (self.value if isfinite(self.value) else OFF_SCALE_SWR), inf
        if self.bound == "below":
            return (1.0 if self.quantity == "swr" else 0.0), self.value
        return _ends(self.value, self.step)

    @property
    def direct_ends(self) -> tuple[float, float] | None:
        """Return the least and the most the direct reading stands for; None without one."""
        return None if self.direct is None else _ends(self.direct, self.direct_step or self.step)


OFF_SCALE_SWR = 10.0
"""The SWR from which a cheap meter shows "infinite" (common practice, no source)."""


def _ends(value: float, step: float | None) -> tuple[float, float]:
    half = 0.5 * (min(printed_step(f"{value:g}"), 0.1) if step is None else step)
    return value - half, value + half


@dataclass(frozen=True, slots=True)
class OneEndTest:
    """One line, read at one end with one instrument.

    ``directivity_db`` and ``source_swr`` are the instrument's; None takes those of a cheap bridge. ``impedance_ohm``
    is the line's own; None takes its type's, or the reference. ``length_m`` and ``line`` tie the answer to the
    catalogue when both are given.
    """

    readings: tuple[OneEndReading, ...]
    directivity_db: float | None = None
    source_swr: float | None = None
    reference_ohm: float = 50.0
    impedance_ohm: float | None = None
    line: LineType | None = None
    length_m: float | None = None
    connectors: int = 2
    tag: str = say("The line")
    source: str | None = None


@dataclass(frozen=True, slots=True)
class MethodLoss:
    """What one method says by itself, no catalogue listened to. ``by_hand_db`` is the plain formula's figure.

    A one-sided reading leaves ``loss_db`` None and one end of the interval open.
    """

    method: Method
    by_hand_db: float | None
    loss_db: float | None
    loss_db_low: float | None
    loss_db_high: float | None


@dataclass(frozen=True, slots=True)
class OneEndLoss:
    """The one-way matched loss at one frequency, connectors included. Intervals are 95 %.

    ``catalogue_db`` is what a good line of its type and length loses; ``ratio`` is against that.
    """

    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float
    delivered_fraction: float
    by_hand_db: float | None
    catalogue_db: float | None = None
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None
    p_worse_1_1: float | None = None
    p_worse_1_25: float | None = None
    extrapolated: bool = False
    methods: tuple[MethodLoss, ...] = ()


@dataclass(frozen=True, slots=True)
class OneEndLaw:
    """The law ``k1 √f + k2 f`` of the whole line, dB at 1 MHz (f in MHz), with 95 % intervals."""

    k1_db: float
    k1_db_low: float
    k1_db_high: float
    k2_db: float
    k2_db_low: float
    k2_db_high: float


@dataclass(frozen=True, slots=True)
class OneEndCheck:
    """What the rest of the test says of one reading. ``expected`` is in the reading's own quantity."""

    row: int
    far_end: FarEnd
    frequency_hz: float
    quantity: Quantity
    value: float
    bound: Bound
    expected: float | None
    expected_low: float | None
    expected_high: float | None
    p_wrong: float
    checked: bool
    why: str


@dataclass(frozen=True, slots=True)
class OneEndResult:
    """All that a test with one end in hand says."""

    tag: str
    line: str | None
    length_m: float | None
    verdict: Verdict
    why: str
    losses: tuple[OneEndLoss, ...]
    readings: tuple[OneEndCheck, ...]
    law: OneEndLaw | None = None
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None
    p_worse_1_1: float | None = None
    p_worse_1_25: float | None = None
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/one-end/1``."""
        return document("linewright/one-end/1", self)
