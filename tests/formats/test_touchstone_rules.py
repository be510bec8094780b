"""The rules of the Touchstone specification, one claim a test; versions 1.1 and 2.0 as the section names say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skrf.io.touchstone import Touchstone
from skrf.network import s2y, s2z

from linewright.core.errors import InputError
from linewright.files.touchstone import read_touchstone_text
from published.reader import agrees, checks, label

ROW = "1 0.1 0.2 0.3 0.4 0.5 0.6 0.7 0.8"
"""A two-port's point that tells its columns apart."""


def read(text, name="x.s2p", **more):
    return read_touchstone_text(text, name, **more)


def cell(sweep, which):
    return sweep.s[0, int(which[1]) - 1, int(which[2]) - 1]


def impedance(sweep):
    """Textbook: Z = R (1 + S)/(1 - S)."""
    return sweep.reference_ohm[0] * (1 + sweep.reflection[0]) / (1 - sweep.reflection[0])


def hybrid(s, ohm):
    """Hybrid parameters from S (D. A. Frickey, IEEE Trans. MTT 42, 1994, for a real reference; from memory)."""
    s11, s12, s21, s22 = s[:, 0, 0], s[:, 0, 1], s[:, 1, 0], s[:, 1, 1]
    below = (1 - s11) * (1 + s22) + s12 * s21
    h11 = ohm * ((1 + s11) * (1 + s22) - s12 * s21) / below
    h22 = ((1 - s11) * (1 - s22) - s12 * s21) / ohm / below
    return np.stack([np.stack([h11, 2 * s12 / below], -1), np.stack([-2 * s21 / below, h22], -1)], -2)


def value(function, sweep):
    which, _, part = function.partition("_")
    if function == "points":
        return len(sweep.frequency_hz)
    if function == "frequency_mhz":
        return sweep.frequency_hz[0] / 1e6
    if which == "z11":
        return getattr(impedance(sweep), part)
    if which[0] == "h":
        return abs(hybrid(sweep.s, sweep.reference_ohm[0].real)[0, int(which[1]) - 1, int(which[2]) - 1])
    return getattr(cell(sweep, which), part)


@pytest.mark.parametrize("check", checks("touchstone"), ids=label)
def test_agrees_with_the_examples_of_the_specification(check):
    sweep = read(check["inputs"]["text"], check["inputs"]["file"])
    assert agrees(value(check["function"], sweep), check)


# Version 1.1: general syntax


@pytest.mark.parametrize(
    "text",
    [
        "# GHz S RI R 50\n" + ROW,
        "\ufeff# GHz S RI R 50\n" + ROW,
        "# ghz s ri r 50\r\n" + ROW + "\r\n",
        "# GHz S RI R 50\r" + ROW + "\r",
        "\t#\tGHz\tS\tRI\tR\t50\n" + ROW.replace(" ", "\t"),
        "! before\n\n# GHz S RI R 50 ! beside\n! between\n" + ROW + "!beside\n\n! after",
        "# GHz S RI R 50\n" + ROW.replace("0.", "+0."),
        "# GHz S RI R 50\n" + ROW + "\n\x1a",
    ],
    ids=["LF", "BOM", "CRLF and lower case", "CR", "tabs", "comments", "signs", "end mark"],
)
def test_every_way_to_write_the_same_file_reads_the_same(text):
    sweep = read(text)
    assert sweep.frequency_hz.tolist() == [1e9]
    assert sweep.s.tolist() == [[[0.1 + 0.2j, 0.5 + 0.6j], [0.3 + 0.4j, 0.7 + 0.8j]]]
    assert sweep.reference_ohm.tolist() == [50, 50]
    assert sweep.remarks == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "cp1252"])
def test_comments_may_be_in_any_encoding(encoding):
    text = "! mesuré à 50 °C\n# GHz S RI R 50\n" + ROW
    sweep = read(text.encode(encoding))
    assert sweep.s.tolist() == read("# GHz S RI R 50\n" + ROW).s.tolist()
    assert sweep.remarks == ()


# Version 1.1: option line


@pytest.mark.parametrize(("unit", "hertz"), [("Hz", 1), ("kHz", 1e3), ("MHz", 1e6), ("GHz", 1e9)])
def test_units(unit, hertz):
    assert read(f"# {unit} S RI R 50\n{1e9 / hertz!r} 0.5 0", "x.s1p").frequency_hz[0] == pytest.approx(1e9, rel=1e-15)


@pytest.mark.parametrize(
    "line", ["# R 75 MHz S RI", "# RI S MHz R 75", "# mhz r 75 ri", "# S R 75 RI MHZ", "# Ri MhZ s r 75.0"]
)
def test_options_stand_in_any_order(line):
    sweep = read(f"{line}\n100 0.5 0.25", "x.s1p")
    assert (sweep.frequency_hz[0], sweep.s[0, 0, 0], sweep.reference_ohm[0]) == (1e8, 0.5 + 0.25j, 75)


def test_what_an_option_line_leaves_out_is_GHz_S_MA_R_50():  # noqa: N802
    sweep = read("#\n1 0.5 90", "x.s1p")
    assert sweep.frequency_hz[0] == 1e9
    assert sweep.s[0, 0, 0] == pytest.approx(0.5j)
    assert sweep.reference_ohm[0] == 50


def test_layouts_agree():
    plain = read("# GHz S RI\n1 0 -0.1", "x.s1p").s
    assert read("# GHz S MA\n1 0.1 -90", "x.s1p").s == pytest.approx(plain)
    assert read("# GHz S DB\n1 -20 -90", "x.s1p").s == pytest.approx(plain)


def test_only_the_first_option_line_counts():
    sweep = read("# GHz S RI R 50\n# MHz S MA R 75\n" + ROW)
    assert (sweep.frequency_hz[0], sweep.reference_ohm[0]) == (1e9, 50)
    assert "row 2: a second option line is ignored" in sweep.remarks[0]


def test_an_option_line_after_the_data_begin_is_ignored():
    sweep = read("# GHz S RI R 50\n1 0.1 0\n# MHz\n2 0.2 0", "x.s1p")
    assert sweep.frequency_hz.tolist() == [1e9, 2e9]
    assert "row 3" in sweep.remarks[0]


def test_one_reference_for_each_port():
    assert read("# GHz S RI R 50 75\n" + ROW).reference_ohm.tolist() == [50, 75]


def test_a_hash_used_for_comments_is_passed_over_with_a_remark():
    sweep = read("# saved by the club's analyser\n# GHz S RI R 50\n" + ROW)
    assert sweep.s[0, 0, 0] == 0.1 + 0.2j
    assert "taken for a comment (row 1)" in sweep.remarks[0]


def test_a_complex_reference_stays_as_the_file_says():
    assert read("# GHz S RI R (10+10j)\n" + ROW).reference_ohm.tolist() == [10 + 10j, 10 + 10j]


def test_an_option_line_that_is_given_takes_the_place_of_a_missing_one():
    assert read(ROW, option_line="# GHz S RI R 50").s.tolist() == read("# GHz S RI R 50\n" + ROW).s.tolist()


def test_an_option_line_that_is_given_takes_the_place_of_a_wrong_one():
    sweep = read("# GHz S RI R 50\n1e9 0.5 0", "x.s1p", option_line="Hz S RI R 50")
    assert sweep.frequency_hz[0] == 1e9
    assert "the option line given is used, not the one in row 1" in sweep.remarks[0]


# Version 1.1: data


def test_three_ports_go_row_by_row():
    rows = "1 11 0 12 0 13 0\n 21 0 22 0 23 0\n 31 0 32 0 33 0"
    assert read("# GHz S RI\n" + rows, "x.s3p").s.real.tolist() == [[[11, 12, 13], [21, 22, 23], [31, 32, 33]]]


def test_five_ports_and_more_wrap_after_four_pairs():
    names = [[10.0 * i + j for j in range(1, 7)] for i in range(1, 7)]
    rows = []
    for row in names:
        pairs = [f"{v} 0" for v in row]
        rows += [" ".join(pairs[:4]), " ".join(pairs[4:])]
    text = "# GHz S RI\n1 " + "\n".join(rows) + "\n2 " + "\n".join(rows)
    assert read(text, "x.s6p").s.real.tolist() == [names, names]


def test_a_zero_frequency_is_kept_with_a_remark():
    sweep = read("# MHz S RI\n0 1 0\n1 0.9 0", "x.s1p")
    assert sweep.frequency_hz.tolist() == [0, 1e6]
    assert "0 Hz" in sweep.remarks[0]


def test_the_ports_are_told_by_the_ending_by_the_argument_or_by_the_first_point():
    for name, ports in (("x.s2p", None), ("x.dat", 2), ("x.dat", None), ("x.z2p", None)):
        assert read("# GHz S RI\n" + ROW, name, ports=ports).ports == 2


# Version 1.1: noise data


@pytest.mark.parametrize("lowest", ["4", "22"], ids=["below", "equal"])
def test_noise_data_are_set_aside(lowest):
    text = f"#\n2 {ROW[2:]}\n22 {ROW[2:]}\n{lowest} .7 .64 69 .38\n23 2.7 .46 -33 .40"
    sweep = read(text)
    assert sweep.frequency_hz.tolist() == [2e9, 22e9]
    assert sweep.remarks == ("noise data are set aside (points: 2)",)


# Parameters


RNG = np.random.default_rng(3)
S = 0.3 * (RNG.normal(size=(4, 2, 2)) + 1j * RNG.normal(size=(4, 2, 2)))
OHM = np.array([50.0, 75.0])


def file_of(parameter, values, version):
    """Write four points in the layout the specification gives; unequal references need version 1.1 or 2."""
    points = [" ".join(f"{v.real!r} {v.imag!r}" for v in map(complex, m.T.ravel())) for m in values]
    rows = [f"{k + 1} {point}" for k, point in enumerate(points)]
    if version == 1:
        return "\n".join([f"# GHz {parameter} RI R 50 75", *rows])
    head = f"[Version] 2.0\n# GHz {parameter} RI\n[Number of Ports] 2\n[Two-Port Data Order] 21_12"
    return "\n".join([head, "[Number of Frequencies] 4\n[Reference] 50 75\n[Network Data]", *rows, "[End]"])


def unnormalised(parameter):
    z = s2z(S, OHM)
    if parameter in "ZY":
        return z if parameter == "Z" else s2y(S, OHM)
    # Textbook: V1 = h11 I1 + h12 V2, I2 = h21 I1 + h22 V2; G is its inverse.
    h22 = 1 / z[:, 1, 1]
    h12, h21 = z[:, 0, 1] * h22, -z[:, 1, 0] * h22
    h11 = z[:, 0, 0] - z[:, 0, 1] * z[:, 1, 0] * h22
    h = np.stack([np.stack([h11, h12], -1), np.stack([h21, h22], -1)], -2)
    return h if parameter == "H" else np.linalg.inv(h)


@pytest.mark.parametrize("parameter", "ZYHG")
def test_version_2_has_parameters_in_ohms_and_siemens(parameter):
    assert read(file_of(parameter, unnormalised(parameter), 2), "x.ts").s == pytest.approx(S)


@pytest.mark.parametrize("parameter", "ZYHG")
def test_version_1_has_parameters_normalised_to_the_reference(parameter):
    r = np.sqrt(OHM)
    by = {
        "Z": 1 / np.outer(r, r),
        "Y": np.outer(r, r),
        "H": np.array([[1 / OHM[0], r[1] / r[0]], [r[1] / r[0], OHM[1]]]),
        "G": np.array([[OHM[0], r[0] / r[1]], [r[0] / r[1], 1 / OHM[1]]]),
    }[parameter]
    assert read(file_of(parameter, unnormalised(parameter) * by, 1), "x.s2p").s == pytest.approx(S)


@pytest.mark.parametrize(("parameter", "row"), [("H", "1 0 0 -1 0 1 0 0 0"), ("G", "1 0 0 1 0 -1 0 0 0")])
def test_a_through_has_hybrid_parameters_though_it_has_no_impedances(parameter, row):
    assert read(f"# GHz {parameter} RI R 50\n{row}").s == pytest.approx(np.array([[[0, 1], [1, 0]]]))


# Version 2


def version_2(*keywords, data="1 0.1 0 0.2 0 0.3 0 0.4 0", ports=2):
    return "\n".join(
        ["[Version] 2.0", "# GHz S RI R 50", f"[Number of Ports] {ports}", *keywords, "[Network Data]", data, "[End]"]
    )


@pytest.mark.parametrize(
    ("order", "expected"), [("21_12", [[0.1, 0.3], [0.2, 0.4]]), ("12_21", [[0.1, 0.2], [0.3, 0.4]])]
)
def test_both_orders_of_a_two_port(order, expected):
    text = version_2(f"[Two-Port Data Order] {order}", "[Number of Frequencies] 1")
    assert read(text, "x.ts").s.real.tolist() == [expected]


@pytest.mark.parametrize(
    ("matrix", "data"),
    [
        ("Full", "1 11 0 21 0 31 0\n21 0 22 0 32 0\n31 0 32 0 33 0"),
        ("Lower", "1 11 0\n21 0 22 0\n31 0 32 0 33 0"),
        ("Upper", "1 11 0 21 0 31 0\n22 0 32 0\n33 0"),
    ],
)
def test_triangles_are_mirrored(matrix, data):
    text = version_2(f"[Matrix Format] {matrix}", "[Number of Frequencies] 1", data=data, ports=3)
    assert read(text, "x.ts").s.real.tolist() == [[[11, 21, 31], [21, 22, 32], [31, 32, 33]]]


@pytest.mark.parametrize("matrix", ["Full", "Lower", "Upper"])
@pytest.mark.parametrize("ports", [1, 2, 3, 6])
def test_matrices_and_triangles_are_read_as_scikit_rf_reads_them(tmp_path, ports, matrix):
    """Points of random numbers; a triangle has its own order, whatever that of a two-port is."""
    count = ports * ports if matrix == "Full" else ports * (ports + 1) // 2
    rows = np.random.default_rng(ports).uniform(-0.3, 0.3, (5, 2 * count)).round(6)
    data = "\n".join(f"{i + 1} " + " ".join(map(str, row)) for i, row in enumerate(rows.tolist()))
    order = ["[Two-Port Data Order] 12_21"] if ports == 2 else []
    text = version_2(*order, "[Number of Frequencies] 5", f"[Matrix Format] {matrix}", data=data, ports=ports)
    path = tmp_path / "x.ts"
    path.write_text(text, encoding="ascii")
    other, sweep = Touchstone(str(path)), read(text, "x.ts")
    assert sweep.frequency_hz.tolist() == other.f.tolist()
    assert sweep.s.tolist() == other.s.tolist()


NUMBERS = st.one_of(
    st.floats(-1.0, 1.0).map(repr),
    st.floats(-1.0, 1.0).map("{:+.3e}".format),
    st.floats(-1.0, 1.0).map("{:.2E}".format),
    st.integers(-1, 1).map(str),
    st.sampled_from(["+.5", "-.25", "1.", "5e-1", "1.E+0", "-0", "0001", "1e-400", ".5e0"]),
)


@given(st.lists(NUMBERS, min_size=2, max_size=2), st.sampled_from([" ", "\t", "  \t ", "\f", "\v"]))
def test_every_way_of_writing_a_number_means_what_it_means_in_python(words, between):
    sweep = read(between.join(["# MHz S RI\n7", *words]), "x.s1p")
    assert sweep.s[0, 0, 0] == complex(*map(float, words))


@pytest.mark.parametrize("word", ["1.5-2", "1..5", "1e", "--1", "+", "1-", "1e5.5", "e5", "."])
def test_what_is_no_number_though_it_has_a_numbers_signs_is_named_with_its_row(word):
    with pytest.raises(InputError) as caught:
        read(f"# MHz S RI R 50\n1 0.5 0.25\n2 0.5 {word}\n", "x.s1p")
    assert f"must hold numbers only; got '{word}'" in str(caught.value)
    assert caught.value.where.row == 3


def test_the_reference_keyword_wins_over_R_and_goes_on_over_rows():  # noqa: N802
    keywords = ("[Number of Frequencies] 1", "[Reference] 50 ! first", "! between", "75 0.01 ! others")
    text = version_2(*keywords, data="1 " + "\n".join(["1 0 1 0 1 0"] * 3), ports=3)
    assert read(text, "x.ts").reference_ohm.tolist() == [50, 75, 0.01]
    assert read(text, "x.ts", option_line="# MHz S MA R 10").reference_ohm.tolist() == [50, 75, 0.01]


def test_a_two_port_order_is_nothing_to_other_ports():
    text = version_2("[Two-Port Data Order] 12_21", "[Number of Frequencies] 1", data="1 0.5 0", ports=1)
    assert "is ignored" in read(text, "x.ts").remarks[0]


def test_information_blocks_are_passed_over():
    block = "[Begin Information]\n[Anything] 7\nwords 1 2 3\n[End Information]"
    text = version_2("[Two-Port Data Order] 21_12", "[Number of Frequencies] 1", block)
    assert read(text, "x.ts").s[0, 1, 0] == 0.2


def test_keywords_may_be_in_any_case_with_any_blanks():
    text = version_2("[ TWO-PORT  data order ]\t21_12", "[number OF frequencies] 1")
    assert read(text, "x.ts").s[0, 1, 0] == 0.2


def test_single_ended_mixed_mode_order_is_no_change():
    text = version_2("[Two-Port Data Order] 21_12", "[Number of Frequencies] 1", "[Mixed-Mode Order] S1 S2")
    assert read(text, "x.ts").s[0, 1, 0] == 0.2


def test_what_stands_after_end_is_nothing():
    text = version_2("[Two-Port Data Order] 21_12", "[Number of Frequencies] 1") + "\nthanks and 73"
    assert read(text, "x.ts").frequency_hz.size == 1


def test_a_missing_end_is_remarked():
    text = version_2("[Two-Port Data Order] 21_12", "[Number of Frequencies] 1").removesuffix("[End]")
    assert "[End] is missing" in read(text, "x.ts").remarks[0]


# Flaws that can be mended


def test_points_measured_twice_are_kept_once():
    sweep = read("# GHz S RI\n1 0.1 0\n2 0.2 0\n2 0.21 0\n3 0.3 0", "x.s1p")
    assert sweep.frequency_hz.tolist() == [1e9, 2e9, 3e9]
    assert sweep.reflection.tolist() == [0.1, 0.2, 0.3]
    assert "frequencies that stand twice (1)" in sweep.remarks[0]


def test_a_two_port_over_two_rows_is_read_where_its_order_does_not_matter():
    sweep = read("# GHz S RI\n1 0.1 0 0.3 0\n0.3 0 0.4 0")
    assert sweep.s.real.tolist() == [[[0.1, 0.3], [0.3, 0.4]]]
    assert "order of S21 and S12" in sweep.remarks[0]


def test_a_comment_that_names_the_columns_in_the_other_order_is_remarked():
    sweep = read("# GHz S RI\n! freq ReS11 ImS11 ReS12 ImS12 ReS21 ImS21 ReS22 ImS22\n" + ROW)
    assert "row 2: a comment names S12 before S21" in sweep.remarks[0]
    assert sweep.s[0, 1, 0] == 0.3 + 0.4j


def test_impedances_in_comments_are_not_used():
    sweep = read("# GHz S RI\n! Port Impedance 40 0 40 0\n" + ROW)
    assert sweep.reference_ohm.tolist() == [50, 50]
    assert "impedances in comments" in sweep.remarks[0]
