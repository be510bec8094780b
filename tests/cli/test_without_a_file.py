"""Verbs without a file answer for the station in the ledger, and say what is kept where they cannot."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from ledger.gear import sound_bench, stock_up
from linewright.cli import main
from linewright.verbs.shelf import keep_station, open_ledger

RUN = """
[[run]]
name = "{name}"
frequencies = ["{at}"]
power = "50 W"
chain = [{{piece = "{piece}"}}, {{line = "RG-58C/U", length = "2 m"}}]
antenna = {{swr = 1.2}}
gain = "2 dBi"
receiver = {{noise_figure = "8 dB"}}
route = "{route}"
"""
HUT = '[station]\nname = "Hut"\nnoise = "rural"\n' + "".join([
    RUN.format(name="twenty-metre wire", at="14.2 MHz", piece="blue 7", route="6 m"),
    RUN.format(name="six-metre wire", at="50.1 MHz", piece="black 20", route="15 m"),
])  # fmt: skip
VAN = '[station]\nname = "Van"\n' + RUN.format(name="whip", at="28.5 MHz", piece="blue 7", route="3 m")
PRICES = "line,price,currency\nRG-213/U,2.10/m,EUR\n"


@pytest.fixture(scope="module")
def club(tmp_path_factory):
    """A ledger that keeps one station of two runs, whose pieces were measured."""
    folder = tmp_path_factory.mktemp("club")
    (folder / "hut.toml").write_text(HUT)
    (folder / "van.toml").write_text(VAN)
    (folder / "prices.csv").write_text(PRICES)
    with open_ledger(folder / "club.sqlite") as ledger:
        stock_up(ledger)
        sound_bench(ledger, worse=1.6)
        keep_station(ledger, folder / "hut.toml")
    return folder


@pytest.fixture
def ask(club, monkeypatch):
    """The commands as they are typed beside that ledger, which lies in the usual place."""
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(club / "club.sqlite"))
    monkeypatch.chdir(club)

    def asked(*words, status=0):
        found = CliRunner().invoke(main, words)
        assert found.exit_code == status, (found.stdout, found.stderr)
        return found

    return asked


def told(asked, *words):
    return json.loads(asked(*words, "--json").stdout)


@pytest.mark.parametrize("verb", ["plan", "reception", "exposure"])
def test_without_a_file_it_is_the_station_of_the_ledger(ask, verb):
    assert [r["run"] for r in told(ask, verb)["runs"]] == ["twenty-metre wire", "six-metre wire"]
    assert told(ask, verb) == told(ask, verb, "hut.toml", "--ledger", "club.sqlite")


@pytest.mark.parametrize("verb", ["plan", "reception", "exposure"])
def test_an_argument_that_is_not_a_file_names_a_run(ask, verb):
    (run,) = told(ask, verb, "Six-metre  wire")["runs"]
    assert run["run"] == "six-metre wire"
    assert told(ask, verb, "--run", "six-metre wire") == told(ask, verb, "six-metre wire")


def test_what_a_change_would_do_is_asked_of_the_kept_station(ask):
    found = told(ask, "plan", "six-metre wire", "--with", "power = 5 W")
    assert found["schema"] == "linewright/what-if/1"


def test_pieces_of_the_shelf_that_lie_in_no_run_may_be_chosen(ask, club):
    told(ask, "shelf", "add", "grey 25", "--length", "25 m", "--line", "RG-213/U")
    found = told(ask, "choose", "--run", "twenty-metre wire", "--prices", "prices.csv")
    assert "grey 25" in json.dumps(found)
    shared = told(ask, "share")
    assert "grey 25" in json.dumps(shared)
    told(ask, "shelf", "archive", "grey 25")


def test_one_sees_through_a_piece_and_through_a_whole_run(ask):
    seen = "through", "--shack-swr", "1.3", "--at", "14.2 MHz"
    piece, run = told(ask, *seen, "--piece", "blue 7"), told(ask, *seen, "--run", "twenty-metre wire")
    (band,) = told(ask, "plan", "twenty-metre wire")["runs"][0]["bands"]
    assert run["loss_db"] == pytest.approx(band["matched_loss_db"], rel=0.02)
    assert piece["loss_db"] < run["loss_db"]
    assert piece["antenna_swr"] < run["antenna_swr"]


def test_a_test_from_one_end_is_kept_with_its_piece(ask, club):
    read = "one-end", "--piece", "black 20", "--open", "9.5", "--short", "9.2", "--at", "50 MHz"
    before = told(ask, "shelf", "show", "black 20")
    said = ask(*read, "--keep", "--on", "2026-05-03", "--json")
    assert "Saved sheet 2026-05-03 black 20 from one end" in said.stderr
    after = told(ask, "shelf", "show", "black 20")
    assert after["piece"]["tests"] == before["piece"]["tests"] + 1
    alone = next(p for p in after["points"] if p["evidence"]["measured_on"] == "2026-05-03")
    (mine,) = json.loads(said.stdout)["losses"]
    assert alone["loss_db_low"] < mine["loss_db"] < alone["loss_db_high"]
    told(ask, "shelf", "archive", "--kind", "sheet", "2026-05-03 black 20 from one end")


def test_reports_labels_and_charts_need_no_name(ask):
    whole, run = told(ask, "report"), told(ask, "report", "six-metre wire")
    assert "twenty-metre wire" in json.dumps(whole)
    assert "twenty-metre wire" not in json.dumps(run)
    assert "six-metre wire" in json.dumps(run)
    assert [x["tag"] for x in told(ask, "label")["labels"]] == ["black 20", "blue 7"]
    kinds = {c["kind"] for c in told(ask, "chart", "six-metre wire", "--list")["charts"]}
    assert {"flow", "reception", "exposure"} <= kinds
    assert {c["kind"] for c in told(ask, "chart", "--list")["charts"]} >= kinds


def test_of_several_stations_one_is_named_or_known_by_its_run(ask, club):
    ask("shelf", "file", "van.toml")
    said = ask("plan", status=2).stderr
    assert "Hut, Van" in said
    assert '--station "Hut"' in said
    assert told(ask, "plan", "--station", "van")["runs"][0]["run"] == "whip"
    assert told(ask, "plan", "whip")["runs"][0]["run"] == "whip"
    assert "the run once" in ask("plan", "whip", "--run", "whip", status=2).stderr
    ask("shelf", "archive", "--kind", "station", "Van")
    assert "restore" in ask("plan", "--station", "Van", status=2).stderr


def test_what_is_not_kept_is_answered_by_what_is(ask):
    said = " ".join(ask("plan", "eight-metre wire", status=2).stderr.split())
    assert "Hut has twenty-metre wire, six-metre wire" in said
    assert "--station" in ask("plan", "Hut", status=2).stderr
    assert "must name a file" in ask("plan", "shed.toml", status=2).stderr


def test_an_empty_place_is_told_how_to_begin_and_nothing_is_made(ask, tmp_path, monkeypatch):
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "none.sqlite"))
    said = ask("plan", status=2).stderr
    assert "shelf import STATION.toml" in said
    assert not (tmp_path / "none.sqlite").exists()


def test_a_station_is_taken_in_listed_changed_and_written_out(ask, tmp_path):
    (tmp_path / "van.toml").write_text(VAN + '[[piece]]\ntag = "blue 7"\nline = "RG-58C/U"\nlength = "7.2 m"\n')
    there = "--ledger", str(tmp_path / "new.sqlite")
    assert "Saved station Van" in ask("shelf", "import", str(tmp_path / "van.toml"), *there, "--who", "Robin").stdout
    for listing in (ask("shelf", "runs", *there).stdout, ask("shelf", "list", *there).stdout):
        assert "whip" in listing
        assert "28.5 MHz" in listing
    assert told(ask, "shelf", "runs", *there)["runs"] == told(ask, "shelf", "list", *there)["runs"]
    ask("shelf", "run", "whip", "--set", "power=5 W", "--set", "antenna = {swr = 2}", *there)
    assert 1.0 < told(ask, "plan", *there)["runs"][0]["bands"][0]["power_at_antenna_w"] < 5.0
    assert "--remove" in ask("shelf", "run", "whip", "--set", "power=5 W", "--remove", *there, status=2).stderr
    ask("shelf", "export", str(tmp_path / "out.toml"), *there)
    written = (tmp_path / "out.toml").read_text()
    assert 'power = "5 W"' in written
    assert told(ask, "plan", str(tmp_path / "out.toml"), *there) == told(ask, "plan", *there)
