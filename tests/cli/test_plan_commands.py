"""``plan``, ``reception`` and ``exposure``: verdict first, within the page, the same numbers as the library."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys

import pytest

from cli.doors import DATA, ask, words_of
from linewright.files import to_json
from linewright.present.compose.plan import plan_document
from linewright.present.writers.terminal import terminal
from linewright.verbs.exposure import exposure_of
from linewright.verbs.plan import plan_station
from linewright.verbs.what_if import what_if

STATION = DATA / "harbour-ridge-station.toml"
BEAM = ("--run", "two-metre beam")
BAND = (
    "frequency_hz matched_loss_db mismatch_loss_db total_loss_db total_loss_db_low total_loss_db_high"
    " power_at_antenna_w power_at_antenna_w_low power_at_antenna_w_high swr_at_radio swr_at_antenna peak_voltage_v"
    " voltage_margin heat_w heat_margin system_noise_kelvin reception_loss_db eirp_w exposure parts"
)
MARKS = re.compile("\x1b\\[[0-9;]*m")


@pytest.fixture(scope="module")
def planned():
    return plan_station(STATION)


def _lines(*words: str) -> list[str]:
    done = ask(*words)
    assert done.exit_code == 0, done.output
    return done.stdout.splitlines()


@pytest.mark.parametrize(
    "words",
    [
        ("plan", str(STATION)),
        ("plan", str(STATION), "--explain"),
        ("plan", str(STATION), *BEAM, "--with", "piece 1 = corrugated 1/2 in foam", "--with", "line 1 = RG-213/U"),
        ("plan", str(STATION), "--with", "power = 400 W", "--explain"),
        ("reception", str(STATION)),
        ("reception", str(STATION), *BEAM, "--explain"),
        ("exposure", str(STATION)),
        ("exposure", str(STATION), *BEAM, "--explain"),
        ("exposure", "--power", "100 W", "--gain", "2.15 dBi", "--at", "14.2 MHz", "--at", "144 MHz", "--explain"),
    ],
    ids=lambda words: " ".join(words[2:] or words[:1]),
)
def test_no_line_is_wider_than_the_page(words):
    lines = _lines(*words)
    assert len(lines) > 10
    assert max(map(len, lines)) <= 100


def test_the_verdict_comes_first_with_its_interval():
    said = words_of("\n".join(_lines("plan", str(STATION), *BEAM)))
    band = plan_station(STATION, run="two-metre beam").budgets[0].bands[0]
    found = re.search(r"two-metre beam at 144.3 MHz: (\d+) W of 50 W reach the antenna \((\d+) to (\d+)\)", said)
    assert found is not None
    middle, low, high = (float(g) for g in found.groups())
    assert middle == pytest.approx(band.power_at_antenna_w, abs=0.5)
    assert (low, high) == pytest.approx((band.power_at_antenna_w_low, band.power_at_antenna_w_high), abs=0.5)
    assert said.index("reach the antenna") < said.index("Losses")


def test_command_shows_what_the_document_says_of_the_librarys_plan(planned):
    assert ask("plan", str(STATION)).stdout.rstrip() == MARKS.sub("", terminal(plan_document(planned)))


def test_the_plan_as_json_keeps_the_contract(planned):
    document = json.loads(ask("plan", str(STATION), "--json").stdout)
    assert document == json.loads(to_json(planned))
    assert document["schema"] == "linewright/plan/1"
    for run in document["runs"]:
        for band in run["bands"]:
            assert set(BAND.split()) <= set(band)
            assert all({"name", "loss_db"} <= set(p) for p in band["parts"])
            assert all(
                {"limit", "who", "distance_m", "distance_m_high", "in_near_field"} <= set(e) for e in band["exposure"]
            )


def test_the_parts_add_up_to_the_whole(planned):
    for budget in planned.budgets:
        for x in budget.bands:
            assert sum(p.loss_db for p in x.parts) == pytest.approx(x.total_loss_db, abs=1e-6)


def test_what_if_as_json_is_the_librarys():
    changes = ["piece 1 = corrugated 1/2 in foam"]
    document = json.loads(ask("plan", str(STATION), *BEAM, "--with", changes[0], "--json").stdout)
    assert document["schema"] == "linewright/what-if/1"
    assert document == json.loads(to_json(what_if(STATION, changes, run="two-metre beam")))
    assert document["differences"][0]["delivered_db"] > 0


def test_what_if_says_what_is_gained_in_words():
    said = words_of("\n".join(_lines("plan", str(STATION), *BEAM, "--with", "piece 1 = corrugated 1/2 in foam")))
    assert "more than before" in said
    assert "Signal-to-noise ratio is" in said


def test_a_margin_that_a_change_breaks_is_named():
    said = words_of("\n".join(_lines("plan", str(STATION), "--run", "multiband wire", "--with", "power = 1 kW")))
    assert "over the rating of" in said


@pytest.mark.parametrize("command", ["reception", "exposure"])
def test_the_smaller_documents_hold_what_the_plan_holds(planned, command):
    document = json.loads(ask(command, str(STATION), "--json").stdout)
    assert document["schema"] == f"linewright/{command}/1"
    whole = json.loads(to_json(planned))
    for small, large in zip(document["runs"], whole["runs"], strict=True):
        assert [b["frequency_hz"] for b in small["bands"]] == [b["frequency_hz"] for b in large["bands"]]
        assert [b[command] for b in small["bands"]] == [b[command] for b in large["bands"]]
    assert document["cautions"] == list(planned.cautions)


def test_exposure_needs_no_station():
    """S = 2.56 EIRP/(4 π R²) (OET Bulletin 65) with 47 CFR 1.1310: 100 W, 12 dBi, 144 MHz reach 12.71 m and 5.68 m."""
    words = ("exposure", "--power", "100 W", "--gain", "12 dBi", "--at", "144 MHz")
    document = json.loads(ask(*words, "--json").stdout)
    assert document == json.loads(to_json_of_exposure())
    found = [e for e in document["runs"][0]["bands"][0]["exposure"] if e["limit"] == "47 CFR 1.1310"]
    assert [(e["who"], e["in_near_field"]) for e in found] == [("public", False), ("occupational", False)]
    assert [e["distance_m"] for e in found] == pytest.approx([12.71, 5.68], abs=5e-3)
    assert all(e["needs"] == "" for e in found)


def to_json_of_exposure() -> str:
    from linewright.core.nouns.plan import ExposurePlan

    return to_json(ExposurePlan(exposure_of(100.0, 12.0, [144e6])))


FIGURES = ("exposure", "--power", "50 W", "--gain", "12 dBi", "--at", "144 MHz")


@pytest.mark.parametrize("words", [("exposure", str(STATION)), FIGURES, ("plan", str(STATION))], ids=" ".join)
def test_exposure_never_comes_without_its_cautions(words):
    said = words_of("\n".join(_lines(*words)))
    assert "local rules and licensed practice decide" in said
    assert "is safe" not in said


NEAR = ("exposure", "--power", "100 W", "--gain", "2.15 dBi")
LENGTH = re.compile(r"\d (?:m|ft)\b")


@pytest.mark.parametrize("at", ["475 kHz", "1.9 MHz", "14.2 MHz"])
def test_no_distance_inside_the_near_field_is_given_and_what_is_needed_is_said(at):
    band = json.loads(ask(*NEAR, "--at", at, "--json").stdout)["runs"][0]["bands"][0]
    assert band["exposure"]
    for e in band["exposure"]:
        assert (e["distance_m"], e["distance_m_high"], e["in_near_field"]) == (None, None, True)
        assert "near-field calculation" in e["needs"]
        assert "measurement" in e["needs"]
    for more in ((), ("--explain",)):
        said = "\n".join(_lines(*NEAR, "--at", at, *more))
        table = said[: said.index("Limits")]
        assert "no figure" in table
        assert "What is needed: a near-field calculation" in words_of(table)
        assert not LENGTH.search(table)
        assert all("no figure" in line for line in said.splitlines() if line.strip().startswith("distance by"))


def test_the_far_field_distances_of_the_same_antenna_stay():
    document = json.loads(ask(*NEAR, "--at", "14.2 MHz", "--at", "1296 MHz", "--json").stdout)
    near, far = document["runs"][0]["bands"]
    assert [e["distance_m"] for e in near["exposure"]] == [None] * 4
    assert all(e["distance_m"] > 0.5 and e["needs"] == "" for e in far["exposure"])


def test_duty_and_mode_count():
    said = words_of("\n".join(_lines("exposure", str(STATION), "--run", "multiband wire")))
    assert "Exposure uses an average of 20 % of the power" in said
    full, half = (json.loads(ask(*FIGURES, "--duty", d, "--json").stdout) for d in ("100 %", "50 %"))
    far, near = (d["runs"][0]["bands"][0]["exposure"][0]["distance_m"] for d in (full, half))
    assert near / far == pytest.approx(0.71, abs=0.005)  # OET 65, Supplement B, table 32: multiplier for 50 % duty


def test_reception_says_nothing_matters_on_hf_and_much_on_uhf():
    said = words_of("\n".join(_lines("reception", str(STATION))))
    heard = "the antenna brings in 200 K of noise and the run adds 10100 K: 10.5 dB of loss costs"
    assert f"repeater link: At 432.1 MHz {heard}" in said
    assert "with a preamplifier at the antenna" in said
    wire = words_of("\n".join(_lines("reception", str(STATION), "--run", "multiband wire")))
    assert "external noise hides the line's loss on reception" in wire


def test_noise_is_written_in_one_unit_a_row():
    lines = _lines("reception", str(STATION))
    rows = [
        line
        for line in lines[: lines.index("The run as a receiver: everything from the antenna's terminals on")]
        if "MHz  " in line
    ]
    assert len(rows) == 10
    noises = [re.split(r"\s{2,}", row.strip())[1:3] for row in rows]
    assert all((" dB" in outside) is (" dB" in system) is not (" K" in system) for outside, system in noises)
    assert "is relative to kT0" in words_of("\n".join(lines))


def test_loud_noise_is_told_in_decibels_over_290_kelvin():
    told = json.loads(ask("reception", str(STATION), "--run", "multiband wire", "--json").stdout)
    heard = told["runs"][0]["bands"][0]["reception"]
    decibels = 10.0 * math.log10(heard["external_noise_kelvin"] / 290.0)  # Fa of ITU-R P.372, section 2
    assert f"{decibels:.1f} dB (" in "\n".join(_lines("reception", str(STATION), "--run", "multiband wire"))


def test_reception_without_a_receiver_says_what_is_missing(tmp_path):
    path = tmp_path / "deaf.toml"
    path.write_text(
        '[[run]]\nname = "r"\nfrequencies = "7 MHz"\npower = "5 W"\nchain = []\nantenna = {swr = 2}\n', encoding="utf-8"
    )
    assert "add receiver" in words_of("\n".join(_lines("reception", str(path))))


def test_what_reception_takes_for_granted_is_said_without_explain(tmp_path):
    path = tmp_path / "sky.toml"
    path.write_text(
        '[[run]]\nname = "r"\nfrequencies = "145 MHz"\npower = "5 W"\nchain = []\nantenna = {swr = 1}\n'
        'receiver = {noise_figure = "2 dB"}\nsky_temperature = "580 K"\n',
        encoding="utf-8",
    )
    document = json.loads(ask("reception", str(path), "--json").stdout)
    assumed = document["runs"][0]["bands"][0]["reception"]["assumed"]
    assert len(assumed) == 2
    for command in ("reception", "plan"):
        said = words_of("\n".join(_lines(command, str(path))))
        assert all(sentence in said for sentence in assumed)


@pytest.mark.parametrize("command", ["plan", "reception", "exposure"])
def test_every_figure_of_the_table_explains_itself(planned, command):
    lines = _lines(command, str(STATION), "--explain")
    said = words_of("\n".join(lines))
    assert said.count("Source:") > 20
    for budget in planned.budgets:
        figures = [w.figure for w in budget.workings]
        for x in budget.bands:
            at = f"{x.frequency_hz / 1e6:g} MHz"
            for start in ("total loss", "power at the antenna", "SWR at the radio", "system noise", "EIRP", "heat"):
                assert any(f.startswith(start) and at in f for f in figures), (start, at)


@pytest.mark.parametrize(
    "words",
    [
        ("plan",),
        ("plan", "nowhere.toml"),
        ("plan", str(DATA / "harbour-ridge.toml")),
        ("plan", str(STATION), "--run", "no such run"),
        ("plan", str(STATION), "--with", "nonsense"),
        ("plan", str(STATION), "--with", "line 9 = RG-213/U"),
        ("reception",),
        ("exposure",),
        ("exposure", "--power", "100 W"),
        ("exposure", str(STATION), "--power", "100 W", "--gain", "2 dBi", "--at", "14 MHz"),
        ("exposure", str(STATION), "--power", "100 W"),
        ("exposure", "--power", "100", "--gain", "2 dBi", "--at", "14 MHz"),
        ("exposure", "--power", "100 W", "--gain", "2 dB", "--at", "14 MHz"),
        ("exposure", "--power", "100 W", "--gain", "2 dBi", "--at", "14 MHz", "--mode", "shouting"),
    ],
    ids=lambda words: " ".join(str(w).rpartition("/")[2] for w in words),
)
def test_what_is_wrong_ends_with_2(words):
    done = ask(*words)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert max(map(len, done.stderr.splitlines())) <= 100


def test_help_loads_no_numbers():
    for name in ("plan", "reception", "exposure"):
        code = f"import sys; from linewright.cli.plan import {name}; sys.exit('numpy' in sys.modules)"
        assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0


def test_of_very_many_frequencies_those_that_lose_most_are_shown_and_that_is_said(tmp_path):
    at = ", ".join(f'"{f} MHz"' for f in range(101, 161))
    run = f'[[run]]\nname = "r"\nfrequencies = [{at}]\npower = "5 W"\nantenna = {{swr = 1}}\n'
    path = tmp_path / "many.toml"
    path.write_text(f'{run}chain = [{{line = "RG-58C/U", length = "10 m"}}]\n', encoding="utf-8")
    lines = _lines("plan", str(path))
    said = words_of("\n".join(lines))
    assert "the 24 of 60 frequencies with the most loss are shown" in said
    assert "160 MHz" in said
    assert not any(line.strip().startswith(("101 MHz", "r at 101 MHz")) for line in lines)
    changed = words_of("\n".join(_lines("plan", str(path), "--with", "line 1 = RG-213/U")))
    assert "Of 60 differences the 24 largest are shown" in changed
