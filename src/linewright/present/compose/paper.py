"""Labels, the sheets they are set on, and a blank reading sheet, as documents."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from linewright.core.formatting import digits, frequency, interval
from linewright.core.messages import say, together
from linewright.core.nouns.paper import BlankSheet, Label, Labels
from linewright.present.blank_sheet import cautions, directions
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Paragraph,
    Part,
    Row,
    Section,
    Table,
    points,
    section,
    sections,
    table,
)
from linewright.present.labels import LabelSheets, about_words, standing_words, tested_words


def labels_document(made: Labels) -> Document:
    """Return what stands on labels, one after the other."""
    none = "" if made.labels else say("The shelf is empty: there is nothing to put on a label.")
    return Document("label", "", sections=sections(
        section("", Paragraph(none)),
        *map(_label, made.labels),
        section(say("Remarks"), points(made.remarks)),
        worked(made.workings),
    ))  # fmt: skip


def _label(label: Label) -> Section:
    losses = table((Column("", "figure"), Column("", "figure")), (
        (frequency(x.frequency_hz), interval(x.loss_db, x.loss_db_low, x.loss_db_high)) for x in label.losses
    ))  # fmt: skip
    return section(label.tag, points([about_words(label), standing_words(label), tested_words(label)]), losses)


def label_sheets_document(found: LabelSheets) -> Document:
    """Return the sheets of labels that can be named."""
    columns = (
        Column("--sheet"), Column(say("labels"), "right"), Column(say("width, mm"), "figure"),
        Column(say("height, mm"), "figure"), Column(say("margins, mm")),
    )  # fmt: skip
    source = say("Measures as such sheets are sold: common practice, no source. Print at full size, and try on plain"
                 " paper.")  # fmt: skip
    return Document("label", "", sections=sections(
        section(say("Sheets of labels"), table(columns, _label_sheets(found))), section("", Paragraph(source))
    ))  # fmt: skip


def _label_sheets(found: LabelSheets) -> Iterator[tuple[str, ...]]:
    for sheet in found.sheets:
        left, top = (digits(mm, 4) for mm in sheet.margin_mm)
        margin = say("{left} left, {top} above", left=left, top=top)
        yield f'"{sheet.name}"', str(sheet.count), digits(sheet.width_mm, 4), digits(sheet.height_mm, 4), margin


def sheet_document(blank: BlankSheet) -> Document:
    """Return the steps of a blank reading sheet, with what is to be minded."""
    return Document("sheet", blank.bench.title, sections=sections(
        section(say("Cautions"), Cautions(cautions(blank.bench))),
        section(say("How to read"), points(directions(blank))),
        section(say("Reading sheet"), _steps(blank)),
    ))  # fmt: skip


def _steps(blank: BlankSheet) -> Table:
    by_meter = groupby(blank.steps, key=lambda step: (step.frequency_hz, step.meter))
    parts = tuple(
        Part(
            together([frequency(hertz), meter], ", "), tuple(Row((str(s.number), s.path_name)) for s in steps)
        )
        for (hertz, meter), steps in by_meter
    )  # fmt: skip
    return Table("", (Column(say("no."), "right"), Column(say("path"))), parts)
