"""External noise by site, and what is said of it beyond its range."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.catalogue.noise_sites import LEAST_KELVIN, external_noise, galactic_noise, noise_site, noise_sites
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formulas.noise import external_noise_db
from linewright.core.formulas.sky import galactic_kelvin

frequencies = st.floats(1e5, 1e10)
sites = st.sampled_from(noise_sites())


def test_every_row_says_where_it_comes_from():
    for site in (*noise_sites(), galactic_noise()):
        assert site.provenance.grade == "read"
        assert "P.372" in site.provenance.source
        assert site.provenance.note


@given(frequencies)
def test_a_louder_site_is_never_quieter(frequency):
    heard = [float(external_noise(site, frequency).temperature_kelvin) for site in noise_sites()]
    assert heard == sorted(heard, reverse=True)


@given(sites, frequencies)
def test_no_extrapolation_falls_below_the_floor_unsaid(site, frequency):
    noise = external_noise(site, [frequency])
    (kelvin,) = noise.temperature_kelvin
    assert kelvin >= LEAST_KELVIN
    if kelvin == LEAST_KELVIN:
        assert any("held at 145 K" in said for said in noise.remarks)
    assert noise.extrapolated[0] == any("extrapolated" in said for said in noise.remarks)
    assert noise.extrapolated[0] == (not site.low_hz <= frequency <= site.high_hz)


@given(sites, st.floats(1e6, 249e6))
def test_within_its_range_the_sum_holds_the_site_and_the_sky(site, frequency):
    noise = float(external_noise(site, frequency).noise_db)
    assert noise >= float(site.median_db(frequency))
    if frequency >= 10e6:
        assert noise >= float(external_noise_db(galactic_kelvin(frequency)))


def test_the_galaxy_is_that_of_the_table_as_far_as_it_is_stated():
    hertz = [10e6, 14.2e6, 50e6, 100e6]
    assert external_noise_db(galactic_kelvin(hertz)) == pytest.approx(galactic_noise().median_db(hertz))


def test_galactic_noise_is_heard_from_10_megahertz_up():
    # Our choice, for a critical frequency of the ionosphere that nobody gives (P.372 hears it above that frequency).
    site = noise_site("quiet rural")
    low, high = external_noise(site, [7e6, 10e6]).noise_db - site.median_db([7e6, 10e6])
    assert low < 0.01
    assert high > 3.0


def test_galactic_noise_carries_a_quiet_rural_site_on_2_metres():
    # The quiet rural curve alone is -8.1 dB there (45 K). P.372 states galactic noise to about 100 MHz, 6.0 dB or
    # 1155 K; from there it falls as f^-2.75 (P.372-12, equation 15): 1155 K · 1.44^-2.75 = 424 K, and 2.7 K of cosmos.
    noise = external_noise(noise_site("quiet rural"), 144e6)
    assert float(noise.temperature_kelvin) == pytest.approx(45 + 424 + 3, abs=2)
    assert not noise.extrapolated


def test_a_sky_temperature_takes_the_place_of_the_sky_and_of_a_curve_that_has_ended():
    site = noise_site("rural")
    noise = external_noise(site, [14.2e6, 144e6, 432e6], sky_temperature_kelvin=30.0)
    man_made = 290.0 * 10 ** (site.median_db([14.2e6, 144e6]) / 10)
    assert noise.temperature_kelvin.tolist() == pytest.approx([*(man_made + 30.0), 30.0])
    assert not noise.extrapolated.any()


def test_an_antenna_temperature_without_a_site_is_all_that_comes_in():
    noise = external_noise(None, [7e6, 145e6, 251e6], sky_temperature_kelvin=580.0)
    assert noise.temperature_kelvin.tolist() == [580.0] * 3
    assert np.all(noise.drawn_kelvin([-2.0, 0.0, 2.0]) == 580.0)
    assert noise.remarks == ()
    with pytest.raises(InputError, match="must name a site"):
        external_noise(None, [145e6])


def test_the_city_curve_reaches_to_900_megahertz():
    assert external_noise(noise_site("city"), [432e6, 1296e6]).extrapolated.tolist() == [False, True]


def test_low_bands_speak_of_thunderstorms():
    assert any("thunderstorms" in said for said in external_noise(noise_site("rural"), 3.6e6).remarks)
    assert not external_noise(noise_site("rural"), 144e6).remarks


@given(sites, frequencies, st.one_of(st.none(), st.floats(3.0, 1e4)))
def test_the_middle_of_the_draws_is_the_median_and_they_rise_with_the_draw(site, frequency, sky):
    noise = external_noise(site, [frequency], sky)
    (drawn,) = noise.drawn_kelvin([-2.0, 0.0, 2.0])
    assert drawn[1] == pytest.approx(noise.temperature_kelvin[0])
    assert drawn[0] <= drawn[1] <= drawn[2]


def test_draws_keep_their_shape_after_the_frequency():
    noise = external_noise(noise_site("rural"), [14.2e6, 144e6, 432e6])
    assert noise.drawn_kelvin(np.zeros((4, 5))).shape == (3, 4, 5)
    assert external_noise(noise_site("rural"), 14.2e6).drawn_kelvin(np.zeros(7)).shape == (7,)


def test_where_the_city_is_all_that_is_heard_the_deciles_are_its_own():
    noise = external_noise(noise_site("city"), [3.6e6])
    drawn = 10 * np.log10(noise.drawn_kelvin([-1.2816, 1.2816])[0] / noise.temperature_kelvin)
    assert drawn.tolist() == pytest.approx([-6.7, 11.0], abs=0.01)


def test_a_sky_as_loud_as_the_city_adds_three_decibels_to_its_median_where_matched_moments_say_one():
    city = noise_site("city")
    loud = float(external_noise(city, 144e6).man_made_kelvin)
    noise = external_noise(city, 144e6, sky_temperature_kelvin=loud)
    drawn = noise.drawn_kelvin(np.random.default_rng(7).standard_normal(200_000))
    assert 10 * np.log10(np.median(drawn) / loud) == pytest.approx(3.01, abs=0.05)
    assert 10 * np.log10(noise.temperature_kelvin / loud) == pytest.approx(3.01, abs=0.01)
    # P.372-10, section 8, as the ITU-R reference software has it (upper decile), in nepers of power.
    x = (city.upper_decile_db / 1.282 * np.log(10) / 10) ** 2
    alpha, beta = np.exp(x / 2) + 1, np.exp(x) * np.expm1(x)
    assert 10 / np.log(10) * (np.log(alpha) - np.log1p(beta / alpha**2) / 2) == pytest.approx(1.1, abs=0.05)


def test_a_number_and_an_array_give_the_same():
    one, many = external_noise(noise_site("rural"), 50e6), external_noise(noise_site("rural"), [50e6])
    assert one.temperature_kelvin == many.temperature_kelvin[0]
    assert one.extrapolated.shape == ()


def test_business_is_the_older_name_of_city_and_a_stranger_is_refused():
    assert noise_site("Business") == noise_site("CITY")
    for name in ("suburban", "", "galactic"):
        with pytest.raises(UnknownNameError, match="quiet rural"):
            noise_site(name)


@pytest.mark.parametrize("sky", [0.0, -3.0, float("nan"), float("inf")])
def test_a_sky_that_is_not_above_zero_is_refused(sky):
    with pytest.raises(InputError, match="sky_temperature_kelvin"):
        external_noise(noise_site("rural"), 144e6, sky)


def test_a_frequency_that_is_not_above_zero_is_refused():
    with pytest.raises(InputError, match="frequency_hz"):
        external_noise(noise_site("rural"), np.array([0.0]))
