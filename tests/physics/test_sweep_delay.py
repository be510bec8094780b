"""Delay from phase."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas.delay import alias_s, group_delay_s, phase_rad, slope_delay_s, turned_back

delays = st.floats(1e-10, 4e-7)


def _wave(f, delay):
    return np.exp(-2j * np.pi * f * delay)


@given(delays)
def test_a_sweep_fine_enough_gives_the_delay_and_a_coarse_one_gives_it_but_for_whole_turns(delay):
    f = np.linspace(1e6, 200e6, 201)
    away = (slope_delay_s(f, _wave(f, delay)) - delay) / alias_s(f)
    assert abs(away - round(away)) < 1e-6
    if delay * (f[1] - f[0]) < 0.49:
        assert round(away) == 0


@given(delays)
def test_unequal_spacings_tell_what_equal_ones_cannot(delay):
    f = np.geomspace(1e6, 1e9, 800)
    assert np.isclose(slope_delay_s(f, _wave(f, delay)), delay, rtol=1e-6)


@given(delays, st.floats(-3.0, 3.0))
def test_a_constant_phase_is_no_delay(delay, start):
    f = np.linspace(1e6, 100e6, 400)
    wave = _wave(f, delay) * np.exp(1j * start)
    assert np.isclose(group_delay_s(f, phase_rad(f, wave, slope_delay_s(f, wave))), delay, rtol=1e-6)


@given(delays)
def test_what_is_turned_back_stands_still(delay):
    f = np.linspace(1e6, 100e6, 40)
    assert np.allclose(turned_back(f, _wave(f, delay), delay), 1.0, atol=1e-9)


def test_delays_an_alias_apart_step_alike():
    f = np.linspace(10e6, 110e6, 11)
    one, other = _wave(f, 13e-9), _wave(f, 13e-9 + alias_s(f))
    assert np.allclose(one[1:] * np.conj(one[:-1]), other[1:] * np.conj(other[:-1]))


@pytest.mark.parametrize(("off", "alias"), [(0.0009, 1e-6), (0.0012, 1 / 0.9988e6)])
def test_steps_that_differ_by_a_thousandth_count_as_equal(off, alias):
    f = 1e6 * np.array([1.0, 2.0, 3.0, 4.0 - off, 5.0 - off])
    assert alias_s(f) == pytest.approx(alias, rel=1e-12)


@pytest.mark.parametrize(
    ("f", "wave", "rule"), [([1e6], [1], "two at least"), ([2e6, 1e6], [1, 1], "must rise"), ([1e6, 2e6], [1], "many")]
)
def test_frequencies_that_do_not_fit_are_refused(f, wave, rule):
    with pytest.raises(InputError, match=rule):
        slope_delay_s(f, wave)
