"""Places along a line whose delay a sweep's steps cannot hold: unfolded by a stated length, and said to be so."""

from __future__ import annotations

import numpy as np
import pytest

from fault_worlds import _line, _product, _scattering
from linewright.core.nouns.sweep import Sweep, SweepQuestion
from linewright.verbs.sweep import read_sweep

RG58 = (0.130, 0.028)
LENGTH_M, FACTOR = 9.144, 0.7


def _told(*pinches_m, db=RG58, stop_hz=2.4e9, points=101, far="through", length_m=LENGTH_M):
    """Return what is told of 30 feet, swept in steps of 24 MHz, with short spots of low impedance."""
    f = np.linspace(1e6, stop_hz, points)
    edges = [0.0, *(x for at in pinches_m for x in (at, at + 0.02)), LENGTH_M]
    ohms = [50.0, *(x for _ in pinches_m for x in (28.0, 50.0))]
    s = _scattering(_product([
        _line(f, ohm, FACTOR, db, b - a) for ohm, a, b in zip(ohms, edges, edges[1:], strict=False)
    ]))  # fmt: skip
    rng = np.random.default_rng(1)
    s = s + 3e-4 * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape))
    if far == "open":
        s = (s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] / (1 - s[:, 1, 1]))[:, None, None]
    sweep = Sweep("made", f, s, np.full(s.shape[1], 50.0 + 0j))
    return read_sweep([sweep], [far], SweepQuestion(length_m=length_m))


@pytest.mark.parametrize("at_m", [1.2, 2.0, 3.7, 5.5, 6.4, 8.0])
def test_a_pinch_stands_at_its_own_place_of_two_or_three(at_m):
    (fault,) = _told(at_m).along.faults
    assert fault.kind == "pinch"
    assert fault.low_m < at_m < fault.high_m
    assert fault.high_m - fault.low_m < 0.5
    assert "goes with what comes back at both ends" in fault.why


def test_what_was_unfolded_is_said_to_be_and_what_the_ends_hide():
    report = _told(5.5)
    said = " ".join(report.remarks)
    assert "were unfolded with the length given, 9.144 m" in said
    assert "Anything at 0.404 m or 4.37 m or 4.77 m or 8.74 m shows at the same place as an end of the line" in said
    assert "they were unfolded with the length given" in report.verdict
    assert report.along.profile.impedance_ohm is None
    assert "drawn once" in report.along.profile.why


def test_a_whole_line_swept_too_coarsely_has_no_fault():
    assert _told().along.faults == ()


def test_two_places_that_fold_onto_each_other_are_not_told_as_two_faults():
    assert len(_told(1.2, 1.2 + 4.371).along.faults) <= 1


def test_every_place_is_named_where_the_line_loses_too_little_to_tell():
    quiet = _told(5.5, db=(0.002, 0.0004))
    (fault,) = quiet.along.faults
    assert " or " in fault.why
    assert "fold its place" in fault.why
    assert fault.low_m < 1.2
    assert fault.high_m > 5.5


def test_the_picture_shows_a_reflection_once():
    shown = _told(5.5).along.profile
    inside = (shown.distance_m > 0.4) & (shown.distance_m < 8.5)
    high = shown.distance_m[inside & (shown.reflection > 0.3 * shown.reflection[inside].max())]
    assert high.min() > 5.0
    assert high.max() < 6.0


@pytest.mark.parametrize(("times", "chances"), [(0.15, "75 %"), (0.2, "87 %"), (0.25, "both ends")])
def test_a_place_is_as_sure_as_the_loss_makes_it(times, chances):
    """A line that loses a fifth of RG-58 parts its places by 0.15 Np a good deal, one that loses a quarter enough."""
    (fault,) = _told(5.5, db=tuple(times * x for x in RG58)).along.faults
    assert chances in fault.why


def test_a_line_of_four_ranges_is_unfolded():
    assert len(_told(5.5, points=54).along.faults) == 1


@pytest.mark.parametrize("given", [{"length_m": None}, {"far": "open"}, {"points": 53}])
def test_without_a_length_from_one_end_or_folded_too_often_nothing_is_placed(given):
    report = _told(5.5, **given)
    assert report.along is None
    assert "too wide" in report.along_why
