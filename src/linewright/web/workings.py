"""How a figure was worked out: the workings of an answer are searched for those that tell of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from linewright.core.formatting import frequency
from linewright.core.nouns.bench_result import Working
from linewright.present.document import Column, Table
from linewright.web.drawing import Bar

FIGURES = {
    "matched": ("matched loss",),
    "extra": ("extra loss through standing waves",),
    "total": ("total loss", "matched loss", "extra loss through standing waves"),
    "power": ("power at the antenna", "power of the radio", "total loss"),
    "radio": ("SWR at the radio",),
    "antenna": ("SWR at the antenna",),
    "highest": ("highest SWR the radio can see",),
    "heat": ("heat", "heat margin", "voltage margin"),
    "noise": ("external noise", "system noise"),
    "heard": ("loss of signal-to-noise", "external noise", "system noise"),
    "eirp": ("EIRP",),
}
"""Figures of a whole run by the word that stands for them in an address, and the workings that tell of each."""
OF_PART = ("loss of {}", "peak voltage on {}", "heat of {}", "electrical length of {}")


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


def opens(words: str, workings: Sequence[Working], *starts: str) -> Opens:
    """Return a figure that opens to those workings whose own figure begins so; a bare one where there is none.

    >>> worked = [Working(figure, "", (), "") for figure in ("loss at 7 MHz: 3 dB", "loss at 70 MHz: 9 dB")]
    >>> [w.figure for w in opens("3 dB", worked, "loss at 7 MHz").workings]
    ['loss at 7 MHz: 3 dB']
    """
    if not words:
        return Opens("")
    return Opens(words, tuple(w for start in starts for w in workings if _begins(w.figure, start)))


def _begins(figure: str, start: str) -> bool:
    return figure.startswith(start) and figure[len(start) :][:1] in ("", ":", ",", " ")


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
    starts: Callable[[Sequence[str]], Sequence[str]],
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
    starts : callable
        How the working of each cell of a row begins, by the cells of that row; empty for a cell that opens to none.
    bars : sequence of Bar
        One for each row, or none.
    drawn : int
        The column after which they stand.
    """
    rows = [row for part in table.parts for row in part.rows]
    return OpenTable(table.columns, tuple(
        OpenRow(
            tuple(opens(cell, workings, start) if start else Opens(cell)
                  for cell, start in zip_longest(row.cells, starts(row.cells), fillvalue="")),
            row.mark, row.note, bar,
        )
        for row, bar in zip_longest(rows, bars)
    ), drawn)  # fmt: skip


def word(figure: str, frequency_hz: float) -> str:
    """Return what an address says of a figure.

    >>> word("total", 144.3e6)
    'total@144300000'
    """
    return f"{figure}@{frequency_hz:.0f}"


def explained(asked: str, workings: Sequence[Working], parts: Sequence[str]) -> Explained | None:
    """Return how the figure an address asks for was worked out; None where it asks for none that is there.

    ``asked`` is ``total@144300000``, or of a part by its number ``part2@144300000``, or of a limit
    ``distance 47 CFR 1.1310, public@144300000``.
    """
    figure, at, hertz = asked.rpartition("@")
    if not at or not (hertz.isascii() and hertz.isdigit()) or len(hertz) > 12:
        return None
    f = float(hertz)
    found = [w for start in _starts(figure, f, parts) for w in workings if w.figure.startswith(start)]
    return Explained(figure, f, tuple(found)) if found else None


def _starts(figure: str, f: float, parts: Sequence[str]) -> list[str]:
    if figure.startswith("distance "):
        return [f"distance by {figure.removeprefix('distance ')}, at {frequency(f)}:", f"EIRP at {frequency(f)}:"]
    number = figure.removeprefix("part")
    if figure.startswith("part") and number.isascii() and number.isdigit():
        i = int(number) - 1
        return [f"{what.format(parts[i])} at {frequency(f)}:" for what in OF_PART] if 0 <= i < len(parts) else []
    return [f"{what} at {frequency(f)}:" for what in FIGURES.get(figure, ())]
