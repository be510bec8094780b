"""Conversions of network parameters, held against scikit-rf and against what must hold of any network."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st
from skrf import network as engine

from linewright.core.errors import InputError
from linewright.core.formulas.sparameters import (
    abcd_from_s,
    impedance_from_reflection,
    reflection_from_impedance,
    renormalise,
    s_from_abcd,
)

seeds = st.integers(0, 2**32 - 1)
RESISTANCE_OHM = st.floats(1.0, 500.0)
impedances = st.builds(complex, RESISTANCE_OHM, st.floats(-300.0, 300.0))


def _passive(seed: int, ports: int, points: int = 5) -> np.ndarray:
    """Return random scattering matrices whose greatest singular value is below one."""
    rng = np.random.default_rng(seed)
    s = rng.normal(size=(points, ports, ports)) + 1j * rng.normal(size=(points, ports, ports))
    return 0.95 * s / np.linalg.norm(s, 2, axis=(1, 2))[:, None, None]


@given(seeds, st.lists(impedances, min_size=3, max_size=3), st.lists(impedances, min_size=3, max_size=3))
def test_renormalising_there_and_back_changes_nothing(seed, old, new):
    s = _passive(seed, 3)
    assert np.allclose(renormalise(renormalise(s, old, new), new, old), s, atol=1e-9)


@given(seeds, st.lists(impedances, min_size=2, max_size=2), st.lists(impedances, min_size=2, max_size=2))
def test_renormalising_agrees_with_scikit_rf(seed, old, new):
    s = _passive(seed, 2)
    z = np.tile(np.array(old), (5, 1)), np.tile(np.array(new), (5, 1))
    assert np.allclose(renormalise(s, old, new), engine.renormalize_s(s, *z, s_def="power"), atol=1e-7)


@given(seeds, impedances, impedances)
def test_a_network_behind_any_reference_is_the_same_network(seed, old, new):
    s = _passive(seed, 2)
    chain, again = abcd_from_s(s, old), abcd_from_s(renormalise(s, old, new), new)
    assert np.allclose(chain, again, rtol=1e-6, atol=1e-9 * np.abs(chain).max())


@given(seeds, st.lists(impedances, min_size=2, max_size=2))
def test_chain_parameters_agree_with_scikit_rf(seed, z):
    s, per_point = _passive(seed, 2), np.tile(np.array(z), (5, 1))
    chain = engine.s2a(s, per_point)
    assert np.allclose(abcd_from_s(s, z), chain, rtol=1e-7, atol=1e-9 * np.abs(chain).max())
    assert np.allclose(s_from_abcd(abcd_from_s(s, z), z), s, atol=1e-9)


@given(seeds, impedances)
def test_a_reciprocal_network_stays_reciprocal_in_every_form(seed, new):
    s = _passive(seed, 2)
    s = (s + s.swapaxes(1, 2)) / 2
    form = renormalise(s, 50.0, new)
    assert np.allclose(form[:, 0, 1], form[:, 1, 0], rtol=1e-7)
    assert np.allclose(np.linalg.det(abcd_from_s(s)), 1.0, atol=1e-6 / np.abs(s[:, 1, 0]).min() ** 2)


def test_chain_matrices_of_networks_in_a_row_multiply_as_scikit_rf_cascades_them():
    frequency = skrf.Frequency(1, 100, 11, "MHz")
    media = skrf.media.DefinedGammaZ0(frequency, gamma=0.01 + 0.3j, z0=60.0, z0_port=50.0)
    one, other = media.line(2.0, "m"), media.shunt_capacitor(30e-12)
    assert np.allclose(s_from_abcd(abcd_from_s(one.s) @ abcd_from_s(other.s)), (one**other).s, atol=1e-12)


@given(impedances, impedances)
def test_reflection_and_impedance_are_two_names_of_one_thing(load, reference):
    assert np.isclose(
        complex(impedance_from_reflection(reflection_from_impedance(load, reference), reference)), load, rtol=1e-7
    )


@pytest.mark.parametrize(("reference", "rule"), [(0.0, "above zero"), (-50, "above zero"), ([50, 50, 50], "2 ports")])
def test_a_reference_that_is_none_is_refused(reference, rule):
    with pytest.raises(InputError, match=rule):
        abcd_from_s(np.zeros((2, 2)), reference)


@pytest.mark.parametrize("form", [abcd_from_s, s_from_abcd, lambda s: renormalise(s, 50.0, 75.0)])
def test_networks_may_stand_in_any_array_of_arrays(form):
    rng = np.random.default_rng(4)
    many = 0.3 * (rng.standard_normal((5, 3, 2, 2)) + 1j * rng.standard_normal((5, 3, 2, 2)))
    each = np.array([[form(one) for one in row] for row in many])
    np.testing.assert_allclose(form(many), each, rtol=1e-12)


def test_matrices_of_the_wrong_shape_are_refused():
    with pytest.raises(InputError, match="2x2"):
        s_from_abcd(np.zeros((4, 3, 3)))
    with pytest.raises(InputError, match="square"):
        renormalise(np.zeros((4, 3)), 50, 75)
