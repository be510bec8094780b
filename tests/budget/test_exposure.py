"""An antenna on the air held against limits: near and far, averaged and not, alone and together."""

from __future__ import annotations

from dataclasses import replace
from math import inf, sqrt

import pytest

from linewright.catalogue.exposure_limits import limits_at
from linewright.core.nouns.exposure import DensityFinding, Over
from linewright.core.nouns.station import Antenna, Run
from linewright.core.nouns.wire_antenna import Dipole, Vertical
from linewright.link.exposure import (
    Emitter,
    density_finding,
    emitter_of,
    exposure_finding,
    far_field_level,
    levels_of,
    share_of_peak,
    together,
)

WHOLE, LOW, CFR = "ICNIRP 2020", "ICNIRP 2010", "47 CFR 1.1310"
TEE = Emitter(475e3, 100.0, 110.0, shape=Vertical(10.0, top_m=10.0))
DIPOLE = Emitter(14.1e6, 100.0, 110.0, shape=Dipole(10.1, 10.0))
BEAM = Emitter(144e6, 100.0, 110.0, gain_dbi=12.0)


def finding(emitter, standard=WHOLE, who="public"):
    return exposure_finding(emitter, limits_at(standard, who, emitter.frequency_hz))


def density(emitter, distance_m, standard=WHOLE, who="public", transmitter_w=100.0):
    return density_finding(emitter, limits_at(standard, who, emitter.frequency_hz), distance_m, transmitter_w)


def test_on_630_m_the_level_that_is_not_averaged_reaches_metres():
    found = finding(replace(TEE, loss_ohm=30.0), LOW)
    assert found.ground_distance_m == pytest.approx(5.23, rel=0.01)
    assert found.distance_m > 5
    assert (found.method, found.quantity, found.limit_value) == ("near field", "electric field", 83.0)
    assert found.distance_m_low is None


def test_where_nobody_states_the_loss_a_short_antenna_is_shown_with_and_without_it():
    found = finding(TEE, LOW)
    assert found.distance_m > 9
    assert 4 < found.distance_m_low < 6
    assert finding(DIPOLE).distance_m_low is None


def test_the_far_end_of_an_interval_has_ten_percent_for_the_model_and_is_rounded_up():
    found = finding(replace(DIPOLE, power_high_w=100.0))
    assert found.distance_m_high == pytest.approx(found.distance_m * 1.1, abs=0.1)
    assert found.distance_m_high >= found.distance_m * 1.1
    assert round(found.distance_m_high, 1) == found.distance_m_high


def test_no_distance_is_told_below_a_tenth_of_a_metre():
    found = finding(replace(DIPOLE, power_w=1e-4, power_high_w=1e-4))
    assert (found.distance_m, found.distance_m_high, found.ground_distance_m) == (0.1, 0.1, 0.0)


def test_without_lengths_hf_has_no_figure_and_says_what_would_give_one():
    found = finding(Emitter(14.2e6, 100.0, 110.0, gain_dbi=2.15))
    assert (found.distance_m, found.distance_m_high, found.in_near_field) == (None, None, True)
    assert "lengths" in found.needs
    bare = finding(Emitter(144e6, 100.0, 110.0))
    assert bare.distance_m is None
    assert "gain" in bare.needs


def test_the_far_field_answers_where_it_holds():
    # 12.71 and 5.68 m: 2.56 EIRP/(4 pi S) with 2 and 10 W/m2, worked out by another hand.
    assert finding(BEAM, CFR).distance_m == pytest.approx(12.71, abs=0.005)
    assert finding(BEAM, CFR, "occupational").distance_m == pytest.approx(5.68, abs=0.005)
    assert finding(BEAM).distance_m == pytest.approx(12.71, abs=0.005)


def test_above_thirty_megahertz_icnirp_asks_for_one_quantity_in_the_far_field():
    assert far_field_level(limits_at(WHOLE, "occupational", 144e6)) == ("s_w_per_m2", 10.0)
    # All three would be stricter: 61 V/m is 9.88 W/m2, 0.16 A/m 9.64 W/m2.
    quantity, allowed = far_field_level(limits_at(WHOLE, "occupational", 14.2e6))
    assert quantity in ("e_v_per_m", "h_a_per_m")
    assert allowed == pytest.approx(min((660 / 14.2**0.7) ** 2 / 376.73, (4.9 / 14.2) ** 2 * 376.73), rel=1e-4)


def test_near_a_wire_both_fields_are_held_to_their_levels_whatever_the_frequency():
    levels = levels_of(limits_at(WHOLE, "public", 50e6))
    assert (levels.e_v_per_m, levels.h_a_per_m) == (27.7, 0.073)
    only = levels_of(limits_at(WHOLE, "public", 10e9))
    assert only.e_v_per_m / only.h_a_per_m == pytest.approx(376.73, rel=1e-5)


def test_each_limit_has_the_duty_of_its_own_averaging_time():
    voice = replace(DIPOLE, mode_factor=0.2, over=Over(360.0, 1440.0))
    assert share_of_peak(voice, 360.0) == pytest.approx(0.2)
    assert share_of_peak(voice, 1800.0) == pytest.approx(0.2 * 0.2)
    assert share_of_peak(voice, 0.0) == 1.0
    assert finding(voice, CFR, "occupational").share == pytest.approx(0.2)
    assert finding(voice, CFR, "public").share == pytest.approx(0.04)


def test_duty_leaves_what_is_not_averaged_alone():
    lazy = replace(TEE, duty=0.1, mode_factor=0.2)
    assert finding(lazy, LOW).distance_m == finding(TEE, LOW).distance_m
    assert finding(lazy).distance_m < finding(TEE).distance_m


@pytest.mark.parametrize(
    ("emitter", "standard"),
    [(DIPOLE, WHOLE), (BEAM, WHOLE), (replace(TEE, loss_ohm=30.0), WHOLE), (replace(TEE, loss_ohm=30.0), LOW)],
)
def test_at_the_distance_a_limit_reaches_along_the_ground_it_is_just_used_up(emitter, standard):
    found = finding(replace(emitter, power_high_w=emitter.power_w), standard)
    reach = found.distance_m if emitter.shape is None else found.ground_distance_m
    if reach == 0.0:
        assert density(emitter, 3.0).fraction < 1
    else:
        assert density(emitter, reach, standard).fraction == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize(("emitter", "standard"), [(BEAM, WHOLE), (TEE, LOW), (TEE, WHOLE), (DIPOLE, CFR)])
def test_the_most_power_just_keeps_the_limit(emitter, standard):
    found = density(emitter, 8.0, standard)
    scale = found.max_power_w / 100.0
    scaled = replace(emitter, power_w=emitter.power_w * scale, power_high_w=emitter.power_high_w * scale)
    assert density(scaled, 8.0, standard).fraction_high == pytest.approx(1.0, rel=1e-9)


def test_the_longest_over_just_keeps_the_limit():
    found = density(BEAM, 8.0)
    assert found.fraction_high > 1
    over = Over(found.max_over_s, 1800.0 - found.max_over_s)
    assert density(replace(BEAM, over=over), 8.0).fraction_high == pytest.approx(1.0, rel=1e-9)


def test_where_a_limit_is_kept_all_the_time_an_over_has_no_end():
    assert density(BEAM, 50.0).max_over_s is None
    assert density(TEE, 100.0, LOW).max_over_s is None
    assert density(TEE, 3.0, LOW).max_over_s == 0.0


def test_fractions_of_what_is_not_averaged_are_of_the_field_itself():
    four = replace(TEE, power_w=400.0)
    assert density(four, 6.0, LOW).fraction == pytest.approx(2 * density(TEE, 6.0, LOW).fraction)
    assert density(four, 6.0).fraction == pytest.approx(4 * density(TEE, 6.0).fraction)
    plain = Emitter(7.1e6, 100.0, 100.0, gain_dbi=2.15)
    assert density(plain, 20.0, LOW).fraction == pytest.approx(
        sqrt(2.56 * 164.06 / (4 * 3.14159265 * 400) * 376.73) / 83, rel=1e-4
    )


def test_near_a_feed_no_share_is_told():
    found = density(DIPOLE, 0.2)
    assert (found.fraction_high, found.max_power_w) == (None, None)
    assert "0.3 m" in found.needs


def test_the_share_near_a_wire_has_ten_percent_more_field_for_the_model():
    even = replace(TEE, power_high_w=TEE.power_w)
    assert density(even, 6.0, LOW).fraction_high == pytest.approx(1.1 * density(even, 6.0, LOW).fraction)
    assert density(even, 6.0).fraction_high == pytest.approx(1.21 * density(even, 6.0).fraction)


@pytest.mark.parametrize(("erp", "metres"), [(1.0, 0.51), (2.0, 0.72), (5.0, 1.14)])
def test_the_distance_from_which_47_cfr_exempts_is_that_of_a_page_that_quotes_it(erp, metres):
    # 1 W, 2 W and 5 W ERP at 144 MHz; the same rows stand in tests/published/exposure.toml.
    found = finding(Emitter(144e6, erp, erp, gain_dbi=2.15), CFR)
    assert found.exempt_distance_m == pytest.approx(metres, abs=0.005)
    assert finding(Emitter(144e6, erp, erp, gain_dbi=2.15), CFR, "occupational").exempt_distance_m is None
    assert finding(Emitter(144e6, erp, erp, gain_dbi=2.15), WHOLE).exempt_distance_m is None


def test_nothing_is_exempt_within_a_sixth_of_a_wavelength():
    assert finding(Emitter(3.65e6, 0.1, 0.1, gain_dbi=2.15), CFR).exempt_distance_m == pytest.approx(13.07, abs=0.01)
    assert finding(DIPOLE, CFR).exempt_distance_m is None


def test_inside_the_near_field_a_gain_alone_says_nothing_at_a_distance_either():
    found = density(Emitter(14.2e6, 100.0, 110.0, gain_dbi=2.15), 2.0)
    assert (found.fraction, found.max_power_w) == (None, None)
    assert "lengths" in found.needs
    assert density(Emitter(14.2e6, 100.0, 110.0, gain_dbi=2.15), 10.0).fraction is not None


def test_the_exemption_of_47_cfr_is_told_from_a_sixth_of_a_wavelength_on():
    # 3.83 R^2 at 144 MHz, 1.1307(b)(3)(i)(C).
    found = density(replace(BEAM, gain_dbi=2.15, power_high_w=3.0), 1.0, CFR)
    assert found.exempt_erp_w == pytest.approx(3.83)
    assert found.exempt is True
    assert density(replace(BEAM, gain_dbi=2.15, power_high_w=4.0), 1.0, CFR).exempt is False
    assert density(BEAM, 0.3, CFR).exempt_erp_w is None
    assert density(BEAM, 1.0, WHOLE).exempt_erp_w is None


def test_several_transmitters_add_their_quotients_each_at_its_worst_frequency():
    def one(fraction, needs=""):
        return DensityFinding(WHOLE, "public", 10.0, fraction, fraction, None, None, 1800.0, needs)

    (total,) = together([("wire", [one(0.3), one(0.5)]), ("beam", [one(0.4)])])
    assert total.fraction == pytest.approx(0.9)
    assert total.runs == ("wire", "beam")
    (lacking,) = together([("wire", [one(0.3)]), ("beam", [one(None, "a gain")])])
    assert (lacking.fraction, lacking.needs) == (None, "a gain")


def test_a_limit_that_reaches_farther_than_was_reckoned_asks_for_a_measurement():
    found = finding(replace(TEE, power_w=1e7, power_high_w=1e7), LOW)
    assert found.distance_m is None
    assert "measurement" in found.needs


def test_a_window_has_its_own_distance():
    at_the_wire = finding(replace(DIPOLE, window_m=10.0))
    assert at_the_wire.window_distance_m > 5.05
    assert finding(replace(DIPOLE, window_m=3.0)).window_distance_m == 0.0
    assert finding(DIPOLE).window_distance_m is None
    assert at_the_wire.window_distance_m < inf


def test_a_wire_too_long_for_a_frequency_or_a_run_of_very_many_asks_for_what_it_needs():
    antenna = Antenna(swr=((0.0, 1.5),), shape=Dipole(300.0, 10.0))
    run = Run("wire", (1.85e6, 145e6), 100.0, (), antenna)
    assert exposure_finding(emitter_of(run, 1.85e6, 100.0, 100.0), limits_at(WHOLE, "public", 1.85e6)).distance_m > 0
    long = exposure_finding(emitter_of(run, 145e6, 100.0, 100.0), limits_at(WHOLE, "public", 145e6))
    assert (long.distance_m, bool(long.needs)) == (None, True)
    many = replace(run, frequencies_hz=tuple(1.8e6 + 1e3 * i for i in range(30)))
    assert emitter_of(many, 1.85e6, 100.0, 100.0).shape is None
