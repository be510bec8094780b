"""Properties of the coax formulas."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import coax

frequencies = st.floats(1e5, 1e10)


@given(frequencies, st.floats(1.0, 10.0))
def test_no_loss_tangent_no_dielectric_loss(frequency_hz, permittivity):
    assert coax.dielectric_loss_db_per_m(frequency_hz, permittivity, 0.0) == 0.0


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: coax.dielectric_loss_db_per_m(0.0, 2.0, 1e-4), "frequency_hz"),
        (lambda: coax.dielectric_loss_db_per_m(1e6, float("nan"), 1e-4), "permittivity"),
        (lambda: coax.dielectric_loss_db_per_m(1e6, 2.0, -1e-4), "loss_tangent"),
        (lambda: coax.temperature_factor(-300.0), "temperature_celsius"),
    ],
)
def test_nonsense_is_refused_by_name(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
