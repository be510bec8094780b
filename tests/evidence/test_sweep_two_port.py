"""A cable swept through: what comes out is what scikit-rf put in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st

from evidence.made_sweeps import C_M_PER_S, Made, sweep_of
from examples import few
from linewright.catalogue.lines import line_type
from linewright.core.errors import InputError
from linewright.core.formulas.sparameters import renormalise
from linewright.core.nouns.bench import Piece
from linewright.inference.sweep.belief import law_belief
from linewright.inference.sweep.delays import LinePrior, _candidate
from linewright.inference.sweep.impedance import ImpedancePoints, Skin, _doubt, fit_impedance, points
from linewright.inference.sweep.law import LawFit
from linewright.inference.sweep.reading import _unsure
from linewright.inference.sweep.traces import Trace, bins, pilot, robust
from linewright.inference.sweep.two_port import _insertion, read_two_port, travelling

AT_HZ = (14e6, 144e6, 432e6)


def _losses(found):
    return {row.frequency_hz: row.matched_loss_db for row in found.losses if not row.band}


@pytest.mark.parametrize("zc_ohm", [50.0, 75.0, 35.0])
def test_matched_loss_is_the_lines_own_whatever_its_impedance(zc_ohm):
    made = Made(zc_ohm=zc_ohm)
    for f, loss in _losses(read_two_port(made.through(), at_hz=AT_HZ)).items():
        assert loss.holds(made.loss_at(f))
        assert abs(loss.value - made.loss_at(f)) < 0.02


def test_insertion_loss_of_a_mismatched_line_is_not_its_matched_loss():
    made = Made(zc_ohm=75.0, k1_db=0.05, k2_db=0.0002)
    row = next(x for x in read_two_port(made.through(), at_hz=(144e6,)).losses if x.frequency_hz == 144e6)
    assert row.insertion_loss_db.value > made.loss_at(144e6) + 0.05
    assert abs(row.matched_loss_db.value - made.loss_at(144e6)) < 0.01


@pytest.mark.parametrize("noise_db", [0.0, 0.05, 0.4])
def test_an_insertion_loss_is_as_sure_as_its_neighbours_are_alike(noise_db):
    """1.96 standard deviations of Gaussian noise hold 95 % of it; 0.02 dB are left to the calibration."""
    f = np.linspace(140e6, 148e6, 4001)
    db = 3.0 + noise_db * np.random.default_rng(5).standard_normal(len(f))
    (found,) = _insertion(f, 10 ** (-db / 20) + 0j, np.array([144e6]))
    assert found.value == pytest.approx(3.0, abs=0.03)
    assert (found.high - found.low) / 2 == pytest.approx(np.hypot(1.96 * noise_db, 0.02), rel=0.06)


@pytest.mark.parametrize("size", [1.0, 0.3])
def test_an_impedance_is_as_doubtful_as_what_a_calibration_leaves_of_either_reflection(size):
    """Where both are alike large each leaves 1 % of 50 ohm over its size, by 0.7: the half of Z0² over Z0, by √2."""
    below = np.full(400, size) * np.exp(1j * np.linspace(0.0, 9.0, 400))
    found = points(np.linspace(1e6, 500e6, 400), 2500.0 * below, below)
    assert found.noise_ohm == pytest.approx(
        np.full(len(found.noise_ohm), 0.7 * 50.0 * 0.01 * np.sqrt(2.0) / size), rel=1e-6
    )
    assert found.ohm == pytest.approx(np.full(len(found.ohm), 50.0 + 0j))


@pytest.mark.parametrize(("ohm", "per_hz"), [(50.0, 2e-10), (75.0, 7e-10), (30.0, 8.25e-10)])
def test_connectors_shift_an_impedance_the_more_the_further_it_is_from_their_own(ohm, per_hz):
    f = np.linspace(10e6, 500e6, 20)
    found = ImpedancePoints(f, np.full(20, ohm**2 + 0j), np.full(20, 0.01))
    assert _doubt(found) == pytest.approx(np.hypot(0.01, per_hz * f * ohm))


def test_where_a_sweep_hardly_shows_the_reactance_it_is_taken_as_the_skin_effect_has_it():
    """``Z0 = Zc (1 + (1 - j) u)``: at 1 MHz u is 0.04, and the line is 2 ohm capacitive."""
    f, skin = np.linspace(0.5e6, 30e6, 30), Skin(0.5, 230e-9)
    u = skin.share(f)
    found = ImpedancePoints(f, (50.0 * (1 + (1 - 1j) * u)) ** 2, np.full(30, 8.0))
    (row,) = fit_impedance(found, skin, np.array([1e6]), 0.65).rows
    at_1_mhz = 0.5 / 8.685889638 / (2 * np.pi * 1e6 * 230e-9)
    assert row.reactance_ohm.value == pytest.approx(-50.0 * at_1_mhz, rel=0.2)


@pytest.mark.parametrize(("far", "start_hz"), [(False, 1e6), (True, 1e6), (False, 12e6)])
def test_a_resistance_in_a_plug_loses_what_it_reflects_too(far, start_hz):
    """47 ohm in series with 50 take 20 log10(1 + 47/100) = 3.35 dB between matched ends, half a decibel of it echo."""
    made = Made(k1_db=0.15, k2_db=0.001, start_hz=start_hz)
    contact = made.media(made.frequency).resistor(47.0)
    network = made.line() ** contact if far else contact ** made.line()
    for f, loss in _losses(read_two_port(sweep_of(network, noise=1e-4), at_hz=AT_HZ)).items():
        assert loss.value == pytest.approx(made.loss_at(f) + 20 * np.log10(1.47), abs=0.25)


def test_a_plug_that_is_no_50_ohm_gets_back_all_it_reflects():
    """A shunt capacitance, swept from 18 MHz: up to there what reflects is taken for a resistance."""
    f = np.linspace(18e6, 100e6, 50)
    y = 2j * np.pi * f * 40e-12 * 50.0
    s = np.array([[-y, 2.0 + 0 * y], [2.0 + 0 * y, -y]]).transpose(2, 0, 1) / (2.0 + y)[:, None, None]
    wave, given_back = travelling(f, s, s[:, 1, 0], np.ones(len(f)))
    assert given_back[0] > 0.04
    assert np.abs(wave) == pytest.approx(1.0, abs=1e-9)


def test_a_fit_is_not_moved_by_a_tenth_of_points_that_stray():
    x = np.linspace(0.0, 1.0, 200)
    y = 2.0 + 3.0 * x + 0.01 * np.random.default_rng(2).standard_normal(200)
    y[::10] += 5.0
    assert robust(np.column_stack([np.ones(200), x]), y) == pytest.approx([2.0, 3.0], abs=0.02)


def test_a_mean_of_so_many_points_has_their_noise_over_the_root_of_their_number():
    f, sigma = np.linspace(1e6, 500e6, 4000), 0.003
    rng = np.random.default_rng(3)
    noise = sigma * (rng.standard_normal(4000) + 1j * rng.standard_normal(4000))
    trace = Trace(f, np.exp(-2j * np.pi * f * 100e-9) + noise, 1)
    found = bins(trace, pilot(trace))
    assert np.median(found.noise * np.sqrt(found.count)) == pytest.approx(sigma, rel=0.1)
    assert np.std(found.ratio.imag[found.count > 30] / found.noise[found.count > 30]) == pytest.approx(1.0, abs=0.25)


def test_law_impedance_delay_and_extent_hold_the_truth():
    made = Made()
    found = read_two_port(made.through(), velocity_factor=0.66)
    assert found.law.k1_db.holds(made.k1_db)
    assert found.law.k2_db.holds(made.k2_db)
    assert not found.law.constant
    assert found.impedance_ohm.holds(50.0)
    assert found.length_m.holds(made.length_m)
    assert read_two_port(made.through(), length_m=20.0).velocity_factor.holds(0.66)


def test_a_constant_is_taken_up_where_the_data_demand_it():
    network = Made(noise=0.0).line()
    network.s[:, 0, 1] *= 10 ** (-0.5 / 20)
    network.s[:, 1, 0] *= 10 ** (-0.5 / 20)
    law = read_two_port(sweep_of(network, noise=1e-4)).law
    assert law.constant
    assert law.k0_db.holds(0.5)


def test_the_reactance_at_low_frequency_is_that_of_the_skin():
    made = Made(k1_db=1.0, k2_db=0.0, start_hz=0.3e6, stop_hz=30e6, length_m=30.0)
    found = read_two_port(made.through(), at_hz=(1e6,))
    media_z0 = made.zc_ohm * (1 + (1 - 1j) * (1.0 / 8.686) / (2 * np.pi * 1e6 * made.delay_s))
    row = next(r for r in found.impedances if r.frequency_hz == 1e6)
    assert row.reactance_ohm.holds(media_z0.imag)
    assert row.resistance_ohm.holds(media_z0.real)
    assert row.reactance_ohm.value < -1.0


@few(5)
@given(st.floats(20.0, 200.0), st.floats(20.0, 200.0))
def test_the_reference_a_file_was_written_in_changes_nothing(one, other):
    sweep = Made(points=201).through()
    moved = replace(
        sweep, s=renormalise(sweep.s, 50.0, [one, other]), reference_ohm=np.array([one, other], dtype=complex)
    )
    first, second = (_losses(read_two_port(s, at_hz=AT_HZ)) for s in (sweep, moved))
    assert all(abs(first[f].value - second[f].value) < 2e-3 for f in AT_HZ)


def test_turning_the_cable_round_changes_nothing():
    sweep = Made(points=401).through()
    turned = replace(sweep, s=sweep.s[:, ::-1, ::-1])
    first, second = (_losses(read_two_port(s, at_hz=AT_HZ)) for s in (sweep, turned))
    assert all(np.isclose(first[f].value, second[f].value, atol=1e-9) for f in AT_HZ)


def test_a_noise_floor_does_not_flatter_the_loss():
    made = Made(k1_db=1.5, k2_db=0.1, noise=1e-3, start_hz=10e6)
    found = read_two_port(made.through(), at_hz=(144e6, 250e6, 500e6))
    for f, loss in _losses(found).items():
        assert loss.holds(made.loss_at(f))
    assert 500e6 not in _losses(found)
    assert any(h.check == "noise floor" for h in found.health)


def test_a_jump_in_the_middle_is_named_and_left_out_of_the_law():
    made = Made()
    sweep = made.through()
    after = sweep.frequency_hz > 200e6
    s = sweep.s.copy()
    s[after, 0, 1] *= 10 ** (-0.2 / 20)
    s[after, 1, 0] *= 10 ** (-0.2 / 20)
    found = read_two_port(replace(sweep, s=s), at_hz=(14e6, 144e6))
    assert any(h.check == "step" and abs(h.size - 0.2) < 0.05 for h in found.health)
    assert found.law.k1_db.holds(made.k1_db)


def test_interference_on_a_few_points_moves_nothing():
    made = Made()
    sweep = made.through()
    s = sweep.s.copy()
    s[::40] += 0.3
    found = read_two_port(replace(sweep, s=s), at_hz=AT_HZ)
    assert any(h.check == "spikes" for h in found.health)
    assert all(abs(loss.value - made.loss_at(f)) < 0.03 for f, loss in _losses(found).items())


@pytest.mark.parametrize("turns", [0.3, 1.4, 2.3, 5.4])
@pytest.mark.parametrize("start_hz", [1e6, 50e6])
def test_a_coarse_sweep_never_gets_a_plain_wrong_delay(turns, start_hz):
    made = Made(start_hz=start_hz, points=101)
    made = replace(made, stop_hz=start_hz + 100 * turns / made.delay_s)
    found = read_two_port(made.through())
    if found.delay_s is not None:
        assert abs(found.delay_s.value / made.delay_s - 1) < 0.01
    else:
        assert any(abs(c.delay_s / made.delay_s - 1) < 0.01 for c in found.candidates)
        assert abs(sum(c.probability for c in found.candidates) - 1) < 0.02


def test_a_delay_that_may_be_makes_a_length_or_a_velocity_factor_of_the_other():
    """Light goes 29.98 m in 100 ns: 20 m take 0.667 of its speed, and at 0.66 of it a wave goes 19.79 m."""
    by_length = _candidate(100e-9, 0.5, LinePrior(length_m=20.0))
    by_factor = _candidate(100e-9, 0.5, LinePrior(velocity_factor=0.66))
    assert (by_length.velocity_factor, by_length.length_m) == (pytest.approx(0.66713, abs=1e-5), None)
    assert (by_factor.velocity_factor, by_factor.length_m) == (None, pytest.approx(19.7863, abs=1e-4))


def test_a_coarse_sweep_is_told_by_its_length_and_type():
    step = 2.3 / Made().delay_s
    made = Made(points=100, start_hz=step, stop_hz=100 * step)
    bare = read_two_port(made.through())
    assert bare.delay_s is None
    assert any("too far apart" in said for said in bare.remarks)
    found = read_two_port(made.through(), length_m=20.0, velocity_factor=0.66)
    assert abs(found.delay_s.value / made.delay_s - 1) < 0.01


def test_a_length_that_outruns_light_is_not_believed():
    found = read_two_port(Made().through(), length_m=60.0)
    assert found.length_m is None
    assert found.velocity_factor is None
    assert found.delay_s.holds(Made().group_delay_s)
    (doubt,) = [h for h in found.health if h.check == "length"]
    assert "which no line has" in doubt.why


def test_an_amplifier_is_no_cable():
    network = Made(noise=0.0).line()
    network.s[:, 1, 0] *= 20.0
    found = read_two_port(sweep_of(network))
    assert {h.check for h in found.health if h.severity == "refuse"} >= {"reciprocity", "calibration"}


@pytest.mark.parametrize("reference_ohm", [50.0, 75.0])
def test_an_analyser_of_one_direction_is_enough(reference_ohm):
    made = Made(zc_ohm=75.0, k1_db=0.1)
    sweep = made.through()
    s = renormalise(sweep.s, 50.0, reference_ohm)
    s[:, 0, 1] = s[:, 1, 1] = 0
    found = read_two_port(replace(sweep, s=s, reference_ohm=np.full(2, reference_ohm + 0j)), at_hz=AT_HZ)
    assert all(abs(loss.value - made.loss_at(f)) < 0.02 for f, loss in _losses(found).items())
    assert found.impedance_ohm.holds(75.0)
    assert any("S12, S22" in said and "the same from both ends" in said for said in found.remarks)


def test_without_reflections_the_loss_says_what_it_is():
    sweep = Made().through()
    found = read_two_port(replace(sweep, s=sweep.s * [[0, 1], [1, 0]]), at_hz=AT_HZ)
    assert found.impedance_ohm is None
    assert any("still includes mismatch" in said for said in found.remarks)
    assert all(abs(loss.value - Made().loss_at(f)) < 0.02 for f, loss in _losses(found).items())


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"length_m": 0.0}, "above zero"),
        ({"length_m": float("nan")}, "above zero"),
        ({"velocity_factor": 66.0}, "between 0.2 and 1"),
        ({"at_hz": (-1.0,)}, "above zero"),
    ],
)
def test_what_cannot_be_is_refused(change, rule):
    with pytest.raises(InputError, match=rule):
        read_two_port(Made(points=51).through(), **change)


def test_too_few_points_one_port_and_numbers_that_are_none_are_refused():
    sweep = Made(points=51).through()
    with pytest.raises(InputError, match="16 points"):
        read_two_port(replace(sweep, frequency_hz=sweep.frequency_hz[:9], s=sweep.s[:9]))
    with pytest.raises(InputError, match="2 ports"):
        read_two_port(Made(points=51).ended(1.0))
    broken = sweep.s.copy()
    broken[7, 0, 0] = np.nan
    with pytest.raises(InputError, match="numbers only"):
        read_two_port(replace(sweep, s=broken))


def test_the_document_names_every_figure_with_its_interval():
    out = read_two_port(Made().through(), length_m=20.0, line=line_type("RG-58C/U")).to_dict()
    assert out["schema"] == "linewright/sweep-result/1"
    for name in ("k1_db", "k2_db", "impedance_ohm", "delay_s", "length_m", "velocity_factor", "k1_db_per_m"):
        assert out[f"{name}_low"] <= out[name] <= out[f"{name}_high"]
    assert {row["band"] for row in out["matched_loss_db"]} >= {"20 m", "2 m", "70 cm"}
    assert all(w["source"] for w in out["workings"])


@pytest.mark.parametrize("line", ["RG-213/U", None])
def test_a_sweep_becomes_a_belief_that_loses_what_the_sweep_saw(line):
    made = Made()
    found = read_two_port(made.through(), at_hz=AT_HZ)
    belief = law_belief(found, Piece("drum", 20.0, None if line is None else line_type(line)))
    draws = belief.loss_db(AT_HZ)
    for row, f in zip(draws, AT_HZ, strict=True):
        low, high = np.quantile(row, [0.025, 0.975])
        assert low < made.loss_at(f) < high
        assert abs(np.median(row) / made.loss_at(f) - 1) < 0.02


def test_a_belief_needs_a_law():
    sweep = Made().through()
    found = read_two_port(replace(sweep, s=sweep.s * [[1, 0], [0, 1]]))
    with pytest.raises(InputError, match="must have a law"):
        law_belief(found, Piece("drum", 20.0))


def test_the_same_sweep_always_gets_the_same_answer():
    assert read_two_port(Made().through()) == read_two_port(Made().through())


def test_an_unequally_spaced_sweep_is_read_as_well():
    f = np.geomspace(1e6, 500e6, 1201)
    base = Made(noise=0.0)
    frequency = skrf.Frequency.from_f(f, unit="Hz")
    gamma = base.loss_db(f) / 8.685889638 / 20 + 2j * np.pi * f / (0.66 * C_M_PER_S)
    network = skrf.media.DefinedGammaZ0(frequency, gamma=gamma, z0=52.0, z0_port=50.0).line(20.0, "m")
    found = read_two_port(sweep_of(network, noise=1e-4), at_hz=AT_HZ)
    assert abs(found.delay_s.value / base.delay_s - 1) < 1e-3
    assert all(abs(loss.value - base.loss_at(f)) < 0.02 for f, loss in _losses(found).items())


def test_what_was_given_back_for_reflections_is_believed_to_three_tenths():
    """Where a decibel was given back, the loss is unsure by 0.3 dB, alike at all frequencies, never below 0."""
    fitted = LawFit(None, np.full((4000, 3), 2.0), None)
    found = _unsure(fitted, np.array([0.0, 1.0, 2.0])).loss_db
    assert found.std(axis=0) == pytest.approx([0.0, 0.3, 0.6], rel=0.05)
    assert np.corrcoef(found[:, 1:].T)[0, 1] > 0.999
    assert _unsure(fitted, np.full(3, 60.0)).loss_db.min() == 0.0
