"""Measured sweeps: the reference numbers that came with the files lie inside the intervals, and near the values."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from linewright.core.nouns.sweep import Interval, SweepFinding
from linewright.files.touchstone import read_touchstone
from linewright.inference.sweep.compare import deembed, difference_db, two_lengths
from linewright.inference.sweep.one_port import read_one_port
from linewright.inference.sweep.two_port import read_two_port
from published.reader import checks, label, tolerance

DATA = Path(__file__).parents[1] / "data" / "touchstone"
AT_HZ = (3.5e6, 14e6, 30e6, 144e6, 432e6, 1296e6)


@cache
def _read(files: tuple[str, ...], length_m: float | None) -> SweepFinding:
    sweeps = [read_touchstone(DATA / f) for f in files]
    if len(sweeps) == 1:
        return read_two_port(sweeps[0], length_m=length_m, at_hz=AT_HZ)
    return read_one_port(dict(zip(("open", "short"), sweeps, strict=True)), length_m=length_m, at_hz=AT_HZ)


def _figure(found: SweepFinding, figure: str, frequency_hz: float | None) -> Interval:
    if figure == "matched_loss_db":
        return next(x.matched_loss_db for x in found.losses if x.frequency_hz == frequency_hz and not x.band)
    if figure == "resistance_ohm":
        return next(x.resistance_ohm for x in found.impedances if x.frequency_hz == frequency_hz)
    if figure == "delay_ns":
        assert found.delay_s is not None
        return found.delay_s.times(1e9)
    out = getattr(found.law if figure in ("k1_db", "k2_db") else found, figure)
    assert isinstance(out, Interval)
    return out


@pytest.mark.parametrize(
    "check", checks("sweeps", "read_two_port") + checks("sweeps", "read_one_port"), ids=lambda c: str(c["inputs"])
)
def test_a_measured_sweep_gives_its_reference_number(check):
    given = check["inputs"]
    found = _figure(_read(tuple(given["files"]), given.get("length_m")), given["figure"], given.get("frequency_hz"))
    assert found.holds(float(check["printed"]))
    assert abs(found.value - float(check["printed"])) <= tolerance(check)


@pytest.mark.parametrize("check", checks("sweeps", "two_lengths"), ids=label)
def test_two_lengths_of_a_microstrip_give_their_reference_number(check):
    given = check["inputs"]
    found = two_lengths(*(read_touchstone(DATA / f"lines/microstrip_{n}mm_two_port.s2p") for n in (100, 200)), 0.1)
    near = np.abs(found.frequency_hz - given["frequency_hz"]) <= 0.025 * given["frequency_hz"] + 5e6
    assert found.velocity_factor is not None
    value = found.attenuation_db if given["figure"] == "attenuation_db_per_m" else found.velocity_factor**-2.0
    assert abs(float(np.median(value[near])) - float(check["printed"])) <= tolerance(check)


def _triple():
    names = ("cables/coax_pair_plus_20dB_attenuator", "cables/coax_pair_test_cables_through")
    return [read_touchstone(DATA / f"{name}.s2p") for name in names]


@pytest.mark.parametrize("check", checks("sweeps", "difference_db"), ids=label)
def test_an_attenuator_between_cables_gives_its_reference_number(check):
    with_pad, without = _triple()
    inside = (without.frequency_hz >= check["inputs"]["low_hz"]) & (without.frequency_hz <= check["inputs"]["high_hz"])
    assert abs(float(np.mean(difference_db(with_pad, without)[inside])) - float(check["printed"])) <= tolerance(check)


def test_half_of_two_like_cables_taken_off_leaves_the_attenuator():
    with_pad, both = _triple()
    direct = read_touchstone(DATA / "components/attenuator_20dB_direct.s2p")
    left = deembed(with_pad, left=both)
    middle = (both.frequency_hz > 380e6) & (both.frequency_hz < 480e6)
    seen, truth = (-20 * np.log10(np.abs(s.transmission[middle])).mean() for s in (left, direct))
    assert abs(seen - truth) < 0.15


@pytest.mark.parametrize("ends", [("open",), ("short",), ("open", "short"), ("open", "short", "load")])
def test_any_far_ends_tell_the_same_cable(ends):
    sweeps = {end: read_touchstone(DATA / f"cables/coax_one_of_pair_{end}_end.s1p") for end in ends}
    found = read_one_port(sweeps, at_hz=(432e6,))
    assert found.delay_s.holds(7.207e-9)
    assert _figure(found, "matched_loss_db", 432e6).holds(0.444)
    assert _figure(found, "resistance_ohm", 432e6).holds(50.9)


def test_one_of_two_cables_loses_half_of_both():
    both = read_two_port(read_touchstone(DATA / "cables/coax_pair_test_cables_through.s2p"), at_hz=(432e6,))
    one = read_one_port(
        {e: read_touchstone(DATA / f"cables/coax_one_of_pair_{e}_end.s1p") for e in ("open", "short")}, at_hz=(432e6,)
    )
    assert abs(_figure(both, "matched_loss_db", 432e6).value / 2 - _figure(one, "matched_loss_db", 432e6).value) < 0.03


def test_a_load_alone_tells_the_impedance_and_no_loss():
    found = read_one_port({"load": read_touchstone(DATA / "cables/coax_one_of_pair_load_end.s1p")})
    assert found.law is None
    assert found.impedance_ohm.holds(50.9)
    assert any("at most 0.038" in said for said in found.remarks)


def test_the_file_of_a_damaged_calibration_is_doubted_aloud():
    found = read_two_port(read_touchstone(DATA / "cables/coax_1m_semiflex_two_port.s2p"))
    assert {h.check for h in found.health} >= {"reciprocity"}
    assert any("calibration" in said for said in found.remarks)


def test_filler_is_not_read_as_a_measurement():
    found = read_two_port(read_touchstone(DATA / "components/termination_bad_calibration.s2p"))
    assert found.law is None
    assert found.delay_s is None
    assert found.losses == ()
    assert any("S12, S21, S22" in said and "filler" in said for said in found.remarks)


def test_an_attenuator_is_a_constant_and_no_cable():
    found = read_two_port(read_touchstone(DATA / "components/attenuator_20dB_direct.s2p"), at_hz=(432e6,))
    assert found.law.constant
    assert found.law.k0_db.holds(20.13)
    assert abs(found.delay_s.value) < 0.05e-9


def test_a_clean_calibration_is_not_doubted():
    for name in ("cables/coax_10m_two_port", "cables/coax_pair_test_cables_through", "lines/microstrip_100mm_two_port"):
        found = read_two_port(read_touchstone(DATA / f"{name}.s2p"))
        assert not {h.check for h in found.health} & {"calibration", "reciprocity", "filler", "noise floor"}
