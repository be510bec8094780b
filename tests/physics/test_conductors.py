"""Conductors in layers: the limits every solution has, and the same fields by another way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas.coax import (
    ALUMINIUM,
    COPPER,
    SILVER,
    STEEL,
    Layer,
    Metal,
    sheet_resistance_ohm,
    wire_resistance_ohm_per_m,
)

radii = st.floats(0.05e-3, 10e-3)
shares = st.floats(0.05, 0.95)
metals = st.sampled_from([COPPER, SILVER, ALUMINIUM, STEEL])
F = np.geomspace(1e3, 2e10, 30)


@given(radii, shares, metals)
def test_a_wire_clad_with_its_own_metal_is_a_solid_wire(radius, share, metal):
    clad = wire_resistance_ohm_per_m(F, [Layer(metal, share * radius), Layer(metal, radius)])
    assert clad == pytest.approx(wire_resistance_ohm_per_m(F, [Layer(metal, radius)]), rel=1e-9)


@given(radii, shares, metals, metals)
def test_at_no_frequency_the_areas_conduct_side_by_side(radius, share, inner, outer):
    found = float(wire_resistance_ohm_per_m(1e-3, [Layer(inner, share * radius), Layer(outer, radius)]))
    area = np.pi * radius**2
    siemens = inner.conductivity_s_per_m * share**2 * area + outer.conductivity_s_per_m * (1 - share**2) * area
    assert found == pytest.approx(1 / siemens, rel=1e-6)


@given(radii, metals)
def test_at_high_frequency_only_the_skin_conducts(radius, metal):
    f = 1e10
    depth = 1 / np.sqrt(np.pi * f * 4e-7 * np.pi * metal.permeability * metal.conductivity_s_per_m)
    if depth < radius / 100:
        flat = 1 / (metal.conductivity_s_per_m * depth)
        found = float(wire_resistance_ohm_per_m(f, [Layer(metal, radius)]))
        assert found == pytest.approx(flat / (2 * np.pi * radius), rel=0.01)


def by_shells(f, layers, count=6000):
    """The same fields, stepped outwards through thin shells by Runge and Kutta's rule."""
    mu0 = 4e-7 * np.pi
    outer = layers[-1].size_m

    def metal(r):
        return next(layer.metal for layer in layers if r <= layer.size_m * (1 + 1e-12))

    def slope(r, e, h):
        m = metal(r)
        return 2j * np.pi * f * mu0 * m.permeability * h, m.conductivity_s_per_m * e - h / r

    r = outer * 1e-4
    e, h = 1.0 + 0j, metal(r).conductivity_s_per_m * r / 2
    dr = (outer - r) / count
    for _ in range(count):
        a = slope(r, e, h)
        b = slope(r + dr / 2, e + dr / 2 * a[0], h + dr / 2 * a[1])
        c = slope(r + dr / 2, e + dr / 2 * b[0], h + dr / 2 * b[1])
        d = slope(r + dr, e + dr * c[0], h + dr * c[1])
        e, h = e + dr / 6 * (a[0] + 2 * b[0] + 2 * c[0] + d[0]), h + dr / 6 * (a[1] + 2 * b[1] + 2 * c[1] + d[1])
        r += dr
    return (e / h).real / (2 * np.pi * outer)


@pytest.mark.parametrize("f", [1e4, 3e5, 2e6])
def test_a_clad_wire_agrees_with_its_fields_stepped_through_thin_shells(f):
    layers = [Layer(STEEL, 0.47e-3), Layer(COPPER, 0.512e-3)]
    assert float(wire_resistance_ohm_per_m(f, layers)) == pytest.approx(by_shells(f, layers), rel=5e-3)


def test_a_millimetre_of_copper_at_1800_kilohertz_has_114_milliohms_a_metre():
    # owenduffy.net/blog/?p=10122 gives 112 by the half space; the wire's curvature adds 2 %.
    found = 1e3 * float(wire_resistance_ohm_per_m(1.8e6, [Layer(COPPER, 0.512e-3)]))
    assert found == pytest.approx(112 * 1.02, rel=0.005)


def test_a_thin_foil_has_its_direct_current_resistance_and_a_thick_one_its_skins():
    assert float(sheet_resistance_ohm(1e3, [Layer(ALUMINIUM, 12e-6)])) == pytest.approx(1 / (35.5e6 * 12e-6), rel=1e-3)
    thick = float(sheet_resistance_ohm(1e9, [Layer(ALUMINIUM, 50e-6)]))
    assert thick == pytest.approx(np.sqrt(np.pi * 1e9 * 4e-7 * np.pi / 35.5e6), rel=1e-3)


@given(st.floats(1e-6, 50e-6), st.floats(1e5, 1e10))
def test_a_sheet_cut_in_two_is_the_same_sheet(thick, f):
    halves = [Layer(COPPER, 0.3 * thick), Layer(COPPER, 0.7 * thick)]
    assert float(sheet_resistance_ohm(f, halves)) == pytest.approx(
        float(sheet_resistance_ohm(f, [Layer(COPPER, thick)])), rel=1e-9
    )


@pytest.mark.parametrize("layers", [[], [Layer(COPPER, 1e-3), Layer(COPPER, 0.5e-3)], [Layer(COPPER, 0.0)]])
def test_radii_that_do_not_rise_are_refused(layers):
    with pytest.raises(InputError):
        wire_resistance_ohm_per_m(1e6, layers)


def test_a_sheet_of_nothing_is_refused():
    with pytest.raises(InputError):
        sheet_resistance_ohm(1e6, [Layer(None, 1e-3)])
    with pytest.raises(InputError):
        sheet_resistance_ohm(0.0, [Layer(Metal(1e7), 1e-3)])
