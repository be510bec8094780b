"""Standards and handbooks against the catalogue."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright import catalogue
from linewright.core.quantities import delivered_fraction, loss_db
from published.reader import agrees, checks, label

FUNCTIONS = {
    "length_db": lambda i: i["length_m"] * catalogue.line_type(i["line"]).law.db_per_m(i["frequency_mhz"] * 1e6),
    "delivered_percent": lambda i: 100 * delivered_fraction(i["loss_db"]),
    "lost_percent": lambda i: 100 * (1 - delivered_fraction(i["loss_db"])),
    "ratio_db": lambda i: loss_db(i["reference_w"], i["through_w"]),
}


@pytest.mark.parametrize("check", checks("catalogue"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


def test_no_length_of_cable_and_no_pair_of_watts_stands_for_a_rule_of_the_trade():
    told = [c for c in checks("catalogue") if c["source"] == "rule of the trade"]
    assert {c["function"] for c in told} == {"delivered_percent"}


@given(st.sampled_from(catalogue.line_types()), st.floats(1e6, 3e9), st.floats(0.1, 100), st.floats(0.1, 100))
def test_losses_of_one_stock_are_in_the_ratio_of_lengths(line, frequency_hz, one_m, other_m):
    per_m = float(line.law.db_per_m(frequency_hz))
    assert (one_m * per_m) / (other_m * per_m) == pytest.approx(one_m / other_m)


def test_thicker_lines_of_a_family_lose_less():
    foam = [catalogue.line_type(f"foam {mm} mm").law.db_per_m(144e6) for mm in (5, 6, 7, 10, 13, 15)]
    solid = [catalogue.line_type(n).law.db_per_m(144e6) for n in ("RG-58C/U", "RG-213/U", "RG-217/U", "RG-218/U")]
    assert foam == sorted(foam, reverse=True)
    assert solid == sorted(solid, reverse=True)
