"""Commands that read a station file and look for its pieces in a ledger."""

from __future__ import annotations

import json
from datetime import date

import pytest
from click.testing import CliRunner

from ledger.gear import sound_bench, stock_up
from linewright.cli import main
from linewright.verbs import shelf
from linewright.verbs.shelf import open_ledger

STATION = """
[station]
name = "Hut"
noise = "rural"
[[run]]
name = "wire"
frequencies = ["14.2 MHz"]
power = "50 W"
chain = [{line = "RG-58C/U", length = "20 m"}, {piece = "blue 7"}]
antenna = {swr = 1.2}
gain = "2 dBi"
receiver = {noise_figure = "8 dB"}
route = "7 m"
"""
VERBS = {
    "plan": (),
    "plan with a change": ("--with", "power = 5 W"),
    "reception": (),
    "exposure": (),
    "share": (),
    "choose": ("--run", "wire", "--prices", "prices.csv"),
}


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """A ledger whose blue 7 was measured, and a station file that names it by its tag alone."""
    with open_ledger(tmp_path / "club.sqlite") as ledger:
        stock_up(ledger)
        sound_bench(ledger, worse=1.6)
        (known,) = (x for x in shelf.show_piece(ledger, "blue 7").losses if x.frequency_hz == 14.2e6)
    (tmp_path / "hut.toml").write_text(STATION)
    (tmp_path / "prices.csv").write_text("line,price,currency\nRG-213/U,2.10/m,EUR\n")
    monkeypatch.chdir(tmp_path)
    return known


def asked(*words, status=0):
    found = CliRunner().invoke(main, words)
    assert found.exit_code == status, (found.stdout, found.stderr)
    return found


@pytest.mark.parametrize("verb", VERBS)
def test_a_piece_the_file_does_not_describe_is_looked_for_in_the_ledger_named(verb, kept):
    words = verb.split()[0], "hut.toml", *VERBS[verb]
    assert "blue 7" in asked(*words, status=2).stderr
    assert "--ledger" in asked(*words, status=2).stderr
    asked(*words, "--ledger", "club.sqlite")


def test_the_plan_has_the_loss_the_shelf_shows(kept):
    plan = json.loads(asked("plan", "hut.toml", "--ledger", "club.sqlite", "--json").stdout)
    (part,) = (p for p in plan["runs"][0]["bands"][0]["parts"] if p["name"] == "blue 7")
    assert part["matched_loss_db"] == pytest.approx(kept.loss_db, rel=1e-9)


def test_one_sees_through_a_piece_of_a_ledger(kept):
    words = "through", "--shack-swr", "1.3", "--at", "14.2 MHz", "--piece", "blue 7"
    found = json.loads(asked(*words, "--ledger", "club.sqlite", "--json").stdout)
    assert found["loss_db"] == pytest.approx(kept.loss_db, rel=1e-9)
    assert "ledger must be begun first" in asked(*words, status=2).stderr


def test_a_ledger_that_is_not_there_is_not_made(kept, tmp_path):
    assert "must be a ledger that is there" in asked("plan", "hut.toml", "--ledger", "clab.sqlite", status=2).stderr
    assert not (tmp_path / "clab.sqlite").exists()


SHEET = """title = "Autumn"
[source]
power = "10 W"
[reference]
line = "RG-58C/U"
length = "0.9 m"
[[meter]]
name = "desk meter"
[[piece]]
tag = "blue 7"
[[reading]]
meter = "desk meter"
frequency = "14.2 MHz"
path = "reference"
reading = 9.4
[[reading]]
meter = "desk meter"
frequency = "14.2 MHz"
path = "blue 7"
reading = 8.3
"""


def test_a_sheet_is_proved_with_what_a_ledger_knows_of_its_pieces(kept, tmp_path):
    (tmp_path / "autumn.toml").write_text(SHEET)
    assert "length is missing" in asked("prove", "autumn.toml", status=2).stderr
    beside = json.loads(asked("prove", "autumn.toml", "--ledger", "club.sqlite", "--json").stdout)
    asked("shelf", "file", "autumn.toml", "--ledger", "club.sqlite")
    shown = json.loads(asked("shelf", "show", "blue 7", "--ledger", "club.sqlite", "--json").stdout)["piece"]["losses"]
    (loss,), (at_14,) = beside["losses"], (x for x in shown if x["frequency_hz"] == 14.2e6)
    assert {k: loss[k] for k in at_14} == at_14
    (day,) = (r for r in beside["remarks"] if "judged as they were on" in r)
    assert f"judged as they were on {date.today()}." in day
    assert "--on goes with --ledger" in asked("prove", "autumn.toml", "--on", "2026-05-01", status=2).stderr
    assert "must be a ledger that is there" in asked("prove", "autumn.toml", "--ledger", "clab.sqlite", status=2).stderr
