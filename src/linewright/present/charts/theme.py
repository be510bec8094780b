"""One look for every chart: two inks on paper, ochre for doubt, brick for a limit.

A mark names a style ("belief-line"), never a colour, so one specification serves light paper and dark. Each style also
differs in shape, dash or fill from every other, so black-and-white print loses nothing.
"""

from __future__ import annotations

from typing import Any, Final

from linewright.core.frozen import dataclass

Spec = dict[str, Any]
"""A Vega-Lite specification, or a part of one."""

FONT: Final = "Liberation Sans, Arial, Helvetica, DejaVu Sans, sans-serif"
"""The converter carries the first, so drawing needs no font of the machine; the next two have its letter widths, so
text fits alike in a browser; the last is the usual fallback where none of them is installed."""

PAGE_FONT: Final = f"Libertinus Serif, {FONT}"
"""For a drawing set into a page of paper: the typesetter carries the first. Its letters are narrower than those the
drawing is laid out with, so all of it fits."""

METER_SHAPES: Final = ("circle", "square", "triangle-up", "diamond", "triangle-down", "triangle-right", "triangle-left")

CROSS: Final = "M-1,-1L1,1M-1,1L1,-1"
"""Two strokes crossed: for what is not to be believed."""


def shape_of(i: int) -> str:
    """Return the shape of the i-th meter; after the last shape they come round again."""
    return METER_SHAPES[i % len(METER_SHAPES)]


@dataclass(frozen=True, slots=True)
class Palette:
    """The inks and the paper they lie on."""

    paper: str
    ink: str
    quiet: str
    rule: str
    teal: str
    ochre: str
    brick: str


LIGHT: Final = Palette("#faf7f0", "#23211d", "#5c574d", "#cfc8b8", "#0d5057", "#94600a", "#9a3324")
PRINT: Final = Palette("#ffffff", "#23211d", "#5c574d", "#cfc8b8", "#0d5057", "#94600a", "#9a3324")
"""The light inks on white paper."""
DARK: Final = Palette("#262421", "#ece6d9", "#b3ab9c", "#55504a", "#86c5c4", "#dcaa55", "#e8917b")


def _marks(p: Palette) -> dict[str, Spec]:
    """Return the style of every mark, by name."""

    def solid(ink: str, **more: object) -> Spec:
        return {"color": ink, "filled": True, "opacity": 1, **more}

    def line(ink: str, width: float, *dash: int) -> Spec:
        return {"color": ink, "strokeWidth": width, "opacity": 1, **({"strokeDash": list(dash)} if dash else {})}

    def hollow(ink: str, **more: object) -> Spec:
        return {"color": ink, "filled": False, "fill": p.paper, "opacity": 1, **more}

    return {
        "belief-band": solid(p.teal, fillOpacity=0.22),
        "belief-line": line(p.teal, 2.2),
        "belief-bar": line(p.teal, 4),
        "belief-mark": hollow(p.teal, shape="stroke", strokeWidth=4, size=170),
        "belief-dot": solid(p.teal, size=56),
        "spec-line": line(p.ink, 1.2, 6, 3),
        "spec-edge": line(p.ink, 1, 1, 3),
        "spec-tick": line(p.ink, 1.2),
        "spec-bar": line(p.ink, 1.4, 3, 2),
        "alone-bar": line(p.ink, 1),
        "alone-point": hollow(p.ink, shape="square", strokeWidth=1.3, size=40),
        "none-mark": {**line(p.brick, 2.4), "filled": False, "shape": CROSS, "size": 60},
        "unknown-bar": line(p.quiet, 1, 2, 3),
        "spec-point": hollow(p.ink, strokeWidth=1.2, size=36),
        "hand-bar": line(p.ink, 1),
        "hand-point": solid(p.ink, size=34),
        "doubt-bar": line(p.ochre, 1.2, 5, 2),
        "doubt-point": hollow(p.ochre, strokeWidth=1.7, size=44),
        "doubt-cross": {**line(p.ochre, 2.4), "filled": False, "shape": CROSS, "size": 60},
        "doubt-text": {"color": p.ochre, "fontWeight": "bold"},
        "over-bar": line(p.brick, 1.8),
        "limit-rule": line(p.brick, 0.8),
        "limit-dots": line(p.brick, 1.2, 2, 4),
        "step-band": solid(p.ochre, fillOpacity=0.18),
        "limit-text": {"color": p.brick, "fontSize": 10.5},
        "hair": line(p.rule, 1),
        "tick": {**line(p.ink, 1), "filled": False, "shape": "M0,-1L0,1", "size": 150},
        "base": line(p.ink, 0.9),
        "rated": line(p.teal, 2.5),
        "power": solid(p.teal, fillOpacity=0.4),
        "power-edge": solid(p.teal, fillOpacity=0.16),
        "heat": {**line(p.ink, 0.6, 2, 2), "filled": True, "color": p.quiet, "stroke": p.ink, "fillOpacity": 0.2},
        "back": hollow(p.ink, stroke=p.ink, strokeWidth=0.9),
        "joint": line(p.ink, 0.5),
        "series-1": line(p.teal, 2.2),
        "series-2": line(p.ink, 1.4, 7, 3),
        "series-3": line(p.quiet, 1.8, 2, 2),
        "series-4": line(p.teal, 1.4, 9, 3, 2, 3),
        "series-5": line(p.ink, 1.0, 1, 3),
        "series-6": line(p.quiet, 1.2, 12, 4),
        "word": {"color": p.ink},
        "aside": {"color": p.quiet, "fontStyle": "italic"},
        "small": {"color": p.quiet, "fontSize": 10.5},
    }


def _axis(p: Palette) -> Spec:
    return {
        "domainColor": p.ink,
        "domainWidth": 0.9,
        "tickColor": p.ink,
        "tickWidth": 0.8,
        "tickSize": 5,
        "grid": False,
        "gridColor": p.rule,
        "labelColor": p.ink,
        "labelFontSize": 11,
        "labelPadding": 3,
        "titleColor": p.quiet,
        "titleFontSize": 11,
        "titleFontWeight": "normal",
        "titlePadding": 6,
    }


def _title(p: Palette) -> Spec:
    return {
        "anchor": "start",
        "frame": "group",
        "color": p.ink,
        "fontSize": 13,
        "fontWeight": "bold",
        "subtitleColor": p.quiet,
        "subtitleFontSize": 11,
        "subtitlePadding": 2,
        "offset": 4,
    }


def config(palette: Palette = LIGHT) -> Spec:
    """Return the Vega-Lite ``config`` every chart carries.

    >>> config()["style"]["belief-line"]["color"] == LIGHT.teal
    True
    """
    return {
        "font": FONT,
        "background": palette.paper,
        "padding": 10,
        "axis": _axis(palette),
        "title": _title(palette),
        "header": {"labelColor": palette.ink, "labelFontSize": 12, "title": None},
        "text": {"fontSize": 11},
        "view": {"stroke": None},
        "concat": {"spacing": 22},
        "style": _marks(palette),
    }
