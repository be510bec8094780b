"""Uncertainty formulas against the guides' worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.core.formulas import uncertainty as un
from physics import budgets as b
from published.reader import agrees, checks, label

OUT, IN = {"R": 0, "X": 1, "Z": 2}, {"V": 0, "I": 1, "phi": 2}


def _s7_sd():
    return un.combine([(u, 1.0) for _, u, _ in b.s7_parts()])


def _h1_part(i):
    c = un.sensitivities(b.h1_model, b.H1_VALUES, b.H1_SD)[0]
    at = b.H1_PART[i["part"]]
    return abs(c[at] * b.H1_SD[at])


def _force(i):
    """GUM-5 example 15: readings, and four corrections of which only limits are known."""
    mean, covariance = un.mean_and_covariance(np.array(i["readings"])[:, None])
    sd = float(np.sqrt(covariance[0, 0]))
    return mean[0], sd, un.combine([(sd, 1.0), *((un.uniform_sd(half), 1.0) for half in i["half_widths"])])


FUNCTIONS = {
    "s7_value_db": lambda i: sum(x for x, _, _ in b.s7_parts()),
    "s7_sd_db": lambda i: _s7_sd(),
    "s7_dof": lambda i: un.effective_degrees_of_freedom([(u, dof) for _, u, dof in b.s7_parts()]),
    "s7_expanded_db": lambda i: 2 * _s7_sd(),
    "s7_mc_mean_db": lambda i: b.s7_drawn().mean,
    "s7_mc_sd_db": lambda i: b.s7_drawn().sd,
    "s7_mc_low_db": lambda i: b.s7_drawn().low,
    "s7_mc_high_db": lambda i: b.s7_drawn().high,
    "s6_value": lambda i: b.s6()[0],
    "s6_sd": lambda i: b.s6()[1],
    "h1_value_nm": lambda i: b.h1()[0],
    "h1_sd_nm": lambda i: b.h1()[1],
    "h1_part_nm": _h1_part,
    "h1_mc_sd_nm": lambda i: b.h1_drawn().sd,
    "h2_value_ohm": lambda i: b.h2()[0][OUT[i["of"]]],
    "h2_sd_ohm": lambda i: b.h2()[1][OUT[i["of"]]],
    "h2_correlation": lambda i: b.h2()[2][OUT[i["a"]], OUT[i["b"]]],
    "h2_input_correlation": lambda i: b.h2()[3][IN[i["a"]], IN[i["b"]]],
    "h2_input_mean": lambda i: un.mean_and_covariance(b.H2_READINGS)[0][IN[i["of"]]],
    "h2_input_sd": lambda i: un.mean_and_covariance(b.H2_READINGS)[1][IN[i["of"]], IN[i["of"]]] ** 0.5,
    "uniform_sd": lambda i: un.uniform_sd(i["half_width"]),
    "arcsine_sd": lambda i: un.arcsine_sd(i["half_width"]),
    "force_mean": lambda i: _force(i)[0],
    "force_mean_sd": lambda i: _force(i)[1],
    "force_sd": lambda i: _force(i)[2],
    "force_expanded": lambda i: 1.96 * _force(i)[2],
    "magnitude_first_order": lambda i: b.magnitude_first(i["re"], i["r"])[0],
    "magnitude_first_order_sd": lambda i: b.magnitude_first(i["re"], i["r"])[1],
    "phase_mc": lambda i: b.phase_drawn(i["re"], i["r"]).mean,
    "phase_mc_sd": lambda i: b.phase_drawn(i["re"], i["r"]).sd,
    "loss_first_order": lambda i: b.comparison_first(i["r"], i["x1"])[0],
    "loss_first_order_sd": lambda i: b.comparison_first(i["r"], i["x1"])[1],
    "loss_mc": lambda i: b.comparison_drawn(i["r"], i["x1"]).mean,
    "loss_mc_sd": lambda i: b.comparison_drawn(i["r"], i["x1"]).sd,
    "loss_mc_low": lambda i: b.comparison_drawn(i["r"], i["x1"]).low,
    "loss_mc_high": lambda i: b.comparison_drawn(i["r"], i["x1"]).high,
    "magnitude_mc": lambda i: b.magnitude_drawn(i["re"], i["r"]).mean,
    "magnitude_mc_sd": lambda i: b.magnitude_drawn(i["re"], i["r"]).sd,
    "four_normals_sd": lambda i: un.combine([(1.0, 1.0)] * 4),
    "four_rectangles_sd": lambda i: b.four_rectangles().sd,
    "four_rectangles_end": lambda i: b.four_rectangles().high,
    "root_sum_square": lambda i: un.combine([(u, 1.0) for u in i["parts"]]),
    "ratio_db": lambda i: un.ratio_db_uncertainty(i["reference"], i["through"])[0],
    "ratio_db_sd": lambda i: un.ratio_db_uncertainty(i["reference"], i["through"])[1],
}


@pytest.mark.parametrize("check", checks("uncertainty"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check), FUNCTIONS[check["function"]](check["inputs"])


def test_the_linear_budget_is_blind_at_zero_reflection():
    assert b.comparison_first(0.0, 0.0)[1] == pytest.approx(0.0, abs=1e-6)
    assert b.comparison_drawn(0.0, 0.0).sd > 40


def test_inputs_of_the_impedance_example_have_the_printed_means():
    # JCGM 100 H.2, table H.2 (quoted): 4.999 V, 19.661 mA, 1.04446 rad
    np.testing.assert_allclose(b.H2_READINGS.mean(axis=0), [4.999, 19.661e-3, 1.04446], rtol=1e-6)
