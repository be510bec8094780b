"""An answer as a value: sections of sentences, tables and drawings. Composers make it, writers show it.

Texts may be messages (``core.messages``), so one document serves every language, decimal mark and unit of length.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any, Literal

from linewright.core.frozen import dataclass

Kind = Literal[
    "bench",
    "station",
    "piece",
    "meter",
    "loss",
    "lines",
    "impedance",
    "connectors",
    "meaning",
    "reception",
    "one-end",
    "through",
    "sweep",
    "exposure",
    "choose",
    "share",
    "cut",
    "antenna",
    "practise",
    "label",
    "sheet",
]
Mark = Literal["", "good", "doubt", "over", "unknown"]
"""What a line of a report is marked with, by a sign of its own as well as an ink."""
Draw = Callable[..., dict[str, Any]]
Align = Literal["text", "wide", "figure", "right", "code"]
"""The alignment of a column: short words, sentences, figures aligned at the decimal mark, flush right, or as typed."""


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A sentence or several."""

    text: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was found, in a sentence: the lead first, then its reason."""

    lead: str
    text: str
    mark: Mark = ""


@dataclass(frozen=True, slots=True)
class Points:
    """Sentences, a line each, under a few words."""

    title: str
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cautions:
    """What to mind, so that nobody comes to harm."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Names with what belongs to them."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table; a spare one is left out where lines are short, as on a terminal."""

    head: str
    align: Align = "text"
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """A row: a cell a column, what it is marked with, and a note that stands below it."""

    cells: tuple[str, ...]
    mark: Mark = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """Rows that belong together, under a title where there are several parts."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Figures in rows and columns. ``caption`` says what they are; notes stand at the foot."""

    caption: str
    columns: tuple[Column, ...]
    parts: tuple[Part, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Panel:
    """One chart, with the words that stand for it where it cannot be seen.

    ``draw`` makes its specification, laid out in the manner it is given: ``draw(manner=manner)``. ``legend`` marks the
    key of the drawings after it: it stays with them.
    """

    draw: Draw
    about: str
    legend: bool = False


@dataclass(frozen=True, slots=True)
class Drawing:
    """Charts side by side; ``data`` holds what they show as figures."""

    caption: str
    panels: tuple[Panel, ...]
    data: Table | None = None
    columns: int = 2


@dataclass(frozen=True, slots=True)
class Way:
    """One way of working out: its formula and source, and each figure found by it with what went in.

    ``apart`` holds each figure's sentence once more, as its frame and what fills it (``units.said.taken_apart``): by it
    the figures of a kind can share a table.
    """

    formula: str
    source: str
    figures: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    apart: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class Workings:
    """How figures were worked out."""

    ways: tuple[Way, ...]


Block = Paragraph | Verdict | Points | Cautions | Facts | Table | Drawing | Workings


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with what stands under it; ``appendix`` marks what a letter leaves out unless it is asked for."""

    title: str
    blocks: tuple[Block, ...]
    appendix: bool = False


@dataclass(frozen=True, slots=True)
class Document:
    """A whole answer or report.

    Attributes
    ----------
    kind : str
        The verb it answers, or what it reports on.
    title, subtitle : str
        What it is called; where and when.
    day : str
        The date it bears, "2026-04-02"; empty where it is not for paper.
    maker : str
        The program and its version; empty where it is not for paper.
    sections : tuple of Section
        The first is the summary.
    names : tuple of str
        Names people gave: they are set apart where they run in the other direction.
    one_page : bool
        Whether its letter is to stand on one page of paper, its drawing left out if need be.
    """

    kind: Kind
    title: str
    subtitle: str = ""
    day: str = ""
    maker: str = ""
    sections: tuple[Section, ...] = ()
    names: tuple[str, ...] = ()
    one_page: bool = False

    def letter(self) -> Document:
        """Return the document without its appendix."""
        return replace(self, sections=tuple(s for s in self.sections if not s.appendix))

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/report/1``; every block says what it is."""
        return {"schema": "linewright/report/1", **plain(self, lambda p: {"spec": p.draw(), "about": str(p.about)})}


UNTOLD = ("draw", "apart", "legend", "one_page", "spare")
"""What a document keeps for those who set it: programs read the same elsewhere."""


def plain(value: Any, chart: Callable[[Panel], Any] | None = None) -> Any:
    """Return a value of this module as plain data; charts are left out, or become what ``chart`` makes of a panel."""
    if isinstance(value, Panel) and chart is not None:
        return chart(value)
    if is_dataclass(value):
        named = {"block": type(value).__name__.lower()} if isinstance(value, Block) else {}
        return named | {f.name: plain(getattr(value, f.name), chart) for f in fields(value) if f.name not in UNTOLD}
    if isinstance(value, tuple):
        return [plain(v, chart) for v in value]
    return str(value) if isinstance(value, str) else value


def sections(*found: Section) -> tuple[Section, ...]:
    """Return sections that hold something.

    >>> sections(Section("Empty", ()), Section("Whole", (Paragraph("It is dry."),)))[0].title
    'Whole'
    """
    return tuple(s for s in found if s.blocks)


def section(title: str, *blocks: Block, appendix: bool = False) -> Section:
    """Return a section without the blocks that hold nothing.

    >>> section("Empty", Paragraph(""), Points("", ()), table((Column(""),), ())).blocks
    ()
    """
    return Section(title, tuple(b for b in blocks if _holds(b)), appendix)


def _holds(block: Block) -> bool:
    if isinstance(block, Paragraph | Verdict):
        return bool(block.text)
    if isinstance(block, Points | Cautions):
        return bool(block.items)
    if isinstance(block, Table):
        return any(part.rows for part in block.parts)
    return not isinstance(block, Facts) or bool(block.rows)


def table(columns: Sequence[Column], rows: Iterable[Row | tuple[str, ...]], notes: Iterable[str] = ()) -> Table:
    """Return a table of one part; a row may be given by its cells alone."""
    found = tuple(row if isinstance(row, Row) else Row(row) for row in rows)
    return Table("", tuple(columns), (Part("", found),), tuple(notes))


def points(items: Iterable[str], title: str = "") -> Points:
    """Return sentences, a line each; empty ones are left out."""
    return Points(title, tuple(item for item in items if item))
