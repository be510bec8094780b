"""What holds for exposure whatever the numbers."""

from __future__ import annotations

from math import nan, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import exposure as x

powers = st.floats(0.001, 1e6)
densities = st.floats(0.01, 1e3)
grounds = st.floats(1.0, 4.0)


@given(powers, densities, grounds)
def test_at_the_compliance_distance_the_density_is_the_limit(eirp, limit, ground):
    distance = x.compliance_distance_m(eirp, limit, ground)
    assert x.power_density_w_per_m2(eirp, distance, ground) == pytest.approx(limit, rel=1e-9)


@given(powers, powers, densities, densities, grounds)
def test_more_power_a_lower_limit_or_more_reflection_never_shortens_the_distance(eirp, more, limit, higher, ground):
    distance = x.compliance_distance_m(eirp, limit, ground)
    assert x.compliance_distance_m(eirp + more, limit, ground) >= distance
    assert x.compliance_distance_m(eirp, limit + higher, ground) <= distance
    assert x.compliance_distance_m(eirp, limit, 4.0) >= distance


@given(st.floats(0.1, 1e3), st.floats(0.001, 10.0), densities, powers)
def test_at_the_distance_of_all_limits_none_is_exceeded_and_one_is_just_met(e, h, s, eirp):
    distance = x.compliance_distance_m(eirp, x.equivalent_density_w_per_m2(e, h, s))
    density = x.power_density_w_per_m2(eirp, distance)
    used = (x.electric_field_v_per_m(density) / e, x.magnetic_field_a_per_m(density) / h, density / s)
    assert max(map(float, used)) == pytest.approx(1.0, rel=1e-9)


@given(densities)
def test_the_fields_of_a_plane_wave_carry_its_power(density):
    carried = x.electric_field_v_per_m(density) * x.magnetic_field_a_per_m(density)
    assert carried == pytest.approx(density, rel=1e-9)


def test_a_limit_that_does_not_apply_does_not_count():
    assert x.equivalent_density_w_per_m2(s_w_per_m2=[2.0, 10.0]).tolist() == [2.0, 10.0]
    e_only = x.equivalent_density_w_per_m2(e_v_per_m=[61.4, 61.4], s_w_per_m2=[nan, 1.0])
    assert e_only.tolist() == pytest.approx([10.007, 1.0], abs=0.001)


def test_full_reflection_doubles_the_distance_and_the_exemption_rule_counts_with_it():
    assert x.compliance_distance_m(100.0, 2.0, 4.0) == pytest.approx(2 * float(x.compliance_distance_m(100.0, 2.0)))
    # 47 CFR 1.1307: 3.83 R² W of ERP is 2 W/m² of an EIRP 1.64 times as large, reflection in full.
    assert 2.0 * pi * 1.0 / x.DIPOLE_GAIN == pytest.approx(3.83, abs=0.005)


@given(st.floats(1e5, 1e10), st.floats(0.01, 20.0))
def test_the_far_field_never_begins_within_the_reactive_near_field(frequency, size):
    assert x.formed_lobe_m(frequency, size) >= x.reactive_near_field_m(frequency)


def test_the_distance_of_a_dipole_on_20_metres_lies_where_the_formula_does_not_hold():
    # 100 W, 2.15 dBi, public limit of 47 CFR 1.1310: 1.9 m, within λ/2π = 3.4 m.
    distance = x.compliance_distance_m(x.eirp_w(100.0, 2.15), 8.927, 2.56)
    assert distance < x.reactive_near_field_m(14.2e6)


def test_shapes_broadcast():
    assert x.compliance_distance_m(np.ones((3, 5)), np.ones((3, 1)), 2.56).shape == (3, 5)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: x.eirp_w(1.0, nan), "gain_dbi"),
        (lambda: x.power_density_w_per_m2(1.0, 0.0), "distance_m"),
        (lambda: x.power_density_w_per_m2(1.0, 1.0, 5.0), "ground_factor"),
        (x.equivalent_density_w_per_m2, "limit"),
        (lambda: x.equivalent_density_w_per_m2(s_w_per_m2=0.0), "limit"),
        (lambda: x.compliance_distance_m(1.0, nan), "density_w_per_m2"),
        (lambda: x.reactive_near_field_m(0.0), "frequency_hz"),
        (lambda: x.formed_lobe_m(1e6, -1.0), "antenna_size_m"),
    ],
)
def test_nonsense_is_refused_by_name(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument


@given(on=st.floats(0.1, 5000), off=st.floats(0, 5000), averaging=st.sampled_from([360.0, 1800.0]))
def test_no_window_of_the_averaging_time_holds_more_transmission_than_said(on, off, averaging):
    share = x.on_air_share(on, off, averaging)
    assert on / (on + off) * (1 - 1e-9) <= share <= 1
    period = on + off
    ends = np.arange(int(averaging / period) + 3) * period
    # Transmission up to a time, by adding overs up; a window that begins with an over is the worst.
    for start in (0.0, 0.3 * on, on, on + off / 2):
        aired = sum(min(max(start + averaging - e, 0.0), on) - min(max(start - e, 0.0), on) for e in ends[:2000])
        assert aired / averaging <= share + 1e-9


def test_what_is_not_averaged_counts_in_full():
    assert x.on_air_share(1.0, 3600.0, 0.0) == 1.0
    assert x.longest_over_s(0.99, 0.0) == 0.0


def test_an_over_that_lasts_its_longest_fills_the_share_exactly():
    for share in (0.05, 0.5, 0.99):
        on = x.longest_over_s(share, 360.0)
        assert x.on_air_share(on, 360.0 - on, 360.0) == pytest.approx(share)


@pytest.mark.parametrize("given_s", [(0, 1, 360), (-1, 1, 360), (1, -1, 360), (1, 1, -360), (np.inf, 1, 360)])
def test_overs_and_pauses_that_are_none_are_refused(given_s):
    with pytest.raises(InputError):
        x.on_air_share(*given_s)


def test_a_gain_implies_the_size_of_what_has_it():
    # 24 dBi at 144 MHz, eight long beams: an array some ten metres across; a half-wave dipole, some 0.4 wavelengths.
    assert x.implied_size_m(144e6, 24.0) == pytest.approx(10.5, abs=0.05)
    assert x.implied_size_m(299792458.0, 2.15) == pytest.approx(0.4077, abs=0.001)
