"""Curve files and what people write at the radio: read as meant, refused with the cure."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.files.curve import loss_with_interval, read_curve, read_curve_text, step_of, swr, written_seen


@pytest.mark.parametrize(
    "text",
    [
        "frequency,swr\n144 MHz,1.5\n145 MHz,1.2\n",
        "frequency_mhz;swr\n144;1,5\n145;1,2\n",
        "# analyser of the club\nfrequency_khz,swr\n145000,1.2\n144000,1.5\n",
        "frequency_hz,return_loss_db\n144e6,13.979\n145e6,20.828\n",
        'frequency_mhz,return_loss\n144,"13.979 dB"\n145,"20.828 dB"\n',
    ],
)
def test_the_same_curve_in_many_hands(text):
    seen = read_curve_text(text)
    assert seen.frequency_hz == pytest.approx([144e6, 145e6])
    assert seen.magnitude == pytest.approx([0.2, 1 / 11], abs=1e-4)
    assert not seen.has_phase


def test_an_impedance_curve_has_phase():
    seen = read_curve_text("frequency_mhz,resistance_ohm,reactance_ohm\n144,38,-12\n")
    assert seen.has_phase
    assert seen.reflection[0] == pytest.approx((38 - 12j - 50) / (38 - 12j + 50))


def test_a_touchstone_file_has_phase_and_its_own_reference(tmp_path):
    path = tmp_path / "beam.s1p"
    path.write_text("# MHz S RI R 75\n144 0 0\n145 0.2 0\n", encoding="utf-8")
    seen = read_curve(path)
    # Matched to 75 ohm is a reflection of 0.2 on 50 ohm.
    assert seen.reflection[0] == pytest.approx(0.2)
    assert seen.has_phase


def test_the_step_is_the_finest_digit_of_the_file():
    assert read_curve_text("frequency_mhz,swr\n144,1.5\n145,1.25\n").swr_step == pytest.approx(0.01)
    assert read_curve_text("frequency_mhz,swr\n144,1.5\n145,1.25\n", step=0.2).swr_step == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("frequency_mhz,swr\n", "holds no reading"),
        ("swr\n1.5\n", "frequency must stand in one column"),
        ("frequency_mhz,note\n144,x\n", "one kind of column"),
        ("frequency_mhz,swr,return_loss_db\n144,1.5,14\n", "one kind of column"),
        ("frequency_mhz,resistance_ohm\n144,50\n", "one kind of column"),
        ("frequency,swr\n144,1.5\n", "needs a unit"),
        ("frequency_mhz,swr\n144,0.8\n", "at least 1"),
        ("frequency_mhz,swr\n144,1.5\n144,1.6\n", "stands twice"),
        ("frequency_mhz,swr\n144,1.5\n145,\n", "swr is missing"),
        ("frequency_mhz,swrs\n144,1.5\n", "means nothing here"),
        ("frequency_mhz,resistance_ohm,reactance_ohm\n144,-5,3\n", "zero or more"),
    ],
)
def test_a_broken_curve_is_refused_with_its_place(text, words):
    with pytest.raises(InputError, match=words) as caught:
        read_curve_text(text, "beam.csv")
    assert "beam.csv" in str(caught.value)
    assert caught.value.cure


def test_a_row_is_named():
    with pytest.raises(InputError) as caught:
        read_curve_text("frequency_mhz,swr\n144,1.5\n145,0.5\n", "beam.csv")
    assert caught.value.where.row == 3


@given(st.text(max_size=60))
def test_any_text_is_a_curve_or_a_clear_refusal(text):
    try:
        seen = read_curve_text(text)
    except InputError:
        return
    assert np.all(np.diff(seen.frequency_hz) > 0)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("3 dB", (3.0, None)),
        ("3 dB +- 0.5", (3.0, 0.5)),
        ("3 +- 0.5 dB", (3.0, 0.5)),
        ("3 dB ± 0,5 dB", (3.0, 0.5)),
        ("3 dB +/- 0.5 dB", (3.0, 0.5)),
        ("2.5 to 3.5 dB", (3.0, 0.5)),
    ],
)
def test_a_loss_with_its_interval(text, meant):
    assert loss_with_interval(text) == pytest.approx(meant)


@pytest.mark.parametrize("text", ["3", "-3 dB", "3 dB +- -1", "3.5 to 2.5 dB", "3 W", "dB", "3 dB +- x"])
def test_a_loss_that_means_nothing_is_refused(text):
    with pytest.raises(InputError):
        loss_with_interval(text)


def test_steps_and_single_readings():
    assert [step_of(t) for t in ("1.3", "1.30", "2", "1,25", "38.5-12j")] == pytest.approx([0.1, 0.01, 1, 0.01, 0.1])
    assert swr("1.5:1") == pytest.approx(1.5)
    assert written_seen("return_loss", "20.0 dB", None, None, 30.0).directivity_db == pytest.approx(30.0)
    assert written_seen("impedance", "38-12j", 14e6, None, None).has_phase
