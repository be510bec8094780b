"""Plans beside runs, by the command line: kept, compared, applied in one undoable step, dropped."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from linewright.cli import main
from linewright.verbs.shelf import keep_station, kept, open_ledger

HUT = """
[station]
name = "Hut"
[[run]]
name = "beam"
frequencies = ["144.3 MHz"]
power = "50 W"
chain = [{line = "RG-58C/U", length = "12 m"}]
antenna = {swr = 1.2}
"""


@pytest.fixture
def hut(tmp_path, monkeypatch):
    (tmp_path / "hut.toml").write_text(HUT)
    with open_ledger(tmp_path / "hut.sqlite") as ledger:
        keep_station(ledger, tmp_path / "hut.toml")
        monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "hut.sqlite"))
        yield ledger


def ask(*words, status=0):
    found = CliRunner().invoke(main, words)
    assert found.exit_code == status, (found.stdout, found.stderr)
    return found


def run_of(ledger):
    return kept(ledger, "station", "Hut").body["station"]["run"][0]


def test_a_plan_changes_no_run_until_it_is_applied_and_is_undone_in_one_step(hut):
    before = run_of(hut)
    ask("shelf", "plan", "beam", "thicker", "--set", 'chain = [{line = "RG-213/U", length = "12 m"}]')
    assert run_of(hut) == before
    (plan,) = json.loads(ask("shelf", "plans", "beam", "--json").stdout)["plans"]
    assert (plan["station"], plan["run"], plan["plan"]) == ("Hut", "beam", "thicker")
    assert plan["fields"] == {"chain": [{"line": "RG-213/U", "length": "12 m"}]}
    (difference,) = plan["differences"]
    assert difference["delivered_ratio"] > 1.2
    said = " ".join(ask("shelf", "plans").stdout.split())
    assert "thicker, a plan of beam" in said
    assert "more than before" in said
    ask("shelf", "plan", "beam", "thicker", "--apply", "--who", "Robin")
    assert run_of(hut)["chain"][0]["line"] == "RG-213/U"
    newest = json.loads(ask("shelf", "history", "--json").stdout)["changes"][0]
    assert newest["who"] == "Robin"
    ask("shelf", "undo", str(newest["id"]))
    assert run_of(hut) == before
    ask("shelf", "plan", "beam", "thicker", "--drop")
    assert json.loads(ask("shelf", "plans", "--json").stdout)["plans"] == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("beam", "thicker", "--apply"), "It has none yet."),
        (("bean", "x"), "beam"),
        (("beam", "x", "--set", 'power = "many"'), "power"),
        (("beam", "x", "--apply", "--drop"), "One at a time"),
    ],
)
def test_what_cannot_be_planned_says_why_and_keeps_nothing(hut, words, told):
    version = kept(hut, "station", "Hut").version
    assert told in ask("shelf", "plan", *words, status=2).stderr
    assert kept(hut, "station", "Hut").version == version


def test_two_plans_of_a_run_bear_two_names(hut):
    ask("shelf", "plan", "beam", "low", "--set", "power=5 W")
    assert "must be new" in ask("shelf", "plan", "beam", "LOW", status=2).stderr
