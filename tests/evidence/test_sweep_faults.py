"""Faults on synthetic coax of known truth, and on measured lines."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from examples import few
from fault_worlds import CABLES, ENDS, KINDS, World, _line, _product, _scattering, _series, draw
from linewright.core.nouns.sweep import Fault, FaultFinding, Sweep
from linewright.files.touchstone import read_touchstone
from linewright.inference.sweep.along import Known, find_faults
from linewright.inference.sweep.echoes import EchoPart, EchoSet, Rate, find_echoes
from linewright.inference.sweep.faults import EDGE_SIZE, _begins, _edge_score, _joined, _left, _ohm_odds, behind

DATA = Path(__file__).parents[1] / "data" / "touchstone"
CELLS = [(kind, end) for kind in KINDS for end in ENDS]


def _found(world: World, **known) -> FaultFinding:
    sweep = Sweep("synthetic", world.frequency_hz, world.s, np.full(world.s.shape[1], 50.0 + 0j))
    told = {"velocity_factor": (world.velocity_factor, 1e-4), "length_m": (world.length_m, 0.02)} | known
    found = find_faults(sweep, world.far_end, Known(**told))
    assert isinstance(found, FaultFinding), found
    return found


@cache
def _world(kind: str, end: str, i: int) -> World:
    return draw(np.random.default_rng([77, KINDS.index(kind), ENDS.index(end), i]), kind, end)


@pytest.mark.parametrize("end", ENDS)
def test_a_sound_line_with_connectors_and_noise_has_no_fault(end):
    assert [x for i in range(4) for x in _found(_world("none", end, i)).faults] == []


@pytest.mark.parametrize(("kind", "end"), [c for c in CELLS if c[0] != "none"])
def test_a_fault_is_placed_within_a_cell_and_named(kind, end):
    world = _world(kind, end, 0)
    found = _found(world)
    (fault,) = [x for x in found.faults if abs(x.distance_m - world.distance_m) < world.cell_m]
    assert abs(fault.distance_m - world.distance_m) < max(0.01 * world.distance_m, 0.3 * world.cell_m)
    assert fault.low_m < fault.distance_m < fault.high_m
    # From one end, with no total reflection behind it, resistance in series and a step look alike, and it says so.
    alike = kind == "bad joint" and end == "load"
    # A wet section is told from other line where the sweep shows what it loses, and never called other line.
    assert fault.kind in {"water": ("water", "section")}.get(kind, ("step" if alike else kind,))
    assert not alike or "look alike" in fault.why


@pytest.mark.parametrize("end", ["open", "short"])
def test_the_far_end_is_named_and_is_no_fault(end):
    found = _found(_world("none", end, 1))
    (far,) = [m for m in found.landmarks if m.kind == "far end"]
    assert far.distance_m == pytest.approx(found.end_m)
    assert far.why == f"The far end: {'open' if end == 'open' else 'shorted'}."
    assert far.size > 0.9


def test_a_far_end_that_is_not_what_was_said_is_told():
    world = _world("none", "short", 0)
    sweep = Sweep("s", world.frequency_hz, world.s, np.array([50.0 + 0j]))
    found = find_faults(sweep, "open", Known((world.velocity_factor, 1e-3)))
    assert isinstance(found, FaultFinding)
    assert "reads as short" in " ".join(found.remarks)


def test_water_tells_its_length_and_impedance():
    world = _world("water", "through", 1)
    (fault,) = _found(world).faults
    assert fault.impedance_ohm == pytest.approx(world.truth["impedance_ohm"], rel=0.12)
    # A wet section is slower, so it reads longer than it is: by the root of its relative permittivity, at most 1.3.
    assert world.truth["length_m"] * 0.95 < fault.length_m < world.truth["length_m"] * 1.35


def test_a_bad_joint_tells_its_resistance_from_both_ends():
    world = _world("bad joint", "through", 2)
    (fault,) = _found(world).faults
    assert fault.series_ohm == pytest.approx(world.truth["series_ohm"], rel=0.15)


def _swept(sections, f, ports=2):
    s = _scattering(_product(sections))
    return Sweep("made", f, s[:, :ports, :ports], np.full(ports, 50.0 + 0j))


def test_two_faults_and_their_re_reflection_are_two_faults():
    """Two strong spots throw a third echo between them; it is a ghost, not a fault."""
    f = np.linspace(1e6, 1000e6, 1601)
    cable = (50.0, 0.66, (0.06, 0.01))

    def pinch():
        return _line(f, 24.0, 0.66, (0.06, 0.01), 0.05)

    parts = [_line(f, *cable, 4.0), pinch(), _line(f, *cable, 3.0), pinch(), _line(f, *cable, 9.0)]
    found = find_faults(_swept(parts, f, 1), "load", Known((0.66, 1e-3), (16.1, 0.02), None, (0.007, 0.0001)))
    assert isinstance(found, FaultFinding)
    assert [round(x.distance_m, 1) for x in found.faults] == [4.0, 7.1]


def test_without_noise_a_lossless_step_has_its_size_and_place():
    """A step from 50 to 75 ohm reflects 0.2 (D. M. Pozar, Microwave Engineering, eq. 2.35)."""
    f = np.linspace(1e6, 1000e6, 1001)
    parts = [_line(f, 50.0, 0.66, (1e-6, 0.0), 6.0), _line(f, 75.0, 0.66, (1e-6, 0.0), 5.0)]
    found = find_faults(_swept(parts, f), "through", Known((0.66, 1e-4)))
    assert isinstance(found, FaultFinding)
    (fault,) = found.faults
    assert fault.kind == "step"
    assert fault.distance_m == pytest.approx(6.0, abs=0.005)
    assert fault.size == pytest.approx(0.2, abs=0.005)
    assert fault.impedance_ohm == pytest.approx(75.0, rel=0.02)


def test_the_profile_shows_each_section_at_its_impedance():
    f = np.linspace(1e6, 2000e6, 2000)
    ohms, metres = (50.0, 40.0, 75.0, 50.0), (2.0, 1.0, 1.0, 2.0)
    parts = [_line(f, z, 0.66, (0.06, 0.01), n) for z, n in zip(ohms, metres, strict=True)]
    found = find_faults(_swept(parts, f), "through", Known((0.66, 1e-4)))
    assert isinstance(found, FaultFinding)
    z, d = found.profile.impedance_ohm, found.profile.distance_m
    assert z is not None
    middles = [np.interp(x, d, z) for x in (1.0, 2.5, 3.5, 5.0)]
    assert middles == pytest.approx(ohms, rel=0.04)


def test_the_joint_of_two_measured_cables_is_where_half_their_delay_is():
    """Two similar cables in series: the joint is midway (data set's note: half the delay is 7.204 ns)."""
    sweep = read_touchstone(DATA / "cables" / "coax_pair_test_cables_through.s2p")
    found = find_faults(sweep, "through", Known((0.70, 0.001)))
    assert isinstance(found, FaultFinding)
    (joint,) = found.faults
    assert joint.distance_m == pytest.approx(found.end_m / 2, rel=0.01)
    assert found.end_delay_s == pytest.approx(14.408e-9, rel=0.002)


def test_the_measured_stepped_line_reads_low_then_high():
    """50 mm, 20 mm of 8 mm width (low), 20 mm of 1 mm width (high), 50 mm (data set's note)."""
    sweep = read_touchstone(DATA / "lines" / "microstrip_stepped_140mm_tdr.s2p")
    found = find_faults(sweep, "through", Known(length_m=(0.14, 0.001)))
    assert isinstance(found, FaultFinding)
    z, d = found.profile.impedance_ohm, found.profile.distance_m
    assert z is not None
    assert np.interp(0.060, d, z) < 30.0
    assert np.interp(0.080, d, z) > 70.0
    assert found.faults[0].distance_m == pytest.approx(0.050, abs=0.005)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda f, s: (f[:20], s[:20]), "20 points"),
        (lambda f, s: (f, np.full_like(s, 0.1 + 0.1j)), "the same number throughout"),
        (lambda f, s: (f + 60e9, s), "spans"),
    ],
)
def test_a_sweep_that_cannot_tell_says_why(change, words):
    world = _world("none", "open", 0)
    f, s = change(world.frequency_hz, world.s)
    answer = find_faults(Sweep("s", f, s, np.array([50.0 + 0j])), "open", Known((0.66, 0.01)))
    assert isinstance(answer, str)
    assert words in answer


def test_a_sweep_that_is_too_narrow_is_told_its_own_width_and_top():
    f = np.linspace(95e6, 100e6, 401)
    answer = find_faults(_swept([_line(f, 50.0, 0.66, (0.06, 0.01), 40.0)], f), "through", Known((0.66, 0.01)))
    assert "the sweep spans only 5 MHz of 100 MHz" in answer


def test_a_line_that_its_own_end_shows_to_be_too_long_for_its_steps_is_not_looked_along():
    """Steps of 4.99 MHz hold 100 ns one way; 30 m of line take 152 ns, which the wave through it tells."""
    f = np.linspace(1e6, 500e6, 101)
    answer = find_faults(_swept([_line(f, 50.0, 0.66, (0.06, 0.01), 30.0)], f), "through", Known((0.66, 0.01)))
    assert "steps of 4.99 MHz are too wide for so long a line" in answer


def test_a_line_shorter_than_a_few_cells_asks_for_a_wider_sweep():
    """A cell is v c/(2 B): 2.02 m over 49 MHz; of 4 m eight cells take 198 MHz."""
    f = np.linspace(1e6, 50e6, 401)
    answer = find_faults(_swept([_line(f, 50.0, 0.66, (0.06, 0.01), 4.0)], f), "through", Known((0.66, 0.01)))
    assert isinstance(answer, str)
    cell, long, wanted = re.search(
        r"resolves ([\d.]+) m, and the line is ([\d.]+) m long.*over (\d+) MHz", answer
    ).groups()
    assert float(cell) == pytest.approx(0.66 * 299.792458 / 2 / 49, rel=0.03)
    assert float(long) == pytest.approx(4.0, rel=0.03)
    assert float(wanted) == pytest.approx(8 * 0.66 * 299.792458 / 2 / 4.0, rel=0.05)


def test_a_length_of_other_line_is_as_likely_as_its_impedance_is_met_whatever_the_line_itself_was_read_as():
    """All impedances of other line, per unit of the logarithm, add up to 1; 75 ohm on 50 is 75 on 52.5 read high."""
    ratio = np.geomspace(0.42, 2.1, 2001)  # 21 to 105 ohm: a ratio of five
    odds = [_ohm_odds(50.0 * x, 50.0)[1] for x in ratio]
    assert np.trapezoid(odds, np.log(ratio)) == pytest.approx(1.0, abs=0.001)
    assert _ohm_odds(75.0, 50.0)[1] > 20 * _ohm_odds(84.0, 50.0)[1]
    assert _ohm_odds(1.05 * 75.0, 1.05 * 50.0) == pytest.approx(_ohm_odds(75.0, 50.0))


@pytest.mark.parametrize(("apart", "shown"), [(0.2, 0.2), (0.9, 0.1), (1.3, 0.3), (2.6, 0.4)])
def test_on_a_line_longer_than_its_range_places_stand_round_a_circle(apart, shown):
    f = np.linspace(1e6, 500e6, 101)
    range_s = 1 / (2 * (f[1] - f[0]))
    search = EchoSet(f, np.zeros(101, dtype=complex), Rate(0.0, 0.0), 3 * range_s, [], range_s)
    away = search.away(np.array([0.1 + apart]) * range_s, 0.1 * range_s)
    assert away * search.cell_s == pytest.approx(shown * range_s)
    assert search.away(np.array([0.1]) * range_s, (0.1 + apart) * range_s) == pytest.approx(away)


@pytest.mark.parametrize("shape", ["step", "spot"])
def test_an_echo_of_a_plain_shape_is_wholly_explained_by_it(shape):
    f = np.linspace(1e6, 500e6, 401)
    search = EchoSet(f, np.zeros(401, dtype=complex), Rate(2e6, 1e5), 60e-9, [])
    wave = 0.1 * search.columns(EchoPart(31.7e-9, shape))[:, 0]
    delay, found, explained = search.nearest(wave, 32e-9)
    assert found == shape
    assert delay == pytest.approx(31.7e-9, abs=0.02 * search.cell_s)
    assert explained == pytest.approx(((search.w * np.abs(wave)) ** 2).sum(), rel=0.01)


def test_an_echo_stands_out_by_its_whole_energy_at_its_own_delay():
    f = np.linspace(1e6, 500e6, 401)
    search = EchoSet(f, np.zeros(401, dtype=complex), Rate(2e6, 1e5), 60e-9, [])
    for shape in ("step", "spot"):
        wave = 0.1 * search.columns(EchoPart(search.delays[80], shape))[:, 0]
        energy = ((search.w * np.abs(wave)) ** 2).sum()
        assert search.statistic(wave)[shape][80] == pytest.approx(energy, rel=0.001)


def test_a_wave_that_goes_twice_along_half_a_range_is_the_near_end_itself():
    """Places fold at 1/(2 Δf): what comes back after just so long shows at nothing, and is no part of its own."""
    f = np.linspace(1e6, 500e6, 101)
    range_s = 1 / (2 * (f[1] - f[0]))
    ends = [0.5 * range_s, range_s, 1.25 * range_s]
    search = EchoSet(f, np.zeros(101, dtype=complex), Rate(0.0, 0.0), range_s, ends)
    assert [part.delay for part in search.parts if part.kind == "far"] == [ends[0], ends[2]]


@pytest.mark.parametrize(("total", "times", "cells"), [(False, 1.5, 40.0), (True, 2.4, 40.0), (False, 1.5, 2.0)])
def test_echoes_are_looked_for_beyond_the_end_and_above_what_noise_makes_of_so_many_cells(total, times, cells):
    """One false alarm in 500: √(2 ln(4 cells/0.002)), Rayleigh's tail, on a line of four cells at least."""
    f = np.linspace(1e6, 500e6, 401)
    end_s = cells / (2 * f[-1])
    noise = 1e-4 * np.random.default_rng(3).standard_normal((2, 401))
    found = find_echoes(f, noise[0] + 1j * noise[1], Rate(1e6, 1e5), end_s, total=total)
    assert found.searched_s == pytest.approx(times * end_s)
    assert found.threshold == pytest.approx(np.sqrt(2 * np.log(4 * max(cells, 4.0) / 0.002)), rel=0.01)


def _steps(*sizes, shape="step"):
    return [SimpleNamespace(delay_s=1e-8 * (i + 1), shape=shape, size=size) for i, size in enumerate(sizes)]


@pytest.mark.parametrize(
    ("sizes", "begins"),
    [((-0.2, 0.2), True), ((-0.2, -0.2), False), ((-0.2, 0.5), False), ((-0.2,), False),
     ((-0.2, 0.2, -0.1), True), ((-0.2, 0.1, -0.1), False), ((-0.2, 0.2, 0.2), True)],
)  # fmt: skip
def test_a_section_begins_at_an_edge_that_the_next_one_answers_better_than_it_does_the_third(sizes, begins):
    assert _begins(_steps(*sizes), 0, SimpleNamespace(end_delay_s=None, cell_s=1e-9)) is begins


def test_an_edge_that_sends_back_nearly_all_counts_as_nearly_all():
    """From 50 to 150 ohm and back by 0.5 each; what is beyond 0.9 is 0.9, for noise alone may make it 1."""
    assert _left(*_steps(0.5, -0.5)) == pytest.approx(0.0)
    assert _left(*_steps(0.5, -0.2)) == pytest.approx(0.5 * np.log(3.0) - 0.5 * np.log(1.5))
    assert _left(*_steps(1.1, -0.95)) == _left(*_steps(-1.1, 0.95)) == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("total", "others", "sign"),
    [
        (1, [(90e-9, 0.2, "step")], 1), (1, [(90e-9, -0.2, "step")], -1), (-1, [(90e-9, 0.2, "step")], 1),
        (1, [], 0), (0, [(90e-9, 0.2, "step")], 0), (1, [(90e-9, 0.2, "spot")], 0), (1, [(70e-9, 0.2, "step")], 0),
        (1, [(90e-9, 0.05, "step")], 0),
    ],
)  # fmt: skip
def test_what_stands_before_an_open_end_shows_from_behind_as_far_beyond_it(total, others, sign):
    (echo,) = _steps(0.2)
    echoes = [echo, *(SimpleNamespace(delay_s=at, size=size, shape=shape) for at, size, shape in others)]
    fit = SimpleNamespace(end_delay_s=50e-9, cell_s=1e-9, echoes=echoes)
    assert behind(echo, SimpleNamespace(fit=fit, total=total)) == sign


def test_two_edges_are_of_one_size_but_for_so_much_as_braid_makes_them_differ():
    """The most likely size, and how much less the far edge may have: as an ordinary library's least squares has it."""
    rng = np.random.default_rng(7)
    both, far, heard = rng.standard_normal((3, 40)) + 1j * rng.standard_normal((3, 40))
    noise = 0.3
    a = np.vstack([np.column_stack([both, far]).real, np.column_stack([both, far]).imag, [[0.0, noise / EDGE_SIZE]]])
    y = np.concatenate([heard.real, heard.imag, [0.0]])
    rest = y - a @ np.linalg.lstsq(a, y, rcond=None)[0]
    assert _edge_score(heard, both, far, noise) == pytest.approx((y @ y - rest @ rest) / (2 * noise**2))


def test_the_same_resistance_seen_from_both_ends_has_its_ohms():
    """25 ohm before a line of 50 look like 75: they reflect 0.2 from either side."""
    near, far = (Fault(x, x - 0.1, x + 0.1, "step", 0.2, 0.95, "", impedance_ohm=75.0) for x in (7.0, 7.05))
    joint = _joined(near, far, 50.0)
    assert (joint.kind, joint.series_ohm, joint.impedance_ohm) == ("bad joint", pytest.approx(25.0), None)
    assert _joined(near, replace(far, impedance_ohm=33.3), 50.0).kind == "step"


@pytest.mark.parametrize(("end", "length_m"), [("load", (25.0, 0.1)), ("through", (25.0, 0.1)), ("through", None)])
def test_a_line_that_ends_early_is_open_there_and_told_how_long_it_should_be(end, length_m):
    f = np.linspace(1e6, 500e6, 401)
    s = _scattering(_product([_line(f, 50.0, 0.66, (0.06, 0.01), 12.0)]))
    opened = s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] / (1 - s[:, 1, 1])
    ports = 2 if end == "through" else 1
    s = np.full((401, ports, ports), 1e-6) * np.exp(1j * f[:, None, None] / 1e7)  # next to nothing gets through
    s[:, 0, 0] = 1.05 * opened
    found = find_faults(Sweep("cut", f, s, np.full(ports, 50.0 + 0j)), end, Known((0.66, 0.003), length_m))
    (fault,) = found.faults
    assert (fault.kind, round(fault.distance_m)) == ("open", 12)
    assert ("It should be 25 m long." in fault.why) is bool(length_m)
    assert fault.size == pytest.approx(1.0)  # no end sends back more than all, whatever the calibration
    assert all(mark.kind != "far end" for mark in found.landmarks)


@pytest.mark.parametrize(("ohm", "faults"), [(50.0, []), (3.0, ["short"])])
def test_a_load_of_50_ohm_on_a_line_of_450_is_no_short_though_most_of_the_wave_comes_back(ohm, faults):
    """In 450 ohm it reflects -0.80, and 3 ohm reflect -0.99 (D. M. Pozar, Microwave Engineering, eq. 2.35)."""
    f = np.linspace(1e6, 500e6, 401)
    s = _scattering(_product([_line(f, 450.0, 0.9, (0.02, 0.001), 12.0)]))
    end = (ohm - 50.0) / (ohm + 50.0)
    s = (s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] * end / (1 - s[:, 1, 1] * end))[:, None, None]
    known = Known(None, (12.0, 0.05), 450.0, (0.02 / 100, 0.0), impedance_u=0.02)
    found = find_faults(Sweep("loaded", f, s, np.array([50.0 + 0j])), "load", known)
    assert [fault.kind for fault in found.faults] == faults
    # A line that is whole is as long as it was said to be: that tells how fast its wave is.
    assert found.assumed is bool(faults)
    assert faults or found.velocity_factor == pytest.approx(0.9, abs=0.005)


def test_without_velocity_factor_the_interval_is_as_wide_as_that_doubt():
    world = _world("pinch", "open", 0)
    found = _found(world, velocity_factor=None, length_m=None)
    (fault,) = found.faults
    assert fault.low_m < world.distance_m < fault.high_m
    assert fault.high_m - fault.low_m > 0.2 * fault.distance_m
    assert "The velocity factor is not known" in " ".join(found.remarks)


def test_every_cable_of_the_benchmark_is_passive():
    f = np.linspace(1e6, 1e9, 50)
    for ohm, vf, a, b in CABLES:
        s = _scattering(_product([_line(f, ohm, vf, (a, b), 10.0), _series(f, 5.0)]))
        assert np.linalg.svd(s, compute_uv=False).max() <= 1.0


@few(40)
@given(
    seed=st.integers(0, 10_000),
    points=st.integers(1, 400),
    low=st.floats(0.0, 1e9),
    span=st.floats(1e3, 1e10),
    ports=st.integers(1, 2),
    end=st.sampled_from(ENDS),
    scale=st.sampled_from([0.0, 1e-9, 0.3, 1.0, 3.0]),
    uneven=st.booleans(),
    length=st.one_of(st.none(), st.floats(0.01, 1e4)),
    loss=st.one_of(st.none(), st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 0.1))),
    ranges=st.one_of(st.none(), st.floats(0.5, 4.5)),
)
def test_any_sweep_is_answered_or_says_why(seed, points, low, span, ports, end, scale, uneven, length, loss, ranges):
    rng = np.random.default_rng(seed)
    f = low + span * (np.sort(rng.uniform(size=points)) if uneven else np.linspace(0.0, 1.0, points))
    s = scale * (rng.normal(size=(points, ports, ports)) + 1j * rng.normal(size=(points, ports, ports)))
    delay_s = ranges and points > 1 and ranges / (2.0 * float(np.median(np.diff(f))))
    known = Known(None, None if length is None else (length, 0.01 * length), None, loss, delay_s or None)
    known = replace(known, told_s=known.delay_s)
    answer = find_faults(Sweep("any", f, s, np.full(ports, 50.0 + 0j)), end, known)
    if isinstance(answer, str):
        assert answer.startswith("Faults along the line cannot be found")
        return
    assert all(np.isfinite([x.distance_m, x.low_m, x.high_m, x.size]).all() for x in answer.faults)
    assert all(x.low_m <= x.distance_m <= x.high_m and 0 <= x.confidence <= 1 for x in answer.faults)
    assert np.isfinite(answer.profile.reflection).all()
