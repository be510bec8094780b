"""Tables of the terminal view. Columns are set apart by space alone; a figure is never cut."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.cli.cells import WIDEST, clean, cut, left, right, width, wrapped
from linewright.cli.layout import dim

GAP = "  "
SENTENCE = 28
LEAST = 4
"""A column of sentences is at least so wide, and one of names."""
PART, UNDER = "part", "under"


class Table:
    """Rows under a quiet head.

    ``sides`` has a letter a column: ``l`` left, ``r`` right, ``d`` aligned at the decimal point, ``w`` sentences that
    wrap (the last column only). Where room is short, names and heads are cut, never figures.
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
        rows = [entry for entry in self._said if isinstance(entry, list)]
        if not rows:
            return []
        columns = [_aligned([row[i] for row in rows], side) for i, side in enumerate(self._sides)]
        widths = self._widths([max(map(width, column)) for column in columns])
        following = zip(*columns, strict=True)
        said = [dim(self._row(self._heads, widths)[0].rstrip())] if any(self._heads) else []
        for entry in self._said:
            said += _aside(*entry) if isinstance(entry, tuple) else self._row(next(following), widths)
        return said

    @property
    def _indent(self) -> str:
        return "    " if any(entry[0] == PART for entry in self._said) else "  "

    def _widths(self, filled: Sequence[int]) -> list[int]:
        """Return the width of every column: what its cells fill and its head asks, or less where room is short."""
        widths = [max(cells, width(head)) for cells, head in zip(filled, self._heads, strict=True)]
        room = WIDEST - len(self._indent) - len(GAP) * (len(widths) - 1)
        if self._sides.endswith("w"):
            widths[-1] = max(SENTENCE, min(widths[-1], room - sum(widths[:-1])))
        least = [{"l": LEAST, "w": SENTENCE}.get(side, filled[i]) for i, side in enumerate(self._sides)]
        while sum(widths) > room and (spare := [i for i, most in enumerate(widths) if most > least[i]]):
            widths[max(spare, key=lambda i: widths[i])] -= 1
        return widths

    def _row(self, row: Sequence[str], widths: Sequence[int]) -> list[str]:
        fixed = self._sides.replace("w", "")
        cells = [_padded(cell, side, most) for cell, side, most in zip(row, fixed, widths, strict=False)]
        start = self._indent + "".join(cell + GAP for cell in cells)
        if fixed == self._sides:
            return [start.rstrip()]
        return wrapped(row[-1], WIDEST, first=start, rest=" " * width(start))


def _padded(cell: str, side: str, most: int) -> str:
    fitted = cell if width(cell) <= most else cut(cell, most)
    return right(fitted, most) if side == "r" else left(fitted, most)


def _aligned(cells: list[str], side: str) -> list[str]:
    """Return the cells of a column; figures are moved until their decimal points stand under each other."""
    if side != "d":
        return cells
    before = max(map(_point, cells))
    return [" " * (before - _point(cell)) + cell if cell else "" for cell in cells]


def _point(cell: str) -> int:
    """Return where the decimal point of a figure stands, or would stand."""
    return next((i for i, sign in enumerate(cell) if not (sign.isdigit() or sign in "+-")), len(cell))


def _aside(kind: str, text: str) -> list[str]:
    return wrapped(text, WIDEST, first="  ") if kind == PART else wrapped(text, first="      ")
