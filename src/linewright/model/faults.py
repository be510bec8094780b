"""What a sweep shows along a line: faults, landmarks, the impedance profile, and which type the line resembles."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from linewright.model.result import Working
from linewright.units.said import mark

Floats = NDArray[np.float64]
FaultKind = Literal["pinch", "gap", "water", "insert", "step", "bad joint", "open", "short", "unclear"]
MarkKind = Literal["connector", "far end", "ghost", "unevenness"]
Likeness = Literal["as published", "worn", "none of these"]
FAULT_KINDS = (
    mark("pinch"), mark("gap"), mark("water"), mark("insert"), mark("step"), mark("bad joint"), mark("open"),
    mark("short"), mark("unclear"),
)  # fmt: skip
MARK_KINDS = (mark("connector"), mark("far end"), mark("ghost"), mark("unevenness"))
LIKENESSES = (mark("as published"), mark("worn"), mark("none of these"))


@dataclass(frozen=True, slots=True)
class Fault:
    """One discontinuity that a sound line would not have.

    Attributes
    ----------
    distance_m, low_m, high_m : float
        From the plane the analyser was calibrated at, with a 95 % interval; of a water section, its near edge.
    kind : str
        "pinch" (short and of lower impedance), "gap" (short and of higher), "water" (lower over a length), "insert"
        (higher over a length), "step" (the impedance changes and stays), "bad joint" (resistance in series), "open",
        "short", "unclear".
    size : float
        Largest reflection it makes within the sweep, magnitude, with the loss of the line before it taken back.
    confidence : float
        How sure it is that something is there at all, 0 to 1.
    why : str
        What was seen, in words.
    length_m, impedance_ohm, series_ohm : float or None
        How long it is; what impedance follows or fills it; what resistance stands in series.
    """

    distance_m: float
    low_m: float
    high_m: float
    kind: FaultKind
    size: float
    confidence: float
    why: str
    length_m: float | None = None
    impedance_ohm: float | None = None
    series_ohm: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the fault as plain data."""
        said = asdict(self)
        return {"distance_m": said.pop("distance_m"), "distance_m_low": said.pop("low_m"),
                "distance_m_high": said.pop("high_m"), **said}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Landmark:
    """Something on the line that is no fault: a connector, the far end, a re-reflection, a slight unevenness."""

    distance_m: float
    kind: MarkKind
    size: float
    why: str


@dataclass(frozen=True, slots=True)
class Profile:
    """Impedance along a line, or only where reflections stand if the sweep does not reach down near zero.

    Attributes
    ----------
    distance_m, reflection : ndarray, shape (points,)
        Size of the echo at each distance, the line's loss before it taken back.
    impedance_ohm : ndarray, shape (points,), or None
        By peeling the step response, layer by layer; None where the sweep starts too high to tell.
    window, why : str
        The window and the reason for it.
    cell_m, range_m : float
        Two things nearer than a cell are not told apart; beyond the range distances fold back.
    """

    distance_m: Floats
    reflection: Floats
    impedance_ohm: Floats | None
    window: str
    why: str
    cell_m: float
    range_m: float


@dataclass(frozen=True, slots=True)
class FaultFinding:
    """All that the reflections of a sweep say along the line.

    ``end_m`` is where the line ends, None if that is not seen. ``velocity_factor`` with its standard uncertainty turned
    delays into distances. ``blind_m`` is how near to either end a fault hides behind the connector.
    """

    faults: tuple[Fault, ...]
    landmarks: tuple[Landmark, ...]
    profile: Profile
    end_m: float | None
    end_delay_s: float | None
    velocity_factor: float
    velocity_factor_u: float
    cell_m: float
    blind_m: float
    least_size: float
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = ()


@dataclass(frozen=True, slots=True)
class Resemblance:
    """How well one type, or none, answers to what was measured; ``probability`` sums to 1 over all.

    ``kind`` says whether it is the type as published, the type worn (same shape, more loss by ``worn_ratio``), or none
    of the catalogue.
    """

    line: str
    kind: Likeness
    probability: float
    worn_ratio: float | None
    why: str

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return asdict(self)
