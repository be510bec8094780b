"""Reports on paper: whole, tagged, inside the page, the same bytes again, whatever the names."""

from __future__ import annotations

import io

import pypdf
import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from examples import few
from linewright.core.errors import UnknownNameError
from linewright.core.formatting import manner
from linewright.core.locale import Manner
from linewright.core.messages import say
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.plan import Plan
from linewright.present.compose.bench import bench_report
from linewright.present.compose.station import station_report
from linewright.present.document import Document, Paragraph, Section
from linewright.present.localize import GLYPHS, breakable, printable
from linewright.present.writers.paper import report_pdf
from report.made import HOSTILE, MADE, crowded, hostile_station
from report.reading import POINTS_PER_MM, bare, boxes, fonts, said, said_by_the_other

SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""ISO 216; ANSI/ASME Y14.1."""
MARGIN_MM = 18.0
SPACE = 4.0
"""A space at the end of a line hangs into the margin."""
KINDS = ("bench", "station", "piece")


@pytest.fixture(scope="module")
def papers(paper_of) -> dict[tuple[str, str], bytes]:
    """Return the three reports on both papers."""
    return {(kind, paper): paper_of(kind, paper) for kind in KINDS for paper in SIZES_MM}


@pytest.mark.parametrize("paper", SIZES_MM)
@pytest.mark.parametrize("kind", KINDS)
def test_a_report_is_a_tagged_pdf_with_its_fonts_inside(papers, documents, kind, paper):
    content = papers[kind, paper]
    reader = pypdf.PdfReader(io.BytesIO(content))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/StructTreeRoot"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title == documents[kind].title
    assert b"pdfuaid" in root["/Metadata"].get_data()
    assert fonts(content)
    assert all(fonts(content).values())
    assert len(reader.pages) == len(pypdfium2.PdfDocument(content)) > 2


@pytest.mark.parametrize("paper", SIZES_MM)
@pytest.mark.parametrize("kind", KINDS)
def test_pages_have_the_size_asked_for_and_nothing_leaves_the_column(papers, kind, paper):
    wide, high = (side * POINTS_PER_MM for side in SIZES_MM[paper])
    content = papers[kind, paper]
    for page in pypdfium2.PdfDocument(content):
        assert page.get_size() == pytest.approx((wide, high), abs=0.5)
    _inside(content, wide, high)


def _inside(content: bytes, wide: float, high: float) -> None:
    edge, slack = MARGIN_MM * POINTS_PER_MM, 2.0
    count = 0
    for box in boxes(content):
        assert box.left >= edge - slack, box
        hangs = box.right > wide - edge + slack and box.read().endswith(" ")
        assert box.right <= wide - edge + slack + SPACE * hangs, box.read()
        assert 0 < box.bottom < box.top < high, box
        count += 1
    assert count > 20


@pytest.mark.parametrize("kind", KINDS)
def test_both_readers_find_every_text_of_the_document(papers, documents, kind):
    told = [s.title for s in documents[kind].sections[1:]]
    told += [block.text for s in documents[kind].sections for block in s.blocks if isinstance(block, Paragraph)]
    for words in (said(papers[kind, "a4"]), said_by_the_other(papers[kind, "a4"])):
        assert [text for text in told if bare(text) not in words] == []


def test_pages_are_numbered_and_name_the_report(papers):
    reader = pypdf.PdfReader(io.BytesIO(papers["bench", "a4"]))
    total = len(reader.pages)
    for number, page in enumerate(reader.pages, start=1):
        words = page.extract_text()
        assert f"page {number} of {total}" in words
        assert "Harbour Ridge club bench (invented)" in words


def test_table_heads_stand_again_on_the_next_page(papers):
    pages = [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(papers["bench", "a4"])).pages]
    assert sum(bare("expected (95 %)") in bare(words) for words in pages) >= 2


def test_the_last_page_tells_how_to_repeat_it(papers):
    last = bare(pypdf.PdfReader(io.BytesIO(papers["bench", "a4"])).pages[-1].extract_text())
    for words in ("To repeat this report", "Method", "Assumptions", "Sources", "0" * 64, MADE.command):
        assert bare(words) in last


def test_every_drawing_and_table_is_tagged_and_drawings_have_words(papers):
    reader = pypdf.PdfReader(io.BytesIO(papers["station", "a4"]))
    found: dict[str, list[str]] = {}

    def walk(node) -> None:
        node = node.get_object()
        if not isinstance(node, dict):
            return
        if "/S" in node:
            found.setdefault(node["/S"], []).append(str(node.get("/Alt", "")))
        children = node.get("/K", [])
        for child in children if isinstance(children, list) else [children]:
            if not isinstance(child, int):
                walk(child)

    walk(reader.trailer["/Root"]["/StructTreeRoot"])
    drawn = {
        "Power from radio to antenna, ": 8,
        "Signal-to-noise ratio lost on": 4,
        "How far to stay from the antenna of ": 4,
    }
    for words, count in drawn.items():
        assert sum(words in alt for alt in found["/Figure"]) == count
    assert all(found["/Figure"])
    assert len(found["/Table"]) >= 5
    assert found["/TH"]
    assert len(found["/H1"]) == 1
    assert len(found["/H2"]) >= 7


@pytest.fixture(scope="module")
def crowd(bench) -> bytes:
    """Return the report of a bench of ten pieces under hostile names."""
    return report_pdf(crowded(bench, pieces=10, bands=4))


def test_pieces_and_bands_under_any_name_stay_inside_the_page(crowd: bytes) -> None:
    _inside(crowd, *(side * POINTS_PER_MM for side in SIZES_MM["a4"]))


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_forty_pieces_and_twelve_bands_under_any_name_stay_inside_the_page(
    bench: tuple[BenchSheet, BenchResult], paper: str
) -> None:
    content = report_pdf(crowded(bench), paper=paper)
    _inside(content, *(side * POINTS_PER_MM for side in SIZES_MM[paper]))


def test_a_station_of_hostile_names_stays_inside_the_page_and_shows_what_loses_most(station) -> None:
    content = report_pdf(hostile_station(station))
    _inside(content, *(side * POINTS_PER_MM for side in SIZES_MM["a4"]))
    words = said_by_the_other(content)
    assert bare("Of 60 frequencies the 24 that lose most are shown.") in words
    assert bare(HOSTILE[1]) in words


def test_names_are_printed_as_they_are(crowd: bytes) -> None:
    words = said(crowd)
    for name in (HOSTILE[0], HOSTILE[1], HOSTILE[6], HOSTILE[7], HOSTILE[9]):
        assert bare(name) in words
    for name in ("tower‹RADIO›‹CJKUNIFIEDIDEOGRAPH-96FB›", "bell‹U+0007›esc‹U+001B›[31m", "‹RIGHT-TO-LEFTOVERRIDE›"):
        assert name in words


def test_names_from_right_to_left_leave_the_figures_beside_them_in_place() -> None:
    """A name reads from right to left; what the sentence says after it stays at its right, digits and all."""
    name = HOSTILE[2]
    text = say("{piece}: 1.5 dB", piece=name)
    page = pypdfium2.PdfDocument(report_pdf(_plain(text, (name,))))[0].get_textpage()
    whole = page.get_text_range()
    places = {sign: page.get_charbox(i)[0] for i, sign in enumerate(whole) if sign in "כך7:5B"}
    rising = ["ך", "7", "כ", ":", "5", "B"]
    assert [places[sign] for sign in rising] == sorted(places[sign] for sign in rising)


@pytest.mark.parametrize("low", range(0, len(GLYPHS), 4))
def test_the_typesetter_has_a_glyph_for_every_sign_that_is_left_as_it_is(low: int) -> None:
    """PDF/UA-1 refuses a sign no font has, so setting them all proves the table."""
    signs = [chr(c) for a, b in GLYPHS[low : low + 4] for c in range(a, b + 1)]
    kept = [sign for sign in signs if printable(sign) == sign]
    assert len(kept) > 10
    document = _plain(" ".join(kept))
    assert report_pdf(document).startswith(b"%PDF")


def _plain(text: str, names: tuple[str, ...] = ()) -> Document:
    section = Section("", (Paragraph(text),))
    return Document("bench", "Signs", "", "2026-04-02", "linewright", (section,), names)


@few(25)
@given(st.text(max_size=60))
def test_no_name_breaks_a_page(name: str) -> None:
    assert report_pdf(_plain(f"{name} a {name}", (name,))).startswith(b"%PDF")


def test_the_date_alone_changes_what_is_printed(documents: dict[str, Document]) -> None:
    from dataclasses import replace

    other = replace(documents["bench"], day="2027-01-01", subtitle="Bench report, 2027-01-01")
    assert bare("2027-01-01") in said(report_pdf(other))


def test_nothing_of_the_machine_is_inside(papers) -> None:
    for content in papers.values():
        reader = pypdf.PdfReader(io.BytesIO(content))
        assert "/CreationDate" not in reader.metadata
        assert b"/tmp/" not in content
        assert b"/home/" not in content


def test_an_empty_bench_and_an_empty_station_say_so(station) -> None:
    nothing = BenchResult("Empty", (), (), (), (), (), (), ())
    blank = bench_report(BenchSheet("Empty", (), (), ()), nothing, MADE)
    assert bare("There is nothing to judge.") in said(report_pdf(blank))
    bare_plan = Plan("Empty", (), ("Mind the power lines.",))
    assert bare("There is nothing to plan.") in said(report_pdf(station_report(station[0], bare_plan, MADE)))


def test_a_paper_nobody_has_is_refused(documents: dict[str, Document]) -> None:
    with pytest.raises(UnknownNameError, match="paper must be one of a4, letter"):
        report_pdf(documents["bench"], paper="a5")


def test_feet_and_a_decimal_comma_stand_throughout(paper_of) -> None:
    words = said(paper_of("bench", manner=Manner(decimal=",", lengths="ft")))
    assert bare("blue 7, 23,6 ft") in words
    assert bare("1,39 times what RG-58C/U") in words
    assert bare("7.2 m") not in words


def test_another_language_names_it_in_the_document(paper_of) -> None:
    reader = pypdf.PdfReader(io.BytesIO(paper_of("piece", manner=manner("de"))))
    assert reader.trailer["/Root"]["/Lang"] == "de"


def test_a_word_too_long_for_its_column_breaks_and_reads_whole() -> None:
    long = "x" * 400
    assert breakable(long).replace("\u200b", "") == long
    content = report_pdf(_plain(long))
    assert long in said(content)
    _count = sum("x" in box.read() for box in boxes(content))
    assert _count >= 4
