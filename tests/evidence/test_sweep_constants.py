"""Constants that were chosen or tuned: each has a case that comes out otherwise when it moves."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm
from scipy.stats import t as students_t

from evidence.made_sweeps import Made
from fault_worlds import _line, _product, _scattering, _series
from linewright.catalogue.lines import line_type
from linewright.core.formulas.time_domain import kaiser_window
from linewright.core.nouns.sweep import Health, Interval, Sweep, SweepLaw, SweepQuestion
from linewright.inference.sweep import along, one_port, reading, resemblance, two_port
from linewright.inference.sweep.along import Known, find_faults
from linewright.inference.sweep.connectors import beyond_near, in_series_beyond, poor_connector
from linewright.inference.sweep.delays import Delays, LinePrior
from linewright.inference.sweep.echoes import Echo
from linewright.inference.sweep.faults import confidence, least_told
from linewright.inference.sweep.law import bent_db, slowed_db
from linewright.inference.sweep.line_end import LineScale, look
from linewright.inference.sweep.resemblance import Measured
from linewright.verbs import sweep
from linewright.verbs.sweep import read_sweep
from sweep_lines import draw

RG58 = (0.130, 0.028)
F = np.linspace(1e6, 900e6, 801)
ASK = reading.LineQuestion(LinePrior(), None, (), ())


# Connectors


def _spot(seconds):
    """Return what port 1 shows of a connector that reflects as a shunt capacitance does: j 2 pi f times so long."""
    s = _scattering(_product([_line(F, 50.0, 0.66, RG58, 14.0)]))
    return look(F, s[:, 0, 0] - 2j * np.pi * F * seconds, None, None, 14.0 / 0.66 / 299792458.0).fit


@pytest.mark.parametrize(("times", "sure"), [(0.5, 0.434), (1.0, 0.9), (1.5, 0.9637), (2.0, 0.9823)])
def test_a_connector_is_doubted_by_the_power_of_two_and_a_half_of_what_it_reflects_too_much(times, sure):
    """At 0.085 ns, with what a calibration of 34 dB leaves up to 500 MHz, it is told at 0.9; at twice that at 0.98."""
    ordinary_s = 0.085e-9 + 0.02 / (2 * np.pi * 500e6)
    assert poor_connector(_spot(times * ordinary_s))[1] == pytest.approx(sure, abs=0.004 if times > 0.9 else 0.06)


@pytest.mark.parametrize(("share", "beyond"), [(0.37, True), (0.43, False)])
def test_a_resistance_stands_beyond_the_near_end_where_two_fifths_of_it_do_not_show_there(share, beyond):
    ohm = 16.0
    s = _scattering(_product([_series(F, ohm), _line(F, 50.0, 0.66, RG58, 14.0)]))
    fit = look(F, s[:, 0, 0], None, None, 14.0 / 0.66 / 299792458.0).fit
    assert beyond_near(fit, ohm / (100.0 + ohm) / share) is beyond


@pytest.mark.parametrize("ohm", [5.0, 10.0, 25.0])
def test_a_resistance_that_only_a_constant_loss_shows_has_the_ohms_that_lose_so_much(ohm):
    """R in series between Z0 and Z0 lets 2 Z0/(2 Z0 + R) of a wave through (D. M. Pozar, Microwave Engineering)."""
    s = _scattering(_product([_line(F, 50.0, 0.66, RG58, 14.0)]))
    seen = look(F, s[:, 0, 0], None, None, 14.0 / 0.66 / 299792458.0)
    (fault,) = in_series_beyond(seen, LineScale(0.66, 0.01), 20.0 * np.log10((100.0 + ohm) / 100.0), 50.0)
    assert fault.series_ohm == pytest.approx(ohm)
    assert fault.size == pytest.approx(ohm / (100.0 + ohm))
    assert f"about {ohm:.0f} ohm in series" in fault.why


@pytest.mark.parametrize(("ohm", "told"), [(1.9, False), (2.2, True)])
def test_a_constant_loss_of_2_ohm_or_more_is_told_as_a_poor_far_connector(ohm, told):
    s = _scattering(_product([_line(F, 50.0, 0.66, RG58, 14.0)]))
    seen = look(F, s[:, 0, 0], None, None, 14.0 / 0.66 / 299792458.0)
    lost_db = 20.0 * np.log10((100.0 + ohm) / 100.0)
    assert bool(in_series_beyond(seen, LineScale(0.66, 0.01), lost_db, 50.0)) is told


@pytest.mark.parametrize(
    ("family", "quality", "damage", "key"),
    [("clad steel", "cheap", "", [7103, 3, 2, 7, 0]), ("coax 75", "good", "joint", [7107, 1, 1, 0, 0]),
     ("coax 75", "cheap", "insert", [7108, 1, 2, 3, 0])],
)  # fmt: skip
def test_no_far_connector_is_told_of_lines_of_75_and_91_ohm_that_have_none(family, quality, damage, key):
    """At 90 to 93 %: their plugs and adapters of 50 ohm reflect as much."""
    world = draw(np.random.default_rng(key), family, quality, damage)
    report = read_sweep(world.files, world.far_end, SweepQuestion(length_m=world.told_length_m))
    assert not any(f.distance_m > 0.97 * world.truth.length_m for f in report.along.faults)


@pytest.mark.parametrize(("unsure", "faults"), [(0.0, 1), (0.12, 1), (0.2, 0)])
def test_a_far_connector_is_told_where_it_stands_out_of_what_an_unsure_line_may_reflect(unsure, faults):
    plug = _line(F, 38.0, 0.7, RG58, 0.03)
    s = _scattering(_product([plug, _line(F, 50.0, 0.66, RG58, 14.0), _line(F, 22.0, 0.7, RG58, 0.04), plug]))
    known = Known((0.66, 0.003), (14.0, 0.1), 50.0, impedance_u=unsure)
    found = find_faults(Sweep("made", F, s, np.full(2, 50.0 + 0j)), "through", known)
    assert len(found.faults) == faults


def _ends_of(z0, near, far, f=F, long_m=14.0):
    """Return the faults of a line whose ends are sections of (ohm, metres), swept through."""
    ends = [[_line(f, ohm, 0.7, RG58, long) for ohm, long in end] for end in (near, far)]
    s = _scattering(_product([*ends[0], _line(f, z0, 0.83, RG58, long_m), *ends[1]]))
    known = Known((0.83, 0.003), (long_m, 0.1), z0, impedance_u=0.02)
    return find_faults(Sweep("made", f, s, np.full(2, 50.0 + 0j)), "through", known).faults


PLUG, CRUSHED = (50.0, 0.03), (22.0, 0.045)


def test_a_far_connector_is_found_on_a_line_whose_impedance_connectors_hide():
    """It was not looked for: adapters and the connector itself leave the impedance of 9 m at 38 to 67 ohm."""
    world = draw(np.random.default_rng([104, 0, 3, 6, 0]), "coax 50", "drifted", "far connector")
    (joint,) = read_sweep(world.files, world.far_end, SweepQuestion(length_m=world.told_length_m)).along.faults
    assert joint.kind == "bad joint"
    assert joint.low_m < world.truth.damage.at_m < joint.high_m


def test_on_a_line_of_75_ohm_a_far_connector_stands_out_of_its_plugs_of_50():
    """A crushed one was never told there: all that reflects 0.05 of a wave of 50 ohm was taken for the line itself."""
    assert _ends_of(75.0, [PLUG], [PLUG]) == ()
    (joint,) = _ends_of(75.0, [PLUG], [CRUSHED, PLUG])
    assert joint.kind == "bad joint"


@pytest.mark.parametrize(("mismatch", "times"), [(0.0, 1.0), (0.05, 1.0), (0.2, 2.35), (0.3, 3.25)])
def test_plugs_in_order_reflect_more_the_further_a_line_is_from_50_ohm(mismatch, times):
    """By nine times what it reflects more than 0.05."""
    spot_s = 0.085e-9 * times + 0.02 / (2 * np.pi * 500e6)
    assert poor_connector(_spot(spot_s), mismatch=mismatch)[1] == pytest.approx(0.9, abs=0.006)


@pytest.mark.parametrize(("z0", "told"), [(82.0, True), (85.0, False)])
def test_beyond_a_quarter_of_reflection_no_far_connector_is_told_from_adapters_in_order(z0, told):
    """Of a sound line of 93 ohm it was told at 91 %: three adapters of 50 ohm reflect there as a crushed plug does."""
    assert ("bad joint" in {x.kind for x in _ends_of(z0, [PLUG], [(20.0, 0.07), PLUG])}) is told


@pytest.mark.parametrize(("near_m", "told"), [(0.026, True), (0.032, False)])
def test_a_far_connector_reflects_half_as_much_again_as_the_near_one(near_m, told):
    assert bool(_ends_of(50.0, [(22.0, near_m)], [CRUSHED])) is told


@pytest.mark.parametrize("far", [[CRUSHED], []], ids=["crushed", "sound"])
def test_a_far_connector_is_told_beside_a_pinch_halfway(far):
    near, *rest = (_line(F, ohm, 0.7, RG58, long) for ohm, long in (PLUG, *far, PLUG))
    half, pinch = _line(F, 50.0, 0.83, RG58, 7.0), _line(F, 24.0, 0.7, RG58, 0.04)
    s = _scattering(_product([near, half, pinch, half, *rest]))
    known = Known((0.83, 0.003), (14.1, 0.1), 50.0, impedance_u=0.02)
    found = find_faults(Sweep("made", F, s, np.full(2, 50.0 + 0j)), "through", known)
    assert [fault.kind for fault in found.faults] == ["pinch", *("bad joint" for _ in far)]
    if far:
        joint = found.faults[-1]
        assert joint.distance_m + 0.02 < joint.high_m < joint.distance_m + 0.2
        assert joint.distance_m - 1.0 < joint.low_m < joint.distance_m - 0.1


@pytest.mark.parametrize(("top_hz", "told"), [(195e6, False), (205e6, True)])
def test_a_far_connector_is_told_from_200_mhz_on(top_hz, told):
    """Of a sound line swept to 60 MHz it was told at 99 %: a cheap calibration leaves as much."""
    assert bool(_ends_of(50.0, [PLUG], [(18.0, 0.06)], np.linspace(1e6, top_hz, 401))) is told


@pytest.mark.parametrize(("cells", "told"), [(9.6, False), (10.1, True)])
def test_a_far_connector_is_told_on_a_line_of_ten_cells(cells, told):
    f = np.linspace(1e6, 500e6, 401)
    long_m = cells / (2.0 * 499e6) * 0.83 * 299792458.0
    assert bool(_ends_of(50.0, [], [(18.0, 0.04)], f, long_m)) is told


# The least that shows


@pytest.mark.parametrize("delay", [3e-9, 30e-9, 70e-9])
@pytest.mark.parametrize("mismatch", [0.0, 0.2])
def test_the_least_that_is_told_is_just_told(delay, mismatch):
    s = _scattering(_product([_line(F, 50.0, 0.66, RG58, 14.0)]))[:, 0, 0]
    noise = 2e-3 * np.random.default_rng(3).normal(size=(len(F), 2)) @ np.array([1.0, 1j])
    seen = replace(look(F, s + noise, None, None, 14.0 / 0.66 / 299792458.0), mismatch=mismatch)
    size = least_told(delay, seen)
    w = kaiser_window(F, 5.0, low_pass=True)
    heard = np.linalg.norm(w * np.exp(delay * seen.fit.rate.exponent(F).real)) / seen.fit.noise
    rest = np.linalg.norm(w * (seen.fit.reflection - seen.fit.modelled)) / seen.fit.noise
    sure = []
    for x in (0.98 * size, size):
        fits = (x * heard) ** 2 / ((x * heard) ** 2 + rest**2)
        sure.append(confidence(Echo(delay, 0.0, "step", x, x * heard, x, fits), seen))
    assert sure[0] < 0.9 <= sure[1]


@pytest.mark.parametrize("far", ["through", "load"])
@pytest.mark.parametrize(("times", "told"), [(0.85, False), (1.2, True)])
def test_a_joint_halfway_shows_from_the_resistance_that_is_said(far, times, told):
    """What is said beside a sound line, of whose sweep this one differs by the joint alone."""
    noise = 2e-3 * np.random.default_rng(5).normal(size=(len(F), 2, 2, 2)) @ np.array([1.0, 1j])
    half = _line(F, 50.0, 0.66, RG58, 7.0)

    def found(ohm):
        s = _scattering(_product([half, _series(F, ohm), half])) + noise
        s = s if far == "through" else s[:, :1, :1]
        sweep = Sweep("made", F, s, np.full(s.shape[1], 50.0 + 0j))
        return find_faults(sweep, far, Known((0.66, 0.003), (14.0, 0.05), 50.0))

    middle = found(0.0).least_joints[1]
    assert middle[0] == pytest.approx(7.0, abs=0.1)
    assert any(abs(x.distance_m - 7.0) < 0.2 for x in found(times * middle[1]).faults) is told


def test_far_from_the_one_end_that_was_swept_a_joint_must_be_larger():
    s = _scattering(_product([_line(F, 50.0, 0.66, RG58, 40.0)]))
    through = Sweep("made", F, s, np.full(2, 50.0 + 0j))
    load = Sweep("made", F, s[:, :1, :1], np.full(1, 50.0 + 0j))
    known = Known((0.66, 0.003), (40.0, 0.1), 50.0, (0.01, 1e-4))
    both, one = (find_faults(x, far, known).least_joints for x, far in ((through, "through"), (load, "load")))
    assert both[0][1] == pytest.approx(both[2][1])
    assert one[2][1] > 1.2 * one[0][1] > 1.2 * one[1][1]


def test_no_short_at_once_is_told_of_one_whose_place_folds():
    """A short at 2.57 m was told at 0.01 m and 99 %: the sweep's steps fold it there."""
    world = draw(np.random.default_rng([7104, 1, 3, 5, 1]), "coax 75", "drifted", "short", folded=True)
    assert read_sweep(world.files, world.far_end).along.faults == ()


@pytest.mark.parametrize(("known", "sure"), [(Known(), 0.7), (Known(length_m=(10.0, 0.1)), 0.9)])
def test_an_open_at_once_may_stand_farther_out_on_a_line_whose_delay_nothing_tells(known, sure):
    s = 0.99 * np.exp(-4j * np.pi * F * 1e-10)
    (fault,) = find_faults(Sweep("made", F, s[:, None, None], np.full(1, 50.0 + 0j)), "load", known).faults
    assert fault.confidence == sure
    assert ("it may stand farther out" in fault.why) is (sure == 0.7)


@pytest.mark.parametrize(("back", "told"), [(0.88, False), (0.92, True)])
def test_what_reflects_nine_tenths_of_all_waves_is_open_at_once(back, told):
    """Of 1.1 m of line of 600 ohm before its load an open at 0.01 m was told at 90 %: it reflects 0.85."""
    s = back * np.exp(-4j * np.pi * F * 1e-10)
    sweep = Sweep("made", F, s[:, None, None], np.full(1, 50.0 + 0j))
    assert bool(along._near_break(sweep, "load", look(F, s, None, None, None))) is told


@pytest.mark.parametrize(("length_m", "u_m"), [(30.0, np.hypot(0.15, 0.12)), (1.0, np.hypot(0.005, 0.1))])
def test_a_taped_length_is_off_by_half_a_percent_and_twelve_centimetres_or_a_tenth(length_m, u_m):
    assert sweep._taped_u_m(length_m) == pytest.approx(u_m)


# Lines of another impedance than the analyser's


@pytest.mark.parametrize(("mismatch", "wanted"), [(0.0, 0.03), (0.2, 0.05), (0.5, 0.11), (0.83, 0.4206)])
def test_what_a_calibration_leaves_grows_by_the_swr_of_the_line(mismatch, wanted):
    """3 % are told at 0.9 on a line of the analyser's impedance; 4 % more for each unit of SWR above 1."""
    seen = replace(look(F, 0.01 * np.ones(len(F), dtype=complex), None, None, 300e-9), mismatch=mismatch)
    echo = Echo(150e-9, 1e-12, "step", wanted, 15.0, wanted, 1.0)
    assert confidence(echo, seen) == pytest.approx(0.9, abs=1e-3)


def test_no_strength_speaks_against_what_a_calibration_leaves():
    seen = replace(look(F, 0.01 * np.ones(len(F), dtype=complex), None, None, 300e-9), mismatch=0.5)
    loud = Echo(150e-9, 1e-12, "step", 0.08, 1500.0, 0.08, 1.0)
    assert confidence(loud, seen) == pytest.approx(0.9, abs=1e-3)


def test_of_a_balanced_line_swept_in_50_ohm_no_step_is_told():
    """One of 0.37 was told at 99 %: a cheap calibration's directivity, ten times as large in 600 ohm."""
    world = draw(np.random.default_rng([105, 2, 2, 7, 0]), "balanced", "cheap")
    report = read_sweep(world.files, world.far_end, SweepQuestion(length_m=world.told_length_m))
    assert report.along.faults == ()


def test_what_is_of_no_clear_shape_next_to_connectors_is_theirs():
    """ "Several things close together" were told at 97 %, 0.38 m into 52 m of sound line: its adapters end at 0.2 m."""
    world = draw(np.random.default_rng([105, 1, 2, 7, 0, 1]), "coax 75", "cheap")
    report = read_sweep(world.files, world.far_end, SweepQuestion(length_m=world.told_length_m))
    assert report.along.faults == ()


# Open and shorted files that may have been swapped


@pytest.mark.parametrize(
    ("better", "told"),
    [(1.6, "as said"), (1.4, "both"), (0.0, "both"), (-3.9, "both"), (-4.1, "swapped")],
)
def test_how_much_better_one_end_must_fit_than_the_other(monkeypatch, better, told):
    """As said from 1.5 nats on, the other way round from 4 on, and both are listed between."""
    f = np.linspace(200e6, 500e6, 101)
    wave = np.exp(-2j * np.pi * f * 40e-9)

    def scored(trace, *_):
        mine = bool(np.allclose(trace.wave, wave))
        delay = np.full(9, 20e-9 if mine else 21e-9)
        return Delays(delay, delay, (), score=better if mine else 0.0)

    monkeypatch.setattr(reading, "delays", scored)
    trace = reading.Trace(f, wave, 2)
    heard = reading.SweepTraces("made", ("open",), (), trace, either_way=True)
    found = reading.bins(trace, reading.pilot(trace))
    delay, health = reading._delay_of(heard, found, None, reading.LinePrior())
    if told == "both":
        assert len(delay.candidates) == 2
        assert sum(c.probability for c in delay.candidates) == pytest.approx(1.0)
    else:
        assert delay.group_s[0] == (20e-9 if told == "as said" else 21e-9)
    assert bool(health) is (told == "swapped")


# Types, and lines of none


def _unnamed(k1, k2, valid_hz=(10e6, 500e6)):
    return resemblance._stranger(Measured((k1, 1e-9), (k2, 1e-12), valid_hz=valid_hz))


def test_a_line_of_no_type_is_as_likely_as_its_three_freedoms_say():
    """Level, power and bend are free by 1.1, 0.22 and 0.05, two more ways by 0.02 alone: five normal densities."""
    x = np.log(np.geomspace(10e6, 500e6, 5) / np.sqrt(10e6 * 500e6))
    bend = x**2 - np.mean(x**2)
    free = [(1.1, 5.0), (0.22, x @ x), (0.05, bend @ bend)]
    alone = [norm.logpdf(0.0, scale=np.hypot(u * np.sqrt(square), 0.02)) for u, square in free]
    assert _unnamed(0.008, 4e-5) == pytest.approx(sum(alone) + 2 * norm.logpdf(0.0, scale=0.02), abs=1e-3)


def test_a_loss_three_times_the_middling_one_is_one_spread_off():
    assert _unnamed(0.008, 4e-5) - _unnamed(0.008 * np.exp(1.1), 4e-5 * np.exp(1.1)) == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(
    ("family", "quality", "key"),
    [("coax 50", "cheap", [106, 0, 2, 7, 0]), ("coax 75", "cheap", [107, 1, 2, 7, 0]),
     ("balanced", "good", [107, 2, 1, 7, 0]), ("balanced", "cheap", [106, 2, 2, 7, 0])],
)  # fmt: skip
def test_a_loss_that_hides_in_its_calibration_rules_out_no_type(family, quality, key):
    """ "None of these" was told at 96 to 99.9 % of lines of the catalogue that lose no more than their sweeps err."""
    world = draw(np.random.default_rng(key), family, quality)
    length = world.told_length_m if key[0] == 107 and family == "coax 75" else None
    found = read_sweep(world.files, world.far_end, SweepQuestion(length_m=length)).resembles
    assert next(r.probability for r in found if r.kind == "none of these") < 0.8


@pytest.mark.parametrize(
    ("family", "quality", "damage", "key"),
    [("coax 50", "bent cable", "short", [110, 0, 4, 5, 0]), ("coax 75", "cheap", "", [116, 1, 2, 7, 0])],
    ids=["shorted halfway", "read as shorted"],
)  # fmt: skip
def test_of_a_line_that_does_not_end_where_it_was_said_no_type_is_named(family, quality, damage, key):
    """ "None of these" at 99 and 100 %, by velocity factors of 0.43 and 0.56: its length, and the delay of a part."""
    world = draw(np.random.default_rng(key), family, quality, damage)
    asked = SweepQuestion(length_m=world.told_length_m, line=world.truth.designator)
    report = read_sweep(world.files, world.far_end, asked)
    assert report.resembles == ()
    assert "the line is broken, or its far end is not as stated" in report.jacket


def test_of_files_that_were_swapped_the_type_is_named():
    made = Made(k1_db=0.4285, k2_db=0.0039, length_m=10.0)
    files, asked = [made.ended(-1.0), made.ended(1.0)], SweepQuestion(length_m=10.0, line="RG-58C/U")
    report = read_sweep(files, ["open", "short"], asked)
    assert any(h.check == "far end" for h in report.finding.health)
    assert "RG-58C/U" in {r.line for r in report.resembles}


@pytest.mark.parametrize(("length_m", "counts"), [(10.1, True), (14.6, True), (15.2, False), (9.9, False)])
def test_a_length_that_gives_no_line_its_velocity_factor_is_no_evidence_of_the_type(length_m, counts):
    """10 m at 0.66: as 15.2 m they would be faster than open wire, as 9.9 m slower than solid polyethylene."""
    finding = read_sweep([Made(length_m=10.0).through()], [], SweepQuestion(length_m=length_m)).finding
    doubt = (Health("length", "doubt", 0.66 * length_m / 10.0, ""),)
    seen = sweep._measured(replace(finding, health=doubt), SweepQuestion(length_m=length_m))
    assert (seen.velocity_factor is not None) is counts
    assert (seen.reckoned_at is None) is counts


def test_a_type_that_loses_next_to_nothing_is_not_doubted_for_an_error_that_is_larger():
    """ "None of these" at 99 % of 2.5 m of open wire, whose 0.2 dB at most were read to 0.9."""
    world = draw(np.random.default_rng([109, 2, 4, 7, 0]), "balanced", "bent cable")
    report = read_sweep(world.files, world.far_end, SweepQuestion(length_m=world.told_length_m))
    assert next(r.probability for r in report.resembles if r.kind == "none of these") < 0.2


@pytest.mark.parametrize("times", [0.0, 0.5, 3.0])
def test_an_error_far_larger_than_the_loss_weighs_alike_whatever_a_type_loses(times):
    """The errors of both parts of a law, eight times as large as the loss itself, read within them."""
    k = np.array([0.01, 1e-4])
    cov = np.diag((8.0 * k) ** 2)
    law = SimpleNamespace(
        spread=0.05, curve=(), covers=lambda f: True, beyond=lambda f: (), two_terms=lambda low, high: low_loss
    )
    low_loss = SimpleNamespace(db_per_m=lambda f: times * (k[0] * np.sqrt(f / 1e6) + k[1] * f / 1e6))
    seen = Measured((k[0], 8.0 * k[0]), (k[1], 8.0 * k[1]), law_covariance=cov, valid_hz=(1e6, 100e6))
    off, spread = resemblance._losses(SimpleNamespace(law=law, velocity_factor=0.66), seen)
    within = float(off @ np.linalg.solve(spread, off))
    assert within == pytest.approx((times - 1.0) ** 2 * 2.0 / 64.0, rel=0.15)
    same = resemblance._losses(SimpleNamespace(law=law, velocity_factor=0.66), seen, np.ones(1))[1][0]
    assert np.linalg.slogdet(spread)[1] == pytest.approx(np.linalg.slogdet(same)[1])


@pytest.mark.parametrize("times", [3.0, 0.3])
def test_an_error_as_large_as_the_loss_itself_rules_out_no_type(times):
    """RG-58C/U read at three times its loss, give or take two, or at a third, give or take four fifths."""
    own, off = line_type("RG-58C/U").law.two_terms(1e6, 100e6), abs(times - 1.0) * 1.2
    k1, k2 = own.k1_db_per_m, own.k2_db_per_m
    cov = off**2 * np.outer([k1, k2], [k1, k2])
    seen = Measured((times * k1, off * k1), (times * k2, off * k2), (0.66, 0.005), (50.0, 0.5), cov, (1e6, 100e6))
    sure = Measured((k1, 0.02 * k1), (k2, 0.02 * k2), (0.66, 0.005), (50.0, 0.5), None, (1e6, 100e6))
    fresh = resemblance._scores(line_type("RG-58C/U"), seen)[0], resemblance._stranger(seen)
    assert fresh[0] > fresh[1]
    assert resemblance._scores(line_type("RG-58C/U"), sure)[0] > resemblance._stranger(sure)


def test_what_hides_in_a_law_is_18_tenths_of_its_wander_and_what_a_sweep_gains():
    k = np.zeros((9, 3))
    one = SweepLaw(*(Interval(0.0, 0.0, 0.0),) * 3, False, 0.1, (1e6, 100e6), k)
    spread = [
        np.std(bent_db(replace(one, departure_db=d), off) @ [10.0, 100.0]) for d, off in ((0.1, 0.0), (0.0, 0.18))
    ]
    assert spread[0] == pytest.approx(spread[1])
    assert spread[0] == pytest.approx(0.18, rel=0.25)


@pytest.mark.parametrize("off", [0.0, 1.0, 3.0, 8.0])
def test_a_velocity_factor_far_from_its_types_is_doubted_as_by_students_t_of_twelve(off):
    assert resemblance._tailed(off * 0.02, 0.02) == pytest.approx(students_t(12, scale=0.02).logpdf(off * 0.02))


def test_no_constant_is_told_that_a_good_calibration_leaves():
    """A gain of 0.01 dB was told of a sound line: less than a good calibration leaves."""
    world = draw(np.random.default_rng([7208, 0, 0, 7, 0]), "coax 50", "laboratory")
    law = read_sweep(world.files, world.far_end).finding.law
    assert abs(law.k0_db.value) < 0.02
    assert not law.constant


def test_what_inner_inductance_takes_off_a_loss_is_no_gain():
    """A gain of 0.10 dB was told of 59 m in good order: k1²/(8.686 ω τ) is 0.11 dB of it, in every line."""
    made = Made(k1_db=1.3, k2_db=0.01, velocity_factor=0.69, length_m=60.0, start_hz=10e6, points=1601, noise=1e-5)
    law = read_sweep([made.through()]).finding.law
    assert not law.constant
    assert law.k0_db.value == pytest.approx(-slowed_db(1.3, made.delay_s), abs=0.03)


@pytest.mark.parametrize("given", ["through", "open and short"])
def test_a_resistance_is_still_told_beside_inner_inductance(given):
    made = Made(k1_db=1.3, k2_db=0.01, velocity_factor=0.69, length_m=60.0, start_hz=10e6, points=1601, noise=1e-5)
    loss = 10 ** (-0.3 / 20)
    sweeps = [made.through()] if given == "through" else [made.ended(1.0), made.ended(-1.0)]
    louder = np.array([[1.0, loss], [loss, 1.0]]) if given == "through" else loss**2
    report = read_sweep([replace(x, s=x.s * louder) for x in sweeps], given.split(" and "))
    assert report.finding.law.constant
    assert report.finding.law.k0_db.value == pytest.approx(0.3 - slowed_db(1.3, made.delay_s), abs=0.04)


def test_a_constant_is_told_only_where_its_interval_leaves_nothing_out():
    """A gain of 0.14 dB was told of 1.6 m of sound line; its interval was -0.37 to 0.06."""
    world = draw(np.random.default_rng([105, 1, 4, 7, 0]), "coax 75", "bent cable")
    law = read_sweep(world.files, world.far_end).finding.law
    assert law.k0_db.low < 0.0 < law.k0_db.high
    assert not law.constant


def test_no_constant_is_told_of_a_law_that_gains_beside_it():
    """18.7 dB at all frequencies alike were told of 1.1 m of ladder line, open, swept over 15 MHz: k1 was -5.7."""
    world = draw(np.random.default_rng([102, 2, 4, 7, 0, 1]), "balanced", "bent cable")
    law = read_sweep(world.files, world.far_end).finding.law
    assert law.k0_db.value > 1.0
    assert not law.constant


# What a line seen from one far end alone may be said to lose


@pytest.mark.parametrize(("lost_db", "constant"), [(0.11, False), (0.13, True)])
def test_a_constant_loss_seen_from_one_end_alone_is_told_from_an_eighth_of_a_db_on(lost_db, constant):
    """Constants of 0.08 and 0.09 dB were told of lines that have none: ripple makes them."""
    sweep = Made(k1_db=0.03, k2_db=0.0002, length_m=3.0).ended(1.0)
    found = reading.read(one_port.heard({"open": replace(sweep, s=sweep.s * 10 ** (-lost_db / 10))}, ASK), ASK)
    assert found.law.constant is constant


def test_a_jump_of_the_loss_seen_from_one_end_alone_takes_24_nats():
    """Steps of 0.3 and 0.5 dB at 16 and 20 nats were ripple; an abrupt one of 0.07 dB has 24.1."""
    sweep = Made(k1_db=0.03, k2_db=0.0002, length_m=3.0).ended(1.0)
    lost_db = 0.07 * (sweep.frequency_hz > 0.55 * sweep.frequency_hz[-1])
    moved = replace(sweep, s=sweep.s * (10 ** (-lost_db / 10))[:, None, None])
    found = reading.read(one_port.heard({"open": moved}, ASK), ASK)
    assert [h.check for h in found.health] == ["step"]


def test_ripple_that_looks_like_a_jump_is_none():
    world = draw(np.random.default_rng([7107, 4, 2, 7, 0]), "own make", "cheap")
    assert world.far_end == ("open",)
    assert not any(h.check == "step" for h in read_sweep(world.files, world.far_end).finding.health)


@pytest.mark.parametrize(("k1", "k2", "told"), [(-0.1, -0.01, True), (0.3, -0.5, False), (-0.1, 0.01, False)])
def test_a_loss_that_falls_with_frequency_is_no_cables(k1, k2, told):
    law = SimpleNamespace(constant=False, departure_db=0.0, draws=np.array([[0.0, k1, k2], [0.0, 1.1 * k1, 1.1 * k2]]))
    said = reading._law_remarks(SimpleNamespace(law=law))
    assert any("falls with frequency" in words for words in said) is told


def test_a_loss_is_told_a_tenth_beyond_what_was_heard_and_no_further():
    wanted = tuple(("", f) for f in (8.9e6, 9.1e6, 50e6, 109e6, 112e6))
    law = SimpleNamespace(valid_hz=(10e6, 100e6), draws=np.tile([0.0, 0.1, 0.001], (4, 1)))
    fitted = SimpleNamespace(law=law, loss_db=np.ones((4, 5)))
    found = reading._losses(fitted, SimpleNamespace(insertion=None), replace(ASK, wanted=wanted))
    assert [row.frequency_hz for row in found] == [9.1e6, 50e6, 109e6]


# What a calibration leaves


def _mismatched(rng, match):
    """Return a lossless line of 75 ohm, seen by two ports that reflect so much of what comes back to them."""
    theta = 2j * np.pi * F * 5.0 / 0.66 / 299792458.0
    r = (75.0 - 50.0) / (75.0 + 50.0)
    t = np.exp(-theta)
    below = 1 - r**2 * t**2
    a, b = r * (1 - t**2) / below, (1 - r**2) * t / below
    e, g = match * np.exp(2j * np.pi * rng.uniform(size=2))
    det = (1 - e * a) * (1 - g * a) - e * g * b**2
    s = np.empty((len(F), 2, 2), dtype=complex)
    s[:, 0, 0] = (a * (1 - g * a) + g * b**2) / det
    s[:, 1, 1] = (a * (1 - e * a) + e * b**2) / det
    s[:, 0, 1] = s[:, 1, 0] = b / det
    return Sweep("made", F, s, np.full(2, 50.0 + 0j))


def test_what_ports_of_28_db_add_to_a_loss_is_what_it_is_said_to_be_off_by():
    """The loss of a line far from the ports' impedance errs by the phase of their match: as much as the trace allows.

    Taken for 36 dB with all that comes back, the allowance covers ports of 28 dB, which see its mean.
    """
    rng = np.random.default_rng(4)
    errors, allowed = [], []
    for _ in range(60):
        trace = two_port.heard(_mismatched(rng, 10 ** (-28 / 20)), np.zeros(0)).trace
        errors.append(np.mean(-np.log(np.abs(trace.wave))))
        allowed.append(trace.off)
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(np.mean(allowed), rel=0.1)
