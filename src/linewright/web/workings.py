"""How a figure was worked out: the workings of an answer by the keys that tell of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain, repeat, zip_longest

from linewright.core.nouns.bench_result import Key, Working, workings_of
from linewright.present.document import Column, Table
from linewright.web.drawing import Bar

FIGURES = {
    "matched": ("matched loss",),
    "extra": ("extra loss",),
    "total": ("total loss", "matched loss", "extra loss"),
    "power": ("antenna power", "radio power", "total loss"),
    "radio": ("radio SWR",),
    "antenna": ("antenna SWR",),
    "highest": ("highest SWR",),
    "heat": ("heat", "heat margin", "voltage margin"),
    "noise": ("external noise", "system noise"),
    "figure": ("noise figure",),
    "merit": ("G/T", "system noise"),
    "heard": ("reception loss", "external noise", "system noise", "noise figure"),
    "eirp": ("EIRP", "ERP"),
}
"""Figures of a whole run by the word that stands for them in an address, and the workings that tell of each."""
OF_PART = ("part loss", "part voltage", "part heat", "part length")
PART, DISTANCE = "part", "distance"


@dataclass(frozen=True, slots=True)
class Explained:
    """One figure opened: the word for it, its frequency, and how it was worked out."""

    figure: str
    frequency_hz: float
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class Opens:
    """A figure as it is written, and the workings it opens to where it stands."""

    words: str
    workings: tuple[Working, ...] = ()


def opens(words: str, workings: Sequence[Working], *keys: Key) -> Opens:
    """Return a figure that opens to the workings of these keys; a bare one where there is none.

    >>> worked = [Working(f"loss of {tag}", "", (), "", ("loss", tag, 7e6)) for tag in ("7", "blue 7")]
    >>> [w.figure for w in opens("3 dB", worked, ("loss", "7", 7e6)).workings]
    ['loss of 7']
    """
    return Opens(words, workings_of(workings, *keys)) if words else Opens("")


@dataclass(frozen=True, slots=True)
class OpenRow:
    """A row of a table whose figures open; ``bar`` draws one of them."""

    cells: tuple[Opens, ...]
    mark: str = ""
    note: str = ""
    bar: Bar | None = None


@dataclass(frozen=True, slots=True)
class OpenTable:
    """A table of a document as a page shows it; ``drawn`` is the column after which bars stand."""

    columns: tuple[Column, ...]
    rows: tuple[OpenRow, ...]
    drawn: int = -1


def open_table(
    table: Table,
    workings: Sequence[Working],
    keys: Iterable[Sequence[Key]],
    bars: Sequence[Bar] = (),
    drawn: int = -1,
) -> OpenTable:
    """Return a table of a document whose figures open.

    Parameters
    ----------
    table : Table
        Its cells are shown as they are.
    workings : sequence of Working
        Those of the whole answer.
    keys : iterable
        For each row, what the working of each of its cells is of; an empty key, or none, for a cell that opens to none.
    bars : sequence of Bar
        One for each row, or none.
    drawn : int
        The column after which they stand.
    """
    rows = [row for part in table.parts for row in part.rows]
    return OpenTable(table.columns, tuple(
        OpenRow(
            tuple(opens(cell, workings, key) if key else Opens(cell)
                  for cell, key in zip(row.cells, chain(of_row or (), repeat(())), strict=False)),
            row.mark, row.note, bar,
        )
        for row, of_row, bar in zip_longest(rows, keys, bars)
    ), drawn)  # fmt: skip


def word(figure: str, frequency_hz: float) -> str:
    """Return what an address says of a figure.

    >>> word("total", 144.3e6)
    'total@144300000'
    """
    return f"{figure}@{frequency_hz:.0f}"


def explained(asked: str, workings: Sequence[Working]) -> Explained | None:
    """Return how the figure an address asks for was worked out; None where it asks for none that is there.

    ``asked`` is ``total@144300000``, or of a part by its number ``part2@144300000``, or of a limit
    ``distance 47 CFR 1.1310, public@144300000``.
    """
    figure, at, hertz = asked.rpartition("@")
    if not at or not (hertz.isascii() and hertz.isdigit()) or len(hertz) > 12:
        return None
    at_hz = [w for w in workings if isinstance(w.key[-1], float) and f"{w.key[-1]:.0f}" == hertz]
    found = [w for about in _about(figure, at_hz) for w in at_hz if w.key[:-1] == about]
    return Explained(figure, float(hertz), tuple(found)) if found else None


def _about(figure: str, workings: Sequence[Working]) -> list[Key]:
    """Return what the workings of a figure are of, their frequency left out."""
    kind, _, limit = figure.partition(" ")
    if kind == DISTANCE:
        limits = [w.key[:-1] for w in workings if w.key[0] == DISTANCE]
        return [*(key for key in limits if limit == f"{key[1]}, {key[2]}"), ("EIRP",)]
    number = figure.removeprefix(PART)
    if figure.startswith(PART) and number.isascii() and number.isdigit():
        return [(kind, int(number)) for kind in OF_PART]
    return [(kind,) for kind in FIGURES.get(figure, ())]
