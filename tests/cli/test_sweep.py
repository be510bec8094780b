"""``linewright sweep`` on every measured and every odd file: an answer, or a clear refusal."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cli.doors import words_of
from linewright.cli.sweep import sweep
from linewright.core.errors import InputError
from linewright.core.nouns.sweep import SweepQuestion
from linewright.verbs.sweep import read_sweep

DATA = Path(__file__).parents[1] / "data" / "touchstone"
CABLES, LINES, FORMAT = DATA / "cables", DATA / "lines", DATA / "format"
TEN = str(CABLES / "coax_10m_two_port.s2p")
OPEN, SHORT = (str(CABLES / f"coax_one_of_pair_{end}_end.s1p") for end in ("open", "short"))


def _ask(*words: str) -> Result:
    return CliRunner().invoke(sweep, list(words))


def _json(*words: str) -> dict:
    asked = _ask(*words, "--json")
    assert asked.exception is None, asked.exception
    return json.loads(asked.stdout)


def _ends(path: Path) -> list[str]:
    for end in ("open", "short"):
        if end in path.stem:
            return ["--far-end", end]
    return ["--far-end", "load"] if path.suffix == ".s1p" else []


MEASURED = sorted(p for room in ("cables", "lines", "components", "antennas") for p in (DATA / room).glob("*.s?p"))
ODD = sorted(p for p in FORMAT.iterdir())


@pytest.mark.parametrize("path", MEASURED, ids=lambda p: p.name)
def test_every_measured_file_is_answered(path):
    asked = _ask(str(path), *_ends(path), "--velocity-factor", "0.7")
    assert asked.exception is None
    assert asked.exit_code == 0
    lines = asked.stdout.splitlines()
    assert lines[0] == path.name
    assert max(map(len, lines)) <= 100


@pytest.mark.parametrize("path", ODD, ids=lambda p: p.name)
def test_every_odd_file_is_answered_or_refused_with_its_name(path):
    asked = _ask(str(path), *(_ends(path) or ["--far-end", "load"]))
    if asked.exception is None:
        assert asked.stdout.startswith(path.name)
    else:
        assert isinstance(asked.exception, InputError)
        assert path.name in str(asked.exception)


def test_the_figures_of_a_measured_cable_are_those_of_its_note():
    """INDEX.csv: matched loss 1.2949 dB at 144 MHz and 2.2644 at 432 MHz, delay 39.586 ns, velocity factor 0.8426."""
    said = _json(TEN, "--length", "10 m", "--at", "144 MHz", "--at", "432 MHz")
    losses = {round(row["frequency_hz"] / 1e6): row for row in said["matched_loss_db"]}
    for mhz, loss in ((144, 1.2949), (432, 2.2644)):
        assert losses[mhz]["matched_loss_db_low"] <= loss <= losses[mhz]["matched_loss_db_high"]
    assert said["delay_s"] == pytest.approx(39.586e-9, rel=5e-4)
    assert said["velocity_factor_low"] <= 0.8426 <= said["velocity_factor_high"]
    assert said["faults"] == []
    assert said["resembles"][0]["line"].startswith("foam low-loss")


def test_the_document_holds_what_the_contract_names():
    said = _json(TEN, "--length", "10 m")
    assert next(iter(said)) == "schema"
    assert said["schema"] == "linewright/sweep-result/1"
    names = ("k1_db", "k2_db", "matched_loss_db", "impedance_ohm", "delay_s", "length_m", "velocity_factor", "faults")
    assert {*names, "resembles", "verdict", "cell_m"} <= set(said)


def test_a_fault_is_written_with_its_interval():
    (fault,) = _json(str(CABLES / "coax_pair_test_cables_through.s2p"), "--velocity-factor", "70 %")["faults"]
    assert fault["kind"] == "pinch"
    assert fault["distance_m_low"] < fault["distance_m"] < fault["distance_m_high"]
    assert 0.01 < fault["size"] < 0.05


@pytest.mark.parametrize("ends", [["--far-end", "open", "--far-end", "short"], ["--far-end", "open,short"]])
def test_open_and_short_go_together_in_the_order_of_the_files(ends):
    """INDEX.csv: one-way loss 0.262 and 0.444 dB at 144 and 432 MHz, delay 7.207 ns."""
    said = _json(OPEN, SHORT, *ends, "--velocity-factor", "0.7", "--at", "144 MHz", "--at", "432 MHz")
    losses = {round(row["frequency_hz"] / 1e6): row for row in said["matched_loss_db"]}
    for mhz, loss in ((144, 0.262), (432, 0.444)):
        assert losses[mhz]["matched_loss_db_low"] <= loss <= losses[mhz]["matched_loss_db_high"]
    assert said["delay_s"] == pytest.approx(7.207e-9, rel=2e-3)


def test_a_claimed_type_is_judged():
    said = _json(OPEN, SHORT, "--far-end", "open,short", "--velocity-factor", "0.7", "--line", "RG-58C/U")
    assert said["jacket"].startswith("Not what the jacket says")


def test_workings_are_shown_when_asked_for():
    out = words_of(_ask(TEN, "--length", "10 m", "--explain").stdout)
    for words in ("How it was worked out", "resolution cell", "velocity factor · c / (2 · bandwidth)", "resemblance"):
        assert words in out


def test_a_chart_is_drawn(tmp_path):
    path = tmp_path / "line.svg"
    assert _ask(TEN, "--length", "10 m", "--chart", str(path)).exit_code == 0
    assert path.read_bytes().startswith(b"<svg")


def test_a_missing_option_line_may_be_given():
    """The file's numbers are GHz and RI, by its note."""
    path = str(FORMAT / "v1_no_option_line.s2p")
    assert isinstance(_ask(path).exception, InputError)
    assert _ask(path, "--option-line", "# GHz S RI R 50").exit_code == 0


@pytest.mark.parametrize(
    ("words", "rule"),
    [
        ([OPEN], "far end must be told"),
        ([OPEN, SHORT, "--far-end", "open"], "once for each file"),
        ([OPEN, SHORT, "--far-end", "open,open"], "given twice"),
        ([OPEN, "--far-end", "sideways"], "must be through, open, short or load"),
        ([OPEN, TEN, "--far-end", "open,through"], "goes with no other file"),
        ([TEN, "--length", "10"], "unit"),
        ([TEN, "--velocity-factor", "fast"], "must be a number"),
        ([TEN, "--velocity-factor", "66"], "between 0.2 and 1"),
        ([TEN, "--line", "RG-999"], "RG-999"),
        (["nothing.s2p"], "nothing.s2p"),
        (
            [str(DATA / "antennas" / "resonator_coax_62MHz.s1p"), "--far-end", "load", "--chart", "x.svg"],
            "nothing to draw",
        ),
    ],
)
def test_what_is_wrong_is_refused_with_its_rule(words, rule):
    asked = _ask(*words)
    assert isinstance(asked.exception, InputError)
    assert rule in str(asked.exception)


def test_the_verb_takes_sweeps_already_read():
    from linewright.files.touchstone import read_touchstone

    report = read_sweep([read_touchstone(TEN)], (), SweepQuestion(length_m=10.0))
    (loss,) = (row.matched_loss_db for row in report.finding.losses if row.band == "2 m")
    assert loss.value == pytest.approx(1.304, abs=0.02)
    assert report.verdict.startswith("It loses 1.")
    assert report.along is not None
    assert report.along.end_m == pytest.approx(10.0, rel=1e-3)


def test_only_the_first_port_counts_where_the_far_end_is_not_port_two():
    said = _json(TEN, "--far-end", "load", "--length", "10 m")
    assert said["far_end"] == ["load"]
