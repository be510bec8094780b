"""Slips of every day: each answer names what is wrong, the rule, what was typed, and what to write instead."""

import pytest
from click.testing import CliRunner

from linewright.cli import main
from linewright.verbs.shelf import open_ledger

STATION = """
[station]
name = "Hut"
[[run]]
name = "beam"
frequencies = ["144.3 MHz"]
power = "50 W"
chain = [{line = "RG-213/U", length = "10 m"}]
antenna = {swr = 1.5}
[run.choose]
route = "14 m"
colour = "black"
"""


def told(*words, at=None):
    found = CliRunner().invoke(main, [str(w) for w in words], env={"LINEWRIGHT_LEDGER": str(at)} if at else None)
    assert found.exit_code == 2
    assert not found.stdout
    return " ".join(found.stderr.split())


def test_a_length_before_its_line_is_told_the_order():
    said = told("loss", "30 m", "RG-213/U", "144 MHz")
    assert "LINE must stand before the length; got '30 m'." in said
    assert 'Write: linewright loss "RG-213/U" "30 m" 144MHz.' in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ("share", "x.toml", "--budget", "80 EUR"),
            "--budget must be a number without a unit, 0 or more; got '80 EUR'.",
        ),
        (("share", "x.toml", "--budget", "-1"), "--budget must be a number without a unit, 0 or more; got '-1.0'."),
        (("through", "--step", "0.1 V"), "--step must be a number without a unit; got '0.1 V'."),
        (("practise", "--level", "9"), "--level must be a whole number from 1 to 5; got '9'."),
        (("practise", "--level", "hard"), "--level must be a whole number from 1 to 5; got 'hard'."),
        (("shelf", "history", "--most", "0"), "--most must be a whole number, 1 or more; got '0'."),
        (("sheet", "x.toml", "--repeats", "two"), "--repeats must be a whole number; got 'two'."),
    ],
)
def test_an_option_that_is_no_number_says_which_numbers_it_takes(words, said):
    assert said in told(*words)


def test_readings_in_the_place_of_a_sheet_are_sent_to_their_sheet(tmp_path):
    readings = tmp_path / "bench.csv"
    readings.write_text("meter,frequency,path,reading\ndesk,144 MHz,reference,9 W\n")
    assert "A .csv file holds readings or prices: name the TOML file that they belong to." in told("prove", readings)


def test_readings_are_filed_with_their_sheet(tmp_path):
    readings = tmp_path / "bench.csv"
    readings.write_text("meter,frequency,path,reading\ndesk,144 MHz,reference,9 W\n")
    said = told("shelf", "file", readings, at=tmp_path / "ledger.sqlite")
    assert "file holds readings, which are filed with their sheet" in said
    assert "File the TOML sheet that names it." in said


@pytest.mark.parametrize("day", ["10.5.2026", "2026-13-01"])
def test_a_day_is_told_how_it_is_written(day):
    assert f"--on must be a day, written like 2026-03-14; got '{day}'." in told("shelf", "file", "x.toml", "--on", day)


@pytest.mark.parametrize(
    ("more", "rule"), [((), "a band. Say"), (("--at", "145 MHz", "--band", "2 m"), "a band, not by both. Say")]
)
def test_a_cut_wants_a_frequency_or_a_band(more, rule):
    assert f"frequency must be told by a frequency or by {rule}" in told("cut", "one", "two", *more)


def test_a_key_one_level_too_deep_is_sent_up(tmp_path):
    station = tmp_path / "hut.toml"
    station.write_text(STATION)
    said = told("plan", station)
    assert "route means nothing here" in said
    assert said.count("It belongs one level up, outside this table.") == 1


def test_a_piece_that_nothing_keeps_yet_is_told_how_to_keep_it(tmp_path):
    ledger = tmp_path / "empty.sqlite"
    open_ledger(ledger).close()
    said = told("through", "--shack-swr", "1.3", "--piece", "blue", "--at", "144 MHz", at=ledger)
    assert "No piece is kept yet: file a sheet, or add it, with linewright shelf." in said
