"""Tests from one end on a bench sheet."""

import pytest

from linewright.core.errors import InputError, SheetError
from linewright.files import read_bench_sheet_text

PIECE = """
[[piece]]
tag = "mast line"
line = "RG-213/U"
length = "25 m"
"""
OPEN = """
[[one_end]]
piece = "mast line"
far_end = "open"
frequency = "145 MHz"
swr = 2.9
"""


def test_a_sheet_may_hold_nothing_else():
    sheet = read_bench_sheet_text(PIECE + OPEN, {})
    (test,) = sheet.one_end
    assert (test.tag, test.length_m, test.readings[0].value) == ("mast line", 25.0, 2.9)
    assert not sheet.meters


def test_a_file_of_them_stands_beside_the_sheet():
    rows = "piece,frequency,far_end,swr\nmast line,145 MHz,short,3.1\nmast line,50 MHz,antenna,over 9\n"
    sheet = read_bench_sheet_text(PIECE + '[one_end]\nfile = "mast.csv"\n', {"mast.csv": rows})
    assert [r.far_end for r in sheet.one_end[0].readings] == ["short", "antenna"]


def test_the_analyser_is_told_to_every_test():
    sheet = read_bench_sheet_text(PIECE + OPEN + '[analyser]\ndirectivity = "38 dB"\nswr = 1.1\n', {})
    assert (sheet.one_end[0].directivity_db, sheet.one_end[0].source_swr) == (38.0, 1.1)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        (OPEN.replace("mast line", "mast lime"), "mast line"),
        (OPEN.replace("2.9", "0.9"), "at least 1"),
        (OPEN.replace('"open"', '"load:1"'), "reflects"),
        (OPEN.replace('"open"', '"aerial"'), "far_end must be open, short"),
        (OPEN.replace("145 MHz", "145"), "needs a unit"),
        (OPEN + 'return_loss = "3 dB"\n', "one of swr, return_loss, resistance"),
        ('[one_end]\nfile = "gone.csv"\n', "gone.csv"),
    ],
)
def test_what_is_wrong_is_said_with_its_cure(written, said):
    with pytest.raises(InputError, match=said):
        read_bench_sheet_text(PIECE + written, {})


def test_problems_here_and_elsewhere_come_together():
    with pytest.raises(SheetError) as caught:
        read_bench_sheet_text(PIECE.replace("25 m", "25") + OPEN.replace("2.9", "0.9"), {})
    assert len(caught.value.problems) == 2


def test_without_meter_or_test_there_is_nothing_to_judge():
    with pytest.raises(InputError, match="at least one"):
        read_bench_sheet_text(PIECE, {})


def test_a_slip_in_its_name_is_put_right_even_where_no_such_table_stands():
    with pytest.raises(SheetError) as caught:
        read_bench_sheet_text(PIECE + OPEN.replace("one_end", "one_ends"), {})
    assert ("one_ends", 'Did you mean "one_end"?') in [(p.argument, p.cure) for p in caught.value.problems]
