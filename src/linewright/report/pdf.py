"""A report as a tagged PDF: the document as plain data into one template."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from linewright.errors import UnknownNameError
from linewright.report.dense import dense
from linewright.report.document import Document, Panel, Section, Workings, plain
from linewright.report.drawings import drawn
from linewright.report.literal import bound, breakable, printable
from linewright.report.manner_of import in_manner, mapped
from linewright.report.paper import PAPERS, set_pages
from linewright.report.signs import SIGNS
from linewright.units.manner import ENGLISH, Manner
from linewright.units.said import mark

HEAD = 70
"""Signs of the title that fit the running head."""
PAGE = mark("page {number} of {total}")


def report_pdf(document: Document, manner: Manner = ENGLISH, paper: str = "a4") -> bytes:
    """Return a report as a PDF (PDF/UA-1), the same bytes for the same document, manner and paper.

    Parameters
    ----------
    document : Document
        What to report.
    manner : Manner
        Language, decimal mark, unit of length.
    paper : str
        "a4" or "letter".

    Raises
    ------
    UnknownNameError
        If the paper is none of these.
    CannotError
        If the typesetter or the converter of drawings is missing.
    """
    if paper not in PAPERS:
        raise UnknownNameError("paper", f"must be one of {', '.join(PAPERS)}; got {paper!r}")
    said = in_manner(document, manner)
    data = {
        **mapped(plain(replace(said, sections=())), _set),
        "sections": [mapped(_section(section, manner), _set) for section in said.sections],
        "language": manner.language,
        "paper": paper,
        "page": manner.message(PAGE),
        "signs": SIGNS,
        "head": printable(said.title if len(said.title) <= HEAD else f"{said.title[:HEAD]}…"),
        "plain_title": printable(said.title),
    }
    return set_pages("report.typ", data)


def _section(section: Section, manner: Manner) -> dict[str, Any]:
    """Return a section as plain data; workings stand in tables on paper."""
    blocks = [
        {"block": "worked", "ways": plain(dense(b, manner))}
        if isinstance(b, Workings)
        else plain(b, lambda panel: _panel(panel, manner))
        for b in section.blocks
    ]
    return {"title": section.title, "blocks": blocks}


def _set(text: str) -> str:
    """Return a text that the fonts can show and a column can hold; a drawing as it is."""
    return text if text.startswith("<svg") else breakable(bound(printable(text)))


def _panel(panel: Panel, manner: Manner) -> dict[str, Any]:
    found = drawn(panel, manner)
    return {"svg": found.svg, "about": panel.about, "aspect": found.height_px / found.width_px}
