"""What a sweep may claim: lines that are whole, and cases in which something was claimed that was not there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evidence.made_sweeps import Made
from fault_worlds import _line, _product, _scattering, _series
from linewright.core.nouns.sweep import Sweep, SweepQuestion
from linewright.inference.sweep.along import Known, find_faults
from linewright.inference.sweep.echoes import Echo
from linewright.inference.sweep.faults import ghost
from linewright.inference.sweep.line_end import look
from linewright.inference.sweep.resemblance import Measured, resembles
from linewright.verbs.sweep import read_sweep
from sweep_lines import draw

RG58 = (0.130, 0.028)
F_BEHIND = np.linspace(1e6, 900e6, 517)
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


def test_steps_too_wide_for_the_line_give_its_delay_and_loss_and_no_folded_places():
    """Five faults at 0.38 to 0.76 m were told of an undersampled sweep of 30 feet, and its loss was not."""
    made = Made(length_m=9.144, velocity_factor=0.703, k1_db=0.5, k2_db=0.004, start_hz=1e6, stop_hz=2.4e9, points=101)
    report = read_sweep([made.through()], [], SweepQuestion(length_m=9.144))
    assert report.finding.delay_s.value == pytest.approx(43.4e-9, abs=0.2e-9)
    assert report.along.faults == ()
    assert any("are too wide for so long a line" in remark for remark in report.remarks)
    bare = read_sweep([made.through()])
    assert bare.along is None
    assert "too wide" in bare.along_why
    rows = {row.band: row.matched_loss_db for row in report.finding.losses}
    assert rows["2 m"].holds(made.loss_at(146e6))
    assert not any("The velocity factor is not known" in remark for remark in report.remarks)
    unfolded = [r for r in report.remarks if "the one that agrees with the length given, 9.144 m" in r]
    assert unfolded
    assert f"{1e9 * report.finding.delay_s.value:.2f} ns" in unfolded[0]


def test_a_delay_that_the_sweep_tells_by_itself_is_not_said_to_be_unfolded():
    report = read_sweep([Made(length_m=9.144, points=401).through()], [], SweepQuestion(length_m=9.144))
    assert not any("agrees with the length given" in remark for remark in report.remarks)


@pytest.mark.parametrize("far", ["through", "open", "load"])
@pytest.mark.parametrize("known", ["bare", "length"])
def test_a_new_cable_of_30_m_has_no_pinch(far, known):
    """Two of 4.8 and 3.5 % were told at 99 % of one, where an independent look shows nothing above 1 %."""
    f = np.linspace(1e6, 1e9, 1601)
    plug = _line(f, 36.0, 0.7, RG58, 0.03)
    s = _scattering(_product([plug, _line(f, 50.6, 0.66, RG58, 30.0), plug]))
    if far == "open":
        s = (s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] / (1 - s[:, 1, 1]))[:, None, None]
    bent = 0.004 * np.exp(2j * np.pi * f * 8e-9)
    report = _told(s + bent[:, None, None], f, far, **({"length_m": 30.0} if known == "length" else {}))
    assert report.along.faults == ()


@pytest.mark.parametrize("end", ["open", "short", "load"])
@pytest.mark.parametrize(("start", "stop", "points"), [(1e6, 30e6, 1001), (144e6, 176e6, 401), (1e6, 60e6, 201)])
def test_a_ghost_is_no_far_end_of_a_short_line_or_a_narrow_sweep(end, start, stop, points):
    """Of 1.37 m of line a far end was told at 1,655 m."""
    f = np.linspace(start, stop, points)
    noise = np.random.default_rng(7).normal(size=(points, 2)) @ np.array([1.0, 1j]) * 3e-4
    s = _cascade(f, (50.0, 0.66, 1.37))
    far = {"open": 1.0, "short": -1.0, "load": 0.01}[end]
    seen = s[:, 0, 0] + far * s[:, 0, 1] * s[:, 1, 0] / (1 - far * s[:, 1, 1]) + noise
    report = _told((seen + 0.004 * np.exp(4j * np.pi * f * 3e-9))[:, None, None], f, end)
    assert report.along is None or report.along.end_m is None or report.along.end_m < 5.0


@pytest.mark.parametrize(("factor", "looked"), [(None, False), (0.9, True)])
def test_a_stated_length_whose_delay_nothing_tells_is_taken_for_a_slow_line(factor, looked):
    """A load tells no delay: at 0.9 of light 12 m fit these steps, in solid polyethylene they would fold."""
    f = np.linspace(1e6, 1001e6, 101)
    s = _cascade(f, (50.0, 0.9, 12.0))
    report = _told(s, f, "load", length_m=12.0, **({"velocity_factor": factor} if factor else {}))
    assert (report.along is not None) is looked


def test_a_load_of_50_ohm_on_a_line_of_75_is_no_step():
    f = np.linspace(1e6, 500e6, 801)
    s = _cascade(f, (75.0, 0.83, 20.0))
    report = _told(s, f, "load")
    assert report.along.faults == ()
    assert any(m.kind == "far end" for m in report.along.landmarks)


def test_a_load_that_ends_a_line_of_another_impedance_is_its_far_end_and_no_step():
    """Behind 0.11 m of 41 ohm a load of 50 was told as a step at 99 %, for something smaller shows still later."""
    f = np.linspace(45e6, 6e9, 401)
    s = _cascade(f, (41.0, 0.53, 0.115))
    report = _told(s + 0.006 * np.exp(-2j * np.pi * f * 2.5e-9)[:, None, None], f, "load")
    assert report.along.faults == ()
    assert report.along.end_delay_s == pytest.approx(0.115 / 0.53 / 299792458.0, rel=0.02)


def test_a_load_behind_adapters_is_one_far_end_of_several_echoes():
    """The load of 3.4 m of sound line was told as a gap at 0.7: the last of its echoes was taken for the end."""
    world = draw(np.random.default_rng([108, 3, 3, 7, 0]), "clad steel", "drifted")
    assert world.far_end == ("load",)
    report = read_sweep(world.files, world.far_end)
    assert report.along.faults == ()
    assert report.along.end_delay_s == pytest.approx(world.truth.delay_s, rel=0.1)


@pytest.mark.parametrize(("later", "faults"), [(0.18, 0), (0.36, 1)])
def test_what_follows_the_load_by_much_is_no_going_to_and_fro(later, faults):
    """As much again beyond what seems to be the load makes a section of it, and the far end stands further out."""
    f = np.linspace(1e6, 1e9, 801)
    size = (50.0 - 41.0) / (50.0 + 41.0)
    s = _cascade(f, (41.0, 0.66, 1.5))[:, 0, 0] + later * size * np.exp(-4j * np.pi * f * 12e-9)
    report = _told(s[:, None, None], f, "load")
    assert len(report.along.faults) == faults


@pytest.mark.parametrize(("far_ohm", "faults"), [(53.0, 0), (56.5, 1)])
def test_an_end_is_a_load_where_it_reflects_what_a_load_would(far_ohm, faults):
    f = np.linspace(1e6, 1e9, 801)
    s, far = _cascade(f, (41.0, 0.66, 1.5)), (far_ohm - 50.0) / (far_ohm + 50.0)
    seen = s[:, 0, 0] + far * s[:, 0, 1] * s[:, 1, 0] / (1 - far * s[:, 1, 1])
    report = _told((seen + 0.02 * np.exp(-4j * np.pi * f * 12e-9))[:, None, None], f, "load")
    assert len(report.along.faults) == faults


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


@pytest.mark.parametrize(
    ("family", "quality", "key"),
    [("coax 50", "bent cable", [110, 0, 4, 5, 0]), ("coax 50", "good", [7102, 0, 1, 5, 0]),
     ("coax 75", "cheap", [7108, 1, 2, 5, 0])],
)  # fmt: skip
def test_the_length_of_a_line_that_is_shorted_halfway_does_not_tell_its_delay(family, quality, key):
    """Its length was taken for that of the part, the delay for one several turns later, and no place was given."""
    world = draw(np.random.default_rng(key), family, quality, "short")
    assert world.far_end == ("open",)
    truth = world.truth
    report = read_sweep(world.files, world.far_end, SweepQuestion(length_m=world.told_length_m))
    (fault,) = report.along.faults
    assert fault.kind == "short"
    part_s = truth.delay_s * truth.damage.at_m / truth.length_m
    assert report.along.end_delay_s == pytest.approx(part_s, rel=0.05)
    assert report.finding.velocity_factor is None


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
    assert "it reads the same" in report.verdict
    assert report.finding.losses == ()
    assert [f.kind for f in report.along.faults] == ["open"]


def test_a_wet_length_before_a_load_is_a_section_and_not_the_far_end():
    """0.8 m of wet line at half of 18 m, into a load: with a velocity factor its far edge was told as the far end."""
    f = np.linspace(1e6, 500e6, 801)
    report = _told(
        _cascade(f, (50.0, 0.66, 9.0), (41.0, 0.58, 0.8), (50.0, 0.66, 8.2)), f, "load", velocity_factor=0.66
    )
    (fault,) = report.along.faults
    assert fault.kind in ("water", "section")
    assert fault.distance_m == pytest.approx(9.0, abs=0.2)
    assert report.along.end_m is None or report.along.end_m > 12.0


def test_a_wet_length_stands_at_its_place_once_the_length_is_given_too():
    f = np.linspace(1e6, 500e6, 801)
    wet = _cascade(f, (50.0, 0.66, 9.0), (41.0, 0.58, 0.8), (50.0, 0.66, 8.2))
    (fault,) = _told(wet, f, "load", velocity_factor=0.66, length_m=18.0).along.faults
    assert fault.low_m < 9.0 < fault.high_m
    assert fault.length_m == pytest.approx(0.8, abs=0.25)


# Water and other line: they differ in what they lose, and in that line is made in few impedances


def _let_in(ohm, times, long, far="through", own=75.0):
    """Return what is told of a section of another impedance that loses so many times what the line does."""
    f = np.linspace(1e6, 900e6, 1601)
    inside = tuple(times * x for x in RG58)
    parts = [_line(f, own, 0.66, RG58, 8.0), _line(f, ohm, 0.6, inside, long), _line(f, own, 0.66, RG58, 7.0)]
    s = _scattering(_product(parts))
    rng = np.random.default_rng(3)
    noisy = s + 3e-4 * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape))
    return _told(noisy, f, far, length_m=15.0 + long).along.faults


def test_water_is_told_by_what_it_loses():
    (fault,) = _let_in(62.0, 5.0, 3.0)
    assert fault.kind == "water"
    assert "loses more than the line does" in fault.why


def test_water_is_told_where_no_line_has_such_an_impedance():
    (fault,) = _let_in(44.0, 2.0, 0.8, own=50.0)
    assert fault.kind == "water"
    assert "no usual line" in fault.why


def test_other_line_is_told_by_its_impedance_and_its_loss():
    (fault,) = _let_in(50.0, 1.0, 3.0)
    assert fault.kind == "insert"
    assert "Water would lose more" in fault.why


def test_what_the_sweep_cannot_tell_apart_is_said_to_be_so():
    (fault,) = _let_in(62.0, 1.5, 0.5)
    assert fault.kind == "section"
    assert "cannot tell which" in fault.why


# The connector at the far end


def _plugged(far_ohm, far_m, series=0.0, stop_hz=900e6):
    f = np.linspace(1e6, stop_hz, 801)
    plug = _line(f, 38.0, 0.7, RG58, 0.03)
    bad = [_line(f, far_ohm, 0.7, RG58, far_m), _series(f, series)] if far_m else []
    return _told(_scattering(_product([plug, _line(f, 50.0, 0.66, RG58, 14.0), *bad, plug])), f, length_m=14.0)


def test_a_poor_connector_at_the_far_end_is_found():
    (fault,) = _plugged(22.0, 0.04).along.faults
    assert fault.kind == "bad joint"
    assert fault.low_m < 14.0 < fault.high_m + 0.05
    assert "connector at the far end" in fault.why


def test_resistance_in_series_at_the_far_end_is_told():
    (fault,) = _plugged(50.0, 0.01, series=8.0).along.faults
    assert fault.kind == "bad joint"


@pytest.mark.parametrize("stop_hz", [300e6, 900e6, 3e9])
def test_a_connector_in_order_is_no_fault(stop_hz):
    assert _plugged(50.0, 0.0, stop_hz=stop_hz).along.faults == ()


def test_a_loss_below_nothing_is_a_gain_in_words():
    """ "A loss of -0.76 dB ... a poor joint, a pad" was said of it."""
    sweep = Made(length_m=5.0, k1_db=0.05, k2_db=0.0003).through()
    louder = replace(sweep, s=sweep.s * np.array([[1.0, 1.09], [1.09, 1.0]]))
    report = read_sweep([louder])
    said = " ".join([report.verdict, *report.remarks])
    assert "gain" in said or "than goes in" in said
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
    assert "the same at all frequencies" in report.verdict


def test_directions_of_which_one_lets_nothing_through_differ_in_words():
    """ "The two directions differ by up to 1.41e+299 %" was said."""
    sweep = Made(length_m=5.0).through()
    one_way = sweep.s.copy()
    one_way[:, 0, 1] = 1e-6 * np.exp(1j * np.arange(len(one_way)))
    report = read_sweep([replace(sweep, s=one_way)])
    assert "Far more comes through one way than the other" in report.verdict
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
    assert "the length or the type is not as stated" in report.verdict
    assert f"a delay of {1e9 * report.finding.delay_s.value:.2f} ns" in report.verdict
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
    assert "assume a velocity factor of 0.76" in bare.verdict


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


# Breaks that are near, and joints that a loss speaks for


def _ended(f, far, *parts):
    """Return the reflection of sections in a row with an end that throws back ``far`` of the wave."""
    s = _cascade(f, *parts)
    return (s[:, 0, 0] + far * s[:, 0, 1] * s[:, 1, 0] / (1 - far * s[:, 1, 1]))[:, None, None]


@pytest.mark.parametrize(("far", "kind"), [(1.0, "open"), (-1.0, "short")])
def test_a_break_is_told_where_little_line_is_left_before_it(far, kind):
    """Of a line shorted at 3 m of 6 only that it is too short for the sweep was told."""
    f = np.linspace(1e6, 300e6, 201)
    report = _told(_ended(f, far, (50.0, 0.78, 3.0)), f, "load", length_m=6.0)
    (fault,) = report.along.faults
    assert fault.kind == kind
    assert fault.low_m < 3.0 < fault.high_m
    assert any("cannot be found" in remark for remark in report.remarks)


@pytest.mark.parametrize(("far", "kind"), [(1.0, "open"), (-1.0, "short")])
def test_a_break_next_to_the_near_end_is_told(far, kind):
    f = np.linspace(1e6, 300e6, 201)
    to = _ended(f, far, (50.0, 0.84, 0.6))[:, 0, 0]
    s = np.repeat(1e-4 * np.exp(-2j * np.pi * f * 1e-9), 4).reshape(-1, 2, 2)
    s[:, 0, 0], s[:, 1, 1] = to, _ended(f, far, (50.0, 0.84, 2.4))[:, 0, 0]
    (fault,) = _told(s, f, length_m=3.0).along.faults
    assert fault.kind == kind
    assert fault.low_m < 0.6 < fault.high_m + 0.1


def test_a_short_taken_for_an_open_is_told_by_its_phase():
    """Swept far from zero, a delay of 450 ns was told of a line of 4 m."""
    made = Made(length_m=4.0, k1_db=0.05, k2_db=0.0004, start_hz=45e6, stop_hz=500e6, points=201)
    report = read_sweep([made.ended(-1.0)], ["open"], SweepQuestion(length_m=6.0))
    assert report.finding.delay_s.value == pytest.approx(made.group_delay_s, rel=0.01)
    assert "stated as open, but it reads as short" in report.verdict


@pytest.mark.parametrize("far", ["open", "short"])
def test_a_far_end_that_is_what_was_said_far_from_zero_is_not_doubted(far):
    made = Made(length_m=4.0, k1_db=0.05, k2_db=0.0004, start_hz=45e6, stop_hz=500e6, points=201)
    report = read_sweep([made.ended(1.0 if far == "open" else -1.0)], [far], SweepQuestion(length_m=4.0))
    assert "reads as" not in report.verdict


def test_a_joint_too_small_to_be_told_alone_is_told_where_the_loss_speaks_for_it():
    f = np.linspace(1e6, 500e6, 801)
    parts = [_line(f, 50.0, 0.66, RG58, 12.0), _series(f, 2.6), _line(f, 50.0, 0.66, RG58, 9.0)]
    s = _scattering(_product(parts))
    noise = np.random.default_rng(2).normal(size=(*s.shape, 2)) @ np.array([1.0, 1j]) * 1e-3
    sweep = Sweep("made", f, s + noise, REF)
    known = Known((0.66, 0.003), (21.0, 0.1), 50.0)
    alone, witnessed = (
        find_faults(sweep, "through", replace(known, constant_db=db)).faults for db in (0.0, 0.223)
    )  # fmt: skip
    assert all(fault.confidence < 0.97 for fault in alone)
    (joint,) = witnessed
    assert joint.low_m < 12.0 < joint.high_m
    assert not alone or joint.confidence > alone[0].confidence


def test_resistance_at_the_far_connector_shows_from_one_end_by_its_loss():
    f = np.linspace(1e6, 500e6, 801)
    parts = [_line(f, 50.0, 0.66, RG58, 12.0), _series(f, 6.0)]
    s = _scattering(_product(parts))
    ends = [s[:, 0, 0] + far * s[:, 0, 1] * s[:, 1, 0] / (1 - far * s[:, 1, 1]) for far in (1.0, -1.0)]
    sweeps = [Sweep(name, f, x[:, None, None], REF[:1]) for name, x in zip(("o", "s"), ends, strict=True)]
    (joint,) = read_sweep(sweeps, ["open", "short"], SweepQuestion(length_m=12.0)).along.faults
    assert joint.kind == "bad joint"
    assert joint.series_ohm == pytest.approx(6.0, rel=0.3)
    assert joint.low_m < 12.0 < joint.high_m + 0.05


@pytest.mark.parametrize("long_m", [1.4, 4.0])
def test_a_joint_on_a_short_line_is_told_although_it_loses_much_within_a_wavelength(long_m):
    """Of 18 ohm in 4 m it was only told that a film would lose as much: the joint's loss was taken for the line's."""
    f = np.linspace(1e6, 500e6 * 4.0 / long_m, 401)
    parts = [_line(f, 50.0, 0.88, RG58, 0.67 * long_m), _series(f, 18.0), _line(f, 50.0, 0.88, RG58, 0.33 * long_m)]
    report = _told(_scattering(_product(parts)), f, length_m=long_m)
    (joint,) = report.along.faults
    assert joint.kind == "bad joint"
    assert joint.series_ohm == pytest.approx(18.0, rel=0.1)
    assert joint.low_m < 0.67 * long_m < joint.high_m


def test_a_loss_alike_at_all_frequencies_that_no_joint_makes_is_still_that_of_a_film():
    f = np.linspace(1e6, 500e6, 401)
    s = _cascade(f, (50.0, 0.88, 4.0))
    report = _told(s * np.array([[1.0, 0.86], [0.86, 1.0]]), f, length_m=4.0)
    assert report.along is None
    assert "within a wavelength" in report.along_why


def test_what_is_of_no_clear_shape_is_a_fault_where_the_loss_speaks_for_it():
    """16 ohm in 75-ohm line, swept open and shorted in steps of 2.5 MHz: its echo was called unevenness."""
    world = draw(np.random.default_rng([120, 1, 4, 0, 0]), "coax 75", "bent cable", "joint")
    (fault,) = read_sweep(world.files, world.far_end, SweepQuestion(length_m=world.told_length_m)).along.faults
    assert fault.low_m < world.truth.damage.at_m < fault.high_m


# What an open or shorted end throws back shows from behind, and may fold onto the line


@pytest.mark.parametrize("far", [1.0, -1.0])
def test_what_is_heard_from_behind_and_folds_back_is_no_second_fault(far):
    """A wet stretch at 8.5 m of 44 was told again at 22 m, at 99 %: its echo from behind comes 117 ns too late."""
    f = np.linspace(1e6, 900e6, 517)
    s = _ended(f, far, (50.0, 0.66, 8.5), (38.0, 0.66, 1.7), (50.0, 0.66, 34.3))
    s = s + np.random.default_rng(1).normal(size=(*s.shape, 2)) @ np.array([1.0, 1j]) * 5e-4
    report = _told(s, f, "open" if far > 0 else "short", length_m=44.5)
    (fault,) = report.along.faults
    assert fault.low_m < 8.5 < fault.high_m


def test_a_near_connector_heard_from_behind_and_folded_back_is_no_pinch():
    """A pinch was told at 2.3 m of a sound line of 5.4 m, at 99 %: its near plug, once more round."""
    f = np.linspace(10e6, 3e9, 208)
    s = _ended(f, 1.0, (36.0, 0.7, 0.03), (50.0, 0.7, 0.04), (38.0, 0.7, 0.03), (75.0, 0.83, 5.4))
    report = _told(s, f, "open", length_m=5.5)
    assert report.along.faults == ()


@pytest.mark.parametrize(("late_cells", "ghosts"), [(-1.0, 1), (5.5, 1), (6.5, 0), (-1.6, 0)])
def test_how_far_what_comes_from_behind_may_trail(late_cells, ghosts):
    """A spot at 40 ns of 220 shows from behind at 400, which is 113 in such steps; and up to six cells later."""
    fit = look(F_BEHIND, _ended(F_BEHIND, 1.0, (50.0, 0.66, 43.5))[:, 0, 0], None, None, None).fit
    assert fit.end
    source = Echo(40e-9, 1e-12, "step", 0.2, 500.0, 0.2, 1.0)
    at = (2.0 * fit.end.delay_s - 40e-9) % fit.range_s + late_cells * fit.cell_s
    heard = Echo(at, 1e-12, "step", 0.1, 50.0, 0.1, 1.0)
    assert bool(ghost(heard, [], replace(fit, echoes=(source, heard)))) is bool(ghosts)


@pytest.mark.parametrize(("far", "told"), [("load", False), ("through", True)])
def test_a_place_on_a_line_whose_delay_nothing_tells_may_be_folded_and_is_said_to_be(far, told):
    """A load tells no delay: a short at 13 m was told at 2.1, a wet stretch at 1 m at 0.1, both at 97 to 99 %."""
    f = np.linspace(1e6, 500e6, 401)
    s = _cascade(f, (50.0, 0.66, 8.0), (75.0, 0.66, 1.5), (50.0, 0.66, 8.0))
    bare, given = _told(s, f, far), _told(s, f, far, length_m=17.5)
    assert given.along.faults[0].confidence == 0.99
    assert bare.along.faults[0].confidence == (0.99 if told else 0.7)
    assert ("fold its place" in bare.along.faults[0].why) is not told
    assert "fold its place" not in given.along.faults[0].why
