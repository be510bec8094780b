"""Lines by their electrical length: what was measured of each, how they differ, and where to cut."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field
from typing import Any, Literal

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.messages import mark
from linewright.core.nouns.bench_result import Working, document
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import Interval

LengthBasis = Literal["swept", "resonance", "its type"]
LENGTH_BASES = (mark("swept"), mark("resonance"), mark("its type"))
Purpose = Literal["line", "open stub", "shorted stub"]
PURPOSES = (mark("line"), mark("open stub"), mark("shorted stub"))
CutWay = Literal["trim", "measure", "too short"]
CUT_WAYS = (mark("trim"), mark("measure"), mark("too short"))


@dataclass(frozen=True, slots=True, eq=False)
class ElectricalLine:
    """One line, and how long it is electrically at the frequencies asked about.

    Attributes
    ----------
    name : str
        Its tag, or its file's name.
    basis : str
        "swept", "resonance" (where its open or shorted end is resonant), or "its type" (nothing was measured: its
        length by tape and the velocity factor of its type).
    frequency_hz, phase_rad, phase_u_rad : ndarray, shape (f,)
        Phase of one pass, connectors included, and its standard uncertainty.
    length_m : float or None
        By tape.
    connectors : int
        How many are on it.
    line : LineType or None
        Its type.
    impedance_ohm : Interval or None
        As measured, else its type's.
    loss_db : callable or None
        Draws of the matched loss of the whole line, dB: hertz shaped (f,) to (f, draws).
    stock : str or None
        The drum it was cut from.
    why : str
        What the figure rests on, in a sentence.
    """

    name: str
    basis: LengthBasis
    frequency_hz: Floats
    phase_rad: Floats
    phase_u_rad: Floats
    length_m: float | None = None
    connectors: int = 2
    line: LineType | None = None
    impedance_ohm: Interval | None = None
    loss_db: Callable[[Floats], Floats] | None = None
    stock: str | None = None
    why: str = ""

    @property
    def family(self) -> str:
        """The group it shares its velocity factor with: its stock, or its type, or none."""
        kind = self.line.designator if self.line else f"\x00{self.name}"
        return f"{kind}\x00{self.stock}" if self.stock else kind


@dataclass(frozen=True, slots=True)
class Phase:
    """The electrical length of a line at one frequency, with its 95 % interval."""

    frequency_hz: float
    phase_deg: float
    phase_deg_low: float
    phase_deg_high: float


@dataclass(frozen=True, slots=True)
class CutPiece:
    """One line as it is. Intervals are 95 %.

    ``velocity_factor`` is that of the bare line, from its sweeps with its length, and those of its stock or type.
    ``ends_m`` is what its connectors add, as a length of its own line.
    """

    piece: str
    line: str | None
    basis: LengthBasis
    length_m: float | None
    velocity_factor: float
    velocity_factor_low: float
    velocity_factor_high: float
    ends_m: float
    ends_m_low: float
    ends_m_high: float
    impedance_ohm: float | None
    impedance_ohm_low: float | None
    impedance_ohm_high: float | None
    phases: tuple[Phase, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Leftover:
    """What is left between two lines at a frequency after the longer one was trimmed, degrees."""

    frequency_hz: float
    left_deg: float


@dataclass(frozen=True, slots=True)
class LengthDifference:
    """By how much one line is longer than another at the frequency that decides. Intervals are 95 %.

    ``in_step_deg`` is the same within a half turn either way: what counts where whole turns do not matter. ``trim_m``
    is to be cut from the longer one; ``left_deg`` is how far they may still differ then, either way. ``told`` is
    whether the difference is larger than its doubt.
    """

    longer: str
    shorter: str
    frequency_hz: float
    difference_deg: float
    difference_deg_low: float
    difference_deg_high: float
    in_step_deg: float
    trim_m: float
    trim_m_low: float
    trim_m_high: float
    left_deg: float
    told: bool
    band: tuple[Leftover, ...] = ()


@dataclass(frozen=True, slots=True)
class Trim:
    """How much to cut off one line, metres, with its 95 % interval; nothing off the shortest of a set."""

    piece: str
    trim_m: float
    trim_m_low: float
    trim_m_high: float


@dataclass(frozen=True, slots=True)
class MatchedSet:
    """Lines to be used side by side, and what to trim from each. ``spread_deg`` is how far apart they are before."""

    pieces: tuple[str, ...]
    frequency_hz: float
    spread_deg: float
    trims: tuple[Trim, ...]
    left_deg: float


@dataclass(frozen=True, slots=True)
class StubLoss:
    """What a stub across a 50-ohm line takes from a signal there, dB, with its 95 % interval."""

    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float


@dataclass(frozen=True, slots=True)
class Transformed:
    """What a line of the length asked for makes of a load. Intervals are 95 %; ``lines`` alike ones are in parallel."""

    load_ohm: str
    lines: int
    resistance_ohm: float
    resistance_ohm_low: float
    resistance_ohm_high: float
    reactance_ohm: float
    reactance_ohm_low: float
    reactance_ohm_high: float
    swr: float
    swr_low: float
    swr_high: float


@dataclass(frozen=True, slots=True)
class CutTo:
    """Where to cut one line. Intervals are 95 %.

    Attributes
    ----------
    purpose : str
        "line" with a connector at either end, "open stub" or "shorted stub".
    target_deg, frequency_hz : float
        How long it is to be, and where.
    way : str
        "trim" (measure what comes off), "measure" (measure what stays), "too short".
    trim_m, length_m : float or None
        What comes off, and what stays by tape; the latter None where nobody measured the piece.
    first_m : float or None
        What to cut off at first, so that it is surely not too short; then sweep it again. Of "measure", leave
        ``length_m_high`` at first instead.
    left_deg : float
        How far it may be off, either way, once cut as told.
    tuned_hz : float
        Where it is as long as wanted after the cut, with its interval.
    """

    piece: str
    purpose: Purpose
    target_deg: float
    frequency_hz: float
    way: CutWay
    trim_m: float | None
    trim_m_low: float | None
    trim_m_high: float | None
    length_m: float | None
    length_m_low: float | None
    length_m_high: float | None
    first_m: float | None
    left_deg: float
    tuned_hz: float
    tuned_hz_low: float
    tuned_hz_high: float
    beyond: str | None = None
    stub: tuple[StubLoss, ...] = ()
    transformed: Transformed | None = None


@dataclass(frozen=True, slots=True)
class CutResult:
    """Lines compared by their electrical length, and where to cut them."""

    verdict: str
    pieces: tuple[CutPiece, ...]
    differences: tuple[LengthDifference, ...] = ()
    sets: tuple[MatchedSet, ...] = ()
    left_over: tuple[str, ...] = ()
    cut: CutTo | None = None
    cautions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/cut/1``."""
        return document("linewright/cut/1", self)
