"""Each ending has its own exit status, says why in words on standard error, and shows no traceback."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cli.doors import DEMO_SHEET, ask, run, words_of
from linewright.core.errors import CannotError, Culprit, InputError, gathered

WRONG = [
    ("loss", "RG-213/U", "30", "14MHz"),
    ("loss", "RG-213/U", "30 m", "14"),
    ("loss", "RG-213/U", "0 m", "14MHz"),
    ("loss", "no such line", "30 m", "14MHz"),
    ("loss", "RG-213/U", "30 m"),
    ("loss",),
    ("lines", "no such line"),
    ("lines", "--lines", "nowhere.toml"),
    ("prove",),
    ("prove", "nowhere.toml"),
    ("prove", "."),
    ("nonsense",),
    ("--nonsense",),
]


@pytest.mark.parametrize("words", WRONG, ids=" ".join)
@pytest.mark.parametrize("more", [(), ("--json",)], ids=["words", "json"])
def test_what_is_wrong_ends_with_2_and_nothing_on_standard_output(words, more):
    done = ask(*words, *more) if words != ("--nonsense",) else ask(*words)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr
    assert "Traceback" not in done.stderr
    assert max(map(len, done.stderr.splitlines())) <= 100


@pytest.mark.parametrize(
    "words", [("lines",), ("prove", str(DEMO_SHEET)), ("loss", "RG-58", "7 m", "7MHz"), ("--help",), ()]
)
def test_an_answer_ends_with_0(words):
    done = ask(*words)
    assert done.exit_code == 0
    assert done.stdout
    assert done.stderr == ""


def _failing(monkeypatch, cause):
    def fail(*_, **__):
        raise cause

    monkeypatch.setattr("linewright.verbs.loss.list_lines", fail)


@pytest.mark.parametrize(
    ("cause", "status", "words"),
    [
        (CannotError("The disk is full."), 1, "The disk is full."),
        (PermissionError(13, "Permission denied", "kept.toml"), 1, "Could not: kept.toml: Permission denied."),
        (ZeroDivisionError("secret"), 70, "This is a bug in linewright (ZeroDivisionError)."),
        (KeyboardInterrupt(), 130, "Stopped."),
        (
            InputError("swr", "must be at least 1; got 0.8", cure="Check it."),
            2,
            "swr must be at least 1; got 0.8. Check it.",
        ),
    ],
)
def test_what_happens_behind_the_door_decides_the_ending(monkeypatch, cause, status, words):
    _failing(monkeypatch, cause)
    done = ask("lines")
    assert done.exit_code == status
    assert done.stdout == ""
    assert words in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("words", [("--debug", "lines"), ("lines", "--debug")])
def test_debug_shows_the_traceback_of_a_bug(monkeypatch, words):
    _failing(monkeypatch, ZeroDivisionError("the cause"))
    done = ask(*words)
    assert done.exit_code == 70
    assert "Traceback" in done.stderr
    assert "the cause" in done.stderr


def test_a_bug_asks_to_be_reported_in_one_line(monkeypatch):
    _failing(monkeypatch, ZeroDivisionError("the cause"))
    (line,) = ask("lines").stderr.splitlines()
    assert "report" in line
    assert "--debug" in line


def test_debug_changes_nothing_in_an_error_of_the_person():
    assert ask("--debug", "lines", "nothing").stderr == ask("lines", "nothing").stderr


def test_several_problems_stand_one_by_one_with_their_number(monkeypatch):
    where = Culprit("spring.csv", 4)
    other = InputError("frequency", "needs a unit; got '144'", where=where, cure='Write it as "144 MHz".')
    _failing(monkeypatch, gathered([InputError("meter", "is missing", where=Culprit("spring.toml")), other, other]))
    lines = ask("lines").stderr.splitlines()
    assert lines[0] == "3 problems:"
    assert [line[:2] for line in lines[1:]] == ["- ", "- ", "- "]
    assert "row 4 of spring.csv" in lines[2]
    assert 'Write it as "144 MHz".' in lines[2]


def test_hundreds_of_problems_are_counted_and_the_first_shown(monkeypatch):
    _failing(monkeypatch, gathered([InputError("reading", f"is wrong in row {i}") for i in range(300)]))
    lines = ask("lines").stderr.splitlines()
    assert lines[0] == "300 problems:"
    assert lines[-1] == "And 260 more."
    assert len(lines) == 42


QUANTITIES = st.one_of(
    st.text(max_size=12),
    st.from_regex(r"[+-]?[0-9]{1,3}([.,][0-9]{1,3})?(e[+-]?[0-9]{1,3})? ?(m|ft|km|MHz|GHz|Hz|dB|W|)", fullmatch=True),
)


@given(st.sampled_from(["RG-58C/U", "300-ohm ribbon", "rg 213", "x", ""]), QUANTITIES, QUANTITIES)
def test_no_words_after_loss_make_it_a_bug(line, length, frequency):
    done = ask("loss", "--json", "--", line, length, frequency)
    assert done.exit_code in (0, 2)
    assert bool(done.stdout) is (done.exit_code == 0)
    assert bool(done.stderr) is (done.exit_code == 2)
    assert ask("loss", "--", line, length, frequency).exit_code == done.exit_code


SHEET = '[[meter]]\nname = "desk"\n[[piece]]\ntag = "a"\nlength = {length}\n[readings]\nfile = "r.csv"\n'


def _sheet(folder, length, *rows):
    (folder / "r.csv").write_text("\n".join(["meter,frequency,path,reading", *rows]), encoding="utf-8")
    (folder / "s.toml").write_text(SHEET.format(length=length), encoding="utf-8")
    return str(folder / "s.toml")


def test_a_wrong_sheet_names_file_row_rule_and_cure(tmp_path):
    done = ask("prove", _sheet(tmp_path, "7", "desk,14.2 MHz,a,5"))
    said = words_of(done.stderr)
    assert done.exit_code == 2
    assert all(
        part in said for part in ("length needs a number with its unit", "row 5", "s.toml", 'Write it as "7.2 m".')
    )


def test_every_wrong_row_of_the_readings_is_named(tmp_path):
    done = ask("prove", _sheet(tmp_path, '"7 m"', "desk,14.2,a,5", "dusk,14.2 MHz,a,5", "desk,14.2 MHz,a,5"))
    said = words_of(done.stderr)
    assert done.exit_code == 2
    assert said.startswith("2 problems:")
    assert all(part in said for part in ("row 2", "row 3", "r.csv", "frequency", "dusk"))


@pytest.mark.parametrize("words", [("lines",), ("--help",), ("lines", "--json")])
def test_a_reader_that_leaves_ends_calmly(words):
    reading, writing = os.pipe()
    os.close(reading)
    command = [sys.executable, "-m", "linewright", *words]
    done = subprocess.run(command, stdout=writing, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")


def test_the_process_itself_ends_with_the_same_status():
    assert run("loss", "RG-213/U", "30", "14MHz").returncode == 2
    assert run("loss", "RG-213/U", "30 m", "14MHz").returncode == 0
    assert run("--version").stdout.startswith("linewright ")


def test_a_terminal_without_the_signs_still_gets_its_answer():
    done = run("prove", str(DEMO_SHEET), "--explain", PYTHONIOENCODING="iso8859-5")
    assert done.returncode == 0
    assert " ? 0." in done.stdout


# What runs in the background of a shell inherits Ctrl-C as ignored; a command at a terminal does not.
AT_A_TERMINAL = """
import os, signal, sys
signal.signal(signal.SIGINT, signal.SIG_DFL)
os.execv(sys.executable, sys.argv[1:])
"""


def test_ctrl_c_stops_calmly(tmp_path):
    sheet = tmp_path / "sheet.toml"
    os.mkfifo(sheet)
    command = [sys.executable, "-m", "linewright", "prove", str(sheet)]
    running = subprocess.Popen(
        [sys.executable, "-c", AT_A_TERMINAL, *command], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    with sheet.open("w", encoding="utf-8"):  # opens once the command has begun to read; closed, it has read all
        running.send_signal(signal.SIGINT)
    said = running.communicate()
    assert running.returncode == 130
    assert said[0] == ""
    assert said[1].strip() == "Stopped."
