"""What is claimed of measured files, held against the reference numbers that came with them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from linewright.core.nouns.sweep import SweepQuestion, SweepReport
from linewright.verbs.sweep import read_sweep

DATA = Path(__file__).parents[1] / "data" / "touchstone"
COAX = ("cables/coax_10m_two_port", "cables/coax_pair_test_cables_through")
STRIPS = ("lines/microstrip_100mm_two_port", "lines/microstrip_200mm_two_port", "lines/microstrip_stepped_140mm_tdr")
PADS = ("cables/coax_pair_plus_20dB_attenuator", "components/attenuator_20dB_direct")


@cache
def told(name: str, length_m: float | None = None) -> SweepReport:
    return read_sweep([DATA / f"{name}.s2p"], ["through"], SweepQuestion(length_m=length_m))


def test_a_sweep_by_a_damaged_calibration_tells_no_delay_and_no_fault():
    """A sure delay of 8.7 ns (4.63 in the recalibrated file) and three faults were told of it."""
    report = told("cables/coax_1m_semiflex_two_port")
    assert report.verdict.startswith("Do not go by this sweep.")
    assert report.finding.delay_s is None
    assert report.finding.candidates == ()
    assert report.along is None
    assert report.resembles == ()


@pytest.mark.parametrize("name", PADS)
def test_of_a_pad_it_is_not_said_that_no_fault_shows(name):
    report = told(name)
    assert "No fault shows along it" not in report.verdict
    assert report.finding.law.k0_db.holds(20.2) or report.finding.law.k0_db.value == pytest.approx(20.2, abs=0.2)


@pytest.mark.parametrize("name", STRIPS)
@pytest.mark.parametrize("length_m", [None, 0.1])
def test_a_microstrip_is_of_no_type(name, length_m):
    """It was "worn RG-174/U, 100 %"."""
    report = told(name, length_m)
    assert max((r.probability for r in report.resembles if r.kind != "none of these"), default=0.0) < 0.8
    assert "Most like" not in report.verdict


@pytest.mark.parametrize("name", [*COAX, *STRIPS])
def test_nothing_moved_while_a_sound_file_was_swept(name):
    """A contact was said to have moved in a microstrip's."""
    assert not [h for h in told(name).finding.health if h.check == "step"]


@pytest.mark.parametrize("name", [COAX[0], *STRIPS[:2]])
@pytest.mark.parametrize("known", [False, True])
def test_a_whole_measured_line_has_no_fault(name, known):
    long = {"cables/coax_10m_two_port": 10.0, STRIPS[0]: 0.1, STRIPS[1]: 0.2}[name]
    report = told(name, long if known else None)
    assert report.along is None or report.along.faults == ()


def test_a_stepped_line_is_recognised_by_its_edges():
    """20 mm of low impedance from 50 mm on, then 20 mm of high, were told as "98 ohm and stays"."""
    low, high = told(STRIPS[2], 0.14).along.faults
    assert low.distance_m == pytest.approx(0.050, abs=0.004)
    assert low.impedance_ohm == pytest.approx(24.7, abs=3.0)
    assert high.distance_m == pytest.approx(0.070, abs=0.004)
    assert "a section of it begins or ends" in high.why
    # A tape is off by a tenth of so short a line at most: 8 cm made 0.00 to 0.10 m of the first edge.
    assert 0.005 < low.high_m - low.distance_m < 0.012
