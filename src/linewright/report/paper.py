"""Pages on paper: a template of ours and plain data in, a tagged PDF out. Nothing of the machine comes in.

The data reach the template as JSON text, so a name is always text and never a command of the typesetter.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from linewright.errors import CannotError

if TYPE_CHECKING:
    from types import ModuleType

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


def set_pages(template: str, data: Mapping[str, Any]) -> bytes:
    """Return a tagged PDF (PDF/UA-1) of a template of this room.

    Parameters
    ----------
    template : str
        The name of a file in ``templates``; it reads its data by ``json(bytes(sys.inputs.data))``.
    data : mapping
        Plain JSON data: text, numbers, lists. A drawing goes in as the text of its SVG.

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
            pdf_standards=["ua-1"],
        )
    except typst.TypstError as cause:
        raise CannotError(f"The pages could not be set: {cause}") from cause
    return bytes(pages)
