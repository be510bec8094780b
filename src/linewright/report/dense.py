"""Workings as they stand on paper: figures of a kind share a table, and what they have in common is said once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from linewright.report.document import Way, Workings
from linewright.units.manner import Manner
from linewright.units.said import mark

LONG, LONGEST = 20, 50
"""Values of more signs than the first stand below the table, each once, with a number in the cells, where they repeat
themselves; values of more signs than the second always do."""
SAME = mark("the same in each: {values}")
Inputs = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Kind:
    """Figures of one kind: the frame of their sentence, what fills it and what went in row by row.

    Attributes
    ----------
    frame : str
        The sentence with its gaps; empty where each figure is a text of its own.
    filled : int
        How many of the first cells fill the gaps.
    heads : tuple of str
        The names of the cells after those.
    rows : tuple of tuple of str
        The cells.
    said : tuple of str
        What stands below: what is the same in each, then long values by their numbers.
    """

    frame: str
    filled: int
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Worked:
    """One way of working out, with the figures found by it."""

    formula: str
    source: str
    kinds: tuple[Kind, ...]


def dense(workings: Workings, manner: Manner) -> tuple[Worked, ...]:
    """Return workings whose texts are written already, as tables; the manner gives the words around them."""
    return tuple(Worked(way.formula, way.source, tuple(_kinds(way, manner))) for way in workings.ways)


def _kinds(way: Way, manner: Manner) -> Iterator[Kind]:
    """Yield the figures that have a frame and the names of their inputs in common, in the order they first stand."""
    found: dict[tuple[str, int, tuple[str, ...]], list[tuple[tuple[str, ...], Inputs]]] = {}
    for (frame, cells), (_, inputs) in zip(way.apart, way.figures, strict=True):
        key = (frame, len(cells), tuple(name for name, _ in inputs))
        found.setdefault(key, []).append((cells, inputs))
    for (frame, filled, names), rows in found.items():
        yield _kind(frame, filled, names, rows, manner)


def _kind(
    frame: str, filled: int, names: tuple[str, ...], rows: list[tuple[tuple[str, ...], Inputs]], manner: Manner
) -> Kind:
    values = [tuple(value for _, value in inputs) for _, inputs in rows]
    shared = [i for i in range(len(names)) if len({row[i] for row in values}) == 1 and len(rows) > 1]
    own = [i for i in range(len(names)) if i not in shared]
    numbers = _numbers([[row[i] for i in own] for row in values])
    cells = tuple(
        (*filling, *(_cell(row[i], numbers) for i in own)) for (filling, _), row in zip(rows, values, strict=True)
    )
    said = [f"({number}) {value}" for value, number in numbers.items()]
    if shared:
        values_said = "; ".join(f"{names[i]}: {values[0][i]}" for i in shared)
        said.insert(0, manner.message(SAME).format(values=values_said))
    return Kind(frame, filled, tuple(names[i] for i in own), cells, tuple(said))


def _numbers(rows: list[list[str]]) -> dict[str, int]:
    """Return the numbers of the values that stand below the table, in the order they are met."""
    below = [_stands_below(column) for column in zip(*rows, strict=True)]
    long = (value for row in rows for value, apart in zip(row, below, strict=True) if apart and len(value) > LONG)
    return {value: number for number, value in enumerate(dict.fromkeys(long), start=1)}


def _stands_below(column: tuple[str, ...]) -> bool:
    """Return whether the long values of a column stand below the table: they repeat themselves, or are very long."""
    long = {value for value in column if len(value) > LONG}
    return len(long) <= len(column) / 2 or max(map(len, long)) > LONGEST


def _cell(value: str, numbers: dict[str, int]) -> str:
    return f"({numbers[value]})" if value in numbers else value
