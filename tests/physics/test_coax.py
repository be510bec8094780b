"""Properties of the coax formulas."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import coax

frequencies = st.floats(1e5, 1e10)
inner = st.floats(1e-4, 1e-2)
ratios = st.floats(1.1, 20.0)


@given(frequencies, inner, ratios)
def test_four_times_the_frequency_doubles_conductor_loss(frequency_hz, inner_m, ratio):
    one = coax.conductor_loss_db_per_m(frequency_hz, inner_m, inner_m * ratio)
    assert coax.conductor_loss_db_per_m(4 * frequency_hz, inner_m, inner_m * ratio) == pytest.approx(2 * one)


@given(frequencies, inner, ratios, st.floats(1.1, 10.0))
def test_thicker_loses_less(frequency_hz, inner_m, ratio, scale):
    thin = coax.conductor_loss_db_per_m(frequency_hz, inner_m, inner_m * ratio)
    assert coax.conductor_loss_db_per_m(frequency_hz, inner_m * scale, inner_m * ratio * scale) < thin


@given(frequencies, st.floats(1.0, 10.0))
def test_no_loss_tangent_no_dielectric_loss(frequency_hz, permittivity):
    assert coax.dielectric_loss_db_per_m(frequency_hz, permittivity, 0.0) == 0.0


@given(inner, ratios, st.floats(1.0, 10.0))
def test_impedance_and_velocity_fall_alike_with_permittivity(inner_m, ratio, permittivity):
    air = coax.impedance_ohm(inner_m, inner_m * ratio)
    filled = coax.impedance_ohm(inner_m, inner_m * ratio, permittivity)
    assert filled / air == pytest.approx(coax.velocity_factor(permittivity))


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: coax.impedance_ohm(2e-3, 1e-3), "outer_diameter_m"),
        (lambda: coax.impedance_ohm(0.0, 1e-3), "inner_diameter_m"),
        (lambda: coax.skin_depth_m(0.0), "frequency_hz"),
        (lambda: coax.velocity_factor(float("nan")), "permittivity"),
        (lambda: coax.dielectric_loss_db_per_m(1e6, 2.0, -1e-4), "loss_tangent"),
        (lambda: coax.temperature_factor(-300.0), "temperature_celsius"),
    ],
)
def test_nonsense_is_refused_by_name(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
