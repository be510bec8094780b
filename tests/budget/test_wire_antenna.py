"""An antenna by a few lengths becomes the wires that a person means by them."""

from __future__ import annotations

from math import dist, hypot

import pytest

from linewright.core.errors import InputError
from linewright.core.formulas.near_field import PERFECT_GROUND, solve
from linewright.core.nouns.station import Antenna
from linewright.core.nouns.wire_antenna import Beam, Dipole, EndFed, Loop, Vertical, structure
from linewright.files.station_antenna import written_antenna

ALL = [
    (Dipole(20.2, 10.0), 7.1e6), (Dipole(20.2, 10.0, 5.0, 0.3), 7.1e6), (EndFed(10.1, 2.5, 1.0, 8.0), 14.1e6),
    (EndFed(20.0, 2.5, 5.0), 7.1e6), (Vertical(10.1), 7.1e6), (Vertical(10.0, top_m=10.0), 475e3),
    (Vertical(8.0, coil_m=4.0), 3.6e6), (Vertical(10.1, 3.0, 4, 10.0), 7.1e6), (Loop(1.0, 2.0), 14.1e6),
    (Beam(((0.0, 10.4), (3.8, 9.96), (7.0, 9.43)), 10.0), 14.15e6), (Dipole(80.0, 12.0), 28.5e6),
    (Dipole(1.0, 12.0), 144e6),
]  # fmt: skip


@pytest.mark.parametrize(("antenna", "frequency_hz"), ALL)
def test_what_is_described_can_be_solved_and_takes_power(antenna, frequency_hz):
    made = structure(antenna, frequency_hz)
    found = solve(made.wires, frequency_hz, feed=made.feed, loads=made.loads, ground=PERFECT_GROUND)
    assert found.impedance_ohm.real > 0
    assert 0 < found.radiated_fraction < 1


@pytest.mark.parametrize(("antenna", "frequency_hz"), ALL)
def test_wires_lie_above_ground_and_mirror_each_other(antenna, frequency_hz):
    made = structure(antenna, frequency_hz)
    ends = {tuple(round(x, 6) + 0.0 for x in end) for w in made.wires for end in (w.start_m, w.end_m)}
    assert min(z for *_, z in ends) >= 0
    assert {(x, -y + 0.0, z) for x, y, z in ends} == ends
    assert (min(z for *_, z in ends) == 0) == made.grounded
    assert made.wires[made.feed].start_m == made.feed_m


def test_a_dipole_has_the_stated_wire_length_however_its_ends_hang():
    for end in (None, 5.0, 3.0):
        wires = structure(Dipole(20.2, 10.0, end), 7.1e6).wires
        assert sum(w.length_m for w in wires) == pytest.approx(20.2)
        assert {w.end_m[2] for w in wires} == {10.0 if end is None else end}


def test_a_dipole_is_fed_at_the_share_of_its_length_that_is_said():
    short, long = structure(Dipole(20.0, 10.0, feed_fraction=0.3), 7.1e6).wires
    assert (short.length_m, long.length_m) == pytest.approx((6.0, 14.0))


def test_a_counterpoise_longer_than_the_feed_is_high_lies_level_above_ground():
    _, down, level = structure(EndFed(20.0, 2.5, 5.0), 7.1e6).wires
    assert down.length_m + level.length_m == pytest.approx(5.0)
    assert level.start_m[2] == level.end_m[2] == pytest.approx(0.2)


def test_a_vertical_has_the_top_radials_and_coil_that_are_said():
    tee = structure(Vertical(10.0, top_m=10.0), 475e3)
    assert [w.length_m for w in tee.wires] == [10.0, 10.0, 10.0]
    plane = structure(Vertical(10.1, 3.0, 4, 10.0), 7.1e6)
    assert [round(hypot(*w.end_m[:2]), 6) for w in plane.wires[1:]] == [10.0] * 4
    coil = structure(Vertical(8.0, coil_m=4.0), 3.6e6)
    assert coil.wires[coil.loads[0].wire].start_m == (0.0, 0.0, 4.0)


def test_a_loop_is_tuned_opposite_its_feed():
    made = structure(Loop(1.0, 2.0), 14.1e6)
    feed, capacitor = made.wires[0].start_m, made.wires[made.loads[0].wire].start_m
    assert capacitor[:2] == feed[:2] == (0.0, 0.0)
    assert dist(feed, capacitor) == pytest.approx(1.0, rel=0.01)
    assert (feed[2] + capacitor[2]) / 2 == pytest.approx(2.0)


def test_a_beam_is_fed_in_the_middle_of_its_driven_element_over_the_origin():
    made = structure(Beam(((0.0, 10.4), (3.8, 9.96), (7.0, 9.43)), 10.0), 14.15e6)
    assert made.feed_m == (0.0, 0.0, 10.0)
    assert [round(w.start_m[0], 6) for w in made.wires[::2]] == [-3.8, 0.0, 3.2]


@pytest.mark.parametrize(
    ("antenna", "rule"),
    [
        (Dipole(10.0, 10.0, 4.0), "end_height"),
        (EndFed(5.0, 2.0, 1.0, 8.0), "end_height"),
        (Vertical(8.0, coil_m=8.0), "coil"),
        (Beam(((0.0, 10.4),), 10.0, driven=2), "driven"),
        (Dipole(1000.0, 10.0), "wavelengths"),
        (Dipole(10.0, 10.0, wire_diameter_m=1.9), "thin"),
    ],
)
def test_lengths_that_do_not_fit_are_refused(antenna, rule):
    with pytest.raises(InputError, match=rule):
        structure(antenna, 14.1e6)


@pytest.mark.parametrize(
    ("text", "shape"),
    [
        ("dipole, length 20.2 m, height 10 m", Dipole(20.2, 10.0)),
        ("inverted v, length 20.2 m, height 10 m, end height 5 m, feed 30 %", Dipole(20.2, 10.0, 5.0, 0.3)),
        ("dipole, length 20.2 m, height 10 m, wire 5 mm", Dipole(20.2, 10.0, wire_diameter_m=0.005)),
        ("end-fed, length 10.1 m, height 2.5 m, counterpoise 1 m, end_height 8 m", EndFed(10.1, 2.5, 1.0, 8.0)),
        ("vertical, length 10.1 m, base 3 m, radials 4, radial length 10 m", Vertical(10.1, 3.0, 4, 10.0)),
        ("vertical, length 10.1 m, top 10 m, coil 4 m", Vertical(10.1, top_m=10.0, coil_m=4.0)),
        ("loop, diameter 1 m, height 2 m", Loop(1.0, 2.0, 0.022)),
        ("beam, elements 0 m 10.4 m; 3.8 m 9.96 m, height 10 m, driven 1", Beam(((0.0, 10.4), (3.8, 9.96)), 10.0, 1)),
    ],
)
def test_an_antenna_written_in_one_line_is_the_one_that_was_meant(text, shape):
    for loss, loss_ohm in (("", None), (", loss 12.5 ohm", 12.5)):
        assert written_antenna(text + loss, "antenna", (14.1e6,)) == Antenna(shape=shape, loss_ohm=loss_ohm)
