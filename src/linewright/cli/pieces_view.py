"""Pieces on a terminal: the verdict in a sentence, and what each may still serve for."""

from __future__ import annotations

from linewright.cli.cells import clean, wrapped
from linewright.cli.layout import bold
from linewright.cli.table import Table
from linewright.model.result import BenchResult, PieceFinding

ANSWER = {True: "yes", False: "no", None: "cannot tell"}


def verdicts(result: BenchResult) -> list[str]:
    """Return a verdict a piece, each a sentence with its reason."""
    return [line for piece in result.pieces for line in _verdict(piece)]


def _verdict(piece: PieceFinding) -> list[str]:
    said = "cannot tell" if piece.verdict == "cannot tell" else f"is {piece.verdict}"
    joint = ": " if piece.verdict == "cannot tell" else " "
    lead = clean(f"{piece.piece}{joint}{said}.")
    lines = wrapped(f"{lead} {piece.why}", rest="  ")
    if lines[0].startswith(lead):
        lines[0] = bold(lead) + lines[0][len(lead) :]
    return lines


def uses(result: BenchResult) -> list[str]:
    """Return what each piece may serve for, with the reason."""
    table = Table(("", "", ""), "llw")
    for piece in result.pieces:
        if piece.uses:
            table.part(piece.piece)
        for use in piece.uses:
            table.add(use.use, ANSWER[use.ok], use.why)
    return table.lines()
