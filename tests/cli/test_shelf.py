"""``linewright shelf``, as a person types it."""

from __future__ import annotations

import json
import subprocess
import sys

import click
import pytest
from click.testing import CliRunner

from cli.doors import DATA, DEMO_SHEET, words_of
from ledger.gear import sweep_bytes
from linewright.cli.main import Door
from linewright.cli.paper import report
from linewright.cli.shelf import shelf

main = click.Group("linewright", commands=[shelf])
door = Door("linewright", commands=[shelf])
STATION = DATA / "harbour-ridge-station.toml"


@pytest.fixture
def ask(tmp_path):
    def asked(*words, status=0, runner=door):
        found = CliRunner().invoke(runner, ["shelf", *words, "--ledger", str(tmp_path / "ledger.sqlite")])
        assert found.exit_code == status, (found.stdout, found.stderr)
        assert all(len(line) <= 100 for line in found.stdout.splitlines()) or "--json" in words
        return found

    return asked


@pytest.fixture
def filled(ask, tmp_path):
    (tmp_path / "blue.s2p").write_bytes(sweep_bytes(loss=2.2, metres=7.2))
    ask("file", str(DEMO_SHEET), "--on", "2023-04-02")
    ask("file", str(tmp_path / "blue.s2p"), "--piece", "blue 7", "--on", "2026-04-02", "--who", "Robin")
    return ask


def test_from_nothing_to_a_piece_on_the_shelf(ask):
    assert "The shelf is empty" in ask("list").stdout
    ask("add", "red 5", "--length", "5m", "--line", "RG-213/U", "--exposure", "outdoors")
    said = ask("list").stdout
    assert "red 5" in said
    assert "never tested" in said


def test_a_filed_sheet_speaks_for_its_pieces(filled):
    said = words_of(filled("show", "blue 18").stdout)
    assert "17.9 m of RG-58C/U, 2 connectors, from blue drum" in said
    assert "56 readings" in said


def test_the_list_names_the_meters_that_are_kept_and_where_they_are_told_of(filled):
    said = words_of(filled("list").stdout)
    assert "pocket meter watts 1.6 MHz to 30 MHz" in said
    assert "card meter card 100 MHz to 470 MHz" in said
    assert "linewright shelf meters" in said
    assert "pocket meter" not in filled("list", "--archived").stdout


def test_the_loss_of_a_piece_that_got_worse_is_said_to_rise(filled):
    said = words_of(filled("history", "blue 7").stdout)
    assert "The loss has risen over 3.0 years" in said
    assert "2026-04-02 sweep blue.s2p, through it" in said
    assert "All tests together as one Gaussian problem" in words_of(filled("history", "blue 7", "--explain").stdout)


def test_tests_that_do_not_agree_make_no_rate_anywhere(ask, tmp_path):
    (tmp_path / "other.s2p").write_bytes(sweep_bytes(loss=2.9, metres=7.2))
    ask("file", str(DEMO_SHEET), "--on", "2026-03-14")
    ask("file", str(tmp_path / "other.s2p"), "--piece", "blue 7", "--on", "2026-10-03")
    said = "Its loss changed in one step between 2026-03-14 and 2026-10-03 (probability 0.96)"
    over_years = words_of(ask("history", "blue 7").stdout)
    assert said in over_years
    assert "may be a test of another piece (probability 0.04)" in over_years
    assert "% a year" not in over_years
    whole = json.loads(ask("history", "blue 7", "--json").stdout)
    assert whole["drift"] is None
    assert whole["disagreement"].startswith(said)
    where, kept = str(tmp_path / "out.html"), ("--ledger", str(tmp_path / "ledger.sqlite"))
    assert CliRunner().invoke(report, ["blue 7", "-o", where, *kept]).exit_code == 0
    page = (tmp_path / "out.html").read_text(encoding="utf-8")
    assert said in page
    assert "no trend" in page
    assert "% a year" not in page.replace("wanders 1 % a year", "")


def test_json_says_the_same_as_the_verb(filled, tmp_path):
    from linewright.verbs.shelf import history_of, list_shelf, open_ledger

    listed = json.loads(filled("list", "--json").stdout)
    told = json.loads(filled("history", "blue 7", "--json").stdout)
    with open_ledger(tmp_path / "ledger.sqlite") as ledger:
        verb, piece = list_shelf(ledger), history_of(ledger, "blue 7")
    assert listed["schema"] == "linewright/shelf/1"
    assert [p["losses"][0]["loss_db"] for p in listed["pieces"]] == [p.losses[0].loss_db for p in verb.pieces]
    assert told["schema"] == "linewright/history/1"
    assert told["drift"]["p_rising"] == piece.drift.p_rising
    assert [p["loss_db"] for p in told["points"]] == [p.loss_db for p in piece.points]


def test_archive_restore_undo_and_the_history_of_it(filled):
    filled("archive", "blue 7")
    assert "blue 7" not in filled("list").stdout.split("Test again")[0]
    assert "blue 7" in filled("list", "--archived").stdout
    filled("restore", "blue 7")
    newest = json.loads(filled("history", "--json").stdout)["changes"][0]
    filled("undo", str(newest["id"]))
    said = filled("history").stdout
    assert f"undoes change {newest['id']}" in words_of(said)
    assert "Robin" in said


def test_a_sweep_put_away_no_longer_counts(filled):
    (sweep,) = [c for c in json.loads(filled("history", "--json").stdout)["changes"] if c["kind"] == "sweep"]
    filled("archive", sweep["key"], "--kind", "sweep")
    assert "One test cannot show a drift" in filled("history", "blue 7").stdout


def test_change_and_note(filled):
    filled("change", "blue 7", "--exposure", "outdoors", "--stock", "")
    filled("note", "blue 7", "plug made off again")
    said = words_of(filled("history", "blue 7").stdout)
    assert "plug made off again" in said
    assert "stock: blue drum → nothing" in said


def test_a_station_is_filed_with_its_evidence(ask):
    said = ask("file", str(STATION)).stdout
    assert "Saved station Harbour Ridge station (invented)" in words_of(said)
    assert "Also: sheet" in said


def test_out_and_in_again(filled, tmp_path):
    filled("export", str(tmp_path / "all.zip"))
    other = ["--ledger", str(tmp_path / "other.sqlite")]
    found = CliRunner().invoke(main, ["shelf", "import", str(tmp_path / "all.zip"), *other])
    assert found.exit_code == 0, found.stderr
    listed = [CliRunner().invoke(main, ["shelf", "list", *where]).stdout for where in (other, other)]
    assert listed == [filled("list").stdout] * 2


def test_a_backup_is_told_where_it_is(filled, tmp_path):
    path = json.loads(filled("backup", "--json").stdout)["path"]
    assert str(tmp_path / "ledger-backups") in path


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("show", "pink 3"), 2, "piece must be one that is kept"),
        (("add", "red 5", "--length", "5"), 2, "length needs a unit"),
        (("undo", "999"), 2, "change must be one that was made"),
        (("file", "nowhere.toml"), 2, "must name a file that can be read"),
        (("file", "nowhere.s2p"), 2, "Add --piece TAG."),
        (("import", "nowhere.zip"), 2, "must be a zip"),
        (("export", "/nowhere/at/all.zip"), 1, "cannot be written"),
        (("archive", "blue 7", "--kind", "sock"), 2, "sock"),
    ],
)
def test_trouble_ends_calmly(ask, words, status, said):
    assert said in words_of(ask(*words, status=status).stderr)


def test_the_variable_names_the_ledger(tmp_path, monkeypatch):
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "named.sqlite"))
    CliRunner().invoke(main, ["shelf", "add", "red 5", "--length", "5 m"])
    assert (tmp_path / "named.sqlite").exists()


def test_help_loads_no_database():
    code = (
        "import sys; from linewright.cli.shelf import shelf; shelf(['list', '--help'], standalone_mode=False);"
        "sys.exit(bool({'sqlalchemy', 'alembic', 'numpy'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0


def test_a_list_that_is_remembered_loads_no_numerics(filled, tmp_path):
    filled("list")
    code = (
        "import sys; from linewright.cli.shelf import shelf;"
        f"shelf(['list', '--ledger', {str(tmp_path / 'ledger.sqlite')!r}], standalone_mode=False);"
        "sys.exit(bool({'scipy', 'alembic'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0
