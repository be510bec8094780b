"""How figures were worked out, for ``--explain``."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.cli.cells import WIDEST, wrapped
from linewright.cli.layout import bold
from linewright.model.result import Working


def workings_view(workings: Sequence[Working]) -> list[str]:
    """Return every working: figure, formula, inputs and source."""
    lines = [bold("How it was worked out")]
    for working in workings:
        lines += [*_one(working), ""]
    return lines[:-1] if workings else []


def _one(working: Working) -> list[str]:
    lines = wrapped(working.figure, WIDEST, first="  ")
    lines += wrapped(working.formula, WIDEST, first="    = ", rest="      ")
    for name, value in working.inputs:
        lines += wrapped(f"{name}: {value}", WIDEST, first="    ", rest="      ")
    return [*lines, *wrapped(f"Source: {working.source}", WIDEST, first="    ", rest="      ")]
