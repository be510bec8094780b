"""What holds for changes of level whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import meaning as m
from linewright.core.formulas.exposure import electric_field_v_per_m, power_density_w_per_m2

changes = st.floats(-60.0, 60.0)
bands = st.sampled_from([1.9e6, 29.9e6, 30e6, 50e6, 144e6, 1296e6])


@given(changes, changes)
def test_changes_in_a_row_multiply(one, other):
    for law in (m.power_ratio, m.free_space_range_ratio, m.plane_earth_range_ratio):
        assert law(one + other) == pytest.approx(float(law(one) * law(other)), rel=1e-9)


@given(changes)
def test_power_goes_with_the_square_of_free_space_range_and_the_fourth_power_over_plane_earth(change):
    power = float(m.power_ratio(change))
    assert m.free_space_range_ratio(change) ** 2 == pytest.approx(power, rel=1e-9)
    assert m.plane_earth_range_ratio(change) ** 4 == pytest.approx(power, rel=1e-9)


@given(st.floats(1e5, 1e10), st.floats(1.0, 1e7), changes)
def test_free_space_loss_at_the_changed_range_makes_up_for_the_change(frequency, distance, change):
    farther = distance * m.free_space_range_ratio(change)
    rise = m.free_space_loss_db(frequency, farther) - m.free_space_loss_db(frequency, distance)
    assert rise == pytest.approx(change, abs=1e-6)


@given(st.floats(-200.0, 50.0), bands)
def test_a_level_goes_to_an_s_reading_and_back(level, frequency):
    s, over = m.s_reading(level, frequency)
    if s >= 0:
        assert m.s_reading_dbm(s, over, frequency) == pytest.approx(level, abs=1e-9)
    else:
        assert level < m.s_reading_dbm(0, 0, frequency)


def test_s9_steps_at_30_megahertz_by_20_decibels():
    assert m.s9_dbm([29.999e6, 30e6]).tolist() == [-73.0, -93.0]


@given(st.floats(0.001, 1e5), st.floats(0.1, 1e5))
def test_the_field_strength_of_p525_is_that_of_the_power_density_to_its_printed_constant(eirp, distance):
    # P.525 prints 30 where the exact figure is 29.98.
    exact = electric_field_v_per_m(power_density_w_per_m2(eirp, distance))
    assert m.field_strength_v_per_m(eirp, distance) == pytest.approx(float(exact), rel=4e-4)


def test_shapes_broadcast():
    assert m.free_space_loss_db(np.ones((3, 1)) * 1e8, np.ones(4)).shape == (3, 4)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: m.power_ratio(float("nan")), "change_db"),
        (lambda: m.equivalent_power_w(-1.0, 3.0), "power_w"),
        (lambda: m.s9_dbm(0.0), "frequency_hz"),
        (lambda: m.s_reading_dbm(10, 0, 14e6), "s_reading"),
        (lambda: m.s_reading_dbm(7, 10, 14e6), "over_db"),
        (lambda: m.s_reading(float("inf"), 14e6), "level_dbm"),
        (lambda: m.free_space_loss_db(144e6, 0.0), "distance_m"),
        (lambda: m.field_strength_v_per_m(-1.0, 1.0), "eirp_w"),
    ],
)
def test_nonsense_is_refused_by_name(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
