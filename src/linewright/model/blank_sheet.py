"""A reading sheet that nobody has filled in yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from linewright.model.bench import REFERENCE, BenchSheet
from linewright.units.said import say


@dataclass(frozen=True, slots=True)
class ReadingPlan:
    """What a bench means to read: frequencies in hertz, and joined paths; None where the order may choose them."""

    frequencies_hz: tuple[float, ...] = ()
    joined: tuple[tuple[str, ...], ...] | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the sheet: which meter is read on which frequency through which path (empty for the reference)."""

    number: int
    meter: str
    frequency_hz: float
    path: tuple[str, ...]

    @property
    def path_name(self) -> str:
        """The path as written on a sheet."""
        return "+".join(self.path) if self.path else say(REFERENCE)


@dataclass(frozen=True, slots=True)
class BlankSheet:
    """Steps in the order that controls drift, on the gear of a bench.

    ``left_out`` are meters on frequencies outside their rated band, where another meter is at home.
    """

    bench: BenchSheet
    steps: tuple[Step, ...]
    left_out: tuple[tuple[str, float], ...] = ()
    cautions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/blank-sheet/1``."""
        return {
            "schema": "linewright/blank-sheet/1",
            "title": self.bench.title,
            "steps": [
                {"step": s.number, "meter": s.meter, "frequency_hz": s.frequency_hz, "path": s.path_name}
                for s in self.steps
            ],
            "left_out": [{"meter": m, "frequency_hz": f} for m, f in self.left_out],
            "cautions": list(self.cautions),
        }
