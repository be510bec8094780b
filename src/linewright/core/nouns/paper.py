"""A reading sheet that nobody has filled in yet."""

from __future__ import annotations

from dataclasses import asdict, field
from typing import Any

from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.bench import REFERENCE, BenchSheet
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.shelf import BelievedLoss, Standing

# A reading sheet that nobody has filled in yet


@dataclass(frozen=True, slots=True)
class SheetStep:
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
    steps: tuple[SheetStep, ...]
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


# What stands on the label of a piece, and what came of asking for labels


@dataclass(frozen=True, slots=True)
class Label:
    """What is tied on a piece of cable.

    ``standing`` is the verdict over the bands shown; ``ratio`` is the loss as a multiple of what the type should lose,
    with its 95 % interval. Days are written "2026-04-02". ``diameter_m`` is the cable's, for a label folded round it.
    ``order`` stands in place of the verdict on a piece that is to be cut, and ``purpose`` in place of its days.
    """

    tag: str
    line: str | None
    length_m: float
    losses: tuple[BelievedLoss, ...] = ()
    standing: Standing = "not measured"
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None
    tested_on: str | None = None
    retest_on: str | None = None
    diameter_m: float | None = None
    order: str = ""
    purpose: str = ""


@dataclass(frozen=True, slots=True)
class Labels:
    """Labels in the order they are set, what a person should know of them, and how their figures were worked out."""

    labels: tuple[Label, ...]
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/labels/1``."""
        return {
            "schema": "linewright/labels/1",
            "labels": [asdict(label) for label in self.labels],
            "remarks": list(self.remarks),
            "workings": [asdict(working) for working in self.workings],
        }
