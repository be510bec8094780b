"""What a sweep may claim: lines that are whole, and cases in which something was claimed that was not there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evidence.made_sweeps import Made
from fault_worlds import _line, _product, _scattering, _series
from linewright.core.nouns.sweep import Sweep, SweepQuestion
from linewright.inference.sweep.along import Known, find_faults
from linewright.inference.sweep.resemblance import Measured, resembles
from linewright.verbs.sweep import read_sweep
from sweep_lines import draw

RG58 = (0.130, 0.028)
REF = np.full(2, 50.0 + 0j)


def _cascade(f: np.ndarray, *parts: tuple[float, float, float]) -> np.ndarray:
    """Return S of sections (ohm, velocity factor, metres) of RG-58 loss in a row, two ports in 50 ohm."""
    return _scattering(_product([_line(f, ohm, factor, RG58, long) for ohm, factor, long in parts]))


def _told(s: np.ndarray, f: np.ndarray, far: str = "through", **known: object) -> object:
    sweep = Sweep("made", f, s if far == "through" else s[:, :1, :1], REF if far == "through" else REF[:1])
    return read_sweep([sweep], [far], SweepQuestion(**known))


@pytest.mark.parametrize("family", ["coax 50", "coax 75", "balanced", "clad steel"])
@pytest.mark.parametrize("known", ["bare", "length"])
def test_a_whole_line_has_no_fault(family, known):
    world = draw(np.random.default_rng([120, len(family)]), family, "good")
    length = world.told_length_m if known == "length" else None
    report = read_sweep(world.files, world.far_end, SweepQuestion(length_m=length))
    assert report.along is None or report.along.faults == ()


def test_steps_too_wide_for_the_line_give_its_delay_and_loss_but_no_places():
    """Five faults at 0.38 to 0.76 m were told of an undersampled sweep of 30 feet, and its loss was not."""
    made = Made(length_m=9.144, velocity_factor=0.703, k1_db=0.5, k2_db=0.004, start_hz=1e6, stop_hz=2.4e9, points=101)
    report = read_sweep([made.through()], [], SweepQuestion(length_m=9.144))
    assert report.finding.delay_s.value == pytest.approx(43.4e-9, abs=0.2e-9)
    assert report.along is None
    assert "too wide" in report.along_why
    rows = {row.band: row.matched_loss_db for row in report.finding.losses}
    assert rows["2 m"].holds(made.loss_at(146e6))
    assert not any("No velocity factor is known" in remark for remark in report.remarks)


def test_a_load_of_50_ohm_on_a_line_of_75_is_no_step():
    f = np.linspace(1e6, 500e6, 801)
    s = _cascade(f, (75.0, 0.83, 20.0))
    report = _told(s, f, "load")
    assert report.along.faults == ()
    assert any(m.kind == "far end" for m in report.along.landmarks)


def test_a_line_of_450_ohm_swept_in_50_shows_its_far_end_once():
    """Thrown to and fro, the far end was taken for steps at every multiple, and the last of them for the end."""
    f = np.linspace(1e6, 300e6, 801)
    report = _told(_cascade(f, (450.0, 0.91, 12.0)), f)
    assert report.along.faults == ()
    assert report.along.end_delay_s == pytest.approx(12.0 / 0.91 / 299792458.0, rel=0.02)


@pytest.mark.parametrize(("sign", "kind"), [(1.0, "open"), (-1.0, "short")])
def test_a_break_is_not_placed_at_the_far_end(sign, kind):
    """A short at 23.08 m of 28.6 was told at 28.6: the length was taken for that of what was seen."""
    f = np.linspace(1e6, 500e6, 801)
    to, rest = (_cascade(f, (50.0, 0.66, long)) for long in (23.08, 5.52))
    s = np.repeat(1e-4 * np.exp(-2j * np.pi * f * 1e-9), 4).reshape(-1, 2, 2)
    for port, line in enumerate((to, rest)):
        s[:, port, port] = line[:, 0, 0] + sign * line[:, 0, 1] * line[:, 1, 0] / (1 - sign * line[:, 1, 1])
    report = _told(s, f, length_m=28.6)
    (fault,) = report.along.faults
    assert fault.kind == kind
    assert fault.low_m < 23.08 < fault.high_m
    assert fault.high_m - fault.low_m < 1.0
    assert report.finding.losses == ()
    assert "Next to nothing comes through" in report.verdict


def test_open_and_short_files_that_were_swapped_are_read_the_other_way_round():
    made = Made(length_m=10.0)
    right = read_sweep([made.ended(1.0), made.ended(-1.0)], ["open", "short"])
    swapped = read_sweep([made.ended(-1.0), made.ended(1.0)], ["open", "short"])
    assert swapped.finding.delay_s.value == pytest.approx(right.finding.delay_s.value, rel=1e-3)
    assert "they were swapped" in swapped.verdict
    assert "swapped" not in right.verdict


def test_swapped_files_of_a_sweep_far_from_zero_are_told_by_their_phase():
    made = Made(length_m=4.0, start_hz=200e6, stop_hz=1500e6)
    swapped = read_sweep([made.ended(-1.0), made.ended(1.0)], ["open", "short"])
    assert swapped.finding.delay_s.value == pytest.approx(made.group_delay_s, rel=0.01)
    assert "they were swapped" in swapped.verdict


def test_open_and_short_that_read_alike_are_a_broken_line():
    made = Made(length_m=10.0)
    report = read_sweep([made.ended(1.0), replace(made.ended(1.0, seed=5), name="b")], ["open", "short"])
    assert "reads alike" in report.verdict
    assert report.finding.losses == ()
    assert [f.kind for f in report.along.faults] == ["open"]


def test_a_wet_length_before_a_load_is_a_section_and_not_the_far_end():
    """0.8 m of wet line at half of 18 m, into a load: with a velocity factor its far edge was told as the far end."""
    f = np.linspace(1e6, 500e6, 801)
    report = _told(
        _cascade(f, (50.0, 0.66, 9.0), (41.0, 0.58, 0.8), (50.0, 0.66, 8.2)), f, "load", velocity_factor=0.66
    )
    (fault,) = report.along.faults
    assert fault.kind == "water"
    assert fault.distance_m == pytest.approx(9.0, abs=0.2)
    assert report.along.end_m is None or report.along.end_m > 12.0
    assert "cannot tell which" in fault.why


def test_a_loss_below_nothing_is_a_gain_in_words():
    """ "A loss of -0.76 dB ... a poor joint, a pad" was said of it."""
    sweep = Made(length_m=5.0, k1_db=0.05, k2_db=0.0003).through()
    louder = replace(sweep, s=sweep.s * np.array([[1.0, 1.09], [1.09, 1.0]]))
    report = read_sweep([louder])
    said = " ".join([report.verdict, *report.remarks])
    assert "gain" in said or "more than goes in" in said
    assert "poor joint" not in said
    assert "-0." not in report.verdict


def test_a_line_that_gains_throughout_has_no_law():
    sweep = Made(length_m=5.0, k1_db=0.01, k2_db=0.0001).through()
    report = read_sweep([replace(sweep, s=sweep.s * np.array([[1.0, 1.3], [1.3, 1.0]]))])
    assert report.finding.law is None
    assert report.finding.losses == ()


def test_a_pad_in_the_line_is_not_no_fault():
    """Both sweeps with the 20 dB attenuator said "No fault shows along it"."""
    sweep = Made().through()
    report = read_sweep([replace(sweep, s=sweep.s * np.array([[1.0, 0.1], [0.1, 1.0]]))])
    assert "No fault shows" not in report.verdict
    assert "at all frequencies alike" in report.verdict


def test_directions_of_which_one_lets_nothing_through_differ_in_words():
    """ "The two directions differ by up to 1.41e+299 %" was said."""
    sweep = Made(length_m=5.0).through()
    one_way = sweep.s.copy()
    one_way[:, 0, 1] = 1e-6 * np.exp(1j * np.arange(len(one_way)))
    report = read_sweep([replace(sweep, s=one_way)])
    assert "far more than the other way" in report.verdict
    assert "e+" not in " ".join([report.verdict, *report.remarks])


def test_no_impedance_along_a_line_is_negative():
    """ "changes to about -2 ohm" was said of a sweep that gives back more than goes in."""
    f = np.linspace(1e6, 500e6, 801)
    louder = 1.3 * _cascade(f, (50.0, 0.66, 9.0), (5.0, 0.66, 0.6), (50.0, 0.66, 9.0))
    found = find_faults(Sweep("made", f, louder, REF), "through", Known((0.66, 0.003)))
    assert all((fault.impedance_ohm or 1.0) > 0.0 for fault in found.faults)


def test_a_length_and_a_type_that_disagree_are_named_and_the_delay_stays():
    """The delay was hidden just when length and type disagreed; a table of losses stood over "that needs its loss"."""
    made = Made(length_m=9.5, velocity_factor=0.66, k1_db=0.45, k2_db=0.006)
    report = read_sweep([made.through()], [], SweepQuestion(length_m=6.78, line="RG-58C/U"))
    assert report.finding.delay_s.value == pytest.approx(made.group_delay_s, rel=1e-3)
    assert "the length or the type is not what was said" in report.verdict
    assert "9.5" in report.verdict
    assert "needs its loss" not in report.verdict


def test_a_velocity_factor_that_was_taken_is_in_the_sentence():
    """ "The line is 8.47 m long" was said on an assumed velocity factor."""
    made = Made(length_m=8.47, k1_db=0.4, k2_db=0.005)
    typed = read_sweep([made.through()], [], SweepQuestion(line="RG-58C/U"))
    assert "taking the velocity factor of RG-58C/U" in typed.verdict
    f = np.linspace(1e6, 500e6, 801)
    bare = _told(_cascade(f, (50.0, 0.66, 9.0), (75.0, 0.66, 2.0), (50.0, 0.66, 9.0)), f)
    assert bare.along.faults
    assert "take a velocity factor of 0.76" in bare.verdict


def test_a_line_on_a_wafer_is_of_no_type():
    """It was "worn RG-174/U, 2.4 times, 100 %" with 0.557 against 0.66 and a loss of 0.16 to 2.4 times its own."""
    law = 0.05, -1e-6
    found = resembles(Measured((law[0] * 30, 0.02), (0.0, 1e-4), (0.557, 0.03), (49.0, 2.0), valid_hz=(1e9, 60e9)))
    named = {r.line: r.probability for r in found if r.kind != "none of these"}
    assert max(named.values(), default=0.0) < 0.5


def test_another_impedance_is_another_type():
    """123 ohm measured, and a 50-ohm type was named at 100 %."""
    found = resembles(Measured((0.014, 0.001), (0.00013, 0.00002), (0.66, 0.01), (123.0, 2.0)))
    assert sum(r.probability for r in found if "RG-58" in r.line) < 0.1


def test_a_type_is_named_only_where_loss_velocity_and_impedance_agree():
    """The same loss and impedance at another velocity factor are not that type."""
    same = ((0.014, 0.0005), (0.00013, 0.00002))
    alike, apart = (resembles(Measured(*same, (factor, 0.004), (50.0, 1.0))) for factor in (0.66, 0.557))
    chance = [sum(r.probability for r in found if r.line == "RG-58C/U") for found in (alike, apart)]
    assert chance[0] > 0.3
    assert chance[1] < 0.1


def test_a_poor_joint_is_found_with_its_resistance_from_both_ends():
    f = np.linspace(1e6, 500e6, 801)
    parts = [_line(f, 50.0, 0.66, RG58, 12.0), _series(f, 8.0), _line(f, 50.0, 0.66, RG58, 9.0)]
    report = _told(_scattering(_product(parts)), f, length_m=21.0)
    (fault,) = report.along.faults
    assert fault.kind == "bad joint"
    assert fault.series_ohm == pytest.approx(8.0, rel=0.1)
    assert fault.low_m < 12.0 < fault.high_m
    assert fault.confidence > 0.95
