"""A report as a tagged PDF: the document as plain data into one template."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal

from linewright.core.errors import CannotError, UnknownNameError
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say
from linewright.present.document import Document, Panel, Section, Way, Workings, plain
from linewright.present.localize import bound, breakable, in_manner, mapped, printable
from linewright.present.writers.drawings import SIGNS, Drawings, drawn

if TYPE_CHECKING:
    from types import ModuleType

# Pages on paper: a template of ours and plain data in, a tagged PDF or a picture out. Nothing of the machine comes in

Form = Literal["pdf", "svg", "png"]
PDF_UA = "ua-1"
"""Tagged, for readers aloud (ISO 14289-1)."""
DOTS_PER_INCH = 300.0
"""Of a PNG: what printers of labels draw."""
TEMPLATES = Path(__file__).parent.parent / "templates"

PAPERS = {"a4": "A4, 210 x 297 mm", "letter": "Letter, 8.5 x 11 in"}
"""The paper sizes that can be asked for (ISO 216; ANSI/ASME Y14.1)."""


@lru_cache
def _typesetter() -> ModuleType:
    try:
        import typst
    except ImportError as cause:
        raise CannotError(say("Setting pages needs the package typst, which is not installed.")) from cause
    return typst


def font_families() -> list[str]:
    """Return the fonts that the typesetter carries; pages are set in no other.

    Raises
    ------
    CannotError
        If the typesetter is missing.
    """
    return list(_typesetter().Fonts(include_system_fonts=False).families())


def set_pages(template: str, data: Mapping[str, Any], form: Form = "pdf") -> bytes:
    """Return a template of this room as a tagged PDF, or its one page as an SVG or a PNG.

    Parameters
    ----------
    template : str
        The name of a file in ``templates``; it reads its data by ``json(bytes(sys.inputs.data))``.
    data : mapping
        Plain JSON data: text, numbers, lists. A drawing goes in as the text of its SVG.
    form : str
        ``pdf`` (PDF/UA-1), ``svg``, or ``png`` of 300 dots an inch.

    Raises
    ------
    CannotError
        If the typesetter is missing or refuses the page.
    """
    typst = _typesetter()
    try:
        pages = typst.compile(
            str(TEMPLATES / template),
            root=str(TEMPLATES),
            sys_inputs={"data": json.dumps(data)},
            ignore_system_fonts=True,
            format=form,
            ppi=DOTS_PER_INCH,
            pdf_standards=[PDF_UA] if form == "pdf" else [],
        )
    except typst.TypstError as cause:
        raise CannotError(say("The pages could not be set: {cause}", cause=cause)) from cause
    return bytes(pages)


# Workings as they stand on paper: figures of a kind share a table, and what they have in common is said once

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


# A report as a tagged PDF: the document as plain data into one template

HEAD = 70
"""Signs of the title that fit the running head."""
PAGE = mark("page {number} of {total}")
APPENDIX = mark("Appendix")


def report_pdf(
    document: Document, manner: Manner = ENGLISH, paper: str = "a4", known: Drawings = MappingProxyType({})
) -> bytes:
    """Return a report as a PDF (PDF/UA-1), the same bytes for the same document, manner and paper.

    Parameters
    ----------
    document : Document
        What to report; its ``letter()`` where no appendix was asked for.
    manner : Manner
        Language, decimal mark, unit of length.
    paper : str
        "a4" or "letter".
    known : mapping
        Drawings that need not be drawn anew; see ``drawings_of``.

    Raises
    ------
    UnknownNameError
        If the paper is none of these.
    CannotError
        If the typesetter or the converter of drawings is missing.
    """
    if paper not in PAPERS:
        raise UnknownNameError(
            "paper", say("must be one of {known}; got {value}", known=", ".join(PAPERS), value=repr(paper))
        )
    said = in_manner(document, manner)
    data = {
        **mapped(plain(replace(said, sections=())), _set),
        "sections": [mapped(_section(s, manner, known), _set) for s in said.sections if not s.appendix],
        "appendix": [mapped(_section(s, manner, known), _set) for s in said.sections if s.appendix],
        "appendix_title": manner.message(APPENDIX),
        "language": manner.language,
        "paper": paper,
        "one_page": document.one_page,
        "page": manner.message(PAGE),
        "signs": SIGNS,
        "head": printable(said.title if len(said.title) <= HEAD else f"{said.title[:HEAD]}…"),
        "plain_title": printable(said.title),
    }
    return set_pages("report.typ", data)


def _section(section: Section, manner: Manner, known: Drawings) -> dict[str, Any]:
    """Return a section as plain data; workings stand in tables on paper."""
    blocks = [
        {"block": "worked", "ways": plain(dense(b, manner))}
        if isinstance(b, Workings)
        else plain(b, lambda panel: _panel(panel, manner, known))
        for b in section.blocks
    ]
    return {"title": section.title, "blocks": blocks}


def _set(text: str) -> str:
    """Return a text that the fonts can show and a column can hold; a drawing as it is."""
    return text if text.startswith("<svg") else breakable(bound(printable(text)))


def _panel(panel: Panel, manner: Manner, known: Drawings) -> dict[str, Any]:
    found = drawn(panel, manner, known)
    aspect = found.height_px / found.width_px
    return {
        "svg": found.svg, "about": panel.about, "legend": panel.legend, "aspect": aspect, "width": found.width_px,
    }  # fmt: skip
