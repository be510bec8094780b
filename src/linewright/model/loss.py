"""What a length of line loses, by the catalogue."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from linewright.model.line import LineType
from linewright.model.result import Working


@dataclass(frozen=True, slots=True)
class LossRow:
    """The loss at one frequency, with a 95 % interval from the spread of published tables.

    ``extrapolated`` says that no published point stands on this side of the frequency; ``why`` says which way.
    """

    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float
    delivered_fraction: float
    conductor_db: float
    dielectric_db: float
    extrapolated: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True)
class LossTable:
    """The loss of a length of one line, connectors not included."""

    line: LineType
    length_m: float
    rows: tuple[LossRow, ...]
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = ()
    cautions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/line-loss/1``."""
        return {
            "schema": "linewright/line-loss/1",
            "length_m": self.length_m,
            "losses": [asdict(row) for row in self.rows],
            "line": self.line.to_dict(),
            "remarks": list(self.remarks),
            "workings": [asdict(w) for w in self.workings],
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True, slots=True)
class LineList:
    """The line types at hand, a person's own first."""

    types: tuple[LineType, ...]
    cautions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/lines/1``."""
        return {"schema": "linewright/lines/1", "lines": [line.to_dict() for line in self.types],
                "cautions": list(self.cautions)}  # fmt: skip
