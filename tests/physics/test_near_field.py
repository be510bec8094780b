"""What a solved antenna must obey whatever its shape: power, images, symmetry; and what is refused."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest

from linewright.core.errors import InputError
from linewright.core.formulas.near_field import AVERAGE_GROUND, PERFECT_GROUND, Ground, Load, Wire, solve
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, VACUUM_IMPEDANCE_OHM
from physics.near_field_antennas import CASES, solved

F = 14.1e6


def _dipole(segments=20, z=10.0, radius=0.001):
    return [Wire((0, 0, z), (x, 0, z), radius, segments) for x in (-5.05, 5.05)]


def _radiated_w(solution, *, above_ground):
    """Poynting's vector over a sphere of a thousand wavelengths, by Gauss and the rectangle rule."""
    cosine, weight = np.polynomial.legendre.leggauss(48)
    if above_ground:
        cosine, weight = (cosine + 1) / 2, weight / 2
    azimuth = np.arange(48) * 2 * pi / 48
    sine = np.sqrt(1 - cosine**2)
    r = 1000 * SPEED_OF_LIGHT_M_PER_S / 475e3
    points = [
        np.stack([r * s * np.cos(azimuth), r * s * np.sin(azimuth), np.full(48, r * c)], axis=1)
        for s, c in zip(sine, cosine, strict=True)
    ]
    e, _ = solution.fields(np.concatenate(points))
    density = e.reshape(48, 48) ** 2 / VACUUM_IMPEDANCE_OHM
    return float(r**2 * np.sum(weight * density.mean(axis=1)) * 2 * pi)


@pytest.mark.parametrize("name", CASES)
def test_the_power_that_is_not_lost_is_radiated(name):
    assert _radiated_w(solved(name), above_ground=True) == pytest.approx(solved(name).radiated_fraction, rel=1e-3)


def test_in_free_space_the_power_that_is_not_lost_is_radiated():
    solution = solve(_dipole(z=0), F, feed=1, ground=None)
    assert _radiated_w(solution, above_ground=False) == pytest.approx(solution.radiated_fraction, rel=1e-3)


@pytest.mark.parametrize("name", ["A", "H", "J", "L"])
def test_far_away_the_fields_are_those_of_a_plane_wave(name):
    e, h = solved(name).fields([(3e4, 4e4, 2e4)])
    assert e[0] / h[0] == pytest.approx(VACUUM_IMPEDANCE_OHM, rel=1e-5)


def test_a_vertical_over_perfect_ground_is_half_a_dipole_in_free_space():
    half = solve([Wire((0, 0, 0), (0, 0, 5), 0.001, 20)], F)
    whole = solve([Wire((0, 0, 0), (0, 0, z), 0.001, 20) for z in (-5, 5)], F, feed=1, ground=None)
    assert half.impedance_ohm == pytest.approx(whole.impedance_ohm / 2, rel=1e-9)
    at = [(0.5, 0, 1.0), (3, 4, 2)]
    np.testing.assert_allclose(half.fields(at), sqrt(2) * np.asarray(whole.fields(at)), rtol=1e-9)


def test_soil_that_conducts_ever_better_becomes_perfect_ground():
    soil, perfect = (solve(_dipole(), F, feed=1, ground=g) for g in (Ground(1.0, 1e10), PERFECT_GROUND))
    assert soil.impedance_ohm == pytest.approx(perfect.impedance_ohm, rel=1e-4)
    # Images stand on longer segments over soil, which shows at the surface, where the two waves nearly cancel.
    at = [(0, 0, 2), (5, 3, 1), (0, 30, 5)]
    np.testing.assert_allclose(soil.fields(at), perfect.fields(at), rtol=5e-3)


def test_longer_segments_of_the_image_over_soil_move_the_field_by_less_than_a_fifth_of_a_decibel():
    arms = [Wire((0, 0, 10), (x, 0, 10), 0.001, n) for x, n in ((-5.05, 10), (5.05, 10))]
    fine = [Wire((0, 0, 10), (x, 0, 10), 0.001, n) for x, n in ((-5.05, 60), (5.05, 60))]
    coarse, close = (solve(wires, F, feed=1, ground=AVERAGE_GROUND) for wires in (arms, fine))
    at = [(0, 0, 8.5), (4, 3, 8), (5.05, 0, 8), (2, 1, 1.5)]
    assert np.max(np.abs(20 * np.log10(np.asarray(coarse.fields(at)) / np.asarray(close.fields(at))))) < 0.2


def test_soil_reflects_as_fresnel_says():
    # Far above a dipole, straight up: direct and reflected wave add as (1 + R exp(-2jkh)) in amplitude, R at normal
    # incidence; the ratio to free space at one feed current is that factor.
    height, soil = 10.0, AVERAGE_GROUND
    over, free = (solve(_dipole(), F, feed=1, ground=g) for g in (soil, None))
    up = [(0, 0, 1e6)]
    k = 2 * pi * F / SPEED_OF_LIGHT_M_PER_S
    root = np.sqrt(soil.permittivity - 1j * soil.conductivity_s_per_m / (2 * pi * F * 8.8541878e-12))
    expected = abs(1 + (1 - root) / (1 + root) * np.exp(-2j * k * height))
    found = over.fields(up)[0][0] / over.feed_a / (free.fields(up)[0][0] / free.feed_a)
    assert found == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("turned_deg", [37.0, 90.0, 200.0])
@pytest.mark.parametrize("ground", [PERFECT_GROUND, AVERAGE_GROUND], ids=["perfect", "soil"])
def test_an_antenna_turned_about_the_vertical_is_the_same_antenna(ground, turned_deg):
    """Its arms lead apart and slope, so that both directions over the ground take part in every pair."""
    turn = np.radians(turned_deg)
    about = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    tips, at = np.array([(-5.0, 0.5, 6.0), (2.0, 4.5, 8.5)]), np.array([(3.0, -2.0, 2.0), (-6.0, 1.0, 1.5)])

    def made(way):
        return solve([Wire((0, 0, 9), tuple(way @ tip), 0.001, 20) for tip in tips], F, feed=1, ground=ground)

    straight, turned = made(np.eye(3)), made(about)
    assert turned.impedance_ohm == pytest.approx(straight.impedance_ohm, rel=1e-7)
    np.testing.assert_allclose(turned.fields(at @ about.T), straight.fields(at), rtol=1e-7)


def test_a_source_below_a_vertical_feeds_all_its_radials_alike():
    turned = [(x * c - y * s, x * s + y * c, z) for x, y, z in [(5, 1, 2.5)] for c, s in ((1, 0), (0, 1), (-1, 0))]
    e, h = solved("H").fields(turned)
    assert e == pytest.approx(e[0], rel=1e-6)
    assert h == pytest.approx(h[0], rel=1e-6)


def test_a_loss_in_series_takes_its_share_and_leaves_the_shape_of_the_field():
    plain = solve(_dipole(), F, feed=1)
    lossy = solve(_dipole(), F, feed=1, loads=[Load(1, 30.0)])
    share = plain.impedance_ohm.real / (plain.impedance_ohm.real + 30.0)
    assert lossy.radiated_fraction == pytest.approx(share * plain.radiated_fraction, rel=1e-9)
    np.testing.assert_allclose(
        lossy.fields([(1, 2, 3)]), sqrt(share) * np.asarray(plain.fields([(1, 2, 3)])), rtol=1e-9
    )


def test_a_load_that_resonates_leaves_no_reactance_at_the_feed():
    wires = [Wire((0, 0, 0), (0, 0, 5), 0.001, 20), Wire((0, 0, 5), (0, 0, 10), 0.001, 20)]
    short = solve(wires, 1.85e6)
    loaded = solve(wires, 1.85e6, loads=[Load(1, 10 + 0j, resonates=True)])
    assert short.impedance_ohm.imag < -500
    assert loaded.impedance_ohm.imag == pytest.approx(0.0, abs=1e-6)


def test_a_coil_in_the_middle_raises_the_radiation_resistance_above_that_of_the_same_height_fed_bare():
    # Base loading leaves a triangle of current, centre loading fills the lower half: textbooks have twice and more.
    wires = [Wire((0, 0, 0), (0, 0, 5), 0.001, 20), Wire((0, 0, 5), (0, 0, 10), 0.001, 20)]
    bare = solve(wires, 1.85e6)
    loaded = solve(wires, 1.85e6, loads=[Load(1, 0j, resonates=True)])
    ratio = (loaded.impedance_ohm.real * loaded.radiated_fraction) / (bare.impedance_ohm.real * bare.radiated_fraction)
    assert 1.8 < ratio < 2.6


def test_twice_as_many_segments_change_little_half_a_metre_away():
    coarse, fine = (solve(_dipole(n), F, feed=1) for n in (20, 80))
    at = [(0, 0, 9.5), (5.05, 0, 9.5), (5.55, 0, 10), (0, 0, 2)]
    for a, b in zip(coarse.fields(at), fine.fields(at), strict=True):
        assert np.max(np.abs(20 * np.log10(a / b))) < 0.3


def test_many_points_give_what_each_gives_alone():
    points = np.random.default_rng(1).uniform((-20, -20, 0), (20, 20, 8), (3000, 3))
    e, h = solved("A").fields(points)
    some = [0, 1234, 2999]
    np.testing.assert_allclose((e[some], h[some]), solved("A").fields(points[some]), rtol=1e-12)


@pytest.mark.parametrize(
    ("wires", "rule"),
    [
        ([Wire((0, 0, -1), (0, 0, 5), 0.001, 20)], "above ground"),
        ([Wire((0, 0, 0), (5, 0, 0), 0.001, 20)], "above ground"),
        ([Wire((0, 0, 1), (0, 0, 5), 0.001, 20)], "hangs free"),
        ([Wire((0, 0, 0), (0, 0, 5), 0.2, 20)], "thick"),
        ([Wire((0, 0, 0), (0, 0, 5), 0.001, 1)], "finer"),
        ([Wire((0, 0, 0), (0, 0, 5), 0.001, 5000)], "segments"),
        ([Wire((0, 0, 0), (0, 0, float("inf")), 0.001, 20)], "finite"),
        ([], "segments"),
    ],
)
def test_what_cannot_be_solved_is_refused(wires, rule):
    with pytest.raises(InputError, match=rule):
        solve(wires, F)


def test_a_wire_that_touches_soil_is_refused():
    with pytest.raises(InputError, match="soil"):
        solve([Wire((0, 0, 0), (0, 0, 5), 0.001, 20)], F, ground=AVERAGE_GROUND)


@pytest.mark.parametrize("frequency_hz", [0.0, -1.0, float("nan"), float("inf")])
def test_a_frequency_must_be_above_zero(frequency_hz):
    with pytest.raises(InputError, match="frequency_hz"):
        solve(_dipole(), frequency_hz)
