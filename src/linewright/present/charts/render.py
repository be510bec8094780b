"""Specifications to files: SVG, PNG, PDF, Vega-Lite JSON. The converter is loaded when it is first needed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.core.errors import CannotError, InputError
from linewright.core.messages import say
from linewright.present.charts.theme import Spec

if TYPE_CHECKING:
    from types import ModuleType

VEGA_LITE = "6.4"


def _converter() -> ModuleType:
    try:
        import vl_convert
    except ImportError as cause:
        raise CannotError(
            say("Drawing a chart needs the package vl-convert-python, which is not installed.")
        ) from cause
    return vl_convert


def _renumbered(svg: str) -> str:
    """Return a drawing with its clips numbered from 0, whatever the converter drew before: same chart, same text."""
    numbers: dict[str, str] = {}
    return re.sub(r"\bclip\d+\b", lambda found: numbers.setdefault(found[0], f"clip{len(numbers)}"), svg)


Draws = Callable[[Spec], str]
"""Returns a specification drawn as SVG text; raises ``CannotError`` where it cannot."""
_draws: list[Draws] = []


def draw_elsewhere(draws: Draws | None) -> None:
    """Have charts drawn by another than this process, or by this one again.

    The converter holds a script engine of some 160 MB, which a server that runs for days need not carry.
    """
    _draws[:] = [] if draws is None else [draws]


def to_svg(spec: Spec, *, font: str | None = None) -> str:
    """Return a specification drawn as SVG text.

    Parameters
    ----------
    spec : dict
        A chart's specification.
    font : str, optional
        Another font than the house's: ``theme.PAGE_FONT`` where the drawing is set into a page of paper.

    Raises
    ------
    CannotError
        If it could not be drawn.

    >>> from linewright.present.charts.frame import framed
    >>> from linewright.present.charts.theme import PAGE_FONT
    >>> words = {"mark": {"type": "text", "text": "3 dB"}, "data": {"values": [{}]}}
    >>> 'font-family="Libertinus Serif, ' in to_svg(framed(words, "Words"), font=PAGE_FONT)
    True
    """
    if font is not None:
        spec = {**spec, "config": {**spec["config"], "font": font}}
    return _renumbered(_svg(spec))


def _svg(spec: Spec) -> str:
    return _draws[0](spec) if _draws else drawn_here(spec)


def drawn_here(spec: Spec) -> str:
    """Return a specification drawn by this process.

    Where an expression fails, the converter logs it and returns a frame without a word or a mark: each of our charts
    has words, so one without is not a chart.
    """
    try:
        drawn = str(_converter().vegalite_to_svg(spec, vl_version=VEGA_LITE))
    except ValueError as cause:
        raise CannotError(say("The chart could not be drawn: {cause}", cause=_first_line(str(cause)))) from cause
    if "<text" not in drawn:
        raise CannotError(
            say("The chart could not be drawn: the converter left out what is in it. Its figures are in its table.")
        )
    return drawn


def _first_line(said: str) -> str:
    """Return what went wrong, without where in the converter."""
    return " ".join(said.split("\n    at ", maxsplit=1)[0].split())[:200]


def to_png(spec: Spec, *, scale: float = 2.0) -> bytes:
    """Return a specification drawn as PNG, ``scale`` dots to the pixel."""
    return svg_as_png(_svg(spec), scale)


def svg_as_png(svg: str, scale: float) -> bytes:
    """Return a drawing as PNG, ``scale`` dots to its own unit."""
    return bytes(_converter().svg_to_png(svg, scale=scale))


def to_pdf(spec: Spec) -> bytes:
    """Return a specification drawn as a one-page PDF."""
    return bytes(_converter().svg_to_pdf(_svg(spec)))


def to_vega_lite(spec: Spec) -> str:
    """Return a specification as Vega-Lite JSON text."""
    return json.dumps(spec, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


_WRITERS: dict[str, Callable[[Spec], str | bytes]] = {
    ".svg": to_svg,
    ".png": to_png,
    ".pdf": to_pdf,
    ".vl.json": to_vega_lite,
}


def ending_of(form: str | Path) -> str:
    """Return the ending of a chart's file, of a whole name, an ending or a bare word.

    Raises
    ------
    InputError
        If it is none of .svg, .png, .pdf, .vl.json.

    >>> ending_of("loss.PDF"), ending_of("svg"), ending_of("loss.vl.json")
    ('.pdf', '.svg', '.vl.json')
    """
    name = f".{form}".lower()
    found = next((ending for ending in _WRITERS if name.endswith(ending)), None)
    if found is None:
        raise InputError(
            "chart file", say("must end in .svg, .png, .pdf or .vl.json; got {value}", value=repr(str(form)))
        )
    return found


def render(spec: Spec, form: str | Path) -> bytes:
    """Return a chart as bytes, in the form a file name, its ending or a bare word asks for.

    Parameters
    ----------
    spec : dict
        A chart's specification.
    form : str or Path
        "svg", ".png", or a whole name such as "loss.pdf" or "loss.vl.json".

    Returns
    -------
    bytes
        The picture, or the specification as JSON.

    Raises
    ------
    InputError
        If the ending is none of .svg, .png, .pdf, .vl.json.
    CannotError
        If it could not be drawn.

    >>> from linewright.present.charts.frame import framed
    >>> words = {"mark": {"type": "text", "text": "3 dB"}, "data": {"values": [{}]}}
    >>> render(framed(words, "Words"), "svg")[:4]
    b'<svg'
    """
    drawn = _WRITERS[ending_of(form)](spec)
    return drawn.encode() if isinstance(drawn, str) else drawn
