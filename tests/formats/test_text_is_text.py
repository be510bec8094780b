"""What a person typed stays text: no formula to a spreadsheet, and no message longer than it need be."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import Culprit, InputError
from linewright.core.quantities import frequency_hz
from linewright.files import fields, tables
from linewright.files.tables import FORMULA, SourceText, csv_rows, no_formula, with_formula
from linewright.verbs.shelf_nouns import csv_text

SIGNS = st.text(alphabet="'=+-@\t\r1.5 dBmx(", max_size=12)


@given(SIGNS)
def test_a_cell_comes_back_as_it_went_out(cell):
    assert with_formula(no_formula(cell)) == cell


@pytest.mark.parametrize("cell", ['=HYPERLINK("http://x")', "+cmd|' /C calc'!A0", "-2+3", "@SUM(1)", "\t=1", "'=1"])
def test_a_formula_goes_out_as_text(cell):
    out = no_formula(cell)
    assert out[0] == "'"
    assert FORMULA.match(out)


@pytest.mark.parametrize("cell", ["-3.2", "-3.2 dBm", "+10 dB", "-1e-3", "blue 7", "", "'tis"])
def test_a_number_or_a_name_goes_out_as_it_is(cell):
    assert no_formula(cell) == cell


def test_a_sheet_with_formulas_for_names_comes_back_from_csv():
    rows = [{"meter": "=1+1", "reading": "-3 dBm"}, {"meter": "'=x", "reading": "@b"}]
    text = csv_text(("meter", "reading"), rows)
    assert '"\'=1+1"' in text
    assert [cells for _, cells in csv_rows(SourceText("a.csv", text), ("meter", "reading"), ())] == rows


@pytest.mark.parametrize("made", [str, lambda text: repr([text]), " ".join])
def test_a_message_repeats_no_more_than_eighty_characters(made):
    error = InputError("swr", f"must be a number; got {made('x' * 20_000)!r}", cure=f"Not {'y' * 300}.")
    assert str(error).count("x") <= 80
    assert str(error).count("y") <= 80


def test_a_message_shows_the_signs_that_no_terminal_shows_in_the_name_of_a_file_too():
    made = InputError("export", "is missing", where=Culprit("stocks.t\x7fml\n of all.zip"))
    assert str(made) == r"export is missing (stocks.t\x7fml\n of all.zip)."
    assert made.where.file == "stocks.t\x7fml\n of all.zip"


def test_a_long_quantity_is_not_repeated_whole():
    with pytest.raises(InputError) as told:
        frequency_hz("14" * 10_000 + " furlongs")
    assert len(str(told.value)) < 600


def problems_of(text):
    source = SourceText("spring.csv", text)
    list(csv_rows(source, ("meter", "reading"), ("note",)))
    return [str(p) for p in source.problems]


@pytest.mark.parametrize("sign", ["\x07", "\x1b", "\x7f", "\x9b", "\u202e", "\u2066"])
def test_a_control_character_is_refused_with_its_place_and_cure(sign):
    (said,) = problems_of(f"meter,reading\ndesk meter,8.2\nde{sign}sk meter,8.1\n")
    assert said == (
        f"row must hold no control character; U+{ord(sign):04X} is its character 3 (row 3 of spring.csv). "
        "Take it out, or type the line anew."
    )
    with pytest.raises(InputError, match=f"U\\+{ord(sign):04X} is its character 5"):
        fields.text(f"blue{sign}7", "tag")


@pytest.mark.parametrize(
    ("text", "limit"),
    [
        ("meter,reading\n" + "a,1\n" * 50_001, "at most 50,000 rows; got 50,002"),
        (",".join(["a"] * 65) + "\n", "at most 64 columns; got 65"),
        ("meter,reading\n" + "a" * 10_000_001, "at most 10,000,000 characters"),
    ],
)
def test_a_csv_file_has_a_budget_and_its_limit_is_named(text, limit):
    (said,) = problems_of(text)
    assert limit in said
    assert "spring.csv" in said


def test_the_page_on_files_names_the_limits():
    page = (Path(__file__).parents[2] / "docs" / "reference" / "files.md").read_text(encoding="utf-8")
    for most in (tables.MAX_ROWS, tables.MAX_COLUMNS, tables.MAX_CHARACTERS, tables.MOST_BYTES // 1_000_000):
        assert f"{most:,}" in page


def test_of_a_file_that_is_wrong_throughout_only_the_first_rows_are_read():
    taken = csv_rows(source := SourceText("spring.csv", "meter,reading\n" + "a\n" * 49_000), ("meter", "reading"), ())
    assert list(taken) == []
    assert len(source.problems) == 101
