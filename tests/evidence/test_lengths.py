"""Electrical lengths: read to a tenth of a degree, trimmed as advised, cut for a purpose."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, permutations

import numpy as np
import pytest
import skrf

import linewright as lw
from evidence.made_sweeps import C_M_PER_S, Made
from linewright.core.errors import InputError
from linewright.core.formulas.lossy_line import input_impedance_ohm
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.cut import ElectricalLine
from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.core.nouns.sweep import Interval
from linewright.inference import lengths
from linewright.inference.sweep.one_port import read_one_port
from linewright.inference.sweep.phase import electrical_length
from linewright.verbs.cut import asked_of, over, plan_cut, resonant_line, typed_line
from linewright.verbs.swept_line import swept_factor, swept_line
from published.reader import agrees, checks, label

AT = (14.1e6, 145e6, 432e6)
FOOT_M = 0.3048


def true_deg(made: Made, at=AT):
    """What scikit-rf says the line is long."""
    return np.degrees(made.media(skrf.Frequency.from_f(np.array(at), unit="Hz")).gamma.imag * made.length_m)


MADE = {
    "short 75": Made(k1_db=0.05, zc_ohm=75.0, length_m=1.03),
    "usual 50": Made(length_m=20.0),
    "odd 52": Made(k1_db=0.4, zc_ohm=52.0, length_m=7.2, velocity_factor=0.8),
    "long and lossy": Made(k1_db=2.0, length_m=60.0),
    "undersampled": Made(k1_db=0.35, length_m=30.0, points=101),
}


@pytest.mark.parametrize("name", MADE)
def test_the_phase_of_a_line_is_read_to_a_tenth_of_a_degree(name):
    made = MADE[name]
    line = swept_line([made.through()], AT, asked=lw_question(made))
    assert np.degrees(line.phase_rad) == pytest.approx(true_deg(made), abs=0.1)


def test_the_phase_of_a_clean_sweep_is_as_sure_as_a_calibration_leaves_it():
    """0.003 rad on a phase, and planes that may stand 4 ps off: the first counts on 20 m, the second on 70 cm."""
    line = swept_line([Made(noise=0.0).through()], AT, asked=lw_question(MADE["usual 50"]))
    assert line.phase_u_rad == pytest.approx(np.hypot(0.003, 2 * np.pi * np.array(AT) * 4e-12), rel=0.03)


def lw_question(made, **more):
    from linewright.core.nouns.sweep import SweepQuestion

    return SweepQuestion(length_m=made.length_m, **more)


@pytest.mark.parametrize("name", ["short 75", "usual 50", "odd 52"])
def test_open_and_shorted_from_one_end_tell_the_same_phase(name):
    made = MADE[name]
    sweeps = {"open": made.ended(1), "short": made.ended(-1, seed=5)}
    finding = read_one_port(sweeps, length_m=made.length_m)
    found = electrical_length(sweeps, finding, AT, length_m=made.length_m)
    assert np.degrees(found.phase_rad) == pytest.approx(true_deg(made), abs=0.1)


@pytest.mark.parametrize("pair", [("usual 50", 20.03), ("short 75", 1.041), ("odd 52", 7.31)])
def test_two_lines_differ_as_scikit_rf_says(pair):
    one = MADE[pair[0]]
    other = replace(one, length_m=pair[1], k1_db=one.k1_db * pair[1] / one.length_m)
    lines = [swept_line([m.through(i)], AT, name=str(i), asked=lw_question(m)) for i, m in enumerate((one, other))]
    (found,) = plan_cut(lines, replace(over(AT), decides=1)).differences
    assert (found.longer, found.shorter) == ("1", "0")
    assert found.difference_deg == pytest.approx(true_deg(other)[1] - true_deg(one)[1], abs=0.1)
    assert found.difference_deg_low < found.difference_deg < found.difference_deg_high


def test_a_line_of_many_turns_is_in_step_with_a_short_one():
    one, other = Made(length_m=10.0, k1_db=0.15), Made(length_m=13.0, k1_db=0.2)
    lines = [swept_line([m.through()], [145e6], name=str(m.length_m), asked=lw_question(m)) for m in (one, other)]
    (found,) = plan_cut(lines, over([145e6])).differences
    assert abs(found.in_step_deg) <= 180.0
    assert (found.difference_deg - found.in_step_deg) % 360.0 == pytest.approx(0.0, abs=1e-6)


def taped(made, rng):
    """A length as a person measures it."""
    return made.length_m * (1 + 0.005 * rng.standard_normal()) + 0.01 * rng.standard_normal()


def test_trimming_as_advised_brings_two_lines_within_what_is_said():
    rng, inside, trims = np.random.default_rng(8), 0, 0
    for i in range(12):
        base = Made(k1_db=0.02 * rng.uniform(2, 9), zc_ohm=rng.uniform(48, 53), velocity_factor=rng.uniform(0.65, 0.86),
                    length_m=rng.uniform(2.0, 9.0), points=401, noise=3e-4)  # fmt: skip
        more = base.length_m + rng.uniform(0.02, 0.4)
        longer = replace(base, length_m=more, k1_db=base.k1_db * more / base.length_m)
        lines = [
            swept_line(
                [m.through(2 * i + j)], [145e6], name="ab"[j], asked=replace(lw_question(m), length_m=taped(m, rng))
            )
            for j, m in enumerate((base, longer))
        ]
        (found,) = plan_cut(lines, over([145e6])).differences
        assert found.longer == "b"
        cut = replace(longer, length_m=longer.length_m - found.trim_m)
        left = float(true_deg(cut, [145e6])[0] - true_deg(base, [145e6])[0])
        inside += abs(left) <= found.left_deg
        trims += found.trim_m_low <= more - base.length_m <= found.trim_m_high
    assert inside >= 11
    assert trims >= 11


@pytest.mark.parametrize(("to", "degrees", "length_m"), [("quarter wave", 90.0, 0.5), ("3/4 wave", 270.0, 1.2),
                                                        ("half wave", 180.0, 6.0)])  # fmt: skip
def test_a_line_cut_as_advised_has_the_wanted_length(to, degrees, length_m):
    made = Made(k1_db=0.02 * length_m, zc_ohm=75.0, length_m=length_m, noise=2e-4)
    line = swept_line([made.through()], [145e6], asked=lw_question(made))
    cut = plan_cut([line], asked_of([145e6], to=to)).cut
    assert cut.way == ("measure" if length_m > 2.4 * cut.length_m else cut.way)
    stays = cut.length_m if cut.way == "measure" else length_m - cut.trim_m
    after = true_deg(replace(made, length_m=stays, k1_db=made.k1_db * stays / length_m), [145e6])[0]
    assert abs(after - degrees) <= cut.left_deg
    assert cut.length_m_low <= degrees / 360 * made.velocity_factor * C_M_PER_S / 145e6 * 1.02
    assert (cut.first_m is None) == (cut.way == "measure")
    assert cut.first_m is None or cut.first_m <= cut.trim_m_low + 1e-9
    assert cut.tuned_hz_low < 145e6 < cut.tuned_hz_high


def test_a_phasing_line_is_longer_than_another_by_so_many_degrees():
    one, other = Made(length_m=12.0, k1_db=0.2), Made(length_m=6.0, k1_db=0.1)
    lines = [swept_line([m.through()], [14.1e6], name=n, asked=lw_question(m)) for n, m in (("a", one), ("b", other))]
    cut = plan_cut(lines, asked_of([14.1e6], to="90 deg", beyond="b")).cut
    stays = 12.0 - cut.trim_m
    left = replace(one, length_m=stays, k1_db=one.k1_db * stays / 12.0)
    assert true_deg(left, [14.1e6])[0] - true_deg(other, [14.1e6])[0] == pytest.approx(90.0, abs=cut.left_deg)
    with pytest.raises(InputError, match="another of the pieces"):
        plan_cut(lines, asked_of([14.1e6], to="90 deg", beyond="c"))


def test_what_is_too_short_says_how_much_is_missing():
    made = Made(length_m=3.0, k1_db=0.05)
    result = plan_cut(
        [swept_line([made.through()], [14.1e6], asked=lw_question(made))], asked_of([14.1e6], to="90 deg")
    )
    missing = 3.0 * (90.0 / true_deg(made, [14.1e6])[0] - 1.0)
    assert result.cut.way == "too short"
    assert -result.cut.trim_m == pytest.approx(missing, rel=0.02)
    assert " mm too short for " in result.verdict


# Velocity factor and ends


def piece(name, length_m, delay_s, rng=None, **more):
    omega = 2 * np.pi * 145e6
    u = 0.005
    off = 0.0 if rng is None else u * rng.standard_normal()
    return ElectricalLine(name, "swept", np.array([145e6]), np.array([omega * delay_s + off]), np.array([u]), length_m,
                          **{"line": lw.line_type("RG-58C/U"), **more})  # fmt: skip


def test_two_lengths_tell_velocity_factor_and_ends_apart():
    end_s = 40e-12
    lines = [piece(str(m), m, m / (0.659 * C_M_PER_S) + 2 * end_s) for m in (0.5, 25.0)]
    (slow,) = lengths.slowness(lines, 0).values()
    alone = lengths.slowness(lines[:1], 0)["RG-58C/U"]
    assert 1 / (slow.per_m_s * C_M_PER_S) == pytest.approx(0.659, rel=0.004)
    assert abs(slow.end_s - end_s) < 2.0 * slow.end_u_s
    assert slow.per_m_u_s < 0.5 * alone.per_m_u_s


def test_velocity_factors_and_ends_are_as_doubtful_as_they_say():
    rng, factor, ends = np.random.default_rng(3), [], []
    for _ in range(400):
        v, end_s = 0.66 * (1 + 0.013 * rng.standard_normal()), 0.012 * rng.standard_normal() / C_M_PER_S
        lines = []
        for i, m in enumerate(rng.uniform(0.3, 12.0, 3)):
            tape = m * (1 + 0.005 * rng.standard_normal()) + 0.01 * rng.standard_normal()
            lines.append(piece(str(i), tape, m / (v * C_M_PER_S) + 2 * end_s, rng))
        (slow,) = lengths.slowness(lines, 0).values()
        factor.append((slow.per_m_s - 1 / (v * C_M_PER_S)) / slow.per_m_u_s)
        ends.append((slow.end_s - end_s) / slow.end_u_s)
    assert 0.9 < np.std(factor) < 1.1  # fails when the tape, the type or the connector is trusted 15 % more or less
    assert 0.9 < np.std(ends) < 1.1


def test_a_line_that_nobody_measured_is_as_long_as_tape_type_and_connectors_say():
    """By hand: half a percent and 1 cm of tape, 12 mm of line in air for each connector, all in metres of the line."""
    factor, factor_u = 0.66, 0.0086
    phase, u = lengths.by_type(10.0, 2, (factor, factor_u), [14.1e6, 145e6])
    per_m = 2 * np.pi * np.array([14.1e6, 145e6]) / (factor * C_M_PER_S)
    doubts_m = [10.0 * factor_u / factor, 10.0 * 0.005, 0.01, np.sqrt(2) * 0.012 * factor]
    assert phase == pytest.approx(10.0 * per_m)
    assert u == pytest.approx(np.linalg.norm(doubts_m) * per_m)


@pytest.mark.parametrize(("purpose", "connectors", "left"), [("line", 0, 0), ("line", 2, 2), ("line", 3, 2),
                                                            ("open stub", 2, 1), ("short stub", 1, 1)])  # fmt: skip
def test_what_stays_of_a_cut_line_keeps_both_its_connectors_and_a_stub_one(purpose, connectors, left):
    """``l = (θ/ω - n ε)/(1/(v c)) - end``, a connector of 30 ps and an end of 1 mm."""
    per_m, end_s, omega = 1 / (0.66 * C_M_PER_S), 30e-12, 2 * np.pi * 145e6
    slow = lengths.Slowness(per_m, end_s, np.diag([(0.01 * per_m) ** 2, (5e-12) ** 2]))
    kept, u = lengths._stays(np.pi, 0.002, slow, omega, (purpose, connectors, 0.001, 0.0005))
    assert kept == pytest.approx((np.pi / omega - left * end_s) / per_m - 0.001)
    doubts_m = [0.01 * kept, left * 5e-12 / per_m, 0.0005, 0.002 / omega / per_m]
    assert u == pytest.approx(np.linalg.norm(doubts_m))


def test_a_cut_is_off_by_the_phase_the_velocity_factor_the_saw_and_the_connector_fitted_again():
    slow = lengths.Slowness(1 / (0.66 * C_M_PER_S), 0.0, np.diag([(0.01 / (0.66 * C_M_PER_S)) ** 2, 0.0]))
    line = piece("p", 2.0, 2.0 / (0.66 * C_M_PER_S))
    per_m = 2 * np.pi * 145e6 / (0.66 * C_M_PER_S)
    off = np.linalg.norm([0.02, 0.3 * 0.01, 0.001 * per_m, 0.002 * per_m])
    assert lengths._left_deg(0.3, 0.02, line, slow, 0) == pytest.approx(np.degrees(1.959964 * off))


# Sets


def test_the_sets_proposed_need_the_least_trimming():
    rng = np.random.default_rng(5)
    for count in (4, 5, 6, 7):
        lines = [piece(f"p{i}", m, m / (0.66 * C_M_PER_S)) for i, m in enumerate(rng.uniform(5, 7, count))]
        slow = lengths.slowness(lines, 0)
        sets, spare = lengths.matched_sets(lines, 2, slow, 0)
        mine = sum(s.spread_deg for s in sets)
        phase = {x.name: float(np.degrees(x.phase_rad[0])) for x in lines}
        best = min(
            sum(abs(phase[a] - phase[b]) for a, b in zip(order[::2], order[1::2], strict=True))
            for chosen in combinations(phase, count // 2 * 2)
            for order in permutations(chosen)
        )
        assert mine == pytest.approx(best)
        assert len(spare) == count % 2
        assert sorted([*spare, *(n for s in sets for n in s.pieces)]) == sorted(phase)


# What a cut line does


def test_a_stub_takes_what_scikit_rf_says():
    made = Made(k1_db=0.05, k2_db=0.0005, length_m=3.6, noise=0.0)
    line = swept_line([made.through()], [14.1e6], asked=lw_question(made))
    result = plan_cut([line], asked_of([14.1e6], to="quarter wave", stub="open"))
    stays = result.cut.target_deg / true_deg(made, [14.1e6])[0] * made.length_m
    f = skrf.Frequency.from_f(np.array([x.frequency_hz for x in result.cut.stub]), unit="Hz")
    media = made.media(f)
    open_end = skrf.Network(frequency=f, s=np.ones((len(f), 1, 1)), z0=50.0)
    hung = media.line(stays, "m") ** open_end
    tee = skrf.media.DefinedGammaZ0(f, z0=50.0).shunt(hung)
    for x, s21 in zip(result.cut.stub, tee.s[:, 1, 0], strict=True):
        true = -20 * np.log10(abs(s21))
        assert x.loss_db_low - 0.02 <= true <= x.loss_db_high + 0.02
    assert max(result.cut.stub, key=lambda x: x.loss_db).frequency_hz in (14.1e6, 42.3e6)


def test_a_quarter_wave_makes_of_a_load_what_scikit_rf_says():
    made = Made(k1_db=0.008, k2_db=0.0, zc_ohm=75.0, length_m=0.5, noise=0.0)
    line = swept_line([made.through()], [145e6], asked=lw_question(made))
    cut = plan_cut([line], asked_of([145e6], to="quarter wave", load="50 ohm", side_by_side=2)).cut
    f = skrf.Frequency.from_f(np.array([145e6]), unit="Hz")
    stays = 90.0 / true_deg(made, [145e6])[0] * made.length_m
    load = skrf.Network(frequency=f, s=np.zeros((1, 1, 1)), z0=50.0)
    z = (made.media(f).line(stays, "m") ** load).z[0, 0, 0]
    t = cut.transformed
    assert t.resistance_ohm == pytest.approx(z.real / 2, rel=0.01)
    assert t.reactance_ohm_low <= z.imag / 2 <= t.reactance_ohm_high
    assert t.swr_low <= t.swr <= t.swr_high


FUNCTIONS = {
    "length_m": lambda i: length_m(i["degrees"], i["velocity_factor"], i["frequency_hz"]),
    "length_ft": lambda i: length_m(i["degrees"], i["velocity_factor"], i["frequency_hz"]) / FOOT_M,
    "length_in": lambda i: length_m(i["degrees"], i["velocity_factor"], i["frequency_hz"]) / FOOT_M * 12,
    "transformed_ohm": lambda i: input_impedance_ohm(i["load_ohm"], i["line_ohm"], 1j * np.radians(i["degrees"])).real,
    "stub_resistance_ohm": lambda i: stub_ohm(i["line"], i["frequency_hz"], i["degrees"]),
}


def length_m(degrees, factor, frequency_hz):
    """What the verb says of a line that nobody swept, its ends left out."""
    kind = replace(lw.line_type("RG-213/U"), velocity_factor=factor)
    line = typed_line("drum", kind, 5.0 * factor * C_M_PER_S / frequency_hz, [frequency_hz], connectors=0)
    return plan_cut([line], replace(over([frequency_hz]), target_deg=degrees)).cut.length_m


def stub_ohm(line, frequency_hz, degrees):
    kind = lw.line_type(line)
    long_m = degrees / 360 * kind.velocity_factor * C_M_PER_S / frequency_hz
    nepers = float(kind.law.db_per_m(frequency_hz)) * long_m / 8.685889638
    return abs(input_impedance_ohm(0.0, kind.impedance_ohm, nepers + 1j * np.radians(degrees)))


@pytest.mark.parametrize("check", checks("cut"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


# One end, type and tape


def one_end(*readings, line="RG-58C/U", length=7.2):
    kind = lw.line_type(line)
    rows = tuple(OneEndReading(i, end, f, "resistance_ohm", ohm) for i, (end, f, ohm) in enumerate(readings, 1))
    return OneEndTest(rows, line=kind, length_m=length), Piece("a", length, kind)


def test_a_resonance_tells_the_electrical_length():
    true_s = 7.2 / (0.651 * C_M_PER_S)
    found = resonant_line(*one_end(("open", 3 / (4 * true_s), 4.0), ("short", 2 / (4 * true_s), 3.0)), [20e6])
    assert found.basis == "resonance"
    assert np.degrees(found.phase_rad[0]) == pytest.approx(360 * 20e6 * true_s, rel=0.004)
    assert found.phase_u_rad[0] < typed_line("a", lw.line_type("RG-58C/U"), 7.2, [20e6]).phase_u_rad[0]


def test_a_resonance_that_fits_two_counts_tells_nothing():
    f = 42.0 / (4 * 7.2 / (0.66 * C_M_PER_S))
    test, its = one_end(("open", f, 4.0))
    assert resonant_line(test, its, [145e6]) is None
    unknown = replace(its, line=None)
    assert resonant_line(test, unknown, [145e6]) is None


def test_a_tape_measure_does_not_tell_unswept_lines_apart():
    lines = [typed_line(n, lw.line_type("RG-58C/U"), m, [145e6]) for n, m in (("a", 7.20), ("b", 7.23))]
    result = plan_cut(lines, over([145e6]))
    assert not result.differences[0].told
    assert "Trim nothing" in result.verdict
    assert any("No measurement gives" in r for r in result.remarks)


def test_what_cannot_be_asked_is_refused_in_words():
    line = typed_line("a", lw.line_type("RG-58C/U"), 7.2, [145e6])
    for asked, words in (
        (over([145e6]), "two or more"),
        (replace(over([145e6]), set_of=2, target_deg=None), "two or more"),
        (asked_of([145e6], load="50 ohm"), "two or more"),
        (asked_of([145e6], to="quarter wave", stub="open", load="50 ohm"), "no load"),
    ):
        with pytest.raises(InputError, match=words):
            plan_cut([line], asked)
    with pytest.raises(InputError, match="by a frequency or by a band"):
        over()
    with pytest.raises(InputError, match="stands twice"):
        plan_cut([line, line], over([145e6]))
    with pytest.raises(InputError, match="sets of"):
        asked_of([145e6], to="90 deg", sets_of=2)


def test_a_sweep_too_coarse_for_its_line_tells_no_phase():
    made = Made(length_m=30.0, k1_db=0.19, k2_db=0.0021, start_hz=100e6, points=41)
    with pytest.raises(InputError, match="delay"):
        swept_line([made.through()], [145e6])


def test_a_swept_velocity_factor_is_that_of_the_sweep():
    made = Made(length_m=10.0, k1_db=0.2, velocity_factor=0.70)
    its = Piece("a", 10.0, lw.line_type("RG-58C/U"))
    assert swept_factor(its, [("through", made.through())]) == pytest.approx(0.70, rel=0.005)
    assert swept_factor(its, []) is None


def test_a_measured_impedance_goes_with_the_line():
    line = swept_line([MADE["short 75"].through()], [145e6], asked=lw_question(MADE["short 75"]))
    assert isinstance(line.impedance_ohm, Interval)
    assert line.impedance_ohm.value == pytest.approx(75.0, rel=0.02)
