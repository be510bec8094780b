"""Near-end readings from files: what is taken, and what is refused with its row."""

from __future__ import annotations

import contextlib
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError, SheetError
from linewright.core.nouns.one_end import OneEndReading
from linewright.files.one_end import far_end, one_end_in_csv, one_end_in_tables, read_one_end, read_one_end_text, shown
from linewright.files.tables import SourceText, TomlTable

HEAD = "frequency,far_end,swr,return_loss,resistance,direct,step,piece,note\n"


def csv(*rows: str) -> tuple[OneEndReading, ...]:
    return read_one_end_text(HEAD + "\n".join(rows) + "\n", "roof.csv")


def wrong(row: str) -> InputError:
    with pytest.raises(InputError) as caught:
        csv("144 MHz,open,7.1", row)
    assert (caught.value.where.file, caught.value.where.row) == ("roof.csv", 3)
    return caught.value


def test_every_kind_of_reading_is_taken():
    found = csv(
        "144 MHz,open,7.10,,,,,blue 7,dry day",
        "144 MHz,short,,1.9 dB,,,0.2 dB",
        "50 MHz,load:3,2.4,,,3.1,0.1",
        "14.2 MHz,short,,,5.7 ohm",
        "160 MHz,antenna,12.5",
        "7 MHz,open,inf",
        "7 MHz,short,over 20",
        '3.6 MHz,open,"6,5"',
    )
    assert found == (
        OneEndReading(2, "open", 144e6, "swr", 7.1, 0.01, piece="blue 7", note="dry day"),
        OneEndReading(3, "short", 144e6, "return_loss_db", 1.9, 0.2),
        OneEndReading(4, "load", 50e6, "swr", 2.4, 0.1, load_swr=3.0, direct=3.1, direct_step=0.1),
        OneEndReading(5, "short", 14.2e6, "resistance_ohm", 5.7, 0.1),
        OneEndReading(6, "antenna", 160e6, "swr", 12.5, 0.1),
        OneEndReading(7, "open", 7e6, "swr", inf),
        OneEndReading(8, "short", 7e6, "swr", 20.0, 1.0, "above"),
        OneEndReading(9, "open", 3.6e6, "swr", 6.5, 0.1),
    )


@pytest.mark.parametrize(
    ("row", "argument", "said"),
    [
        ("144,open,7.1", "frequency", "unit"),
        ("144 MHz,opened,7.1", "far_end", "open, short"),
        ("144 MHz,open", "reading", "none"),
        ("144 MHz,open,7.1,1.9 dB", "reading", "swr and return_loss"),
        ("144 MHz,open,0.8", "swr", "at least 1"),
        ("144 MHz,open,1.9 dB", "swr", "written as 7.1"),
        ("144 MHz,open,,1.9", "return_loss", "written as 1.9 dB"),
        ("144 MHz,open,,-1.9 dB", "return_loss", "at least 0"),
        ("144 MHz,load:1,2", "far_end", "reflects"),
        ("144 MHz,load:x,2", "far_end", "number"),
        ("144 MHz,open,3,,,2", "direct", "load"),
        ("144 MHz,load,3,,,inf", "direct", "figure"),
        ("144 MHz,load,3,,,0.2", "direct", "at least 1"),
        ("144 MHz,open,3,,,,0.1 dB", "step", "own unit"),
        ("144 MHz,open,many", "swr", "not a reading"),
    ],
)
def test_what_is_wrong_is_said_with_row_and_cure(row, argument, said):
    error = wrong(row)
    assert error.argument == argument
    assert said in str(error)


def test_all_problems_are_said_at_once():
    with pytest.raises(SheetError) as caught:
        csv("144,open,7.1", "144 MHz,open,0.5")
    assert [p.where.row for p in caught.value.problems] == [2, 3]


def test_a_file_without_readings_says_so(tmp_path):
    (tmp_path / "empty.csv").write_text(HEAD)
    with pytest.raises(InputError, match="holds no reading"):
        read_one_end(tmp_path / "empty.csv")


def test_tables_of_a_sheet_name_their_pieces():
    text = """\
[[one_end]]
piece = "blue 7"
far_end = "open"
frequency = "144 MHz"
swr = 7.1
step = 0.2
[[one_end]]
piece = "blue 8"
far_end = "load:3"
frequency = "50 MHz"
return_loss = "8.0 dB"
"""
    source = SourceText("sheet.toml", text)
    found = one_end_in_tables(TomlTable(source, "", source.parsed()).tables("one_end"), {"blue 7"})
    assert found == [OneEndReading(1, "open", 144e6, "swr", 7.1, 0.2, piece="blue 7")]
    (problem,) = source.problems
    assert (problem.argument, problem.where.row, problem.cure) == ("piece", 7, 'Did you mean "blue 7"?')


def test_rows_of_a_sheet_must_name_a_piece():
    source = SourceText("r.csv", "frequency,far_end,swr\n144 MHz,open,7\n")
    assert one_end_in_csv(source, {"blue 7"}) == []
    assert "piece" in str(source.problems[0])


@given(st.text(max_size=20))
def test_any_text_is_a_reading_or_a_clear_error(text):
    for read in (shown, far_end):
        with contextlib.suppress(InputError):
            read(text, "cell")
