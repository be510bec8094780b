"""The evidence ladder of a piece as a table's rows: the words of each rung, its bar, and where its sheet is judged."""

from __future__ import annotations

from dataclasses import dataclass

from linewright.charts import ladder as charted
from linewright.charts.bars import Scale, bar, scale_of
from linewright.ledger.store import Ledger
from linewright.units.writing import interval
from linewright.workflows.ladder import ladder_of


@dataclass(frozen=True, slots=True)
class Rung:
    """One step of the ladder: what was heard, when, what it says alone, and what is believed after it."""

    what: str
    on: str
    href: str
    alone: str
    believed: str
    drawn: str


def ladder(ledger: Ledger, tag: str, at_hz: float) -> tuple[Rung, ...]:
    """Return the ladder of a piece at one frequency; empty for a piece of unknown type that nobody measured."""
    _, rungs = ladder_of(ledger, tag, at_hz)
    scale = scale_of(end for rung in rungs for end in rung.believed)
    return tuple(_rung(rung, scale) for rung in rungs)


def _rung(rung: charted.Rung, scale: Scale) -> Rung:
    alone = "" if rung.alone is None else _said(rung.alone)
    return Rung(rung.what, rung.on, rung.sheet, alone, _said(rung.believed), bar(scale, *rung.believed))


def _said(ends: charted.Interval) -> str:
    low, middle, high = ends
    return interval(middle, low, high)
