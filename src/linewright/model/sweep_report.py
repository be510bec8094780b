"""All that a sweep says, in one value: law and extent, what lies along the line, and which type it is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from linewright.model.belief import Belief
from linewright.model.faults import FaultFinding, Resemblance
from linewright.model.line import LineType
from linewright.model.result import Working
from linewright.model.sweep_result import SweepFinding


@dataclass(frozen=True, slots=True)
class SweepQuestion:
    """What is known beside the files, and what is asked.

    Attributes
    ----------
    length_m, velocity_factor : float or None
    line : str or LineType or None
        The type the line is said to be.
    own : tuple of LineType
        The person's own types.
    option_line : str or None
        Stands in for the option line of files that lack theirs.
    at_hz : tuple of float
        Frequencies wanted beside the amateur bands.
    """

    length_m: float | None = None
    velocity_factor: float | None = None
    line: str | LineType | None = None
    own: tuple[LineType, ...] = ()
    option_line: str | None = None
    at_hz: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class SweepReport:
    """What one or several sweeps of a line say.

    ``along`` is None where faults cannot be told; ``along_why`` then says why, and what would tell. ``jacket`` speaks
    of the type that was claimed, and is empty without one.
    """

    finding: SweepFinding
    along: FaultFinding | None
    along_why: str
    resembles: tuple[Resemblance, ...]
    jacket: str
    verdict: str
    cautions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/sweep-result/1``: the finding's, with what lies along the line."""
        return {
            **self.finding.to_dict(),
            "verdict": self.verdict,
            **_along(self.along),
            "faults_why": self.along_why,
            "resembles": [r.to_dict() for r in self.resembles],
            "jacket": self.jacket,
            "cautions": list(self.cautions),
            "remarks": list(self.remarks),
            "workings": [
                {"figure": w.figure, "formula": w.formula, "inputs": [list(i) for i in w.inputs], "source": w.source}
                for w in self.workings
            ],
        }


def _along(found: FaultFinding | None) -> dict[str, Any]:
    """Return what lies along the line; ``faults`` is null where it cannot be told."""
    if found is None:
        return {"faults": None, "landmarks": None, "cell_m": None, "blind_m": None, "window": None}
    return {
        "faults": [fault.to_dict() for fault in found.faults],
        "landmarks": [
            {"distance_m": m.distance_m, "kind": m.kind, "size": m.size, "why": m.why} for m in found.landmarks
        ],
        "cell_m": found.cell_m,
        "blind_m": found.blind_m,
        "window": {"name": found.profile.window, "why": found.profile.why},
    }


@dataclass(frozen=True, slots=True)
class Agreement:
    """Two beliefs of one piece, from the bench and from a sweep, held against each other.

    Attributes
    ----------
    combined : Belief
        What both together say; where they contradict each other, widened until it covers both.
    contradicts : bool
    p_value : float
        Chance of two beliefs so far apart if both are right.
    cause, why : str
        The likeliest cause of a contradiction, short and in a sentence; empty without one.
    difference_db : tuple of (float, float)
        Frequency in hertz, and bench less sweep in dB.
    """

    combined: Belief
    contradicts: bool
    p_value: float
    cause: str
    why: str
    difference_db: tuple[tuple[float, float], ...]
