"""A file of one's own rules is read as written, or refused with row and cure."""

from __future__ import annotations

import pytest

from linewright.core.errors import InputError
from linewright.files.rules import (
    averaging,
    duration,
    power_law,
    read_rules,
    read_rules_text,
    written_licence,
    written_limits,
)

LIMIT = """
[[limit]]
name = "National 2019"
who = "public"
from = "100 kHz"
to = "30 MHz"
electric_field = "300/f^0.7 V/m"
magnetic_field = "2.2/f A/m"
averaging = "6 min"
source = "ordinance 12, annex 3"
"""
LICENCE = """
[[licence]]
band = "60 m"
eirp = "15 W"
source = "schedule 1"
"""


def read(text):
    return read_rules_text(text, "rules.toml")


def test_a_limit_becomes_a_rule_for_each_quantity():
    electric, magnetic = read(LIMIT).exposure
    assert (electric.quantity, electric.coefficient, electric.exponent) == ("e_v_per_m", 300.0, -0.7)
    assert (magnetic.quantity, magnetic.coefficient, magnetic.exponent) == ("h_a_per_m", 2.2, -1.0)
    assert (electric.low_hz, electric.high_hz, electric.averaging_s, electric.who) == (1e5, 3e7, 360.0, "public")
    assert electric.source == "ordinance 12, annex 3"
    assert electric.printed == "300/f^0.7 V/m"
    assert read(LIMIT).names == ("National 2019",)


def test_a_licence_is_of_a_band_or_of_frequencies():
    (named,) = read(LICENCE).licence
    (given,) = read(LICENCE.replace('band = "60 m"', 'from = "5.3515 MHz"\nto = "5.3665 MHz"')).licence
    assert named == given
    assert (named.quantity, named.limit_w) == ("eirp", 15.0)
    assert named.holds(5.36e6)
    assert not named.holds(7.1e6)


def test_a_band_may_have_more_than_one_limit():
    both = read(LICENCE.replace('eirp = "15 W"', 'eirp = "15 W"\npower = "100 W"')).licence
    assert [(r.quantity, r.limit_w) for r in both] == [("eirp", 15.0), ("power", 100.0)]


@pytest.mark.parametrize(
    ("text", "law"),
    [
        ("87 V/m", (87.0, 0.0)),
        ("0,73 A/m", None),
        ("1.375 f^0.5 V/m", (1.375, 0.5)),
        ("1.375*f^0.5 V/m", (1.375, 0.5)),
        ("610/f V/m", (610.0, -1.0)),
        ("2 f V/m", (2.0, 1.0)),
        ("3 f^-0.5 V/m", (3.0, -0.5)),
        ("0.1 kV/m", (100.0, 0.0)),
        ("V/m", None),
        ("-5 V/m", None),
        ("0 V/m", None),
        (87, None),
    ],
)
def test_a_limit_is_a_number_or_a_power_of_f_with_its_unit(text, law):
    if law is None:
        with pytest.raises(InputError, match="electric_field"):
            power_law(text, "electric_field", "electric_field")
    else:
        assert power_law(text, "electric_field", "electric_field")[:2] == pytest.approx(law)


def test_densities_are_read_in_watts_and_milliwatts():
    assert power_law("1 mW/cm2", "power_density", "power_density")[0] == 10.0
    assert power_law("10 W/m²", "power_density", "power_density")[0] == 10.0


def test_times_carry_their_unit_and_none_means_every_moment():
    assert [duration(t, "on") for t in ("30 s", "6 min", "0.5 h")] == [30.0, 360.0, 1800.0]
    assert averaging("none", "averaging") == 0.0
    for wrong in ("6", 6, "0 s", "25 h", "-1 min"):
        with pytest.raises(InputError):
            averaging(wrong, "averaging")


@pytest.mark.parametrize(
    ("change", "rule", "row"),
    [
        (("public", "everyone"), "must be one of public, occupational", 4),
        (("100 kHz", "100"), "needs a unit", 5),
        (('to = "30 MHz"', 'to = "50 kHz"'), "must lie above from", 6),
        (("300/f^0.7 V/m", "300/f^0.7 A/m"), "power of f", 7),
        (('averaging = "6 min"', ""), "averaging is missing", 2),
        (("source", "sauce"), "means nothing here", 10),
    ],
)
def test_what_is_wrong_in_a_limit_is_named_with_its_row(change, rule, row):
    with pytest.raises(InputError, match=rule) as caught:
        read(LIMIT.replace(*change))
    assert caught.value.where.row == row
    assert caught.value.where.file == "rules.toml"


def test_a_limit_or_licence_that_limits_nothing_is_refused():
    with pytest.raises(InputError, match="at least one of eirp, erp, power"):
        read(LICENCE.replace('eirp = "15 W"\n', ""))
    with pytest.raises(InputError, match="at least one of electric_field"):
        read(LIMIT.replace('electric_field = "300/f^0.7 V/m"\nmagnetic_field = "2.2/f A/m"\n', ""))
    with pytest.raises(InputError, match="holds no rule"):
        read("")


def test_a_band_nobody_has_is_refused_with_the_bands_there_are():
    with pytest.raises(InputError, match="60 m"):
        read(LICENCE.replace('"60 m"', '"61 m"'))


def test_rules_are_read_from_a_file(tmp_path):
    (tmp_path / "rules.toml").write_text(LIMIT + LICENCE)
    found = read_rules(tmp_path / "rules.toml")
    assert len(found.exposure) == 2
    assert len(found.licence) == 1


def test_limits_and_a_licence_are_written_in_a_line():
    own = written_limits(
        "electric field 300/f^0.7 V/m, magnetic field 2.2/f A/m, averaging none, for occupational", "x"
    )
    assert [(r.quantity, r.exponent, r.averaging_s, r.who) for r in own] == [
        ("e_v_per_m", -0.7, 0.0, "occupational"), ("h_a_per_m", -1.0, 0.0, "occupational"),
    ]  # fmt: skip
    assert (written_licence("erp 100 W", "x").quantity, written_licence("400 W power", "x").limit_w) == ("erp", 400.0)


@pytest.mark.parametrize("text", ["", "28 V/m", "averaging 6 min", "electric field loud", "electric field 28 V/m, x"])
def test_limits_in_a_line_that_cannot_be_read_are_refused(text):
    with pytest.raises(InputError):
        written_limits(text, "own limits")


@pytest.mark.parametrize("text", ["15 W", "eirp", "much EIRP", ""])
def test_a_licence_in_a_line_that_cannot_be_read_is_refused(text):
    with pytest.raises(InputError):
        written_licence(text, "licence")


def test_a_licence_in_a_line_may_be_of_a_band():
    rule = written_licence("60 m: 15 W EIRP", "licence")
    assert (rule.low_hz, rule.high_hz, rule.limit_w, rule.quantity) == (5.3515e6, 5.3665e6, 15.0, "eirp")
    assert written_licence("15 W EIRP", "licence").holds(14.2e6)
    with pytest.raises(InputError, match="band"):
        written_licence("61 m: 15 W EIRP", "licence")
