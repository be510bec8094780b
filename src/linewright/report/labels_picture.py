"""A page of a template of this room as a picture."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Literal

from linewright.errors import CannotError
from linewright.report.paper import TEMPLATES

DOTS_PER_INCH = 300.0
Picture = Literal["svg", "png"]


def set_picture(template: str, data: Mapping[str, Any], kind: Picture) -> bytes:
    """Return the one page of a template as an SVG or a PNG of 300 dots an inch.

    Raises
    ------
    CannotError
        If the typesetter is missing or refuses the page.
    """
    try:
        import typst
    except ImportError as cause:
        raise CannotError("Setting a label needs the package typst, which is not installed.") from cause
    try:
        drawn = typst.compile(
            str(TEMPLATES / template), root=str(TEMPLATES), sys_inputs={"data": json.dumps(data)},
            ignore_system_fonts=True, format=kind, ppi=DOTS_PER_INCH,
        )  # fmt: skip
    except typst.TypstError as cause:
        raise CannotError(f"The label could not be set: {cause}") from cause
    return bytes(drawn)
