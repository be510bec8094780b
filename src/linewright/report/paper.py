"""Pages on paper: a template of ours and plain data in, a tagged PDF or a picture out. Nothing of the machine comes in.

The data reach the template as JSON text, so a name is always text and never a command of the typesetter.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from linewright.errors import CannotError

if TYPE_CHECKING:
    from types import ModuleType

Form = Literal["pdf", "svg", "png"]
PDF_UA = "ua-1"
"""Tagged, for readers aloud (ISO 14289-1)."""
DOTS_PER_INCH = 300.0
"""Of a PNG: what printers of labels draw."""
TEMPLATES = Path(__file__).parent / "templates"

PAPERS = {"a4": "A4, 210 x 297 mm", "letter": "Letter, 8.5 x 11 in"}
"""The paper sizes that can be asked for (ISO 216; ANSI/ASME Y14.1)."""


@lru_cache
def _typesetter() -> ModuleType:
    try:
        import typst
    except ImportError as cause:
        raise CannotError("Setting pages needs the package typst, which is not installed.") from cause
    return typst


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
        raise CannotError(f"The pages could not be set: {cause}") from cause
    return bytes(pages)
