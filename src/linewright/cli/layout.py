"""Headings, sentences and tables of the terminal view. Columns are set apart by space alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TypeVar

import click

from linewright.cli.cells import MEASURE, WIDEST, clean, cut, left, right, width, wrapped

T = TypeVar("T")
GAP = "  "
PART, UNDER = "part", "under"
SENTENCE = 28
"""A column of sentences is at least this wide."""


def bold(text: str) -> str:
    """Return text that stands out on a terminal; elsewhere the marks are taken away again."""
    return click.style(text, bold=True)


def dim(text: str) -> str:
    """Return text that steps back on a terminal."""
    return click.style(text, dim=True)


def page(parts: Iterable[Sequence[str]]) -> str:
    """Join the parts of a page with an empty line between them; an empty part leaves no gap."""
    return "\n\n".join("\n".join(line.rstrip() for line in part) for part in parts if part)


def section(title: str, lines: Sequence[str]) -> list[str]:
    """Put a title over lines; nothing over nothing."""
    return [bold(title), *lines] if lines else []


def paragraph(text: str) -> list[str]:
    """Return sentences as one block under a title."""
    return wrapped(text, MEASURE, first="  ")


def items(sentences: Iterable[str]) -> list[str]:
    """Return sentences, each hanging from its own first line."""
    return [line for s in sentences for line in wrapped(s, MEASURE, first="  ", rest="    ")]


def groups(things: Sequence[T], most: int) -> Iterator[Sequence[T]]:
    """Cut a sequence into pieces of at most so many, for what is too wide to stand side by side."""
    return (things[i : i + most] for i in range(0, len(things), most))


def _point(cell: str) -> int:
    """Return where the decimal point of a figure stands, or would stand."""
    return next((i for i, sign in enumerate(cell) if not (sign.isdigit() or sign in "+-−")), len(cell))


def _aside(kind: str, text: str) -> list[str]:
    if kind == PART:
        return wrapped(text, WIDEST, first="  ")
    return wrapped(text, MEASURE, first="      ")


class Table:
    """Rows under a quiet head.

    ``sides`` has a letter a column: ``l`` left, ``r`` right, ``d`` aligned at the decimal point, ``w`` sentences that
    wrap (the last column only). Where there is no room for all, left columns are cut, never figures.
    """

    def __init__(self, heads: Sequence[str], sides: str) -> None:
        self._heads, self._sides = list(heads), sides
        self._said: list[list[str] | tuple[str, str]] = []

    def add(self, *cells: str) -> None:
        """Add a row."""
        self._said.append([clean(c) for c in cells])

    def part(self, title: str) -> None:
        """Begin a part: a line of its own over the rows that follow."""
        self._said.append((PART, title))

    def under(self, sentence: str) -> None:
        """Add a sentence below the last row."""
        if sentence:
            self._said.append((UNDER, sentence))

    def lines(self) -> list[str]:
        """Return the table as lines, none wider than the page."""
        rows = [row for row in self._said if isinstance(row, list)]
        if not rows:
            return []
        aligned = [list(cells) for cells in zip(*(self._column(rows, i) for i in range(len(self._sides))), strict=True)]
        heads = [self._heads] if any(self._heads) else []
        widths = self._widths([*heads, *aligned])
        said = [dim(line.rstrip()) for row in heads for line in self._row(row, widths)]
        following = iter(aligned)
        for entry in self._said:
            said += _aside(*entry) if isinstance(entry, tuple) else self._row(next(following), widths)
        return said

    def _column(self, rows: Sequence[Sequence[str]], i: int) -> list[str]:
        cells = [row[i] for row in rows]
        if self._sides[i] != "d":
            return cells
        before = max(_point(cell) for cell in cells)
        return [" " * (before - _point(cell)) + cell if cell else "" for cell in cells]

    @property
    def _indent(self) -> str:
        return "    " if any(entry[0] == PART for entry in self._said) else "  "

    def _widths(self, rows: Sequence[Sequence[str]]) -> list[int]:
        widths = [max(width(row[i]) for row in rows) for i in range(len(self._sides))]
        room = WIDEST - len(self._indent) - len(GAP) * (len(widths) - 1)
        if self._sides.endswith("w"):
            widths[-1] = max(SENTENCE, min(widths[-1], room - sum(widths[:-1])))
        names = [i for i, side in enumerate(self._sides) if side == "l"]
        while sum(widths) > room and any(widths[i] > 4 for i in names):
            widest = max(names, key=lambda i: widths[i])
            widths[widest] -= 1
        return widths

    def _row(self, row: Sequence[str], widths: Sequence[int]) -> list[str]:
        cells = [
            right(cut(cell, most), most) if side == "r" else left(cell if side == "d" else cut(cell, most), most)
            for cell, side, most in zip(row, self._sides.replace("w", ""), widths, strict=False)
        ]
        start = self._indent + "".join(cell + GAP for cell in cells)
        if not self._sides.endswith("w"):
            return [start.rstrip()]
        return wrapped(row[-1], WIDEST, first=start, rest=" " * width(start))
