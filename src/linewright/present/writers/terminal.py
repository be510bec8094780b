"""A document on a terminal: in character cells, no line wider than the page, bold titles, nothing that commands."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import partial
from typing import TypeVar

from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, written
from linewright.present.document import (
    Block,
    Cautions,
    Column,
    Document,
    Drawing,
    Facts,
    Paragraph,
    Points,
    Section,
    Table,
    Verdict,
    Workings,
    table,
)
from linewright.present.localize import mapped

# Text in character cells: how wide it stands, cut, padded and wrapped. A name never commands the screen

WIDEST = 100
"""No line is wider, unless another width is asked for."""
MEASURE = 79
"""Sentences stop here: easier to read, and whole on a terminal of 80 columns."""
_ROOM: ContextVar[int] = ContextVar("room", default=WIDEST)
_MANNER: ContextVar[Manner] = ContextVar("manner", default=ENGLISH)


def room() -> int:
    """Return how many cells a line may take here."""
    return _ROOM.get()


def measure() -> int:
    """Return how many cells a line of a sentence may take here."""
    return min(MEASURE, room())


@contextmanager
def room_of(cells: int) -> Iterator[None]:
    """Write lines of at most so many cells meanwhile.

    >>> with room_of(12):
    ...     wrapped("one two three four")
    ['one two', 'three four']
    """
    before = _ROOM.set(cells)
    try:
        yield
    finally:
        _ROOM.reset(before)


def manner() -> Manner:
    """Return the manner in which messages are written here."""
    return _MANNER.get()


@contextmanager
def manner_of(reader: Manner) -> Iterator[None]:
    """Write messages in a manner meanwhile.

    >>> from linewright.core.messages import say
    >>> with manner_of(Manner("de", ",")):
    ...     clean(say("cannot tell"))
    'nicht zu entscheiden'
    """
    before = _MANNER.set(reader)
    try:
        yield
    finally:
        _MANNER.reset(before)


GLUE = "\0"
UNITS = "[kMG]?Hz|dBm?|m?W|mV|V|%|m|ft|ohm|on the scale|times"


def clean(text: str) -> str:
    r"""Return text on one line, in the reader's manner, without anything a terminal would obey.

    >>> clean("blue\x1b[31m 7\n")
    'blue [31m 7'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in written(text, manner())).split())


def width(text: str) -> int:
    """Return how many cells a text takes; East Asian wide signs take two, combining ones none.

    >>> width("Ω 7"), width("電線")
    (3, 4)
    """
    return len(text) if text.isascii() else sum(_cell(c) for c in text)


def _cell(sign: str) -> int:
    if unicodedata.combining(sign) or unicodedata.category(sign) in ("Cf", "Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in "WF" else 1


def cut(text: str, most: int) -> str:
    """Shorten a text to so many cells, keeping both ends, for the end often tells two names apart.

    >>> cut("the long grey one from the old tower 12", 20)
    'the long grey…wer 12'
    """
    text = clean(text)
    if width(text) <= most:
        return text
    if most < 2:
        return "…"[:most]
    tail = _head(text[::-1], (most - 1) // 3)[::-1]
    return f"{_head(text, most - 1 - width(tail)).rstrip()}…{tail}"


def _head(text: str, most: int) -> str:
    taken = 0
    for i, sign in enumerate(text):
        taken += _cell(sign)
        if taken > most:
            return text[:i]
    return text


def left(text: str, cells: int) -> str:
    """Pad on the right, so that the text stands at the left."""
    return text + " " * (cells - width(text))


def right(text: str, cells: int) -> str:
    """Pad on the left, so that the text stands at the right."""
    return " " * (cells - width(text)) + text


def wrapped(text: str, most: int | None = None, *, first: str = "", rest: str | None = None) -> list[str]:
    """Break a text into lines of at most so many cells, indents included; without ``most``, of a sentence's measure.

    >>> wrapped("one two three", 9, first="- ", rest="  ")
    ['- one two', '  three']
    """
    rest, most = first if rest is None else rest, measure() if most is None else most
    lines, line = [], first
    fresh = True
    for word in _words(_glued(clean(text)), most - max(width(first), width(rest))):
        if not fresh and width(line) + 1 + width(word) > most:
            lines.append(line)
            line, fresh = rest, True
        line += word if fresh else f" {word}"
        fresh = False
    return [whole.replace(GLUE, " ") for whole in (*lines, line)]


def _glued(text: str) -> str:
    """Hold figures and units together, and intervals: no line ends between 14.2 and MHz."""
    text = re.sub(rf"(?<=\d) (?=(?:{UNITS})(?![\w/]))", GLUE, text)
    return re.sub(r"\((\S+) (to|bis) (\S+)\)", rf"(\1{GLUE}\2{GLUE}\3)", text)


def _words(text: str, most: int) -> Iterable[str]:
    for whole in text.split(" "):
        word = whole
        while width(word) > most > 1:
            head = _head(word, most)
            yield head
            word = word[len(head) :]
        yield word


# Titles, sentences and sections

T = TypeVar("T")
BOLD, DIM, PLAIN = "\x1b[1m", "\x1b[2m", "\x1b[0m"


def bold(text: str) -> str:
    """Return text that stands out on a terminal; elsewhere the marks are taken away again."""
    return f"{BOLD}{text}{PLAIN}"


def dim(text: str) -> str:
    """Return text that steps back on a terminal."""
    return f"{DIM}{text}{PLAIN}"


def page(parts: Iterable[Sequence[str]]) -> str:
    """Join the parts of a page with an empty line between them; an empty part leaves no gap."""
    return "\n\n".join("\n".join(line.rstrip() for line in part) for part in parts if part)


def section(title: str, lines: Sequence[str]) -> list[str]:
    """Put a title over lines; nothing over nothing."""
    return [bold(clean(title)), *lines] if lines else []


def paragraph(text: str) -> list[str]:
    """Return sentences as one block under a title."""
    return wrapped(text, first="  ")


def items(sentences: Iterable[str], most: int | None = None) -> list[str]:
    """Return sentences, each hanging from its own first line."""
    return [line for s in sentences for line in wrapped(s, most, first="  ", rest="    ")]


def groups(things: Sequence[T], most: int) -> Iterator[Sequence[T]]:
    """Cut a sequence into pieces of at most so many, for what is too wide to stand side by side."""
    return (things[i : i + most] for i in range(0, len(things), most))


# Tables. Columns are set apart by space alone; a figure is never cut

GAP = "  "
SENTENCE = 28
LEAST = 4
"""A column of sentences is at least so wide, and one of names."""
PART, UNDER = "part", "under"


class Grid:
    """Rows under a quiet head.

    ``sides`` has a letter a column: ``l`` left, ``r`` right, ``d`` aligned at the decimal point, ``w`` sentences that
    wrap (the last column only). Where room is short, heads stand in several lines, then names and words of heads are
    cut, never figures; where even that is too wide, a row becomes a sentence.
    """

    def __init__(self, heads: Sequence[str], sides: str, page_width: int | None = None) -> None:
        self._heads, self._sides, self._page = [clean(h) for h in heads], sides, page_width or room()
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
        if len(self._indent) + sum(widths) + len(GAP) * (len(widths) - 1) > self._page:
            return self._sentences()
        following = zip(*columns, strict=True)
        said = [dim(line) for line in self._head_lines(widths)] if any(self._heads) else []
        for entry in self._said:
            said += self._aside(*entry) if isinstance(entry, tuple) else self._row(next(following), widths)
        return said

    @property
    def _indent(self) -> str:
        return "    " if any(entry[0] == PART for entry in self._said) else "  "

    def _widths(self, filled: Sequence[int]) -> list[int]:
        """Return the width of every column: what its cells fill and its head asks, or less where room is short."""
        widths = [max(cells, width(head)) for cells, head in zip(filled, self._heads, strict=True)]
        room = self._page - len(self._indent) - len(GAP) * (len(widths) - 1)
        if self._sides.endswith("w"):
            widths[-1] = max(SENTENCE, min(widths[-1], room - sum(widths[:-1])))
        words = [max(map(width, head.split()), default=0) for head in self._heads]
        whole = [{"w": SENTENCE}.get(side, max(filled[i], words[i])) for i, side in enumerate(self._sides)]
        least = [{"l": LEAST, "w": SENTENCE}.get(side, filled[i]) for i, side in enumerate(self._sides)]
        for narrowest in (whole, least):
            while sum(widths) > room and (spare := [i for i, most in enumerate(widths) if most > narrowest[i]]):
                widths[max(spare, key=lambda i: widths[i])] -= 1
        return widths

    def _head_lines(self, widths: Sequence[int]) -> list[str]:
        """Return the heads, each in as many lines as its column asks, the last line over the cells."""
        heads = [
            wrapped(head, most) if width(head) > most else [head]
            for head, most in zip(self._heads, widths, strict=True)
        ]
        deep = max(map(len, heads))
        rows = zip(*([""] * (deep - len(head)) + head for head in heads), strict=True)
        return [self._row(list(row), widths)[0].rstrip() for row in rows]

    def _sentences(self) -> list[str]:
        """Return the rows where no table fits: what a row is of, then each head with its cell."""
        said: list[str] = []
        for entry in self._said:
            if isinstance(entry, tuple):
                said += self._aside(*entry)
                continue
            named = [f"{head} {cell}".strip() for head, cell in zip(self._heads, entry, strict=True) if cell]
            first, rest = (entry[0], named[1:]) if entry[0] else ("", named)
            words = f"{first}: {'; '.join(rest)}" if first and rest else first or "; ".join(rest)
            said += wrapped(words, self._page, first=self._indent, rest=f"{self._indent}  ")
        return said

    def _row(self, row: Sequence[str], widths: Sequence[int]) -> list[str]:
        fixed = self._sides.replace("w", "")
        cells = [_padded(cell, side, most) for cell, side, most in zip(row, fixed, widths, strict=False)]
        start = self._indent + "".join(cell + GAP for cell in cells)
        if fixed == self._sides:
            return [start.rstrip()]
        return wrapped(row[-1], self._page, first=start, rest=" " * width(start))

    def _aside(self, kind: str, text: str) -> list[str]:
        if kind == PART:
            return wrapped(text, self._page, first="  ")
        return wrapped(text, min(MEASURE, self._page), first="      ")


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


# A document, block by block

SIDES = {"text": "l", "wide": "w", "figure": "d", "right": "r", "code": "l"}
"""The alignment of a column, by its name in a document. A wide column comes last, or as short words."""


SOURCE = mark("Source: {source}")


def terminal(
    document: Document, reader: Manner | None = None, *, explain: bool = False, page_width: int | None = None
) -> str:
    """Return a document for a terminal.

    Parameters
    ----------
    document : Document
        What is answered.
    reader : Manner, optional
        Language, decimal mark, unit of length; else ``manner``.
    explain : bool
        Whether to show how every figure was worked out.
    page_width : int, optional
        Most cells of a line; else ``room``.

    >>> from linewright.present.document import Paragraph, Section
    >>> whole = Document("loss", "blue 7", sections=(Section("", (Paragraph("It loses little."),)),))
    >>> terminal(whole).splitlines()[1]
    '  It loses little.'
    """
    page_width = page_width or room()
    if reader is not None:
        with manner_of(reader):
            return terminal(document, explain=explain, page_width=page_width)
    said = mapped(document, partial(written, manner=manner()))
    shown = [s for s in said.sections if explain or not any(isinstance(b, Workings) for b in s.blocks)]
    parts = [_part(section, page_width) for section in shown]
    head = [bold(cut(said.title, page_width))] if said.title else []
    if shown and not shown[0].title and isinstance(shown[0].blocks[0], Paragraph):
        parts[0] = [*head, *parts[0]]
        return page(parts)
    return page([head, *parts])


def _part(section: Section, page_width: int) -> list[str]:
    title = [bold(section.title)] if section.title else []
    lines: list[str] = []
    for before, block in zip((None, *section.blocks), section.blocks, strict=False):
        lines += [""] if isinstance(before, Table) and isinstance(block, Table) else []
        lines += _lines(block, page_width, "  " if section.title else "")
    return [*title, *lines]


def _lines(block: Block, page_width: int, first: str = "  ") -> list[str]:
    measure = min(MEASURE, page_width)
    match block:
        case Paragraph():
            return wrapped(block.text, measure, first="  ")
        case Verdict():
            return _verdict(block, measure, first)
        case Points():
            title = wrapped(block.title, measure, first="  ") if block.title else []
            return [*title, *items(block.items, measure)]
        case Cautions():
            return items(block.items, measure)
        case Facts():
            return _grid(table((Column(""), Column("", "wide")), block.rows), page_width)
        case Table():
            return _grid(block, page_width)
        case Drawing():
            return _grid(block.data, page_width) if block.data else []
        case Workings():
            return _worked(block, page_width)


def _verdict(block: Verdict, measure: int, indent: str) -> list[str]:
    lead = clean(block.lead)
    first, *rest = wrapped(f"{lead} {block.text}", measure, first=indent, rest=f"{indent}  ")
    return [first.replace(lead, bold(lead), 1), *rest]


def _grid(shown: Table, page_width: int) -> list[str]:
    kept = [i for i, c in enumerate(shown.columns) if not c.spare]
    sides = [SIDES[shown.columns[i].align] for i in kept]
    sides[:-1] = [side.replace("w", "l") for side in sides[:-1]]
    grid = Grid([shown.columns[i].head for i in kept], "".join(sides), page_width)
    for part in shown.parts:
        if part.title:
            grid.part(part.title)
        for row in part.rows:
            grid.add(*(row.cells[i] for i in kept))
            grid.under(row.note)
    return [*grid.lines(), *items(shown.notes, min(MEASURE, page_width))]


def _worked(block: Workings, page_width: int) -> list[str]:
    """Return every working: figure, formula, inputs and source."""
    lines: list[str] = []
    for way in block.ways:
        for figure, inputs in way.figures:
            put = partial(wrapped, most=page_width, first="    ", rest="      ")
            lines += wrapped(figure, page_width, first="  ")
            lines += wrapped(way.formula, page_width, first="    = ", rest="      ")
            for name, value in inputs:
                lines += put(f"{name}: {value}")
            lines += [*put(manner().message(SOURCE).format(source=way.source)), ""]
    return lines[:-1]
