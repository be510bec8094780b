"""The terminal view of a bench result: verdict first, then the figures, then what to do."""

from __future__ import annotations

from linewright.cli.cells import wrapped
from linewright.cli.layout import heading, joined
from linewright.cli.workings_view import workings_view
from linewright.model.result import BenchResult


def bench_view(result: BenchResult, *, explain: bool = False) -> str:
    """Return a bench result for a terminal, no line wider than 100 columns."""
    parts = [[heading(result.title)], [line for p in result.pieces for line in wrapped(f"{p.piece}: {p.why}")]]
    if explain:
        parts.append(workings_view(result.workings))
    return joined(parts)
