"""Where labels stand on their pages: the boxes their words are set in, and the marks to fold at."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from linewright.errors import InputError
from linewright.report.label_sheets import LabelSheet

PAD_MM = 2.5
EDGE_MM = 5.0
"""A printer leaves so much of the paper's edge white (common practice, no source)."""
OWN_PAD_MM = 2.0
THICK_MM = 10.3
"""The diameter a label is folded round where the cable's is not known: thick coax (common practice, no source)."""
LEAST_HALF_MM = 15.0
MARK_MM = 2.0

Box = tuple[float, float, float, float]
"""Left, top, width and height, in millimetres."""


@dataclass(frozen=True, slots=True)
class Pages:
    """Pages of one size; each holds the boxes of its labels, by the label's place in the row, and marks to fold at."""

    width_mm: float
    height_mm: float
    boxes: tuple[tuple[tuple[int, Box], ...], ...]
    marks: tuple[tuple[Box, ...], ...]

    def data(self) -> dict[str, Any]:
        """Return plain data for the template."""
        pages = zip(self.boxes, self.marks, strict=True)
        return {
            "width": self.width_mm,
            "height": self.height_mm,
            "pages": [{"boxes": [[i, *box] for i, box in boxes], "marks": marks} for boxes, marks in pages],
        }


def on_sheets(sheet: LabelSheet, diameters_m: Sequence[float | None], *, first: int, wrap: bool) -> Pages:
    """Return labels on sheets, the first one at the ``first`` place of a part-used sheet (1 is the upper left).

    Parameters
    ----------
    sheet : LabelSheet
        How the labels lie.
    diameters_m : sequence of float or None
        One a label: the diameter of its cable, for ``wrap``.
    first : int
        Where the first label stands.
    wrap : bool
        Whether a label is folded round its cable: both halves hold the same words.

    Raises
    ------
    InputError
        If ``first`` is not on the sheet, or a half of a folded label has no room for words.
    """
    if not 1 <= first <= sheet.count:
        rule = f"must lie from 1 to {sheet.count}, the labels on a sheet of {sheet.name}; got {first}"
        raise InputError("first", rule)
    width, height = sheet.page_mm
    places = list(sheet.places_mm())
    laid: list[list[tuple[int, Box, Box]]] = []
    for i in range(len(diameters_m)):
        page, place = divmod(first - 1 + i, sheet.count)
        while len(laid) <= page:
            laid.append([])
        label = (*places[place], sheet.width_mm, sheet.height_mm)
        laid[page].append((i, label, _inside(label, (width, height))))
    return _pages((width, height), laid, diameters_m, wrap=wrap)


def in_own_size(size_mm: tuple[float, float], diameters_m: Sequence[float | None], *, wrap: bool) -> Pages:
    """Return labels each on a page of its own size.

    Raises
    ------
    InputError
        If a half of a folded label has no room for words.
    """
    width, height = size_mm
    inside = (OWN_PAD_MM, OWN_PAD_MM, width - 2 * OWN_PAD_MM, height - 2 * OWN_PAD_MM)
    laid = [[(i, (0.0, 0.0, width, height), inside)] for i in range(len(diameters_m))]
    return _pages(size_mm, laid, diameters_m, wrap=wrap)


def _inside(label: Box, page_mm: tuple[float, float]) -> Box:
    """Return where the words of a label may stand: clear of its own edge, and further from the paper's."""
    left, top, width, height = label
    page_width, page_height = page_mm
    x, y = max(left + PAD_MM, EDGE_MM), max(top + PAD_MM, EDGE_MM)
    right = min(left + width - PAD_MM, page_width - EDGE_MM)
    bottom = min(top + height - PAD_MM, page_height - EDGE_MM)
    return x, y, right - x, bottom - y


def _pages(
    page_mm: tuple[float, float],
    laid: Sequence[Sequence[tuple[int, Box, Box]]],
    diameters_m: Sequence[float | None],
    *,
    wrap: bool,
) -> Pages:
    if not wrap:
        return Pages(*page_mm, tuple(tuple((i, inside) for i, _, inside in page) for page in laid), ((),) * len(laid))
    boxes = tuple(tuple((i, b) for i, label, box in page for b in _halves(label, box, diameters_m[i])) for page in laid)
    return Pages(*page_mm, boxes, tuple(tuple(m for _, label, _ in page for m in _fold(label)) for page in laid))


def _halves(label: Box, inside: Box, diameter_m: float | None) -> Iterator[Box]:
    """Yield the two boxes of a folded label; between them lies what goes round the cable."""
    around = math.pi * (THICK_MM if diameter_m is None else 1e3 * diameter_m)
    middle = label[0] + label[2] / 2.0
    x, y, width, height = inside
    left, right = middle - around / 2.0 - x, x + width - middle - around / 2.0
    if min(left, right) < LEAST_HALF_MM:
        rule = f"leaves {min(left, right):.0f} mm a side beside the {around:.0f} mm that go round the cable"
        raise InputError("wrap", rule, cure=f"Take a wider label: each side needs {LEAST_HALF_MM:g} mm.")
    yield x, y, left, height
    yield middle + around / 2.0, y, right, height


def _fold(label: Box) -> Iterator[Box]:
    """Yield a short mark at the upper and the lower edge, where the label is folded."""
    left, top, width, height = label
    middle = left + width / 2.0
    yield middle, top, 0.0, MARK_MM
    yield middle, top + height - MARK_MM, 0.0, MARK_MM
