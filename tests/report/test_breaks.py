"""Where pages break: never so that a row of a table stands alone."""

from __future__ import annotations

import io
import re

import pypdf
import pypdfium2
import pytest

from examples import THOROUGH
from linewright.core.messages import say
from linewright.core.nouns.bench_result import Working
from linewright.present.compose.provenance import workings_section
from linewright.present.document import Block, Column, Document, Paragraph, Part, Points, Row, Section, Table
from linewright.present.writers.paper import report_pdf
from report.made import HOSTILE
from report.reading import POINTS_PER_MM, boxes, page_texts

FILLED = range(34, 58, 1 if THOROUGH else 2)
"""Lines above the table: it begins here and there, and at last at the foot of the page."""


def pages_of(*blocks: Block) -> list[str]:
    """Return the words of each page of a document that holds these blocks."""
    sections = (Section("Summary", (Paragraph("It is dry."),)), Section("What it holds", blocks), Section("End", ()))
    document = Document("bench", "Breaks", "", "2026-04-02", "linewright", sections)
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(report_pdf(document))).pages]


def lines_above(count: int) -> Points:
    return Points("", tuple(f"line {i}" for i in range(count)))


def counted(pages: list[str], word: str) -> list[int]:
    """Return how often a word with a number stands on each page that holds it."""
    return [n for n in (len(set(re.findall(rf"{word}\d+", page))) for page in pages) if n]


@pytest.mark.parametrize(("rows", "marked"), [(1, True), (2, False), (4, True), (5, True), (5, False), (12, True)])
def test_a_table_begins_with_three_rows_and_ends_with_two(rows, marked):
    found = Part("", tuple(Row((f"row{i}", "3 dB"), "good" if marked else "") for i in range(rows)))
    table = Table("The table", (Column("piece"), Column("loss", "figure")), (found,))
    parted = 0
    for count in FILLED:
        pages = pages_of(lines_above(count), table)
        each = counted(pages, "row")
        assert sum(each) == rows
        begins = next(page for page in pages if "row0" in page)
        assert "The table" in begins
        if len(each) > 1:
            parted += 1
            assert each[0] >= 3
            assert each[-1] >= 2
    assert (parted > 0) == (rows >= 5)


def test_a_part_of_a_table_begins_with_three_rows_under_its_title():
    parts = tuple(Part(f"title{p}", tuple(Row((f"row{p}{i}", "3 dB")) for i in range(6))) for p in range(3))
    table = Table("The table", (Column("piece"), Column("loss", "figure")), parts)
    for count in FILLED:
        pages = pages_of(lines_above(count), table)
        for p in range(3):
            each = counted(pages, f"row{p}")
            assert min(each[0], each[-1]) >= 3 - (len(each) > 1)
            assert f"title{p}" in next(page for page in pages if f"row{p}0" in page)


def test_a_note_stays_with_its_row():
    rows = tuple(Row((f"row{i}", "3 dB"), "doubt", f"note{i}") for i in range(9))
    table = Table("The table", (Column("piece"), Column("loss", "figure")), (Part("", rows),))
    for count in FILLED:
        for page in pages_of(lines_above(count), table):
            assert set(re.findall(r"row(\d+)", page)) == set(re.findall(r"note(\d+)", page))


def test_workings_of_a_kind_begin_with_their_formula_and_three_rows():
    made = [
        Working(say("loss of {part} at all bands, by hand, twice: {loss}", part=f"row{i}", loss="3 dB"),
                "length · law", (("what went in, in many words", f"a value {i} of the law that was found"),), "ours")
        for i in range(9)
    ]  # fmt: skip
    (block,) = workings_section(made).blocks
    for count in FILLED:
        pages = pages_of(lines_above(count), block)
        each = counted(pages, "row")
        assert sum(each) == 9
        assert min(each[0], each[-1]) >= (2 if len(each) > 1 else 9)
        assert "length · law" in next(page for page in pages if "row0" in page)


def test_rows_that_fill_a_page_each_still_break():
    long = "; ".join(f"{HOSTILE[6]} {HOSTILE[7]} {i}" for i in range(40))
    rows = tuple(Row((f"row{i}", long)) for i in range(5))
    table = Table("The table", (Column("piece"), Column("said", "wide")), (Part("", rows),))
    sections = (Section("Summary", (table,)), Section("End", ()))
    content = report_pdf(Document("bench", "Long", "", "2026-04-02", "linewright", sections))
    assert len(pypdfium2.PdfDocument(content)) > 3
    assert all(box.bottom > 15 * POINTS_PER_MM or "page" in box.read() or "linewright" in box.read()
               for box in boxes(content))  # fmt: skip


def test_what_repeats_a_report_stands_on_one_page_with_what_goes_before_where_it_fits(documents, paper_of):
    for kind in documents:
        pages = page_texts(paper_of(kind))
        assert sum("To repeat this report" in page for page in pages) == 1
        assert any("To repeat this report" in page for page in pages[-2:])
