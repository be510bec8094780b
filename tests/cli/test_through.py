"""``linewright through`` shows the library's figures, and says what is missing."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from cli.doors import DEMO_SHEET, words_of
from linewright.cli.through import through
from linewright.core.errors import InputError
from linewright.inference.load.seen import seen_swr
from linewright.present.writers.terminal import width
from linewright.verbs.through import line_behind, see_through

CURVE = "frequency_mhz,swr\n" + "".join(f"{134 + k},{1.2 + abs(k - 11) / 10:.1f}\n" for k in range(23))


def ask(*words):
    return CliRunner().invoke(through, list(words))


@pytest.fixture
def curve(tmp_path):
    path = tmp_path / "beam.csv"
    path.write_text(CURVE, encoding="utf-8")
    return path


def test_json_is_the_librarys_answer():
    told = json.loads(ask("--shack-swr", "1.3", "--loss", "3 dB +- 0.5", "--json").stdout)
    result = see_through(seen_swr(1.3, 0.1), line_behind(loss_db=3.0, half_width_db=0.5))
    assert told["schema"] == "linewright/through/1"
    assert told["antenna_swr"] == pytest.approx(result.antenna_swr.value)
    assert told["antenna_swr_low"] == pytest.approx(result.antenna_swr.low)
    assert told["highest_swr_at_radio"] == pytest.approx(result.highest_swr_at_radio.value)
    assert told["flat_warning"] is None


def test_the_verdict_comes_first_and_every_remark_is_shown(curve):
    words = ("--curve", str(curve), "--loss", "1 dB", "--at", "145MHz")
    told, shown = json.loads(ask(*words, "--json").stdout), ask(*words).stdout
    flat = words_of(shown)
    assert flat.index(words_of(told["verdict"])) < flat.index("at the radio can never show")
    assert all(words_of(remark) in flat for remark in told["remarks"])
    assert len(told["curve"]) == 23
    assert set(told["flat_warning"]) >= {"is_flat", "smallest_loss_db", "probability", "why", "alternatives"}
    assert max(width(line) for line in shown.splitlines()) <= 100


def test_explain_adds_formula_and_source():
    words = ("--impedance", "38-12j", "--line", "RG-58", "--length", "20 m", "--at", "145MHz")
    told = json.loads(ask(*words, "--json").stdout)
    plain, explained = words_of(ask(*words).stdout), words_of(ask(*words, "--explain").stdout)
    for working in told["workings"]:
        assert words_of(working["source"]) in explained
        assert words_of(working["formula"]) in explained
        assert words_of(working["formula"]) not in plain
    assert told["antenna_resistance_ohm_low"] < told["antenna_resistance_ohm_high"]


def test_a_piece_that_is_not_on_its_sheet_is_refused():
    shown = ask("--shack-swr", "1.3", "--piece", "no such", "--sheet", str(DEMO_SHEET), "--at", "144MHz")
    assert isinstance(shown.exception, InputError)


def test_a_chart_is_drawn(curve, tmp_path):
    out = tmp_path / "beam.svg"
    assert ask("--curve", str(curve), "--loss", "1 dB", "--chart", str(out)).exit_code == 0
    assert out.read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--loss", "3 dB"], "must be told by one of --shack-swr"),
        (["--shack-swr", "1.3"], "must be told by one of --loss"),
        (["--shack-swr", "1.3", "--return-loss", "20 dB", "--loss", "3 dB"], "got 2"),
        (["--shack-swr", "1.3", "--line", "RG-58"], "--length is missing"),
        (["--shack-swr", "1.3", "--piece", "blue 7"], "ledger must be begun first"),
        (["--shack-swr", "1.3", "--line", "RG-58", "--length", "20 m"], "frequency must be stated"),
        (["--shack-swr", "0.9", "--loss", "3 dB"], "at least 1"),
        (["--shack-swr", "1.3", "--loss", "3 dB", "--step", "0"], "above zero"),
        (["--shack-swr", "1.3", "--loss", "3 dB", "--chart", "x.svg"], "needs a curve"),
    ],
)
def test_what_is_missing_or_wrong_is_said(words, said):
    error = ask(*words).exception
    assert isinstance(error, InputError)
    assert said in str(error)
