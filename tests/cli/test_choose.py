"""The command that chooses a line: verdict first, no line too wide, JSON for programs, errors with a cure."""

import json

import pytest
from click.testing import CliRunner

from linewright.cli.choose import choose
from linewright.core.errors import InputError

STATION = """
[station]
name = "hill"
noise = "rural"
[[run]]
name = "beam"
frequencies = ["144.3 MHz"]
power = "50 W"
receiver = {noise_figure = "4 dB"}
antenna = {swr = 1.4}
chain = [{line = "RG-58C/U", length = "20 m", name = "old line"}]
"""
PRICES = """line,price,currency,connector_price,outdoors
RG-213/U,1.85/m,EUR,4.00,yes
foam low-loss 10 mm,2.40/m,EUR,6.50,yes
corrugated 1/2 in foam,5.20/m,EUR,14.00,yes
never heard of it,1.00/m,EUR,1.00,
masthead preamplifier,95 each,EUR,,
"""


@pytest.fixture
def asked(tmp_path):
    """Return a function that runs the command on a hill's station."""
    station, prices = tmp_path / "station.toml", tmp_path / "prices.csv"
    station.write_text(STATION, encoding="utf-8")
    prices.write_text(PRICES, encoding="utf-8")

    def run(*more, name="beam"):
        words = [str(station), "--run", name, "--prices", str(prices), *more]
        return CliRunner().invoke(choose, words)

    return run


def test_the_verdict_comes_first(asked):
    text = asked("--limit", "2 dB").output
    assert text.startswith("A line for beam\n  Cheapest within 2 dB at 144.3 MHz: 20 m of RG-213/U, 45.00 EUR;")
    assert max(map(len, text.splitlines())) <= 100


def test_a_run_that_keeps_the_limit_is_said_to(asked):
    assert "and meets every limit." in asked("--limit", "9 dB").output.replace("\n", " ")


def test_a_tail_makes_two_sections(asked):
    found = json.loads(asked("--tail", "3 m", "--limit", "1.5 dB", "--json").output)
    assert found["schema"] == "linewright/choose/1"
    assert any([s["length_m"] for s in o["stretches"]] == [17.0, 3.0] for o in found["trade_off"])


def test_what_nobody_knows_is_left_out_and_said(asked):
    assert any("never heard of it" in r for r in json.loads(asked("--json").output)["remarks"])


def test_a_budget_too_small_binds(asked):
    text = asked("--limit", "2 dB", "--budget", "10").output
    assert text.startswith("A line for beam\n  No choice meets every limit")
    assert "35.00 over the budget" in text


def test_explain_shows_the_workings(asked):
    assert "as in a plan, with the same draws" in asked("--explain").output.replace("\n", " ")


def test_an_unknown_run_is_refused(asked):
    assert isinstance(asked(name="dish").exception, InputError)
