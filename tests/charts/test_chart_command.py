"""The command ``chart``: every chart there is of a thing, in every form, and a clear word where there is none."""

from __future__ import annotations

import json
from datetime import date
from importlib.resources import files

import pytest
from click.testing import CliRunner

from charts.made_all import law_finding
from linewright.cli.main import main
from linewright.core.errors import InputError
from linewright.present.charts.theme import DARK
from linewright.verbs import shelf
from linewright.verbs.chart import Chart, charts_of_sweep, chosen

DEMO = files("linewright.verbs.demo_data")
SHEET, STATION = str(DEMO.joinpath("harbour-ridge.toml")), str(DEMO.joinpath("harbour-ridge-station.toml"))
PRICES = str(DEMO.joinpath("harbour-ridge-prices.csv"))
FIELD_DAY = str(DEMO.joinpath("harbour-ridge-field-day.toml"))
BY = shelf.By()


def _run(*words):
    return CliRunner().invoke(main, ["chart", *map(str, words)], standalone_mode=False, catch_exceptions=True)


def _kinds(*words):
    answer = _run(*words, "--list")
    assert answer.exception is None, answer.exception
    return [line.split()[0] for line in answer.stdout.splitlines()]


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    where = tmp_path_factory.mktemp("ledger") / "shelf.sqlite"
    with shelf.open_ledger(where) as opened:
        shelf.file_sheet(opened, SHEET, on=date(2024, 4, 2), by=BY)
        shelf.add(opened, "piece", {"tag": "new drum", "line": "RG-213/U", "length": "30 m"}, by=BY)
        shelf.add(opened, "piece", {"tag": "found in the attic", "length": "9 m"}, by=BY)
    return where


def test_a_sheet_lists_its_charts_and_draws_the_main_one(tmp_path):
    assert _kinds(SHEET) == ["loss", "trust", "doubts", "pull"]
    answer = _run(SHEET, "-o", tmp_path / "a.svg")
    assert answer.exception is None
    drawn = (tmp_path / "a.svg").read_text()
    assert drawn.startswith("<svg")
    assert "believed, with 95 % ribbon" in drawn


@pytest.mark.parametrize(("ending", "head"), [(".png", b"\x89PNG"), (".pdf", b"%PDF"), (".vl.json", b"{")])
def test_every_form_is_written(tmp_path, ending, head):
    path = tmp_path / f"a{ending}"
    assert _run(STATION, "--run", "portable mast", "-o", path).exception is None
    assert path.read_bytes().startswith(head)


def test_a_station_lists_its_charts_and_needs_a_run_named_to_draw_one(tmp_path):
    assert _kinds(STATION) == _kinds(STATION, "--run", "two-metre beam") == ["flow", "reception", "exposure"]
    answer = _run(STATION, "-o", tmp_path / "a.svg")
    assert isinstance(answer.exception, InputError)
    assert "two-metre beam" in str(answer.exception)


def test_prices_bring_the_choice_and_routes_the_sharing(tmp_path):
    choice = ["trade-off", "longest-run"]
    assert _kinds(STATION, "--prices", PRICES)[3:] == choice
    assert _kinds(STATION, "--run", "two-metre beam", "--prices", PRICES)[3:] == choice
    assert "sharing" in _kinds(FIELD_DAY)
    assert _run(FIELD_DAY, "--kind", "sharing", "-o", tmp_path / "a.svg").exception is None


def test_a_piece_of_the_ledger_has_its_charts(ledger, tmp_path):
    assert _kinds("blue 7", "--ledger", ledger) == ["loss", "ladder", "years"]
    assert _kinds("new drum", "--ledger", ledger) == ["loss", "ladder", "years"]
    assert _kinds("found in the attic", "--ledger", ledger)[-1] == "years"
    answer = _run("blue 7", "--kind", "ladder", "--ledger", ledger, "--lengths", "ft", "-o", tmp_path / "l.svg")
    assert answer.exception is None
    assert "2024-04-02" in (tmp_path / "l.svg").read_text()


def test_a_sweep_has_its_law_and_its_profile():
    from linewright.core.nouns.sweep import SweepReport

    report = SweepReport(law_finding(), None, "", (), "", "", (), ())
    assert [c.kind for c in charts_of_sweep(report)] == ["law"]


def test_the_document_holds_the_specification_and_the_manner(tmp_path):
    answer = _run(SHEET, "--json", "--kind", "trust", "--dark", "--decimal", "comma", "--width", "360")
    found = json.loads(answer.stdout)
    assert found["schema"] == "linewright/chart/1"
    assert found["kind"] == "trust"
    assert [c["kind"] for c in found["charts"]] == ["loss", "trust", "doubts", "pull"]
    assert found["specification"]["config"]["background"] == DARK.paper
    assert found["specification"]["config"]["locale"]["number"]["decimal"] == ","


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((SHEET, "--kind", "flow", "-o", "x.svg"), "There is loss, trust, doubts, pull"),
        ((SHEET, "-o", "x.gif"), "must end in .svg, .png, .pdf or .vl.json"),
        (("blue 7", "blue 8", "-o", "x.svg"), "must be one thing"),
        ((SHEET,), "Say where to draw it"),
    ],
)
def test_a_chart_that_cannot_be_drawn_is_refused_clearly(words, said):
    answer = _run(*words)
    text = f"{answer.exception} {getattr(answer.exception, 'cure', '')}"
    assert said in text


def test_an_unknown_name_is_no_file_and_not_kept(ledger):
    answer = _run("blue 77", "--ledger", ledger, "--list")
    assert "must be a file, or a piece, session, station or run" in str(answer.exception)


def test_there_is_no_chart_of_nothing():
    with pytest.raises(InputError, match="nothing to draw"):
        chosen([])
    only = Chart("loss", "", lambda **look: look)
    assert chosen([only]) is chosen([only], " LOSS ") is only
