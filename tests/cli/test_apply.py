"""A sharing-out or a choice is applied: the runs in the ledger name those pieces, in one step that can be undone."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from ledger.gear import stock_up
from linewright.cli import main
from linewright.verbs import shelf
from linewright.verbs.shelf import keep_station, open_ledger

HUT = """
[station]
name = "Hut"

[[part]]
name = "wall"
chain = [{line = "RG-58C/U", length = "2 m", name = "jumper"}, {part = "arrestor", loss = "0.1 dB"}]

[[run]]
name = "wire"
frequencies = ["14.2 MHz"]
power = "50 W"
chain = [{part = "wall"}, {piece = "black 20"}, {connector = "N"}]
antenna = {swr = 1.2}
route = "6 m"

[[run]]
name = "beam"
frequencies = ["144.3 MHz"]
power = "50 W"
chain = [{part = "wall"}, {line = "RG-58C/U", length = "12 m", name = "old"}, {connector = "N"}]
antenna = {swr = 1.2}
route = "15 m"
"""
PRICES = "line,price,currency\nRG-213/U,2.10/m,EUR\nRG-58C/U,0.80/m,EUR\n"


@pytest.fixture
def club(tmp_path, monkeypatch):
    (tmp_path / "hut.toml").write_text(HUT)
    (tmp_path / "prices.csv").write_text(PRICES)
    with open_ledger(tmp_path / "club.sqlite") as ledger:
        stock_up(ledger)
        keep_station(ledger, tmp_path / "hut.toml")
        monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "club.sqlite"))
        monkeypatch.chdir(tmp_path)
        yield ledger


def ask(*words, status=0):
    found = CliRunner().invoke(main, words)
    assert found.exit_code == status, (found.stdout, found.stderr)
    return found


def chains(ledger):
    return {r["name"]: r["chain"] for r in shelf.kept(ledger, "station", "Hut").body["station"]["run"]}


def test_a_sharing_out_is_applied_in_one_step_and_undone_in_one(club):
    before = chains(club)
    said = ask("share", "--apply", "--who", "Robin", "--json")
    fed = {f["run"]: f["pieces"] for f in json.loads(said.stdout)["fed"]}
    assert fed == {"wire": ["blue 7"], "beam": ["black 20"]}
    assert "beam lies on black 20" in said.stderr
    assert chains(club)["wire"] == [{"part": "wall"}, {"piece": "blue 7"}, {"connector": "N"}]
    assert {"piece": "black 20"} in chains(club)["beam"]
    (change,) = [c for c in shelf.changes(club, kind="station").changes if c.before is not None]
    assert change.who == "Robin"
    ask("shelf", "undo", str(change.id))
    assert chains(club) == before


def test_applied_again_it_changes_nothing(club):
    ask("share", "--apply")
    assert shelf.kept(club, "station", "Hut").version == 2
    assert "It is so already" in ask("share", "--apply").stderr
    assert shelf.kept(club, "station", "Hut").version == 2


def test_a_plan_that_leaves_a_run_short_is_not_applied(club):
    shelf.archive(club, "piece", "blue 7")
    said = ask("share", "--apply", status=1).stderr
    assert "Nothing was applied" in said
    assert shelf.kept(club, "station", "Hut").version == 1


def test_a_choice_is_applied_by_its_number_and_is_what_the_plan_then_says(club):
    choose = "choose", "--run", "beam", "--prices", "prices.csv"
    trade_off = json.loads(ask(*choose, "--json").stdout)["trade_off"]
    number = next(i for i, o in enumerate(trade_off, start=1) if not o["stretches"][0]["on_hand"])
    said = ask(*choose, "--apply", str(number), "--json")
    chosen = json.loads(said.stdout)["trade_off"][number - 1]
    (stretch,) = chosen["stretches"]
    chain = chains(club)["beam"]
    assert chain[0] == {"part": "wall"}
    assert (chain[1]["line"], chain[1]["length"]) == (stretch["name"], "15 m")
    assert chain[2:] == [{"connector": "N"}, {"connector": "N"}]
    (band,) = json.loads(ask("plan", "beam", "--json").stdout)["runs"][0]["bands"]
    assert band["total_loss_db"] == pytest.approx(chosen["bands"][0]["loss_db"], rel=0.05)


def test_a_piece_on_hand_is_chosen_like_new_line(club):
    shelf.add(club, "piece", {"tag": "grey 16", "line": "RG-213/U", "length": "16 m"})
    choose = "choose", "--run", "beam", "--prices", "prices.csv"
    trade_off = json.loads(ask(*choose, "--json").stdout)["trade_off"]
    number = next(i for i, o in enumerate(trade_off, start=1) if o["stretches"][0]["name"] == "grey 16")
    ask(*choose, "--apply", str(number))
    assert chains(club)["beam"] == [{"part": "wall"}, {"piece": "grey 16"}, {"connector": "N"}]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("share", "hut.toml", "--apply"), "--apply changes the station in the ledger"),
        (("choose", "--run", "beam", "--prices", "prices.csv", "--apply", "99"), "must be one of 1 to"),
    ],
)
def test_what_cannot_be_applied_is_said(club, words, said):
    assert said in " ".join(ask(*words, status=2).stderr.split())
    assert shelf.kept(club, "station", "Hut").version == 1


def test_a_piece_in_a_part_that_runs_share_is_not_moved(club, tmp_path):
    text = HUT.replace('{line = "RG-58C/U", length = "2 m", name = "jumper"}, ', '{piece = "blue 7"}, ')
    (tmp_path / "hut.toml").write_text(text.replace('{piece = "black 20"}, ', ""))
    keep_station(club, tmp_path / "hut.toml")
    assert "several runs may share it" in " ".join(ask("share", "--apply", status=2).stderr.split())
