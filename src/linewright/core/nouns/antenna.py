"""An antenna's sweeps: each as the analyser shows it and behind its line, and what changed from one to the next."""

from __future__ import annotations

from dataclasses import asdict, field, fields, is_dataclass
from typing import Any

from linewright.core.frozen import dataclass
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.through import Estimate, ThroughResult

WIDTHS = (1.5, 2.0, 3.0)
"""SWRs at which an antenna's width is told."""
CHANGES = ("resonance", "best_swr", "width")
"""Figures that are compared; the width is that at SWR 2."""


@dataclass(frozen=True, slots=True)
class SweptPoint:
    """One point at the analyser. Resistance and reactance need a sweep with phase."""

    frequency_hz: float
    swr: Estimate
    return_loss_db: Estimate
    resistance_ohm: Estimate
    reactance_ohm: Estimate


@dataclass(frozen=True, slots=True)
class Width:
    """Where a curve stays below an SWR: both edges and the width between them; nothing where the sweep ends first."""

    swr: float
    from_hz: Estimate
    to_hz: Estimate
    width_hz: Estimate


@dataclass(frozen=True, slots=True)
class AntennaSweep:
    """One sweep at the analyser, and ``behind`` its line where one is known. Intervals are 95 %."""

    name: str
    points: tuple[SweptPoint, ...]
    best_swr: Estimate
    best_hz: float
    resonance_hz: Estimate
    zero_reactance_hz: Estimate
    resistance_ohm: Estimate
    widths: tuple[Width, ...]
    behind: ThroughResult | None = None


@dataclass(frozen=True, slots=True)
class AntennaChange:
    """By how much a figure changed from the first sweep to a later one; ``told`` is whether that is more than doubt.

    ``at`` says whether it is the figure at the analyser or behind the line.
    """

    first: str
    later: str
    figure: str
    at: str
    before: Estimate
    after: Estimate
    change: Estimate
    told: bool


@dataclass(frozen=True, slots=True)
class AntennaResult:
    """What sweeps of one antenna say, in the order they were given."""

    verdict: str
    sweeps: tuple[AntennaSweep, ...]
    changes: tuple[AntennaChange, ...] = ()
    line: str = ""
    cautions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/antenna/1``."""
        return {"schema": "linewright/antenna/1", **_plain(self)}


def _plain(noun: Any) -> dict[str, Any]:
    """Return a noun as plain data; an estimate becomes three keys."""
    out: dict[str, Any] = {}
    for item in fields(noun):
        value = getattr(noun, item.name)
        if isinstance(value, Estimate):
            out |= {item.name: value.value, f"{item.name}_low": value.low, f"{item.name}_high": value.high}
        elif isinstance(value, ThroughResult):
            out[item.name] = {k: v for k, v in value.to_dict().items() if k not in ("schema", "cautions")}
        elif isinstance(value, tuple):
            out[item.name] = [_entry(x) for x in value]
        else:
            out[item.name] = value
    return out


def _entry(value: Any) -> Any:
    if isinstance(value, Working):
        return asdict(value)
    return _plain(value) if is_dataclass(value) else value
