"""Properties of reflections and sections that hold whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import mismatch as mm

reflections = st.floats(0.0, 1.0)
losses = st.floats(0.0, 40.0)


@given(st.floats(1.0, 1e6))
def test_swr_goes_to_reflection_and_back(swr):
    assert mm.swr_from_reflection(mm.reflection_from_swr(swr)) == pytest.approx(swr, rel=1e-9)


@given(st.floats(0.0, 200.0))
def test_return_loss_goes_to_reflection_and_back(loss):
    assert mm.return_loss_db(mm.reflection_from_return_loss(loss)) == pytest.approx(loss, abs=1e-9)


@given(st.floats(0.0, 0.5), st.floats(0.0, 0.5), st.integers(0, 2**32 - 1))
def test_the_standard_uncertainty_is_that_of_a_phase_nobody_knows(source, load, seed):
    phase = np.random.default_rng(seed).uniform(0, 2 * np.pi, 4000)
    drawn = 20 * np.log10(abs(1 - source * load * np.exp(1j * phase)))
    assert mm.mismatch_uncertainty_db(source, load) == pytest.approx(drawn.std(), rel=0.12, abs=1e-12)


@given(losses, reflections)
def test_a_lossy_line_flatters(loss, reflection):
    assert mm.input_reflection(loss, reflection) <= reflection


@given(st.floats(1e5, 3e9), st.floats(5.0, 500.0), st.floats(1e-4, 2.0))
def test_a_lossless_section_keeps_all_power(frequency_hz, section_ohm, length_m):
    s11, s21 = mm.line_section(frequency_hz, section_ohm, length_m)
    assert abs(s11) ** 2 + abs(s21) ** 2 == pytest.approx(1.0, abs=1e-12)


def test_a_section_agrees_with_a_general_network_library():
    f = np.array([30e6, 145e6, 435e6, 1296e6])
    band = skrf.Frequency.from_f(f, unit="hz")
    media = skrf.media.DefinedGammaZ0(frequency=band, z0=33.3, gamma=1j * 2 * np.pi * f / 299_792_458.0)
    network = media.line(0.049, "m")
    network.renormalize(50.0)
    s11, s21 = mm.line_section(f, 33.3, 0.049)
    np.testing.assert_allclose(s11, network.s[:, 0, 0], atol=1e-9)
    np.testing.assert_allclose(s21, network.s[:, 1, 0], atol=1e-9)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: mm.reflection_from_swr(0.8), "swr"),
        (lambda: mm.reflection_from_swr(float("nan")), "swr"),
        (lambda: mm.swr_from_reflection(1.2), "reflection"),
        (lambda: mm.reflection_from_return_loss(-3.0), "return_loss_db"),
        (lambda: mm.input_reflection(-1.0, 0.2), "matched_loss_db"),
        (lambda: mm.mismatch_uncertainty_db(0.2, 1.5), "load_reflection"),
        (lambda: mm.line_section(1e6, 0.0, 0.1), "section_ohm"),
    ],
)
def test_nonsense_is_refused_by_name(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
