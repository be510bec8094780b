"""Labels and reading sheets from the command line."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil

import pypdf
import pytest
from click.testing import CliRunner

from cli.doors import DATA, ask, run, words_of
from linewright.cli import main


@pytest.fixture
def bench(tmp_path):
    for name in ("harbour-ridge.toml", "harbour-ridge.csv"):
        shutil.copy(DATA / name, tmp_path)
    return tmp_path / "harbour-ridge.toml"


@pytest.fixture
def shelf(tmp_path, monkeypatch):
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "ledger.sqlite"))
    for tag, line in (("new 30", "RG-213/U"), ("new 7", "RG-58C/U")):
        assert ask("shelf", "add", tag, "--length", "7m", "--line", line).exit_code == 0
    return tmp_path


def test_a_label_is_shown_where_no_file_is_named(shelf):
    told = ask("label", "new 7")
    assert told.exit_code == 0
    assert "not measured: as a new one" in told.stdout
    assert max(map(len, told.stdout.splitlines())) <= 100


def test_all_labels_go_on_sheets(shelf):
    path = shelf / "all.pdf"
    told = ask("label", "--all", "-o", str(path), "--sheet", "letter 3x10 2.625x1in", "--first", "30", "--qr")
    assert (told.exit_code, told.stdout) == (0, f"Wrote {path}.\n")
    pages = pypdf.PdfReader(io.BytesIO(path.read_bytes())).pages
    assert [tag in page.extract_text() for page, tag in zip(pages, ("new 30", "new 7"), strict=True)] == [True, True]


def test_labels_as_json_keep_their_schema(shelf):
    told = json.loads(ask("label", "new 7", "--json").stdout)
    assert told["schema"] == "linewright/labels/1"
    assert told["labels"][0]["tag"] == "new 7"


def test_what_is_shown_is_worded_as_the_file_would_be(shelf, bench):
    told = ask("label", "new 7", "--language", "de", "--lengths", "ft").stdout
    assert "nicht gemessen" in told
    assert "23 ft" in told
    told = ask("sheet", str(bench), "--language", "de").stdout
    assert "So wird abgelesen" in told
    assert "14,2 MHz, desk meter" in told


def test_sheets_of_labels_are_data_for_programs():
    told = json.loads(ask("label", "--list", "--json").stdout)
    assert told["schema"] == "linewright/label-sheets/1"
    assert {"name": "a4 2x4 99.1x67.7", "columns": 2, "rows": 4}.items() <= told["sheets"][4].items()


def test_a_label_of_an_empty_shelf_says_what_to_do_first(tmp_path, monkeypatch):
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "ledger.sqlite"))
    told = ask("label", "--all", "-o", str(tmp_path / "all.pdf"))
    assert told.exit_code == 2
    assert "linewright shelf add" in words_of(told.stderr)


def test_figures_are_worked_out_when_asked(shelf):
    assert "How it was worked out" in ask("label", "new 7", "--explain").stdout


def test_workings_are_worded_as_the_label_is(shelf):
    told = words_of(ask("label", "new 7", "--explain", "--language", "de", "--lengths", "ft").stdout)
    for words in (
        "So wurde gerechnet",
        "Dämpfung von new 7 bei",
        "Länge: 23 ft",
        "Kabeltyp: RG-58C/U",
        "Quelle: docs/",
    ):
        assert words in told
    for english in ("How it was worked out", "Source", "length", "rests on", " dB ("):
        assert (english in told) == (english == " dB (")


def test_sheets_of_labels_are_listed():
    told = ask("label", "--list").stdout
    assert '"a4 2x7 99.1x38.1"' in told
    assert "common practice, no source" in told


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("label", "new 7", "--all"), "Name the pieces, or say --all"),
        (("label", "new 7", "-o", "x.gif"), "must end in .pdf, .svg or .png"),
        (("label", "--all", "-o", "x.png"), "A picture holds one label"),
        (("label", "new 7", "--sheet", "a4", "-o", "x.pdf"), "sheet must be one of"),
        (("label", "new 7", "--first", "2"), "--first goes with --sheet"),
        (("label", "new 7", "--size", "70x37mm", "--sheet", "a4 3x8 70x37"), "not both"),
        (("label", "new 8"), "new 7"),
        (("label", "new 7", "--bands", "14.2"), "bands needs a unit"),
        (("label", "new 7", "--address", "shack", "-o", "x.pdf"), "must begin with http"),
    ],
)
def test_an_impossible_label_is_refused_with_the_reason(shelf, monkeypatch, words, said):
    monkeypatch.chdir(shelf)
    told = CliRunner().invoke(main, list(words))
    assert told.exit_code == 2
    assert said in " ".join(told.stderr.split())


def test_two_starts_make_the_same_bytes(shelf, bench):
    digests = set()
    for seed in ("1", "2"):
        label, sheet = shelf / f"{seed}.pdf", shelf / f"{seed}-sheet.pdf"
        env = {"PYTHONHASHSEED": seed, "LINEWRIGHT_LEDGER": os.environ["LINEWRIGHT_LEDGER"]}
        day = ("--date", "2026-04-02")
        assert run("label", "--all", "-o", str(label), "--qr", *day, **env).returncode == 0
        assert run("sheet", str(bench), "-o", str(sheet), *day, **env).returncode == 0
        digests.add(tuple(hashlib.sha256(p.read_bytes()).hexdigest() for p in (label, sheet)))
    assert len(digests) == 1


def test_a_reading_sheet_is_shown_where_no_file_is_named(bench):
    told = ask("sheet", str(bench))
    assert told.exit_code == 0
    assert "How to read" in told.stdout
    assert max(map(len, told.stdout.splitlines())) <= 100


def test_a_template_is_not_written_over_readings(bench):
    target = bench.with_name("harbour-ridge.csv")
    before = target.read_bytes()
    told = ask("sheet", str(bench), "-o", str(target))
    assert (told.exit_code, target.read_bytes()) == (2, before)
    assert "It may hold readings" in words_of(told.stderr)
    again = ask("sheet", str(bench), "-o", str(target), "--force")
    assert (again.exit_code, again.stdout) == (0, f"Wrote {target}.\n")
    assert target.read_text().startswith("step,meter,frequency,path,reading")


def test_an_empty_template_is_no_result(bench):
    ask("sheet", str(bench), "-o", str(bench.with_name("harbour-ridge.csv")), "--force")
    told = ask("prove", str(bench))
    assert told.exit_code == 2
    assert "are all empty" in told.stderr


def test_steps_as_json_keep_their_schema(bench):
    told = json.loads(ask("sheet", str(bench), "--json").stdout)
    assert told["schema"] == "linewright/blank-sheet/1"
    assert told["steps"][0] == {
        "step": 1, "meter": "desk meter", "frequency_hz": 14.2e6, "path": "reference",
    }  # fmt: skip


def test_a_reading_sheet_has_two_forms(bench):
    told = ask("sheet", str(bench), "-o", str(bench.with_name("x.doc")))
    assert told.exit_code == 2
    assert "must end in .pdf or .csv" in told.stderr
