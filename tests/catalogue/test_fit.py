"""Laws from points: certified sets, what the fit refuses, and a person's own types."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.catalogue import fit_law, line_type, own_type
from linewright.catalogue.fit import coefficients, least_squares
from linewright.core.errors import InputError
from linewright.core.nouns.line import AttenuationPoint, Provenance
from published.reader import agrees, checks, label

SHEET = Provenance("person", "a data sheet")


def _norris(i):
    x = np.array(i["x"])
    return least_squares(np.column_stack([-np.ones_like(x), x]), np.array(i["y"]))


def _wampler1():
    x = np.arange(21.0)
    powers = np.vander(x, 6, increasing=True)
    scale = powers.max(axis=0)
    k = least_squares(powers / scale, powers.sum(axis=1)) / scale
    return k[np.argmax(abs(k - 1))]


FUNCTIONS = {
    "slope_through_origin": lambda i: least_squares(np.array(i["x"], float)[:, None], np.array(i["y"], float))[0],
    "norris_slope": lambda i: _norris(i)[1],
    "norris_minus_intercept": lambda i: _norris(i)[0],
    "wampler1_farthest": lambda i: _wampler1(),
}


@pytest.mark.parametrize("check", checks("fit"), ids=label)
def test_least_squares_reproduces_certified_values(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


def points(pairs, table="A", grade="person"):
    return [AttenuationPoint(f, a, Provenance(grade, "a data sheet"), table) for f, a in pairs]


coefficient = st.floats(1e-5, 0.5)


@given(coefficient, st.floats(0.0, 1e-2))
def test_points_of_a_law_give_the_law_back(k1, k2):
    f = np.array([3e6, 10e6, 30e6, 144e6, 432e6, 1296e6])
    a = k1 * np.sqrt(f / 1e6) + k2 * f / 1e6
    k0, found1, found2 = coefficients(f, a)
    assert (found1, found2) == pytest.approx((k1, k2), rel=1e-5, abs=1e-9)
    assert k0 == pytest.approx(0, abs=1e-6 * a.max())


@given(st.dictionaries(st.integers(1, 3000), st.floats(1e-4, 20.0), min_size=1, max_size=12))
def test_any_sane_points_give_a_positive_rising_law(table):
    law = fit_law(points([(f * 1e6, a) for f, a in table.items()]))
    f = np.geomspace(1e6, 3e9, 40)
    assert np.all(law.db_per_m(f) > 0)
    assert np.all(np.diff(law.db_per_m(f)) >= -1e-12)
    assert law.spread >= 0.04


def test_tables_that_disagree_widen_the_law_and_do_not_move_it():
    f = np.array([10e6, 100e6, 1000e6])
    low, high = points(zip(f, 0.005 * np.sqrt(f / 1e6), strict=True)), 0.006 * np.sqrt(f / 1e6)
    alone, beside = fit_law(low), fit_law(low, others=points(zip(f, high, strict=True), "B"))
    assert beside.k1_db_per_m == alone.k1_db_per_m
    assert alone.spread == 0.04
    assert beside.spread == pytest.approx(np.log(1.2) / np.sqrt(2), rel=1e-6)


@pytest.mark.parametrize("bad", [[], [(0.0, 0.1)], [(1e6, -0.1)], [(1e6, float("nan"))], [(float("inf"), 0.1)]])
def test_points_that_are_none_are_refused(bad):
    with pytest.raises(InputError):
        fit_law(points(bad))


def test_one_point_holds_at_its_own_frequency_and_says_so_little_elsewhere():
    mine = own_type("drum", [(100e6, 0.06)])
    assert float(mine.law.db_per_m(100e6)) == pytest.approx(0.06)
    assert mine.law.spread == 0.25
    assert "One point" in mine.note


def test_two_points_are_met_exactly_where_a_law_can():
    mine = own_type("drum", [(10e6, 0.016), (1000e6, 0.20)])
    assert mine.law.db_per_m([10e6, 1000e6]) == pytest.approx([0.016, 0.20], rel=1e-6)


def test_a_persons_own_type_comes_first():
    mine = own_type("RG-213/U", [(10e6, 0.02), (100e6, 0.07)], source="my sheet")
    assert line_type("rg213/u", own=[mine]) is mine
    assert line_type("RG-58C/U", own=[mine]).designator == "RG-58C/U"


anything = st.one_of(
    st.none(),
    st.booleans(),
    st.text(max_size=5),
    st.floats(),
    st.integers(-10, 10**12),
    st.lists(st.floats(), max_size=3),
)


@given(
    anything,
    st.lists(st.one_of(anything, st.tuples(st.floats(), st.floats()), st.tuples(anything, anything)), max_size=4),
    anything,
    anything,
)
def test_whatever_is_given_the_answer_is_a_type_or_a_clear_error(designator, table, ohm, velocity):
    try:
        mine = own_type(designator, table, impedance_ohm=ohm, velocity_factor=velocity)
    except InputError:
        return
    assert mine.designator == " ".join(designator.split())
    assert np.isfinite(mine.law.db_per_m(1e8))


@pytest.mark.parametrize(
    ("change", "argument"),
    [
        ({"designator": " / "}, "designator"),
        ({"impedance_ohm": 0.0}, "impedance_ohm"),
        ({"impedance_ohm": float("nan")}, "impedance_ohm"),
        ({"velocity_factor": 66.0}, "velocity_factor"),
        ({"points": []}, "points"),
        ({"impedance_ohm": "50"}, "impedance_ohm"),
        ({"points": [(144e6, 0.1, 3.0)]}, "points"),
        ({"points": [("144 MHz", 0.1)]}, "frequency_hz of point 1"),
        ({"points": [(144.0, 0.1)]}, "frequency_hz"),
        ({"points": [(144e6, 45.0)]}, "attenuation_db_per_m"),
        ({"points": [(144e6, 0.0)]}, "attenuation_db_per_m"),
        ({"points": [(10e6, 0.02), (10e6, 0.03)]}, "points"),
        ({"points": [(10e6, 0.2), (100e6, 0.06)]}, "points"),
    ],
)
def test_an_own_type_that_cannot_be_is_refused_by_name(change, argument):
    given = {"designator": "drum", "points": [(10e6, 0.02), (100e6, 0.07)], **change}
    with pytest.raises(InputError) as caught:
        own_type(given.pop("designator"), given.pop("points"), **given)
    assert caught.value.argument == argument
