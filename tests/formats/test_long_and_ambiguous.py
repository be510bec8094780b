"""Sheets that are long, and cells that could be read in two ways."""

from __future__ import annotations

import pytest

from linewright.core.errors import InputError
from linewright.files import read_bench_sheet_text

METER = '[[meter]]\nname = "desk"\n[[piece]]\ntag = "blue 7"\nlength = "7.2 m"\n'
SHEET = METER + '[readings]\nfile = "r.csv"\n'
HEAD = "meter,frequency,path,reading,note\n"


def wrong(rows: str, sheet: str = SHEET, **files: str) -> InputError:
    with pytest.raises(InputError) as caught:
        read_bench_sheet_text(sheet, {"r.csv": rows, **files})
    return caught.value


def test_ten_thousand_readings_in_tables_keep_their_rows() -> None:
    table = '[[reading]]\nmeter = "desk"\nfrequency = "14 MHz"\npath = "blue 7"\nreading = 9.8\n'
    sheet = read_bench_sheet_text(METER + 10_000 * table, {})
    assert [sheet.readings[0].row, sheet.readings[-1].row] == [6, 6 + 5 * 9_999]


def test_a_quote_left_open_never_swallows_the_rows_after_it() -> None:
    error = wrong(HEAD + 'desk,14 MHz,reference,9.8,"oops\ndesk,14 MHz,blue 7,8.2,\n')
    assert error.where.row == 2
    assert "quote" in error.cure


def test_a_quote_in_a_comment_opens_nothing() -> None:
    sheet = read_bench_sheet_text(SHEET, {"r.csv": HEAD + '# warm, "sunny\ndesk,14 MHz,blue 7,8.2,\n'})
    assert [r.row for r in sheet.readings] == [3]


@pytest.mark.parametrize("cell", ["1,234", "-1,234", "999,000"])
def test_a_comma_that_may_group_thousands_is_refused(cell: str) -> None:
    error = wrong(f"meter;frequency;path;reading\ndesk;14 MHz;blue 7;{cell}\n")
    assert "may mean" in error.rule
    assert error.where.row == 2


@pytest.mark.parametrize(("cell", "value"), [("0,125", 0.125), ("4,3", 4.3), ("12,25", 12.25)])
def test_a_comma_that_can_only_be_decimal_is_one(cell: str, value: float) -> None:
    sheet = read_bench_sheet_text(SHEET, {"r.csv": f"meter;frequency;path;reading\ndesk;14 MHz;blue 7;{cell}\n"})
    assert sheet.readings[0].reading == value


def test_own_types_come_from_the_given_texts_too() -> None:
    own = '[[line]]\nname = "drum"\npoints = [["10 MHz", "1.5 dB/100m"], ["100 MHz", "5.1 dB/100m"]]\n'
    sheet = read_bench_sheet_text(
        'lines = "own.toml"\n' + SHEET.replace('"7.2 m"', '"7.2 m"\nline = "drum"'), {"r.csv": HEAD, "own.toml": own}
    )
    assert sheet.pieces[0].line is not None
    assert sheet.pieces[0].line.designator == "drum"


def test_every_error_in_a_file_of_own_types_is_reported() -> None:
    own = '[[line]]\nname = "a"\npoints = 3\n[[line]]\nname = "b"\npoints = 4\n'
    error = wrong("meter\n", 'lines = "own.toml"\n' + SHEET, **{"own.toml": own})
    rows = [(p.where.file, p.where.row) for p in getattr(error, "problems", ())]
    assert rows[:2] == [("own.toml", 3), ("own.toml", 6)]


def test_the_reference_is_joined_to_nothing() -> None:
    assert "must not join the reference" in wrong(HEAD + "desk,14 MHz,reference+blue 7,9,\n").rule
