"""What stands on the label of a piece, and what came of asking for labels."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from linewright.model.result import Working
from linewright.model.shelf import BandLoss
from linewright.units.said import mark

Standing = Literal["good", "worn", "bad", "cannot tell", "not measured"]
STANDINGS = (mark("good"), mark("worn"), mark("bad"), mark("cannot tell"), mark("not measured"))


@dataclass(frozen=True, slots=True)
class Label:
    """What is tied on a piece of cable.

    ``standing`` is the verdict over the bands shown; ``ratio`` is the loss as a multiple of what the type should lose,
    with its 95 % interval. Days are written "2026-04-02". ``diameter_m`` is the cable's, for a label folded round it.
    """

    tag: str
    line: str | None
    length_m: float
    losses: tuple[BandLoss, ...] = ()
    standing: Standing = "not measured"
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None
    tested_on: str | None = None
    retest_on: str | None = None
    diameter_m: float | None = None


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
