"""The limits and licence rules that hold on a frequency."""

from __future__ import annotations

import pytest

from linewright.core.nouns.rules import Rules
from linewright.files.rules import read_rules_text
from linewright.link.in_force import licence_findings, limits_in_force, standards

OWN = read_rules_text(
    """
[[limit]]
name = "National 2019"
who = "public"
from = "100 kHz"
to = "30 MHz"
electric_field = "300/f^0.7 V/m"
averaging = "6 min"
source = "ordinance 12, annex 3"
[[limit]]
name = "National 2019"
who = "public"
from = "1 MHz"
to = "30 MHz"
electric_field = "30 V/m"
averaging = "none"
[[licence]]
band = "60 m"
eirp = "15 W"
power = "100 W"
source = "schedule 1"
[[licence]]
band = "30 m"
erp = "10 W"
""",
    "rules.toml",
)


def test_below_ten_megahertz_icnirp_2010_holds_besides_icnirp_2020():
    assert {x.standard for x in limits_in_force(["ICNIRP 2020"], Rules(), 7.1e6)} == {"ICNIRP 2020", "ICNIRP 2010"}
    assert {x.standard for x in limits_in_force(["ICNIRP 2020"], Rules(), 14.2e6)} == {"ICNIRP 2020"}
    assert {x.standard for x in limits_in_force(["47 CFR 1.1310"], Rules(), 7.1e6)} == {"47 CFR 1.1310"}


def test_where_a_table_has_no_row_nothing_holds():
    assert limits_in_force(["47 CFR 1.1310"], Rules(), 136e3) == ()


def test_no_limit_holds_twice():
    asked = ["ICNIRP 2020", "ICNIRP 2010", "ICNIRP 2020"]
    found = [(x.standard, x.who) for x in limits_in_force(asked, Rules(), 7.1e6)]
    assert len(found) == len(set(found)) == 4


def test_ones_own_limits_are_powers_of_the_frequency_with_their_source():
    (found,) = limits_in_force(["National 2019"], OWN, 0.5e6)
    assert found.e_v_per_m == pytest.approx(300 / 0.5**0.7)
    assert (found.h_a_per_m, found.averaging_s) == (None, 360.0)
    assert found.provenance.told == "person: ordinance 12, annex 3"


def test_where_two_of_ones_own_limits_meet_the_stricter_figure_and_time_hold():
    (found,) = limits_in_force(["National 2019"], OWN, 3.65e6)
    assert (found.e_v_per_m, found.averaging_s) == (30.0, 0.0)
    (above,) = limits_in_force(["National 2019"], OWN, 29e6)
    assert above.e_v_per_m == pytest.approx(300 / 29**0.7)


def test_the_tables_are_known_by_name():
    assert set(standards()) == {"47 CFR 1.1310", "ICNIRP 2020", "ICNIRP 2020 local", "ICNIRP 2010"}


def verdicts(frequency_hz, power_w, eirp_w):
    return {x.quantity: x.verdict for x in licence_findings(OWN, frequency_hz, power_w, eirp_w)}


def test_more_eirp_than_the_licence_allows_on_sixty_metres_is_over():
    assert verdicts(5.36e6, 13.0, (21.6, 20.0, 23.0)) == {"EIRP": "over", "transmitter power": "within"}


def test_an_interval_about_the_limit_cannot_tell():
    assert verdicts(5.36e6, 100.0, (15.2, 14.0, 16.0))["EIRP"] == "cannot tell"
    assert verdicts(5.36e6, 100.0, (14.2, 13.5, 15.0))["EIRP"] == "within"


def test_erp_is_told_over_a_dipole():
    (found,) = licence_findings(OWN, 10.12e6, 100.0, (16.4, 16.4, 16.4))
    assert found.value_w == pytest.approx(10.0)
    assert found.verdict == "within"


def test_without_a_gain_only_the_transmitters_power_is_judged():
    found = {x.quantity: x for x in licence_findings(OWN, 5.36e6, 150.0, None)}
    assert (found["EIRP"].verdict, found["EIRP"].value_w) == ("cannot tell", None)
    assert "gain" in found["EIRP"].needs
    assert found["transmitter power"].verdict == "over"


def test_where_the_licence_says_nothing_nothing_is_said():
    assert licence_findings(OWN, 14.2e6, 100.0, (164.0, 160.0, 170.0)) == ()
