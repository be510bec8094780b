"""What is wrong with a sweep is said; what is fair is left in peace."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evidence.made_sweeps import Made
from linewright.inference.sweep.health import checked, completed, filler


def _found(sweep):
    return {h.check: h.severity for h in checked(sweep)}


def _low_loss():
    return Made(k1_db=0.02, k2_db=0.0001, length_m=2.0, noise=3e-4)


def test_a_passive_reciprocal_sweep_has_no_findings():
    assert _found(Made().through()) == {}
    assert _found(Made().ended(1.0)) == {}
    assert _found(_low_loss().through()) == {}


@pytest.mark.parametrize("noise", [1e-4, 1e-3, 5e-3])
def test_noise_is_not_taken_for_gain_or_for_one_way_traffic(noise):
    assert _found(replace(_low_loss(), noise=noise).through()) == {}


@pytest.mark.parametrize(("gain", "severity"), [(1.015, "note"), (1.04, "doubt"), (1.15, "refuse")])
def test_more_out_than_in_is_said_the_louder_the_more_it_is(gain, severity):
    sweep = _low_loss().through()
    found = checked(replace(sweep, s=sweep.s * gain))
    assert [h.severity for h in found] == [severity]
    assert "a cable adds no power" in found[0].why


@pytest.mark.parametrize(("factor", "severity"), [(1.05, "doubt"), (1.3, "refuse"), (np.exp(0.5j), "refuse")])
def test_two_directions_that_differ_are_said(factor, severity):
    sweep = Made().through()
    s = sweep.s.copy()
    s[:, 0, 1] *= factor
    assert _found(replace(sweep, s=s))["reciprocity"] == severity


def test_gain_on_a_one_port_is_said():
    sweep = _low_loss().ended(1.0)
    assert _found(replace(sweep, s=sweep.s * 1.2)) == {"calibration": "refuse"}


def test_columns_of_nothing_or_of_one_value_are_filler():
    sweep = Made().through()
    s = sweep.s.copy()
    s[:, 0, 1] = 0
    s[:, 1, 1] = 1e-10 * np.exp(0.78j)
    assert filler(replace(sweep, s=s)).tolist() == [[False, True], [False, True]]
    whole = completed(replace(sweep, s=s)).s
    assert np.array_equal(whole[:, 0, 1], sweep.s[:, 1, 0])
    assert np.array_equal(whole[:, 1, 1], sweep.s[:, 0, 0])
    assert _found(replace(sweep, s=s)) == {"filler": "note"}


@pytest.mark.parametrize("blank", [(0, 0), (0, 1), (1, 0), (1, 1)])
def test_a_column_that_was_not_measured_is_taken_from_the_other_side_and_compared_with_nothing(blank):
    sweep, (i, j) = Made().through(), blank
    s = sweep.s.copy()
    s[:, i, j] = 0
    whole = completed(replace(sweep, s=s)).s
    assert np.array_equal(whole[:, i, j], sweep.s[:, 1 - i, 1 - j])
    assert np.array_equal(whole[:, 1 - i, 1 - j], sweep.s[:, 1 - i, 1 - j])
    assert _found(replace(sweep, s=s)) == {"filler": "note"}
    one_way = s * [[1.0, 1.3], [1.0, 1.0]]
    assert ("reciprocity" in _found(replace(sweep, s=one_way))) is (i == j)


def test_a_sweep_with_nothing_through_it_is_refused():
    sweep = Made().through()
    found = checked(replace(sweep, s=sweep.s * [[1, 0], [0, 1]]))
    assert found[0].check == "filler"
    assert found[0].severity == "refuse"
