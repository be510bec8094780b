"""Labels on sheets and singly: nothing leaves its cell, names are literal, the same labels make the same bytes."""

from __future__ import annotations

import io
import math

import pypdf
import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from examples import few
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formatting import manner
from linewright.core.nouns.shelf import STANDINGS
from linewright.present.labels import (
    LABEL_SHEETS,
    band_choices,
    in_own_size,
    label_pages,
    label_picture,
    label_sheet,
    label_size,
    on_sheets,
    standing_words,
)
from linewright.present.labels import WantedLabels as Wanted
from linewright.present.labels import tested_words as when_words
from linewright.present.localize import printable, visible
from report.labelled import ODD, SOUND, bare_label, made_label
from report.reading import POINTS_PER_MM, bare, fonts, said, said_by_the_other

DOTS_PER_MM = 4.0
SLACK_MM = (0.6, 1.7)
"""Ink may pass the advance of a letter by so much, and marks over and under letters the height of a line."""


def placed(wanted, labels):
    around = [label.diameter_m for label in labels]
    if wanted.sheet is None:
        return in_own_size(wanted.size_mm, around, wrap=wanted.wrap)
    return on_sheets(wanted.sheet, around, first=wanted.first, wrap=wanted.wrap)


def rects_mm(content):
    """Yield (page, left, top, right, bottom, words) in millimetres from the upper left."""
    document = pypdfium2.PdfDocument(content)
    for number, page in enumerate(document):
        text, height = page.get_textpage(), page.get_height()
        for i in range(text.count_rects()):
            left, bottom, right, top = text.get_rect(i)
            box = (left, height - top, right, height - bottom)
            yield number, *(x / POINTS_PER_MM for x in box), text.get_text_bounded(left, bottom, right, top)


def ink(content):
    """Yield a page each: True where there is ink."""
    for page in pypdfium2.PdfDocument(content):
        yield page.render(scale=DOTS_PER_MM * 25.4 / 72, grayscale=True).to_numpy() < 200


def dots(box, slack=(0.0, 0.0)):
    """Return the rows and columns of a box, made larger by the slack."""
    (x, y, width, height), (across, down) = box, slack
    rows = slice(max(0, int((y - down) * DOTS_PER_MM)), math.ceil((y + height + down) * DOTS_PER_MM) + 1)
    return rows, slice(max(0, int((x - across) * DOTS_PER_MM)), math.ceil((x + width + across) * DOTS_PER_MM) + 1)


def every_wanted():
    for i, (name, sheet) in enumerate(LABEL_SHEETS.items()):
        yield pytest.param(Wanted(sheet, first=2, code=True), id=f"{name} with code")
        # Without a code there is more room: two sheets every day.
        yield pytest.param(Wanted(sheet, first=2), id=name, marks=[pytest.mark.slow] if i % 5 else [])
    yield pytest.param(Wanted(size_mm=(70.0, 37.0), code=True), id="own size")
    yield pytest.param(Wanted(size_mm=(30.0, 15.0)), id="smallest")
    yield pytest.param(Wanted(LABEL_SHEETS["letter 2x10 4x1in"], wrap=True, manner=manner("de")), id="folded")


@pytest.mark.parametrize("wanted", list(every_wanted()))
def test_no_ink_leaves_its_cell_on_any_sheet_whatever_the_name(wanted):
    content = label_pages(ODD, wanted)
    pages = placed(wanted, ODD)
    for inked, boxes, marks in zip(ink(content), pages.boxes, pages.marks, strict=True):
        assert all(inked[dots(box)].any() for _, box in boxes)
        for box in [*(box for _, box in boxes), *marks]:
            inked[dots(box, SLACK_MM)] = False
        assert not inked.any(), [x / DOTS_PER_MM for x in inked.nonzero()]


@pytest.mark.parametrize("name", LABEL_SHEETS)
def test_labels_of_a_sheet_lie_on_the_paper_and_apart(name):
    sheet = LABEL_SHEETS[name]
    places = [(*at, sheet.width_mm, sheet.height_mm) for at in sheet.places_mm()]
    assert len(places) == sheet.count
    across, down = sheet.page_mm
    assert all(x > -1e-9 and y > -1e-9 and x + w < across + 1e-9 and y + h < down + 1e-9 for x, y, w, h in places)
    for i, (x, y, w, h) in enumerate(places):
        for a, b, *_ in places[:i]:
            assert abs(x - a) >= w - 1e-9 or abs(y - b) >= h - 1e-9


@pytest.mark.parametrize(
    ("name", "left_mm", "top_mm", "pitch_mm"),
    # Common practice, no source: the margins and pitches such sheets are cut to, from memory.
    [
        ("a4 3x8 70x37", 0.0, 0.5, 70.0),
        ("a4 3x7 63.5x38.1", 7.21, 15.15, 66.04),
        ("a4 2x7 99.1x38.1", 4.65, 15.15, 101.6),
        ("letter 3x10 2.625x1in", 0.1875 * 25.4, 0.5 * 25.4, 2.75 * 25.4),
        ("letter 2x10 4x1in", 0.15625 * 25.4, 0.5 * 25.4, 4.1875 * 25.4),
    ],
)
def test_margins_and_pitch_are_those_the_sheets_are_cut_to(name, left_mm, top_mm, pitch_mm):
    first, second, *_ = LABEL_SHEETS[name].places_mm()
    assert first == pytest.approx((left_mm, top_mm), abs=0.01)
    assert second[0] - first[0] == pytest.approx(pitch_mm, abs=0.01)


@pytest.mark.parametrize(
    ("wanted", "size_pt"),
    [
        (Wanted(LABEL_SHEETS["a4 3x8 70x37"]), (595.28, 841.89)),
        (Wanted(LABEL_SHEETS["letter 3x10 2.625x1in"]), (612.0, 792.0)),
        (Wanted(size_mm=label_size("4x1in")), (288.0, 72.0)),
    ],
)
def test_a_page_is_as_large_as_its_paper(wanted, size_pt):
    pages = pypdf.PdfReader(io.BytesIO(label_pages(SOUND, wanted))).pages
    assert len(pages) == (1 if wanted.sheet else len(SOUND))
    assert all((p.mediabox.width, p.mediabox.height) == pytest.approx(size_pt, abs=0.01) for p in pages)


def test_a_label_says_all_that_it_should_to_two_readers():
    content = label_pages([made_label("blue 7")], Wanted(label_sheet("a4 3x8 70x37")))
    for read in (said, said_by_the_other):
        words = read(content)
        for part in ("blue 7", "RG-58C/U, 7.2 m", "worn: 1.70 times new (1.50 to 1.90)", "144.3 MHz", "432.1 MHz",
                     "tested 2026-04-02, again by 2027-04-02"):  # fmt: skip
            assert bare(part) in words, part


def test_markup_is_literal():
    name = '*bold* #panic("no") $x^2$ <b>{{7*7}}'
    assert bare(name) in said(label_pages([made_label(name)], Wanted(label_sheet("a4 2x4 99.1x67.7"))))


def test_signs_no_font_has_are_called_by_their_names():
    words = said(label_pages([made_label("tower \N{RADIO}\x07")], Wanted(label_sheet("a4 2x4 99.1x67.7"))))
    assert bare("tower ‹RADIO›‹U+0007›") in words


def test_a_part_used_sheet_begins_where_it_is_told():
    sheet = label_sheet("a4 3x8 70x37")
    content = label_pages(SOUND, Wanted(sheet, first=23))
    pages = placed(Wanted(sheet, first=23), SOUND)
    assert [len(boxes) for boxes in pages.boxes] == [2, 1]
    firsts = [min(rect[1:3][::-1] for rect in rects_mm(content) if rect[0] == page) for page in (0, 1)]
    corners = list(sheet.places_mm())
    assert firsts[0][0] > corners[22][1]
    assert firsts[1][0] < corners[3][1]


def test_bands_that_do_not_fit_are_counted():
    words = said(label_pages([made_label("black 20", 12)], Wanted(label_sheet("letter 3x10 2.625x1in"))))
    shown = words.count("MHz")
    assert 1 <= shown < 12
    assert f"and{12 - shown}morebands" in words


def test_all_bands_stand_where_there_is_room():
    words = said(label_pages([made_label("black 20", 12)], Wanted(label_sheet("a4 2x4 99.1x67.7"))))
    assert (words.count("MHz"), "more" in words) == (12, False)


@given(st.integers(0, 40))
def test_fewer_and_fewer_bands_keep_the_highest_and_always_count_the_rest(count):
    choices = band_choices(count)
    assert [len(kept) for kept, _ in choices] == list(range(count, -1, -1))
    for kept, more in choices[:-1]:
        assert list(kept) == sorted(set(kept))
        assert kept[-1] == count - 1
        assert len(kept) == 1 or kept[0] == 0
        assert more.startswith(f"and {count - len(kept)} more") if len(kept) < count else more == ""


def test_a_decimal_comma_stands_in_every_figure():
    words = said(label_pages([made_label("blue 7")], Wanted(label_sheet("a4 3x8 70x37"), manner=manner("de"))))
    assert "144,3MHz" in words
    assert "7,2m" in words
    assert "." not in words.replace("…", "")


def test_both_halves_of_a_folded_label_say_the_same():
    wanted = Wanted(label_sheet("letter 2x10 4x1in"), wrap=True)
    assert said(label_pages([made_label("blue 7")], wanted)).count("blue7") == 2
    (_, left), (_, right) = placed(wanted, [made_label("blue 7")]).boxes[0]
    between = right[0] - (left[0] + left[2])
    assert between == pytest.approx(math.pi * 4.95)


def test_labels_are_tagged_named_and_carry_their_fonts():
    reader = pypdf.PdfReader(io.BytesIO(label_pages(SOUND, Wanted(label_sheet("a4 3x8 70x37"), code=True))))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert root["/Lang"] == "en"
    found = fonts(label_pages(SOUND, Wanted()))
    assert found
    assert all(found.values())


def test_the_same_labels_make_the_same_bytes():
    wanted = Wanted(label_sheet("a4 3x8 70x37"), code=True)
    assert label_pages(SOUND, wanted) == label_pages(SOUND, wanted)
    assert label_picture(SOUND[0], wanted=Wanted(), kind="png") == label_picture(SOUND[0], Wanted(), "png")


def test_a_picture_has_its_own_size():
    svg = label_picture(SOUND[0], Wanted(size_mm=(70.0, 37.0), code=True), "svg").decode()
    assert 'width="198.42519685039' in svg or 'viewBox="0 0 198.4251' in svg
    png = label_picture(SOUND[0], Wanted(size_mm=(70.0, 37.0)), "png")
    width, height = (int.from_bytes(png[i : i + 4], "big") for i in (16, 20))
    assert (width, height) == (round(70 / 25.4 * 300), round(37 / 25.4 * 300))


def test_black_is_the_only_ink():
    # Every pixel of a label is a grey: it can be printed on anything.
    page = pypdfium2.PdfDocument(label_pages(SOUND, Wanted(label_sheet("a4 3x8 70x37"), code=True)))[0]
    pixels = page.render(scale=1).to_numpy()
    assert (pixels.max(axis=2) == pixels.min(axis=2)).all()
    assert pixels.min() < 60


@pytest.mark.parametrize("standing", STANDINGS)
def test_every_standing_has_words(standing):
    label = made_label("blue 7", standing=standing)
    assert standing in standing_words(label)
    assert "1.70" in standing_words(label)


def test_what_was_never_measured_says_so():
    assert standing_words(bare_label("a")) == "not measured; its type is not known"
    assert standing_words(made_label("a", ratio=None, standing="not measured")) == "not measured: as a new one"
    assert when_words(bare_label("a")) == "never tested"


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: label_pages([], Wanted()), "the shelf is empty"),
        (lambda: label_pages(SOUND, Wanted(label_sheet("a4 3x8 70x37"), first=25)), "first must lie from 1 to 24"),
        (lambda: label_pages(SOUND, Wanted(label_sheet("a4 3x8 70x37"), first=0)), "first must lie from 1 to 24"),
        (lambda: label_pages([made_label("a", diameter_m=0.02)], Wanted(wrap=True)), "wrap leaves 2 mm a side"),
        (lambda: label_picture(SOUND[0], Wanted(label_sheet("a4 3x8 70x37")), "png"), "goes with a PDF only"),
        (lambda: label_pages(SOUND, Wanted(code=True, address="shack")), "must begin with http"),
        (lambda: label_pages([made_label("é" * 3000)], Wanted(code=True)), "more than a code can hold"),
        (lambda: label_size("70x37"), "width x height with its unit"),
        (lambda: label_size("1.2.3x4mm"), "width x height with its unit"),
        (lambda: label_size("5x5mm"), "must lie between 24 x 15 mm"),
    ],
)
def test_what_cannot_be_set_is_said(made, words):
    with pytest.raises(InputError) as told:
        made()
    assert words in str(told.value)


def test_an_unknown_sheet_is_answered_with_those_there_are():
    with pytest.raises(UnknownNameError) as told:
        label_sheet("a4 9x9")
    assert "a4 3x8 70x37" in str(told.value)
    assert label_sheet("  A4  3x8 70x37 ").count == 24


@given(st.text(max_size=220))
@few(25)
def test_any_name_is_set(name):
    content = label_pages([made_label(name, 2)], Wanted(size_mm=(70.0, 37.0)))
    assert content.startswith(b"%PDF")
    assert bare(printable(visible(name)))[:1] in said(content)


def test_a_narrow_label_takes_a_second_line_before_it_cuts_an_interval():
    words = said(label_pages([made_label("blue 7")], Wanted(size_mm=(30.0, 30.0))))
    assert "…" not in words
    assert "(1.50to1.90)" in words
