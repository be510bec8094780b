"""The square code on a label holds what it should, as drawn on the page."""

from __future__ import annotations

import numpy as np
import pypdfium2
import pytest
import segno

from linewright.present.labels import (
    LEAST_MODULE_MM,
    QUIET,
    code_of,
    code_remarks,
    content_of,
    label_pages,
    label_sheet,
    on_sheets,
)
from linewright.present.labels import WantedLabels as Wanted
from report.labelled import made_label

DOTS_PER_MM = 12.0
SHEET = label_sheet("a4 3x8 70x37")


def drawn(content):
    """Return a page as greys, rows first."""
    page = pypdfium2.PdfDocument(content)[0]
    return page.render(scale=DOTS_PER_MM * 25.4 / 72, grayscale=True).to_numpy()


def modules_of(grey, box, count):
    """Return the modules of the code in the upper right corner of a box, True where it is dark."""
    left, top, width, height = box
    side = min(height, 0.4 * width, 22.0)
    middles = (np.arange(count) + 0.5) * side / count
    rows = ((top + middles) * DOTS_PER_MM).astype(int)
    columns = ((left + width - side + middles) * DOTS_PER_MM).astype(int)
    return grey[np.ix_(rows, columns)] < 128


@pytest.mark.parametrize(
    ("tag", "address"),
    [("blue 7", None), ("כבל 7", None), ("*#panic()", None), ("blue 7/é", "http://shack.local:8000/shelf/piece/")],
)
def test_the_modules_drawn_are_those_of_what_the_code_should_hold(tag, address):
    label = made_label(tag)
    content = label_pages([label], Wanted(SHEET, code=True, address=address))
    ((_, box),) = on_sheets(SHEET, [None], first=1, wrap=False).boxes[0]
    made = segno.make(content_of(tag, address), error="m", micro=False, boost_error=False)
    wanted = np.pad(np.array([list(row) for row in made.matrix], dtype=bool), QUIET)
    found = modules_of(drawn(content), box, len(wanted))
    assert (found == wanted).all()


def test_another_tag_makes_another_code():
    assert code_of("blue 7").svg != code_of("blue 8").svg


def test_a_reader_of_codes_reads_the_tag():
    zxing = pytest.importorskip("zxingcpp", reason="the reader of codes is not installed")
    tags = ["blue 7", "כבל 7", "tower ☎"]
    grey = drawn(label_pages([made_label(t) for t in tags], Wanted(SHEET, code=True)))
    assert sorted(found.text for found in zxing.read_barcodes(np.ascontiguousarray(grey))) == sorted(tags)


def test_a_tag_in_an_address_is_quoted():
    assert content_of("a/b c?é", "https://x.example/") == "https://x.example/a%2Fb%20c%3F%C3%A9"


def test_a_code_too_fine_for_a_phone_is_reported():
    small, long = label_sheet("letter 3x10 2.625x1in"), "https://club.example/" + "x" * 200 + "/"
    label = made_label("blue 7")
    assert code_remarks([label], Wanted(small, code=True)) == ()
    (said,) = code_remarks([label], Wanted(small, code=True, address=long))
    assert "a phone may fail to read it" in said
    # 15.4 mm of height, less what the label's edges take: the code's side.
    side_mm = 25.4 - 2 * 2.5
    assert side_mm / code_of(content_of("blue 7", long)).modules < LEAST_MODULE_MM
