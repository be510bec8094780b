"""``exposure`` near a wire, at a distance, with one's own rules: the command says what the library finds."""

from __future__ import annotations

import json

import pytest

from cli.doors import DATA, ask, words_of
from linewright.core.nouns.plan import ExposurePlan
from linewright.core.nouns.rules import Rules
from linewright.files import to_json
from linewright.files.rules import read_rules
from linewright.verbs.chart import ChartWish, charts_of_file, chosen
from linewright.verbs.exposure import People, exposure_at
from linewright.verbs.plan import plan_station

STATION = DATA / "harbour-ridge-station.toml"
TEE = ("exposure", "--power", "100 W", "--at", "475 kHz", "--antenna")
SIXTY = """
[[run]]
name = "sixty"
frequencies = ["5.36 MHz"]
power = "13.2 W"
chain = [{connector = "N"}]
antenna = {swr = 1.0, kind = "dipole", length = "27 m", height = "10 m"}
gain = "2.15 dBi"
"""
RULES = """
[[limit]]
name = "National 2019"
who = "public"
from = "100 kHz"
to = "30 MHz"
electric_field = "10 V/m"
averaging = "6 min"
[[licence]]
band = "60 m"
eirp = "15 W"
source = "schedule 1"
"""


def document(*words):
    done = ask(*words, "--json")
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def exposures(*words):
    return document(*words)["runs"][0]["bands"][0]["exposure"]


def said(*words):
    done = ask(*words)
    assert done.exit_code == 0, done.output
    return words_of(done.stdout)


@pytest.fixture
def rules(tmp_path):
    (tmp_path / "rules.toml").write_text(RULES)
    return tmp_path / "rules.toml"


@pytest.fixture
def sixty(tmp_path):
    (tmp_path / "sixty.toml").write_text(SIXTY)
    return tmp_path / "sixty.toml"


def test_a_loaded_vertical_on_630_m_is_answered_in_metres():
    # Another hand: 5.2 m from the feed for 83 V/m with 30 ohm of loss; the far field says 0.02 m.
    found = exposures(*TEE, "vertical, length 10 m, top 10 m, loss 30 ohm")
    level = next(e for e in found if (e["limit"], e["who"]) == ("ICNIRP 2010", "public"))
    assert level["ground_distance_m"] == pytest.approx(5.23, rel=0.01)
    assert (level["method"], level["needs"], level["averaging_s"]) == ("near field", "", 0.0)


def test_a_short_antenna_without_a_stated_loss_gets_a_range():
    found = exposures(*TEE, "vertical, length 10 m, top 10 m")
    assert all(e["distance_m_low"] < e["distance_m"] < e["distance_m_high"] for e in found)
    assert "Exposure to a short antenna hangs on its losses" in said(*TEE, "vertical, length 10 m, top 10 m")


def test_every_hf_run_of_the_demo_station_is_answered_or_says_what_it_needs():
    for run in document("exposure", str(STATION))["runs"]:
        for band in run["bands"]:
            if band["frequency_hz"] < 30e6:
                assert band["exposure"]
                for e in band["exposure"]:
                    assert (e["distance_m"] is None) == bool(e["needs"])
    wire = document("exposure", str(STATION), "--run", "multiband wire")["runs"][0]
    assert all(e["distance_m"] is not None for band in wire["bands"] for e in band["exposure"])


def test_at_a_distance_the_share_of_each_limit_the_power_and_the_over_are_told():
    words = ("exposure", "--power", "400 W", "--gain", "12 dBi", "--at", "144.3 MHz", "--distance", "10 m")
    found = document(*words)["runs"][0]["bands"][0]["density"]
    public = next(d for d in found if (d["limit"], d["who"]) == ("47 CFR 1.1310", "public"))
    # S = 2.56 EIRP/(4 pi R^2) against 2 W/m2.
    fraction = 2.56 * 400 * 10**1.2 / (4 * 3.14159265 * 100) / 2
    assert public["fraction"] == pytest.approx(fraction, rel=1e-6)
    assert public["max_power_w"] == pytest.approx(400 / fraction, rel=1e-6)
    assert public["max_over_s"] == pytest.approx(1800 / fraction, rel=1e-6)
    assert "overs of" in said(*words)


def test_the_document_and_the_command_are_those_of_the_library(rules):
    words = ("exposure", str(STATION), "--distance", "6 m", "--rules", str(rules))
    found = exposure_at(STATION, near=People(people_m=6.0), rules=read_rules(rules))
    assert document(*words) == json.loads(to_json(ExposurePlan(found)))


def test_several_runs_on_the_air_are_added_up():
    together = document("exposure", str(STATION), "--distance", "6 m")["together"]
    public = next(s for s in together if (s["limit"], s["who"]) == ("ICNIRP 2020", "public"))
    bands = exposure_at(STATION, near=People(people_m=6.0)).budgets
    worst = [
        max(d.fraction_high for x in b.bands for d in x.density if (d.limit, d.who) == ("ICNIRP 2020", "public"))
        for b in bands
    ]
    assert public["fraction"] == pytest.approx(sum(worst))
    assert len(public["runs"]) == len(bands) == 4


def test_more_eirp_than_a_licence_allows_on_sixty_metres_is_said_by_exposure_and_plan(sixty, rules):
    told = said("exposure", str(sixty), "--rules", str(rules))
    assert "Licence at 5.36 MHz: EIRP of 21.6 W is over the 15 W allowed." in told
    sixty.write_text('rules = "rules.toml"\n' + SIXTY)
    assert any("is over the 15 W allowed" in r for r in plan_station(sixty).budgets[0].remarks)


def test_ones_own_limits_stand_beside_the_others_with_their_figure(sixty, rules):
    found = exposures("exposure", str(sixty), "--rules", str(rules))
    own = [e for e in found if e["limit"] == "National 2019"]
    assert [(e["who"], e["limit_value"], e["averaging_s"]) for e in own] == [("public", 10.0, 360.0)]
    assert own[0]["distance_m"] > max(e["distance_m"] for e in found if e["who"] == "occupational")


def test_a_data_mode_counts_its_slots():
    words = ("exposure", "--power", "100 W", "--gain", "12 dBi", "--at", "144.3 MHz", "--mode", "FT8")
    shares = {e["averaging_s"]: e["share"] for e in exposures(*words)}
    assert shares[1800.0] == pytest.approx(12.64 / 30, rel=1e-6)
    assert shares[360.0] == pytest.approx(12.64 / 30, rel=1e-6)


def test_overs_and_pauses_give_each_limit_its_own_duty():
    words = ("exposure", "--power", "100 W", "--gain", "12 dBi", "--at", "144.3 MHz", "--over", "6 min")
    shares = {e["averaging_s"]: e["share"] for e in exposures(*words, "--pause", "24 min")}
    assert shares == {1800.0: pytest.approx(0.2), 360.0: pytest.approx(1.0)}
    assert "must stand together" in ask(*words).stderr


def test_a_window_has_a_distance_of_its_own():
    words = ("exposure", "--power", "100 W", "--at", "14.1 MHz", "--antenna", "dipole, length 10.1 m, height 10 m")
    window = [e["window_distance_m"] for e in exposures(*words, "--window", "10 m")]
    assert min(window) > 5.05
    assert "At the window" in said(*words, "--window", "10 m")


@pytest.mark.parametrize(
    ("antenna", "rule"),
    [
        ("dipol, length 10 m", "dipole"), ("dipole, length 10 m", "height is missing"),
        ("dipole, length 10, height 5 m", "unit"), ("dipole, colour blue", "means nothing here"),
        ("", "Ask about a station"),
    ],
)  # fmt: skip
def test_an_antenna_that_cannot_be_read_is_refused(antenna, rule):
    done = ask(*TEE, antenna)
    assert done.exit_code == 2
    assert rule in done.stderr


def test_the_zone_is_a_chart_of_a_run_whose_lengths_are_known():
    wire = charts_of_file(STATION, ChartWish("multiband wire"))
    spec = chosen(wire, "zone").draw()
    assert "multiband wire" in json.dumps(spec)
    assert "zone" not in [c.kind for c in charts_of_file(STATION, ChartWish("repeater link"))]


def test_without_rules_nothing_is_said_of_a_licence():
    assert "Licence" not in said("exposure", str(STATION))
    assert exposure_at(STATION, rules=Rules()).budgets[0].bands[0].licence == ()


def test_the_answer_is_written_in_the_persons_manner():
    words = ("exposure", "--power", "100 W", "--at", "14.1 MHz", "--antenna", "dipole, length 10.1 m, height 10 m")
    told = said(*words, "--lengths", "ft", "--decimal", "comma")
    assert "14,1 MHz" in told
    assert " ft" in told.partition("Where people stand")[0]


def test_a_sum_of_one_run_is_not_told_as_a_sum():
    told = said("exposure", str(STATION), "--distance", "6 m")
    sums = told.partition("All on the air at once")[2].partition("Limits")[0]
    assert "47 CFR 1.1310, public: multiband wire, two-metre beam, repeater link on the air together use" in sums
    assert "ICNIRP 2010" not in sums


def test_the_distance_from_which_a_run_is_exempt_is_told_without_being_asked():
    words = ("exposure", "--power", "5 W", "--gain", "2.15 dBi", "--at", "144 MHz", "--mode", "FM")
    assert exposures(*words)[2]["exempt_distance_m"] == pytest.approx(1.14, abs=0.005)
    assert "if nobody comes nearer than 1.2 m at 144 MHz." in said(*words)


def test_what_is_needed_at_a_distance_is_told_once_for_all_groups():
    told = said("exposure", "--power", "100 W", "--gain", "2.15 dBi", "--at", "14.2 MHz", "--distance", "2 m")
    assert told.count("2 m away: no figure") == 1


def test_limits_can_be_chosen_for_an_antenna_and_for_a_station():
    alone = exposures("exposure", "--power", "5 W", "--gain", "2 dBi", "--at", "144 MHz", "--limits", "47 CFR 1.1310")
    assert {e["limit"] for e in alone} == {"47 CFR 1.1310"}
    kept = document("exposure", str(STATION), "--limits", "ICNIRP 2020 local", "--limits", "ICNIRP 2020")
    limits = {e["limit"] for r in kept["runs"] for b in r["bands"] for e in b["exposure"]}
    assert limits == {"ICNIRP 2020 local", "ICNIRP 2020", "ICNIRP 2010"}
    assert "must be one of" in ask("exposure", str(STATION), "--limits", "none such").stderr


def test_a_beam_is_written_in_one_line():
    words = ("exposure", "--power", "100 W", "--at", "14.15 MHz", "--mode", "CW", "--antenna")
    beam = "beam, elements 0 m 10.4 m; 3.8 m 9.96 m; 7 m 9.43 m, height 10 m"
    assert all(e["method"] == "near field" for e in exposures(*words, beam))
    assert "place on the boom, length" in ask(*words, "beam, elements 0 m; 3.8 m, height 10 m").stderr


def test_a_short_doublet_on_160_m_is_answered_in_metres():
    # Another hand, straight down from its middle: 1.13 m for ICNIRP 2020, 2.24 m for 83 V/m; at a quarter 2.70 m.
    words = ("exposure", "--power", "100 W", "--at", "1.85 MHz", "--mode", "carrier", "--antenna")
    found = exposures(*words, "doublet, length 27 m, height 10 m, loss 20 ohm")
    public = {e["limit"]: e["distance_m"] for e in found if e["who"] == "public"}
    assert public["ICNIRP 2020"] == pytest.approx(1.22, abs=0.03)
    assert public["ICNIRP 2010"] == pytest.approx(2.72, abs=0.05)


def test_fields_and_density_at_a_distance_are_given_where_they_are_valid():
    far = ("exposure", "--power", "400 W", "--gain", "12 dBi", "--at", "144.3 MHz", "--distance", "10 m")
    d = document(*far)["runs"][0]["bands"][0]["density"][0]
    density = 2.56 * 400 * 10**1.2 / (4 * 3.14159265 * 100)
    assert (d["s_w_per_m2"], d["e_v_per_m"]) == pytest.approx((density, (density * 376.73) ** 0.5), rel=1e-4)
    assert "12.9 W/m²" in said(*far)
    # Another hand: 86.25 V/m at (5, 0, 2) beside the loaded vertical.
    near = (*TEE, "vertical, length 10 m, top 10 m, loss 30 ohm", "--distance", "5 m", "--mode", "SSB")
    d = document(*near)["runs"][0]["bands"][0]["density"][0]
    assert d["e_v_per_m"] == pytest.approx(86.25, rel=0.01)
    assert d["s_w_per_m2"] is None
    gain = ("exposure", "--power", "100 W", "--gain", "2 dBi", "--at", "7.1 MHz", "--distance", "3 m")
    assert document(*gain)["runs"][0]["bands"][0]["density"][0]["e_v_per_m"] is None
    assert "Fields at that distance" not in said(*gain)
