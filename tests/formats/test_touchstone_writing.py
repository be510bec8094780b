"""A sweep that is written reads back the same, to the last digit, here and in scikit-rf."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import CannotError, InputError
from linewright.core.nouns.sweep import Sweep
from linewright.files.touchstone import read_touchstone, read_touchstone_text, touchstone_text, write_touchstone

finite = st.floats(-1e3, 1e3)
real_ohm = st.floats(1e-3, 1e6).map(complex)
any_ohm = real_ohm | st.builds(complex, st.floats(1e-3, 1e6), st.floats(-1e6, 1e6))


@st.composite
def sweeps(draw, ohm=any_ohm):
    ports, points = draw(st.integers(1, 6)), draw(st.integers(1, 4))
    cells = points * ports**2
    parts = draw(st.lists(finite, min_size=2 * cells, max_size=2 * cells))
    frequency_hz = sorted(draw(st.lists(st.floats(1e3, 1e12), min_size=points, max_size=points, unique=True)))
    one = draw(st.booleans())
    reference = [draw(ohm)] * ports if one else draw(st.lists(ohm, min_size=ports, max_size=ports))
    s = (np.array(parts[:cells]) + 1j * np.array(parts[cells:])).reshape(points, ports, ports)
    return Sweep("drawn", np.array(frequency_hz), s, np.array(reference))


def same(back, sweep):
    np.testing.assert_array_equal(back.frequency_hz, sweep.frequency_hz)
    np.testing.assert_array_equal(back.s, sweep.s)
    np.testing.assert_array_equal(back.reference_ohm, sweep.reference_ohm)


@given(sweeps())
def test_what_is_written_reads_back_the_same(sweep):
    name = f"x.s{sweep.ports}p"
    back = read_touchstone_text(touchstone_text(sweep), name)
    same(back, sweep)
    assert back.remarks == (("the first point stands at 0 Hz",) if sweep.frequency_hz[0] == 0 else ())


@given(sweeps(ohm=real_ohm))
def test_version_2_reads_back_the_same(sweep):
    text = touchstone_text(sweep, version_2=True)
    assert text.startswith("[Version] 2.0\n")
    same(read_touchstone_text(text, "x.ts"), sweep)


def drawn(ports, reference):
    rng = np.random.default_rng(ports)
    s = rng.normal(size=(3, ports, ports)) + 1j * rng.normal(size=(3, ports, ports))
    return Sweep("drawn", np.array([1e6, 2e6, 3.5e6]), s, np.array(reference, dtype=complex))


@pytest.mark.parametrize(
    ("ports", "reference"),
    [
        (1, [75]),
        (2, [50, 50]),
        (2, [50, 75]),
        (2, [10 + 10j, 20 - 5j]),
        (3, [50, 50, 50]),
        (4, [50, 75, 12.5, 1e-2]),
        (5, [50, 50, 50, 50, 50]),
    ],
)
def test_scikit_rf_reads_the_same(tmp_path, ports, reference):
    sweep, path = drawn(ports, reference), tmp_path / f"x.s{ports}p"
    write_touchstone(sweep, path)
    other = skrf.Network(str(path))
    np.testing.assert_array_equal(other.f, sweep.frequency_hz)
    np.testing.assert_array_equal(other.s, sweep.s)
    np.testing.assert_array_equal(other.z0[0], sweep.reference_ohm)


def test_one_real_reference_at_two_ports_is_version_1():
    """One option line for both ports; S21 before S12."""
    sweep = Sweep("x", np.array([7e6]), np.array([[[0.1, 0.2j], [0.3, -0.4]]]), np.array([50, 50 + 0j]))
    text = touchstone_text(sweep, comments=("drum 7", "far end\nopen"))
    assert text == "! drum 7\n! far end\n! open\n# Hz S RI R 50.0\n7000000.0 0.1 0.0 0.3 0.0 0.0 0.2 -0.4 0.0\n"


def test_unequal_references_are_version_2():
    text = touchstone_text(drawn(2, [50, 75]))
    assert text.startswith("[Version] 2.0\n# Hz S RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n")
    assert "[Reference]\n50.0 75.0\n" in text
    assert text.endswith("[End]\n")


def test_no_row_has_more_than_four_pairs():
    rows = touchstone_text(drawn(6, [50] * 6)).partition("[Network Data]\n")[2].splitlines()[:-1]
    assert {len(row.split()) for row in rows} == {9, 8, 4}


def test_comments_keep_to_the_signs_of_the_standard():
    text = touchstone_text(drawn(1, [50]), comments=("75 Ω ± 1 %\tat 20 °C", "żółw", ""))
    assert text.isascii()
    assert text.startswith("! 75 ohm +- 1 % at 20 degC\n! ???w\n# Hz")


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"frequency_hz": np.array([1e6, 1e6, 2e6])}, "rising"),
        ({"frequency_hz": np.array([-1e6, 1e6, 2e6])}, "rising"),
        ({"frequency_hz": np.array([1e6, np.nan, 2e6])}, "finite"),
        ({"s": np.full((3, 1, 1), np.inf + 0j)}, "finite"),
        ({"s": np.zeros((2, 1, 1), complex)}, "each of its points"),
        ({"reference_ohm": np.array([0j])}, "above 0 ohm"),
        ({"reference_ohm": np.array([50, 50 + 0j])}, "each of its points"),
    ],
)
def test_what_could_not_be_read_back_is_not_written(change, rule):
    sweep = drawn(1, [50])
    given_ = {n: change.get(n, getattr(sweep, n)) for n in ("frequency_hz", "s", "reference_ohm")}
    with pytest.raises(InputError, match=rule):
        touchstone_text(Sweep("x", **given_))


@pytest.mark.parametrize("name", ["x.s1p", "x.csv", "x", "s2p"])
def test_the_ending_must_fit(tmp_path, name):
    with pytest.raises(InputError, match=r"must end in .s2p or .ts for 2 ports"):
        write_touchstone(drawn(2, [50, 50]), tmp_path / name)
    assert not list(tmp_path.iterdir())


def test_a_ts_file_is_version_2_and_has_real_references(tmp_path):
    write_touchstone(drawn(2, [50, 50]), tmp_path / "x.ts", comments=("made for the test",))
    same(read_touchstone(tmp_path / "x.ts"), drawn(2, [50, 50]))
    with pytest.raises(InputError, match="real references"):
        write_touchstone(drawn(2, [50j + 1, 50]), tmp_path / "y.ts")


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    with pytest.raises(CannotError, match="cannot be written"):
        write_touchstone(drawn(1, [50]), tmp_path / "nowhere" / "x.s1p")
