"""What a sweep cannot bear is not claimed: places that fold, and losses below nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from evidence.made_sweeps import Made
from linewright.core.nouns.sweep import Resemblance, Sweep, SweepQuestion, SweepReport
from linewright.files.touchstone import read_touchstone
from linewright.present.compose.sweep import types, verdict
from linewright.verbs.sweep import read_sweep

MEASURED = Path(__file__).parents[1] / "data" / "touchstone" / "cables" / "coax_10m_two_port.s2p"
DELAY_S = 39.586e-9
"""Of the measured cable, one way, by tests/data/touchstone/INDEX.csv."""
LONG = Made(k1_db=0.25, zc_ohm=52.0, velocity_factor=0.703, length_m=9.144, stop_hz=1.5e9)
SHORT = Made(k1_db=0.03, k2_db=0.0002, length_m=3.0)


def withheld(report: SweepReport) -> bool:
    """Return whether nothing is said of what lies along the line but why not."""
    places = any(w in report.verdict for w in (" at ", "No fault")) and " m (" in report.verdict
    remarks = " ".join(report.remarks)
    return (
        report.along is None and "too wide" in report.along_why and not places
        and "The velocity factor is not known" not in remarks and "far end" not in remarks
    )  # fmt: skip


@pytest.mark.parametrize("far_end", ["through", "open", "short"])
@pytest.mark.parametrize("length_m", [None, 9.144])
@pytest.mark.parametrize("points", [41, 61, 101, 125])
def test_places_that_fold_are_withheld_with_the_reason(far_end: str, length_m: float | None, points: int) -> None:
    """An open end 9.14 m out was told at 0.80 m, or at 2.31 m, with 99 %."""
    made = replace(LONG, points=points)
    assert 2.0 * made.delay_s * 1499e6 / (points - 1) > 1.0
    sweep = made.through() if far_end == "through" else made.ended(1.0 if far_end == "open" else -1.0)
    report = read_sweep([sweep], [far_end], SweepQuestion(length_m=length_m))
    if length_m is not None and far_end == "through":
        assert report.along is not None
        assert report.along.faults == ()
        assert any("unfolded with the length given" in remark for remark in report.remarks)
        return
    assert withheld(report)


@pytest.mark.parametrize("far_end", ["through", "open", "short"])
def test_places_that_do_not_fold_are_told(far_end: str) -> None:
    made = replace(LONG, points=151)
    assert 2.0 * made.delay_s * 1499e6 / 150 < 0.9
    sweep = made.through() if far_end == "through" else made.ended(1.0 if far_end == "open" else -1.0)
    report = read_sweep([sweep], [far_end], SweepQuestion(length_m=9.144))
    assert report.along is not None
    assert report.along.faults == ()
    assert report.along.end_m == pytest.approx(9.144, abs=0.05)


def thinned(each: int) -> Sweep:
    sweep = read_touchstone(MEASURED)
    return replace(sweep, frequency_hz=sweep.frequency_hz[::each], s=sweep.s[::each])


@pytest.mark.parametrize("each", [52, 56, 60])
@pytest.mark.parametrize("known", [{}, {"length_m": 10.0}, {"velocity_factor": 0.84}])
def test_a_measured_cable_thinned_until_its_places_fold_has_none(each: int, known: dict[str, float]) -> None:
    sweep = thinned(each)
    assert 2.0 * DELAY_S * float(np.diff(sweep.frequency_hz)[0]) > 1.0
    report = read_sweep([sweep], ["through"], SweepQuestion(**known))
    # Its length unfolds the places, and of these there are none.
    assert withheld(report) if "length_m" not in known else report.along is not None
    assert report.along is None or report.along.faults == ()


def test_without_a_delay_no_places_are_given() -> None:
    """A stepped line of 0.14 m was said to be too long for steps of 5 MHz, for 200.9 ns were not ruled out."""
    stepped = MEASURED.parents[1] / "lines" / "microstrip_stepped_140mm_tdr.s2p"
    report = read_sweep([stepped])
    assert "cannot be found until its delay is known" in report.along_why
    assert "200.9 ns" in report.along_why
    assert read_sweep([stepped], (), SweepQuestion(length_m=0.14)).along is not None


def test_a_length_alone_shows_that_places_fold() -> None:
    """Nothing tells the delay here: all is noise. Light alone would take longer than the steps can hold."""
    rng = np.random.default_rng(5)
    noise = 0.05 * (rng.normal(size=(60, 1, 1)) + 1j * rng.normal(size=(60, 1, 1)))
    sweep = Sweep("noise", np.linspace(1e6, 600e6, 60), noise, np.array([50.0 + 0j]))
    assert "too wide" in read_sweep([sweep], ["load"], SweepQuestion(length_m=30.0)).along_why


def lifted(sweep: Sweep, gain_db: float, slope_db: float = 0.0) -> Sweep:
    """Return a sweep whose waves from port to port, or back, are larger: alike, or more so towards the top."""
    times = 10.0 ** ((gain_db + slope_db * sweep.frequency_hz / sweep.frequency_hz[-1]) / 20.0)
    s = sweep.s.copy()
    for i, j in ((0, 1), (1, 0)) if sweep.ports == 2 else ((0, 0),):
        s[:, i, j] *= times
    return replace(sweep, s=s)


@pytest.mark.parametrize("gain_db", [0.1, 0.2, 0.76, 3.0, 10.0])
def test_a_gain_is_a_matter_of_calibration_and_no_poor_joint(gain_db: float) -> None:
    """It said: A loss of -0.76 dB is there at all frequencies alike: a poor joint, a pad, or ..."""
    report = read_sweep([lifted(SHORT.through(), gain_db)], ["through"], SweepQuestion(length_m=3.0))
    said = " ".join(report.remarks)
    assert float(said.split("a gain of ")[1].split(" dB")[0]) == pytest.approx(gain_db, abs=0.03)
    assert "the calibration is bad, an amplifier is in the path, or files were swapped" in said
    assert "poor joint" not in said
    assert "loss of -" not in said
    assert report.verdict.startswith(("Doubtful sweep", "Do not go by this sweep"))


def test_a_loss_alike_at_all_frequencies_is_still_a_joint_or_a_pad() -> None:
    report = read_sweep([lifted(SHORT.through(), -0.5)], ["through"], SweepQuestion(length_m=3.0))
    assert any(r.startswith("A loss of 0.50 dB") and "poor joint" in r for r in report.remarks)
    assert not any("A gain" in r for r in report.remarks)


def test_where_the_law_gains_no_loss_is_told() -> None:
    report = read_sweep([lifted(SHORT.through(), 0.0, 3.0)], ["through"], SweepQuestion(length_m=3.0))
    assert any(r.startswith("There is a gain of") and "near 495 MHz" in r for r in report.remarks)
    assert all(row.matched_loss_db.high > 0.005 for row in report.finding.losses)
    assert max(row.frequency_hz for row in report.finding.losses) < 100e6


def test_a_sound_sweep_shows_no_gain() -> None:
    for sweep, end in (
        (SHORT.through(), "through"),
        (SHORT.ended(1.0), "open"),
        (read_touchstone(MEASURED), "through"),
    ):
        assert "A gain" not in " ".join(read_sweep([sweep], [end]).remarks)


@pytest.mark.parametrize("far", [1.0, -1.0])
def test_swapped_files_of_open_and_short_are_told(far: float) -> None:
    opened, shorted = SHORT.ended(far), SHORT.ended(-far)
    said = " ".join(read_sweep([opened, shorted], ["open", "short"], SweepQuestion(length_m=3.0)).remarks)
    assert ("they were swapped" in said) is (far < 0)


@pytest.mark.parametrize("none", [0.01, 0.03, 0.5])
def test_the_first_line_and_the_table_agree_on_whether_it_may_be_none(none: float) -> None:
    """ "Or none" stood over a table in which none was not listed, for its chance was the seventh."""
    found = read_sweep([Made().through()], (), SweepQuestion(length_m=Made().length_m))
    rest = tuple(
        replace(r, line=f"type {i}", kind="as published", probability=(1.0 - none) / 6.0)
        for i, r in enumerate([found.resembles[0]] * 6)
    )
    last = Resemblance("none of these", "none of these", none, None, "")
    rows = tuple(sorted((*rest, last), key=lambda r: -r.probability))
    report = replace(found, resembles=rows, verdict=verdict(found.finding, found.along, rows, ""))
    listed = "none of these" in str(types(report))
    assert listed is (none >= 0.02)
    assert ("or none" in report.verdict) is listed
