"""The charts of a report as SVG, drawn once for paper and page."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from linewright.core.frozen import dataclass
from linewright.core.locale import Manner
from linewright.present.charts.render import to_svg
from linewright.present.charts.theme import FONT, PAGE_FONT
from linewright.present.document import Document, Drawing, Mark, Panel
from linewright.present.localize import boxed, in_manner, mapped

# The charts of a report as SVG, drawn once for paper and page

KEPT = 256
"""Drawings remembered within a process: a report asked for twice draws nothing anew."""
_SIZE = re.compile(r'<svg[^>]* viewBox="[-\d.]+ [-\d.]+ ([\d.]+) ([\d.]+)"')


@dataclass(frozen=True, slots=True)
class ChartSvg:
    """A chart as SVG text in the font of paper, and its size in pixels."""

    svg: str
    width_px: float
    height_px: float

    def inline(self, number: int) -> str:
        """Return it for a page: in the fonts of a screen, its inner names made its own by a number."""
        svg = self.svg.replace(PAGE_FONT, FONT).replace("<svg ", '<svg aria-hidden="true" focusable="false" ', 1)
        return re.sub(r"\bclip(\d+)\b", rf"clip{number}-\1", svg)


Drawings = Mapping[str, ChartSvg]
"""Drawings by what they were drawn of."""


def drawn(panel: Panel, manner: Manner, known: Drawings = MappingProxyType({})) -> ChartSvg:
    """Return a panel drawn in a manner, with signs that every font has; one of ``known`` is not drawn anew."""
    spec = _spec(panel, manner)
    return known.get(spec) or _drawn(spec)


def drawings_of(document: Document, manner: Manner) -> Drawings:
    """Return the drawings of a document, so that another process can set it without drawing them."""
    specs = [_spec(panel, manner) for panel in panels_of(in_manner(document, manner))]
    return {spec: _drawn(spec) for spec in specs}


def _spec(panel: Panel, manner: Manner) -> str:
    return json.dumps(mapped(panel.draw(manner=manner), boxed), sort_keys=True)


@lru_cache(maxsize=KEPT)
def _drawn(spec: str) -> ChartSvg:
    svg = to_svg(json.loads(spec), font=PAGE_FONT)
    size = _SIZE.search(svg)
    assert size is not None
    return ChartSvg(svg, float(size[1]), float(size[2]))


def panels_of(document: Document) -> tuple[Panel, ...]:
    """Return every panel of a document, in order."""
    blocks = (b for s in document.sections for b in s.blocks)
    return tuple(p for b in blocks if isinstance(b, Drawing) for p in b.panels)


# The sign of each mark: its shape tells it apart where ink does not

SIGNS: Mapping[Mark, str] = {"": "", "good": "●", "doubt": "◐", "over": "▲", "unknown": "○"}
