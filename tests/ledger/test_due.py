"""What to test first: by what the plans of the kept runs stand to gain."""

from __future__ import annotations

import json
from datetime import date, timedelta

import numpy as np
import pytest
from click.testing import CliRunner

from ledger.gear import BY, FILE_FIRST, sound_bench, stock_up
from linewright.cli.shelf import shelf as commands
from linewright.verbs import shelf
from linewright.verbs.due import TEST_DB, TEST_LOG, due_first
from linewright.verbs.shelf import open_ledger

TODAY = date.today()
RUNS = """
[station]
name = "Hut"
[[run]]
name = "beam"
frequencies = ["14.2 MHz", "432.1 MHz"]
power = "50 W"
chain = [{piece = "grey 30"}, {piece = "blue 7"}]
antenna = {swr = 1}
[[run]]
name = "wire"
frequencies = ["7.1 MHz"]
power = "50 W"
chain = [{piece = "black 20"}, {line = "RG-213/U", length = "3 m"}]
antenna = {swr = 1}
"""


@pytest.fixture
def ledger(where, tmp_path):
    """A bench of two pieces, a long third one that nobody measured, and two runs on them."""
    with open_ledger(where) as found:
        stock_up(found)
        sound_bench(found)
        shelf.add(found, "piece", {"tag": "grey 30", "line": "RG-58C/U", "length": "30 m"}, by=BY)
        shelf.add(found, "piece", {"tag": "spare 2", "line": "RG-58C/U", "length": "2 m"}, by=BY)
        (tmp_path / "hut.toml").write_text(RUNS)
        shelf.keep_station(found, tmp_path / "hut.toml", by=BY)
        yield found


@FILE_FIRST
def test_the_piece_that_leaves_a_plan_open_comes_first_and_one_in_no_run_last(ledger):
    due = due_first(ledger).due
    assert (due[0].piece, due[0].run, due[0].frequency_hz) == ("grey 30", "beam", 432.1e6)
    assert [d.gain_db for d in due] == sorted((d.gain_db for d in due), reverse=True)
    assert (due[-1].piece, due[-1].run, due[-1].gain_db) == ("spare 2", None, 0.0)
    assert "It lies in no run." in due[-1].why


@FILE_FIRST
def test_the_gain_is_what_the_interval_of_the_run_loses_in_width(ledger):
    first = due_first(ledger).due[0]
    beliefs = [shelf.belief_of_piece(ledger, tag).belief.loss_db(432.1e6) for tag in ("grey 30", "blue 7")]
    variance = np.array([b.var() for b in beliefs])
    left = max(TEST_LOG * float(np.median(beliefs[0])), TEST_DB) ** 2
    after = variance[1] + 1.0 / (1.0 / variance[0] + 1.0 / left)
    assert first.width_db == pytest.approx(3.92 * variance.sum() ** 0.5, rel=0.05)
    assert first.width_db_after == pytest.approx(3.92 * after**0.5, rel=0.05)
    assert first.gain_db == pytest.approx(first.width_db - first.width_db_after)


@FILE_FIRST
def test_a_piece_put_away_is_not_to_be_tested(ledger):
    shelf.archive(ledger, "station", "Hut", by=BY)
    shelf.archive(ledger, "piece", "grey 30", by=BY)
    due = due_first(ledger, on=TODAY + timedelta(days=3 * 365)).due
    assert {d.piece for d in due} == {"blue 7", "black 20", "spare 2"}
    assert {d.gain_db for d in due} == {0.0}


def test_the_command_says_the_same(ledger):
    told = CliRunner().invoke(commands, ["list", "--due", "--json", "--ledger", ledger.where])
    assert json.loads(told.stdout) == json.loads(json.dumps(due_first(ledger).to_dict()))
    shown = CliRunner().invoke(commands, ["list", "--due", "--ledger", ledger.where]).stdout
    assert shown.index("grey 30") < shown.index("spare 2")
    both = CliRunner().invoke(commands, ["list", "--due", "--archived", "--ledger", ledger.where])
    assert both.exit_code == 2
