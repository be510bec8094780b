"""Sheets of labels as shops sell them, by measure: how many, how large, how far apart (common practice, no source)."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from linewright.errors import InputError, UnknownNameError

INCH_MM = 25.4
PAPER_MM = {"a4": (210.0, 297.0), "letter": (8.5 * INCH_MM, 11.0 * INCH_MM)}
"""Width and height (ISO 216; ANSI/ASME Y14.1)."""
LEAST_MM, MOST_MM = (24.0, 15.0), (300.0, 200.0)


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """A sheet of equal labels, centred on its paper. All measures in millimetres; gaps lie between labels."""

    name: str
    paper: str
    columns: int
    rows: int
    width_mm: float
    height_mm: float
    gap_mm: float = 0.0

    @property
    def page_mm(self) -> tuple[float, float]:
        """Width and height of the paper."""
        return PAPER_MM[self.paper]

    @property
    def margin_mm(self) -> tuple[float, float]:
        """What is left of the first column and above the first row."""
        width, height = self.page_mm
        across = self.columns * self.width_mm + (self.columns - 1) * self.gap_mm
        return (width - across) / 2.0, (height - self.rows * self.height_mm) / 2.0

    @property
    def count(self) -> int:
        """Labels on a sheet."""
        return self.columns * self.rows

    def places_mm(self) -> Iterator[tuple[float, float]]:
        """Yield the upper left corner of each label, row by row.

        >>> [tuple(round(x, 2) for x in at) for at in LABEL_SHEETS["a4 2x7 99.1x38.1"].places_mm()][:3]
        [(4.65, 15.15), (106.25, 15.15), (4.65, 53.25)]
        """
        left, top = self.margin_mm
        for row in range(self.rows):
            for column in range(self.columns):
                yield left + column * (self.width_mm + self.gap_mm), top + row * self.height_mm


def _inches(name: str, columns: int, rows: int, size: tuple[float, float], gap: float) -> LabelSheet:
    width, height = size
    return LabelSheet(name, "letter", columns, rows, width * INCH_MM, height * INCH_MM, gap * INCH_MM)


LABEL_SHEETS: Mapping[str, LabelSheet] = {
    sheet.name: sheet
    for sheet in (
        LabelSheet("a4 3x8 70x37", "a4", 3, 8, 70.0, 37.0),
        LabelSheet("a4 2x8 105x37", "a4", 2, 8, 105.0, 37.0),
        LabelSheet("a4 3x7 63.5x38.1", "a4", 3, 7, 63.5, 38.1, 2.54),
        LabelSheet("a4 2x7 99.1x38.1", "a4", 2, 7, 99.1, 38.1, 2.5),
        LabelSheet("a4 2x4 99.1x67.7", "a4", 2, 4, 99.1, 67.7, 2.5),
        _inches("letter 3x10 2.625x1in", 3, 10, (2.625, 1.0), 0.125),
        _inches("letter 2x10 4x1in", 2, 10, (4.0, 1.0), 0.1875),
        _inches("letter 2x7 4x1.333in", 2, 7, (4.0, 4.0 / 3.0), 0.1875),
        _inches("letter 2x5 4x2in", 2, 5, (4.0, 2.0), 0.1875),
    )
}


def label_sheet(name: str) -> LabelSheet:
    """Return the sheet of labels of this name.

    Raises
    ------
    UnknownNameError
        If there is none; the message lists those there are.
    """
    found = LABEL_SHEETS.get(" ".join(name.lower().split()))
    if found is None:
        known = "; ".join(LABEL_SHEETS)
        raise UnknownNameError("sheet", f"must be one of {known}; got {name!r}", cure="Name it by its measure.")
    return found


def label_size(text: str) -> tuple[float, float]:
    """Return the width and height, in millimetres, of a label of its own: "70x37mm", "2.625x1in".

    Raises
    ------
    InputError
        If it cannot be read, or is too small to write on or too large.

    >>> label_size("70 x 37 mm"), label_size("4x1in")
    ((70.0, 37.0), (101.6, 25.4))
    """
    found = re.fullmatch(r"\s*([\d.]+)\s*x\s*([\d.]+)\s*(mm|in)\s*", text.lower())
    if not found or any(part.count(".") > 1 or part == "." for part in found.groups()[:2]):
        raise InputError("size", f"must be width x height with its unit; got {text!r}", cure='Write it as "70x37mm".')
    unit = INCH_MM if found[3] == "in" else 1.0
    size = float(found[1]) * unit, float(found[2]) * unit
    if not all(least <= side <= most for side, least, most in zip(size, LEAST_MM, MOST_MM, strict=True)):
        room = f"{LEAST_MM[0]:g} x {LEAST_MM[1]:g} mm and {MOST_MM[0]:g} x {MOST_MM[1]:g} mm"
        raise InputError("size", f"must lie between {room}; got {text!r}")
    return size
