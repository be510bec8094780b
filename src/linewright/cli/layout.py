"""Headings, paragraphs and tables of the terminal view. Columns are set apart by space alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import click

from linewright.cli.cells import WIDEST, clean, cut, left, right, width, wrapped

GAP = "  "


def heading(text: str) -> str:
    """Return a heading: bold where the terminal has bold, and told apart by its capitals where not."""
    return bold(cut(text, WIDEST))


def bold(text: str) -> str:
    """Return text that stands out on a terminal; elsewhere ``click.echo`` takes the marks away again."""
    return click.style(text, bold=True)


def dim(text: str) -> str:
    """Return text that steps back on a terminal."""
    return click.style(text, dim=True)


def joined(parts: Iterable[Sequence[str]]) -> str:
    """Join the parts of a page with an empty line between them; an empty part leaves no gap."""
    return "\n\n".join("\n".join(line.rstrip() for line in part) for part in parts if part)


def items(sentences: Iterable[str], indent: str = "  ") -> list[str]:
    """Return sentences, each hanging from its own first line."""
    return [line for s in sentences for line in wrapped(s, first=indent, rest=indent + "  ")]


class Table:
    """Rows under a quiet head line. ``sides`` has a letter a column: l or r. What is too wide is cut, widest first."""

    def __init__(self, heads: Sequence[str], sides: str, *, indent: str = "  ") -> None:
        self._heads, self._sides, self._indent = list(heads), sides, indent
        self._rows: list[list[str]] = []

    def add(self, *cells: str) -> None:
        """Add a row."""
        self._rows.append([clean(c) for c in cells])

    def lines(self) -> list[str]:
        """Return the table as lines, none wider than the page."""
        if not self._rows:
            return []
        rows = [self._heads, *self._rows] if any(self._heads) else self._rows
        widths = self._fitted([max(width(row[i]) for row in rows) for i in range(len(self._sides))])
        said = [self._line(row, widths) for row in rows]
        if any(self._heads):
            said[0] = dim(said[0])
        return said

    def _fitted(self, widths: list[int]) -> list[int]:
        room = WIDEST - width(self._indent) - len(GAP) * (len(widths) - 1)
        while sum(widths) > room:
            widths[widths.index(max(widths))] -= 1
        return widths

    def _line(self, row: Sequence[str], widths: Sequence[int]) -> str:
        cells = [
            (left if side == "l" else right)(cut(cell, most), most)
            for cell, side, most in zip(row, self._sides, widths, strict=True)
        ]
        return (self._indent + GAP.join(cells)).rstrip()
