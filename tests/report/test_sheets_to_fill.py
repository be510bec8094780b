"""A blank reading sheet on paper: every step stands there, with room for a pencil, whatever the names."""

from __future__ import annotations

import io
import itertools
import re
from datetime import date
from functools import cache

import pypdf
import pypdfium2
import pytest

from examples import THOROUGH
from linewright.catalogue import line_type
from linewright.core.errors import UnknownNameError
from linewright.core.formatting import manner
from linewright.core.nouns.bench import Attenuator, BenchSheet, Meter, Piece, ReadingPlan, Reference, Source
from linewright.core.nouns.paper import BlankSheet
from linewright.present.blank_sheet import ROW_MM, cautions, directions, sheet_pages
from linewright.present.localize import printable, visible
from linewright.verbs.blank_sheet import steps_of
from report.made import HOSTILE
from report.reading import POINTS_PER_MM, bare, fonts, said, said_by_the_other

LINE = line_type("RG-58C/U")
LEAST_ROW_MM = 8.0
STEP_MM = 13.0 + 9.0 - 3 / POINTS_PER_MM
"""Step numbers end here: the margin, their column, and what its cells leave free."""


def blank(tags=("blue 7", "blue 18"), meters=("desk meter", "card meter"), hertz=(14.2e6, 144.3e6), joined=None):
    pieces = tuple(Piece(t, 7.2 + i, LINE, stock="drum") for i, t in enumerate(tags))
    gear = (Meter(meters[0], division=0.1, rated_hz=(1.8e6, 470e6)), *(Meter(m, "milliwatts") for m in meters[1:]))
    bench = BenchSheet(
        "Spring bench", gear, pieces, (), Source(10.0, 1.2), Reference(LINE, 0.9), (Attenuator("pad", 3.0),)
    )
    return BlankSheet(bench, tuple(steps_of(bench, ReadingPlan(tuple(hertz), joined))), ((meters[1], 21.2e6),))


SOUND = blank()
MANY = 2 if THOROUGH else 1
CROWDED = blank(
    tuple(HOSTILE[i % 10][:70] + f" {i}" for i in range(20 * MANY)),
    HOSTILE[:3],
    [1.9e6 * 1.7**i for i in range(6 * MANY)],
    (),
)


@cache
def crowded_pages(paper="a4"):
    """Return the crowded sheet on paper."""
    return sheet_pages(CROWDED, paper=paper)


def lefts_mm(content):
    """Yield (page, height from the top in mm, words) of what ends where step numbers end."""
    for number, page in enumerate(pypdfium2.PdfDocument(content)):
        text, height = page.get_textpage(), page.get_height()
        for i in range(text.count_rects()):
            _, bottom, right, top = text.get_rect(i)
            if abs(right / POINTS_PER_MM - STEP_MM) < 0.3:
                yield (
                    number,
                    (height - top) / POINTS_PER_MM,
                    text.get_text_bounded(13.0 * POINTS_PER_MM, bottom, right + 1, top).strip(),
                )


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("language", ["en", "de"])
def test_every_step_stands_on_paper_with_its_band_meter_and_path(paper, language):
    content = sheet_pages(SOUND, paper=paper, manner=manner(language))
    mark = "," if language == "de" else "."
    for read in (said, said_by_the_other):
        words = read(content)
        for step in SOUND.steps:
            band = f"{step.frequency_hz / 1e6:.4g}".replace(".", mark)
            path = step.path_name if step.path else "" if language == "de" else "reference"
            assert bare(f"{step.number} {band} MHz {step.meter} {path}") in words


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.28, 841.89)), ("letter", (612.0, 792.0))])
def test_a_sheet_is_as_large_as_its_paper(paper, size):
    for page in pypdf.PdfReader(io.BytesIO(sheet_pages(SOUND, paper=paper))).pages:
        assert (page.mediabox.width, page.mediabox.height) == pytest.approx(size, abs=0.01)


@pytest.mark.parametrize(
    ("blank_one", "make"), [(SOUND, lambda: sheet_pages(SOUND)), (CROWDED, crowded_pages)], ids=["sound", "crowded"]
)
def test_every_row_has_room_for_a_pencil(blank_one, make):
    found = [(page, at, int(words)) for page, at, words in lefts_mm(make()) if words.isdigit()]
    assert [number for *_, number in found] == [s.number for s in blank_one.steps]
    for (page, at, _), (after, below, _) in itertools.pairwise(found):
        assert after > page or below - at >= LEAST_ROW_MM
    assert ROW_MM >= LEAST_ROW_MM


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_ink_reaches_the_margin_with_many_pieces_and_bands_and_any_name(paper):
    edge = 12.0
    for page in pypdfium2.PdfDocument(crowded_pages(paper)):
        inked = page.render(scale=2 * 25.4 / 72, grayscale=True).to_numpy() < 200
        dots = int(2 * edge)
        assert inked.any()
        assert not inked[:, :dots].any()
        assert not inked[:, -dots:].any()


def test_names_are_literal():
    words = said_by_the_other(crowded_pages())
    for name in (HOSTILE[0], HOSTILE[1], HOSTILE[9]):
        assert bare(printable(visible(name[:70]))) in words


def test_a_sheet_counts_its_pages_and_carries_its_fonts():
    content = crowded_pages()
    reader = pypdf.PdfReader(io.BytesIO(content))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert f"page2of{len(reader.pages)}" in bare(reader.pages[1].extract_text())
    assert "no. band meter path" in reader.pages[1].extract_text()
    assert all(fonts(content).values())


def test_cautions_and_scales_stand_before_the_first_step():
    words = said(sheet_pages(SOUND, on=date(2026, 4, 2)))
    first = words.index(bare("1 14.2 MHz desk meter"))
    for text in [*cautions(SOUND.bench), *directions(SOUND), "0.1 W", "1.8 MHz to 470 MHz", "2026-04-02"]:
        assert words.index(bare(text)) < first, text


def test_cautions_name_the_power_and_never_promise():
    said_of = " ".join(cautions(SOUND.bench))
    assert "10 W" in said_of
    assert not re.search(r"\b(is|are) safe\b", said(sheet_pages(SOUND)))


def test_what_is_not_on_the_sheet_is_said():
    assert "Not on this sheet: card meter on 21.2 MHz, outside its rated band." in directions(SOUND)


def test_the_same_sheet_makes_the_same_bytes():
    assert sheet_pages(SOUND, on=date(2026, 4, 2)) == sheet_pages(SOUND, on=date(2026, 4, 2))
    assert sheet_pages(SOUND) != sheet_pages(SOUND, on=date(2026, 4, 2))


def test_lengths_are_in_feet_where_asked_for():
    assert "23.6ft" in said(sheet_pages(SOUND, manner=manner("en", lengths="ft")))


def test_an_unknown_paper_is_refused():
    with pytest.raises(UnknownNameError, match="must be one of a4, letter"):
        sheet_pages(SOUND, paper="foolscap")
