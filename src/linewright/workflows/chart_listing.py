"""The document of a chart: which charts there are of a thing, the one asked for, and the table it is drawn from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from linewright.units.manner import ENGLISH, Manner
from linewright.units.said import written

if TYPE_CHECKING:
    from linewright.workflows.chart import Chart

PLACES = frozenset({"x", "x2", "y", "y2", "words"})
"""What a mark of the key or the frame has alone: where it stands on the paper, and its words."""


@dataclass(frozen=True, slots=True)
class Listing:
    """The charts there are of ``what``, and the kind and specification of the one asked for, if one was."""

    what: str
    charts: Sequence[Chart]
    kind: str | None = None
    specification: dict[str, Any] | None = None
    manner: Manner = ENGLISH

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/chart/1``."""
        known = [{"kind": c.kind, "about": written(c.about, self.manner)} for c in self.charts]
        table = None if self.specification is None else table_of(self.specification)
        return {
            "schema": "linewright/chart/1", "what": self.what, "charts": known, "kind": self.kind,
            "specification": self.specification, "table": table,
        }  # fmt: skip


def table_of(specification: dict[str, Any]) -> list[dict[str, Any]]:
    """Return every row of figures that a chart draws, each once, in the order they are drawn.

    >>> table_of({"layer": [{"data": {"values": [{"loss_db": 1.0}, {"loss_db": 1.0}, {"x": 0.0, "words": "key"}]}}]})
    [{'loss_db': 1.0}]
    """
    rows = {repr(sorted(row.items())): row for row in _rows(specification) if not row.keys() <= PLACES}
    return list(rows.values())


def _rows(part: Any) -> Iterator[dict[str, Any]]:
    if isinstance(part, list):
        for inner in part:
            yield from _rows(inner)
    elif isinstance(part, dict):
        data = part.get("data")
        values = data.get("values", []) if isinstance(data, dict) else []
        yield from (row for row in values if isinstance(row, dict))
        for name, inner in part.items():
            if name != "data":
                yield from _rows(inner)
