"""Files that cannot be meant: each is refused with what is wrong, the row and, where there is one, the cure."""

from __future__ import annotations

import os
import tracemalloc

import pytest

from linewright.core.errors import InputError, SheetError
from linewright.files import touchstone_rows
from linewright.files.touchstone import LONGEST_LINE, MOST_LINES, read_touchstone, read_touchstone_text

ONE = "# GHz S RI R 50\n"
TWO_ROW = "1 0.1 0 0.2 0 0.2 0 0.1 0"
V2 = "[Version] 2.0\n# GHz S RI R 50\n"
PORTS = V2 + "[Number of Ports] 2\n[Two-Port Data Order] 21_12\n"

#: name, content, what the error says, its row, a piece of its cure
REFUSED = [
    # Nothing there
    ("x.s1p", "", "touchstone file is empty", None, "Save the sweep again"),
    ("x.s1p", " \n\n", "touchstone file is empty", None, "Save the sweep again"),
    ("x.s1p", "! nothing\n", "option line is missing", None, "option_line"),
    ("x.s1p", ONE, "holds no numbers", None, "Save it again"),
    ("x.s1p", ONE + "! nothing\n\n", "holds no numbers", None, ""),
    ("x.s1p", b"#\0", "zero bytes", None, ""),
    ("x.s1p", (ONE + "1 0 0").encode("utf-16"), "zero bytes", None, ""),
    # Option line
    ("x.s1p", "1 0.5 0\n", "option line is missing", None, "not assumed"),
    ("x.s1p", "# THz S RI R 50\n1 0 0", "means nothing: 'thz'", 1, "# GHz S RI R 50"),
    ("x.s1p", "# a note\n# another\n1 0 0", "means nothing: 'a'", 1, ""),
    ("x.s1p", "# GHz S RI MA\n1 0 0", "says its layout twice", 1, "Drop one"),
    ("x.s1p", "# GHz MHz\n1 0 0", "says its unit twice", 1, "Drop one"),
    ("x.s1p", "# GHz S RI R\n1 0 0", "without a number", 1, "R 50"),
    ("x.s1p", "# GHz S RI R fifty\n1 0 0", "without a number", 1, "R 50"),
    ("x.s1p", "# GHz S RI R 0\n1 0 0", "above 0 ohm; got 0", 1, "R 50"),
    ("x.s1p", "# GHz S RI R -50\n1 0 0", "above 0 ohm; got -50", 1, ""),
    ("x.s1p", "# GHz S RI R 1e999\n1 0 0", "above 0 ohm", 1, ""),
    ("x.s1p", "# GHz S RI R nan\n1 0 0", "without a number", 1, ""),
    ("x.s1p", "# GHz S RI R (0+5j)\n1 0 0", "above 0 ohm", 1, ""),
    ("x.s1p", "# GHz S RI R 5e-e\n1 0 0", "no number", 1, ""),
    ("x.s2p", "# GHz S RI R 50 75 50\n" + TWO_ROW, "one for each of 2 ports; got 3", 1, ""),
    ("x.s1p", "# a note\n" * 1002 + ONE + "1 0 0", "more than 1,000 lines that start with #", 1002, "start with !"),
    # Frequencies
    ("x.s1p", "# GHz S RI R 50\n144e6 0 0\n145e6 0 0", "cannot be meant: in GHz", 2, "Hz would make sense"),
    ("x.s1p", "# Hz S RI R 50\n0.1 0 0\n0.5 0 0", "cannot be meant: in Hz", 2, "MHz or GHz"),
    ("x.s1p", "# Hz S RI R 50\n0 0 0", "cannot be meant", 2, "Check the option line"),
    ("x.s1p", ONE + "1 0 0\n3 0 0\n2 0 0", "must rise", 4, "Sort"),
    ("x.s2p", ONE + "2" + TWO_ROW[1:] + "\n" + TWO_ROW, "must rise", 3, "Sort"),
    ("x.s1p", ONE + "-1 0 0\n2 0 0", "below 0 Hz", 2, "Drop"),
    ("x.s1p", ONE + "1 0 0\n1e999 0 0", "must be finite and not below 0 Hz; got inf", 3, "Drop"),
    ("x.s1p", ONE + "1 0 0\n2 0 0\n2 0.5 0", "stands twice, with other data", 4, "Keep one"),
    # Numbers
    ("x.s1p", ONE + "1 0 nan", "'nan', which no analyser measures", 2, "Drop the row"),
    ("x.s1p", ONE + "1 -inf 0", "'-inf', which no analyser measures", 2, ""),
    ("x.s1p", ONE + "1 1e999 0", "not finite", 2, ""),
    ("x.s1p", ONE + "1 1e300 0", "above 120 dB", 2, "option line"),
    ("x.s1p", "# GHz S DB\n1 99999 0", "not finite", 2, "option line"),
    ("x.s1p", "# GHz S MA\n1 -0.5 0.1", "magnitude below 0", 2, "RI or DB"),
    ("x.s1p", ONE + "1,0 0,5 0,1", "comma or semicolon: '1,0'", 2, "decimal point"),
    ("x.s1p", ONE + "1;0.5;0.1", "comma or semicolon", 2, ""),
    ("x.s1p", ONE + "1 0.5 0.1 a note", "numbers only; got 'a'", 2, "!"),
    ("x.s1p", ONE + "1 0.5 --1", "numbers only; got '--1'", 2, ""),
    ("x.s1p", ONE + "1 0.5 1_0", "numbers only; got '1_0'", 2, ""),
    ("x.s1p", ONE + "1 0.5 ١", "numbers only", 2, ""),
    ("x.s1p", ONE + "1 0.5 −1", "numbers only", 2, ""),
    ("x.s1p", ONE + "1 0.5 1D-3", "numbers only; got '1D-3'", 2, ""),
    # Counts
    ("x.s1p", ONE + "1 0.5", "begins the data with 2 numbers", 2, "frequency"),
    ("x.s1p", ONE + "1 0.5 0\n2 0.5", "begins a point of 5 numbers where 3 are due", 2, "cut short"),
    ("x.s2p", ONE + TWO_ROW + "\n2 0 0 0 0 0 0", "of 7 numbers where 9 are due", 3, "cut short"),
    ("x.s2p", ONE + TWO_ROW + "\n2 0 0 0 0", "of 5 numbers where 9 are due", 3, "cut short"),
    ("x.s2p", ONE + "1 0 0 0 0", "of 5 numbers where 9 are due", 2, ""),
    ("x.s2p", ONE + "1 0 0\n2 0 0", "of 3 numbers where 9 are due", 2, ".s1p"),
    ("x.s1p", ONE + TWO_ROW, "of 9 numbers where 3 are due", 2, ".s2p"),
    ("x.s1p", ONE + "1\n2\n", "of 1 numbers where 3 are due", 2, "cut short"),
    ("x.s3p", ONE + TWO_ROW, "of 9 numbers where 19 are due", 2, ".s2p"),
    ("x.s2p", ONE + TWO_ROW + "\n0.5 1 0.2 30 0.1\n0.6 1 0.2", "of 3 numbers where 5 are due", 4, ""),
    ("x.s0p", ONE + TWO_ROW, "1 to 32 ports; got 0", None, ""),
    ("x.s99999p", ONE + TWO_ROW, "1 to 32 ports; got 99999", None, ""),
    ("x.s2p", ONE + "1 0.1 0 0.3 0\n0.2 0 0.4 0", "order of S21 and S12", 2, "one row"),
    # Parameters
    ("x.s1p", "# GHz H RI\n1 0 0", "belong to two ports; the file has 1", 1, ""),
    ("x.s1p", "# GHz Z RI R (50+5j)\n1 0 0", "real references", 1, "S parameters"),
    ("x.s1p", "# GHz Z RI\n1 -1 0", "not finite", 2, ""),
    # Version 2
    ("x.ts", "[Version] 2.0\n[Number of Ports] 1\n[Network Data]\n1 0 0\n[End]", "option line is missing", None, ""),
    ("x.ts", "[Version] 3.0\n#\n", "must be 2.0 or 2.1; got '3.0'", 1, ""),
    ("x.ts", "#\n[Version] 2.0\n", "out of place", 2, ""),
    ("x.ts", "#\n[Number of Ports] 1\n", "needs [Version] 2.0", 2, "first line"),
    ("x.ts", V2 + "[Number of Prots] 1\n", "no keyword of the standard", 3, "number of ports"),
    ("x.ts", V2 + "[Number of Ports\n", "no keyword of the standard", 3, ""),
    ("x.ts", V2 + "[Number of Ports] 0\n", "above 0; got '0'", 3, ""),
    ("x.ts", V2 + "[Number of Ports] 1.5\n", "whole number", 3, ""),
    ("x.ts", V2 + "[Number of Ports] 1\n[Number of Ports] 1\n", "stands twice, in row 3 too", 4, "Drop"),
    ("x.ts", V2 + "[Number of Ports] 1\n", "[network data] is missing", None, ""),
    ("x.ts", V2 + "[Network Data]\n1 0 0\n[End]", "[number of ports] is missing", None, ""),
    ("x.ts", V2 + "[Number of Ports] 2\n[Network Data]\n" + TWO_ROW, "[two-port data order] is missing", None, "21_12"),
    ("x.ts", V2 + "[Number of Ports] 2\n[Two-Port Data Order] 11_22\n", "21_12 or 12_21", 4, ""),
    ("x.ts", V2 + "[Number of Ports] 2\n[Matrix Format] Round\n", "full or lower or upper", 4, ""),
    ("x.ts", PORTS + "[Number of Frequencies] 2\n[Network Data]\n" + TWO_ROW + "\n[End]", "says 2, but", 5, "cut"),
    ("x.ts", PORTS + "[Reference]\n[Network Data]\n" + TWO_ROW, "one number per port", 5, "ohms"),
    ("x.ts", PORTS + "[Reference] 50\n", "[network data] is missing", None, ""),
    ("x.ts", PORTS + "[Reference] 50 x\n", "one number per port", 5, ""),
    ("x.ts", PORTS + "[Reference] 50 -1\n", "above 0 ohm", 5, ""),
    ("x.ts", PORTS + "[Reference] 50 60 70\n[Network Data]\n" + TWO_ROW, "got 3", 5, ""),
    ("x.ts", PORTS + "[Mixed-Mode Order] D1,2 C1,2\n", "pairs of ports", 5, "single-ended"),
    ("x.ts", PORTS + "[Begin Information]\nwords\n", "no [End Information]", 5, "Close"),
    ("x.ts", PORTS + "[End]\n", "out of place", 5, ""),
    ("x.ts", PORTS + "1 0 0\n", "[network data] is missing", None, ""),
    ("x.ts", PORTS + "[Network Data]\n[End]", "holds no numbers", None, ""),
    ("x.s4p", PORTS + "[Network Data]\n" + TWO_ROW, "says 2 where the file's ending says 4", 3, "Rename"),
    ("x.ts", PORTS + "[Network Data]\n" + TWO_ROW + "\n[Noise Data]\n1 1 1\n[End]", "of 3 numbers where 5", 8, ""),
    ("x.ts", PORTS + "[Number of Noise Frequencies] 2\n[Network Data]\n" + TWO_ROW + "\n[Noise Data]\n1 1 1 1 1\n[End]",
     "says 2, but the file holds 1", 5, ""),
    ("x.ts", V2 + "[Number of Ports] 1\n[Network Data]\n1 0 0\n[Noise Data]\n1 1 1 1 1\n[End]", "belong to two", 6, ""),
]  # fmt: skip


@pytest.mark.parametrize(("name", "content", "rule", "row", "cure"), REFUSED)
def test_is_refused(name, content, rule, row, cure):
    with pytest.raises(InputError) as caught:
        read_touchstone_text(content, name)
    error = caught.value
    assert rule in str(error)
    assert error.where.row == row
    assert error.where.file == name
    assert cure in error.cure


def test_all_culprits_are_named_at_once():
    with pytest.raises(SheetError) as caught:
        read_touchstone_text(ONE + "1 0 0\n2 1e9 0\n3 0 0\n4 1e9 0", "x.s1p")
    assert [problem.where.row for problem in caught.value.problems] == [3, 5]


def test_a_bad_option_line_that_is_given_is_refused():
    with pytest.raises(InputError, match="means nothing: 'furlong'"):
        read_touchstone_text("1 0 0", "x.s1p", option_line="# furlong")


@pytest.mark.parametrize("ports", [0, -1, 33, 10**9])
def test_an_absurd_number_of_ports_is_refused_before_anything_is_read(ports):
    with pytest.raises(InputError, match="1 to 32 ports"):
        read_touchstone_text(ONE + TWO_ROW, "x.s2p", ports=ports)
    if ports > 0:
        with pytest.raises(InputError, match=r"1 to 32 ports|whole number"):
            read_touchstone_text(f"{V2}[Number of Ports] {ports}\n[Network Data]\n1 0 0\n", "x.ts")


# Sizes


def refused_within(content, most_bytes, match):
    """The content is refused, and memory stays below a bound while it is."""
    tracemalloc.start()
    try:
        with pytest.raises(InputError, match=match):
            read_touchstone_text(content, "x.s1p")
        assert tracemalloc.get_traced_memory()[1] < most_bytes
    finally:
        tracemalloc.stop()


def test_too_many_rows_are_refused_before_they_are_taken_apart():
    refused_within("\n" * (MOST_LINES + 1), 10e6, "rows")


def test_a_row_without_end_is_refused_before_it_is_taken_apart():
    refused_within(ONE + "1 " * LONGEST_LINE, 10e6, "a row of more than")


def test_too_many_points_are_refused(monkeypatch):
    monkeypatch.setattr(touchstone_rows, "MOST_POINTS", 2)
    with pytest.raises(InputError, match="at most 2 points; this one has 3") as caught:
        read_touchstone_text(ONE + "1 0 0\n2 0 0\n3 0 0", "x.s1p")
    assert "every second" in caught.value.cure


def test_too_many_numbers_are_refused(monkeypatch):
    monkeypatch.setattr(touchstone_rows, "MOST_NUMBERS", 5)
    with pytest.raises(InputError, match="at most 5 numbers; this one has 6"):
        read_touchstone_text(ONE + "1 0 0\n2 0 0", "x.s1p")


def test_200_000_points_are_read():
    rows = "\n".join(f"{k} 0.5 0" for k in range(1, 200_001))
    assert read_touchstone_text("# MHz S RI\n" + rows, "x.s1p").frequency_hz.size == 200_000
    with pytest.raises(InputError, match=r"at most 200,000 points; this one has 200,001"):
        read_touchstone_text("# MHz S RI\n" + rows + "\n200001 0.5 0", "x.s1p")


# Paths


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(InputError, match="No such file") as caught:
        read_touchstone(tmp_path / "drum.s2p")
    assert caught.value.where.file == str(tmp_path / "drum.s2p")


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(InputError, match="directory"):
        read_touchstone(tmp_path)


def test_a_device_without_end_is_not_read():
    if not os.path.exists("/dev/zero"):  # noqa: PTH110
        pytest.skip("no such device here")
    with pytest.raises(InputError, match="plain file"):
        read_touchstone("/dev/zero")


def test_a_pipe_is_not_waited_for(tmp_path):
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes here")
    os.mkfifo(tmp_path / "x.s1p")
    with pytest.raises(InputError, match="plain file"):
        read_touchstone(tmp_path / "x.s1p")


def test_a_path_that_cannot_be_is_refused():
    with pytest.raises(InputError, match="file that can be read"):
        read_touchstone("a\0b.s1p")
