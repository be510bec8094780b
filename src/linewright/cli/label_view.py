"""Labels on a terminal: what stands on each, and the sheets they can be set on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from linewright.cli.layout import items, page, paragraph, section
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.label import Label, Labels
from linewright.report.label_sheets import LABEL_SHEETS, LabelSheet
from linewright.report.labels import about_words, standing_words, tested_words
from linewright.units.manner import ENGLISH, Manner
from linewright.units.said import say, written
from linewright.units.writing import frequency, interval


@dataclass(frozen=True, slots=True)
class Sheets:
    """The sheets of labels that can be named, for programs."""

    sheets: tuple[LabelSheet, ...] = tuple(LABEL_SHEETS.values())

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/label-sheets/1``."""
        return {"schema": "linewright/label-sheets/1", "sheets": [asdict(sheet) for sheet in self.sheets]}


def labels_view(made: Labels, manner: Manner = ENGLISH, *, explain: bool = False) -> str:
    """Return what stands on labels, one after the other."""
    said = partial(written, manner=manner)
    parts = [section(label.tag, [*items(map(said, _what(label))), *_bands(label, said)]) for label in made.labels]
    parts = parts or [paragraph(said(say("The shelf is empty: there is nothing to put on a label.")))]
    remarks = section(said(say("Remarks")), items(map(said, made.remarks)))
    return page([*parts, remarks, workings_view(made.workings, manner) if explain else []])


def _what(label: Label) -> list[str]:
    return [about_words(label), standing_words(label), tested_words(label)]


def _bands(label: Label, said: Callable[[str], str]) -> list[str]:
    table = Table(["", ""], "dd")
    for x in label.losses:
        table.add(said(frequency(x.frequency_hz)), said(interval(x.loss_db, x.loss_db_low, x.loss_db_high)))
    return table.lines()


def sheets_view() -> str:
    """Return the sheets of labels that can be named."""
    table = Table(["--sheet", "labels", "width, mm", "height, mm", "margins, mm"], "lrddl")
    for sheet in LABEL_SHEETS.values():
        table.add(
            f'"{sheet.name}"', str(sheet.count), f"{sheet.width_mm:.4g}", f"{sheet.height_mm:.4g}", _margin(sheet)
        )
    said = "Measures as such sheets are sold: common practice, no source. Print at full size, and try on plain paper."
    return page([section("Sheets of labels", table.lines()), paragraph(said)])


def _margin(sheet: LabelSheet) -> str:
    left, top = sheet.margin_mm
    return f"{left:.4g} left, {top:.4g} above"
