"""Claims about lines, networks and standing waves that would be false of a wrong formula."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import heating
from linewright.core.formulas import lossy_line as line_input
from linewright.core.formulas import lossy_line as standing_wave
from linewright.core.formulas import two_port as tp
from linewright.core.formulas.l_network import match

DB = 20 / np.log(10)


def floats(low, high):
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


loads = st.builds(complex, floats(0.5, 2000.0), floats(-2000.0, 2000.0))
lines = st.tuples(floats(20.0, 600.0), floats(0.0, 6.0), floats(0.0, 3.0), floats(0.01, 40.0))
"""R0 in ohms, conductor and dielectric loss in dB, electrical length in radians."""


def _near(line, load):
    r0, conductor, dielectric, phase = line
    skew = line_input.impedance_skew(conductor, dielectric, phase)
    far = tp.VoltageCurrent(np.array([load]), np.ones(1, complex))
    return far, tp.through_line(far, np.array([(conductor + dielectric) / DB]), np.exp(1j * phase), r0, skew), skew


def _plain_loss_db(loss_db, reflection):
    """The trade's formula, which takes whole half waves of a real impedance: ham.stackexchange.com question 7333."""
    a = 10 ** (loss_db / 10)
    return 10 * np.log10((a**2 - reflection**2) / (a * (1 - reflection**2)))


@given(lines, loads)
def test_a_line_never_gains(line, load):
    far, near, _ = _near(line, load)
    assert near.power[0] >= far.power[0] * (1 - 1e-9)


@given(lines, loads)
def test_the_walk_and_the_closed_formula_are_one(line, load):
    far, near, skew = _near(line, load)
    z0, gl = line[0] * (1 - 1j * skew), (line[1] + line[2]) / DB + 1j * line[3]
    # V1/V2 = cosh γl + (Z0/Zl) sinh γl (D. M. Pozar, Microwave Engineering, 4th ed., table 4.1).
    assert np.allclose(near.voltage / far.voltage, np.cosh(gl) + z0 / load * np.sinh(gl), rtol=1e-6)
    assert np.allclose(near.impedance_ohm, line_input.input_impedance_ohm(load, z0, gl), rtol=1e-6)


@given(st.integers(1, 20), floats(0.001, 10.0), floats(1.0, 50.0), st.booleans())
def test_whole_half_waves_of_real_impedance_lose_what_the_closed_formula_says(halves, loss_db, swr, high):
    far = tp.VoltageCurrent(np.array([50.0 * swr if high else 50.0 / swr], complex), np.ones(1, complex))
    near = tp.through_line(far, np.array([loss_db / DB]), np.exp(1j * np.pi * halves), 50.0)
    exact = 10 * np.log10(near.power / far.power)
    assert np.allclose(exact, _plain_loss_db(loss_db, (swr - 1) / (swr + 1)), rtol=1e-9)


def test_a_short_line_into_few_ohms_loses_more_and_into_many_less():
    # ham.stackexchange.com question 7333: 0.1 wavelengths of 50-ohm line, loads of 5 and 500 ohms, the same SWR of 10;
    # a still shorter line into 500 ohms loses even less than a matched one. All loss in the conductors.
    def loss_db(ohm, turns):
        far, near, _ = _near((50.0, 0.1, 0.0, 2 * np.pi * turns), complex(ohm))
        return 10 * np.log10(near.power[0] / far.power[0])

    assert loss_db(5.0, 0.1) > _plain_loss_db(0.1, 9 / 11) > loss_db(500.0, 0.1)
    assert loss_db(500.0, 0.05) < 0.1


@given(lines, loads)
def test_voltage_and_heat_are_greatest_where_a_fine_walk_finds_them(line, load):
    r0, conductor, dielectric, phase = line
    # Thin cable on 160 m loses a twentieth of a neper a radian; no line in use more.
    assume(conductor + dielectric <= 0.1 * DB * phase)
    far, _, skew = _near(line, load)
    zi = r0 * (1 - 1j * skew) * far.current
    forth, back = (far.voltage + zi) / 2, (far.voltage - zi) / 2
    nepers, along = (conductor + dielectric) / DB, np.linspace(0, 1, 4001)
    waves = np.exp((nepers + 1j * phase) * along), back / forth * np.exp(-(nepers + 1j * phase) * along)
    lean = (conductor - dielectric) / (conductor + dielectric) if nepers > 0 else 0.0
    for swing, form in (
        (1.0, np.abs(waves[0] + waves[1]) ** 2),
        (-lean, (1 + lean) / 2 * np.abs(waves[0] - waves[1]) ** 2 + (1 - lean) / 2 * np.abs(waves[0] + waves[1]) ** 2),
    ):
        found = float(standing_wave.greatest(back / forth, nepers, phase, swing)[0])
        assert found >= form.max() * (1 - 1e-6)
        assert found <= form.max() * (1 + 1e-3)


@given(lines, loads)
def test_heat_along_a_line_adds_up_to_what_it_loses(line, load):
    r0, conductor, dielectric, phase = line
    far, near, skew = _near(line, load)
    x, per = float(skew), 2001
    z0 = r0 * (1 - 1j * x)
    zi = z0 * far.current
    forth, back = (far.voltage + zi) / 2, (far.voltage - zi) / 2
    along = np.linspace(0, 1, per)
    g = ((conductor + dielectric) / DB + 1j * phase) * along
    volts, amps = forth * np.exp(g) + back * np.exp(-g), (forth * np.exp(g) - back * np.exp(-g)) / z0
    heat = 2 * conductor / DB * r0 * np.abs(amps) ** 2 + 2 * dielectric / DB / (r0 * (1 + x * x)) * np.abs(volts) ** 2
    lost = near.power[0] - far.power[0]
    assert np.trapezoid(heat, along) == pytest.approx(lost, rel=1e-2, abs=1e-6 * near.power[0])


@given(loads, floats(2.0, 400.0), floats(2.0, 3000.0))
def test_an_l_network_matches_every_load(load, q_inductor, q_capacitor):
    network = match(np.array([load]), 50.0, q_inductor, q_capacitor)
    state = tp.VoltageCurrent(np.array([load]), np.ones(1, complex))
    near = tp.through_matrix(state, network)
    assert near.impedance_ohm[0] == pytest.approx(50.0, rel=1e-6)
    assert near.power[0] >= state.power[0]


@given(loads)
def test_an_l_network_of_almost_no_loss_wastes_almost_nothing(load):
    network = match(np.array([load]), 50.0, 1e9, 1e9)
    state = tp.VoltageCurrent(np.array([load]), np.ones(1, complex))
    assert tp.through_matrix(state, network).power[0] == pytest.approx(state.power[0], rel=1e-4)


def test_the_classic_l_network_of_200_to_50_ohms():
    # Q = √(200/50 - 1) = √3: series arm 50 √3 ohms, shunt arm 200/√3 ohms (Pozar, 4th ed., section 5.1).
    network = match(np.array([200.0 + 0j]), 50.0, 1e9, 1e9)
    assert abs(network.b[0]) == pytest.approx(50 * 3**0.5)
    assert 1 / abs(network.c[0]) == pytest.approx(200 / 3**0.5)


@given(loads)
def test_a_worse_coil_wastes_no_less(load):
    state = tp.VoltageCurrent(np.array([load]), np.ones(1, complex))
    networks = [match(np.array([load]), 50.0, q, 2000.0) for q in (300.0, 150.0, 75.0)]
    powers = [float(tp.through_matrix(state, network).power[0]) for network in networks]
    assert all(worse >= better * (1 - 1e-9) for better, worse in pairwise(powers))


@given(st.integers(2, 8), st.booleans(), loads)
def test_a_splitter_wastes_nothing_among_equal_branches(ways, matched, load):
    branch = tp.VoltageCurrent(np.array([load]), np.ones(1, complex))
    near = tp.through_matrix(branch, tp.splitter(ways, matched=matched))
    assert near.power[0] == pytest.approx(ways * branch.power[0])
    assert near.impedance_ohm[0] == pytest.approx(load if matched else load / ways)


@pytest.mark.parametrize(("f", "watts"), [(5e6, 1000.0), (10e6, 1000.0), (50e6, 450.0), (200e6, 225.0)])
def test_a_rating_holds_at_its_points_and_falls_beyond_them(f, watts):
    assert float(heating.rating_at_w(f, [10e6, 50e6], [1000.0, 450.0])) == pytest.approx(watts)


def test_the_worst_of_a_long_mismatched_line_is_swr_times_the_matched_heat():
    # All loss in the conductors; a power P passes: current crest of √(2 P S/R0), so R |I|²/2 is S times as much.
    r = 0.5
    worst, _ = heating.hot_spot_factor(3.0)
    crest = float(standing_wave.greatest(np.array(r + 0j), 0.0, 10.0, -1.0))
    assert crest / (1 - r * r) == pytest.approx(float(worst))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: line_input.phase_rad(1e6, 1.0, 1.2), "velocity_factor"),
        (lambda: heating.ambient_factor(20.0, 30.0), "most_celsius"),
        (lambda: heating.hot_spot_factor(0.5), "swr"),
        (lambda: heating.rating_at_w(1e6, [2e6, 1e6], [1.0, 2.0]), "rated_hz"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(InputError, match=words):
        call()


@pytest.mark.parametrize(
    ("ambient", "most", "factor"), [(20.0, 80.0, 1.5), (20.0, 65.0, 1.8), (40.0, 80.0, 1.0), (60.0, 80.0, 0.5)]
)
def test_a_heat_rating_falls_on_a_straight_line_from_its_own_temperature(ambient, most, factor):
    """Below 40 degrees it is more than published; zero where the surroundings are as hot as the dielectric bears."""
    assert float(heating.ambient_factor(ambient, most)) == pytest.approx(factor)


def test_parts_one_after_the_other_are_the_product_of_their_matrices():
    rng = np.random.default_rng(9)
    first, second = rng.standard_normal((2, 2, 2)) + 1j * rng.standard_normal((2, 2, 2))
    found = tp.Matrix(*first.ravel()).then(tp.Matrix(*second.ravel()))
    assert np.array(found).reshape(2, 2) == pytest.approx(first @ second)
