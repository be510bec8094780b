"""Pieces live: what was known of one passes on to what comes of it, with the doubt that belongs to it."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from ledger.gear import BY, FILE_FIRST, NOON, sound_bench, stock_up, sweep_bytes
from linewright.cli import main
from linewright.core.errors import InputError
from linewright.verbs import shelf
from linewright.verbs.shelf import open_ledger

F = 14.2e6
STATION = """
[station]
name = "Hut"
[[run]]
name = "wire"
frequencies = ["14.2 MHz"]
power = "50 W"
chain = [{piece = "blue 7"}]
antenna = {swr = 1.2}
"""


@pytest.fixture
def ledger(where, tmp_path):
    """A shelf whose blue 7 (7.3152 m) loses 1.6 times what its type should, and lies in a run."""
    with open_ledger(where, at=NOON) as found:
        stock_up(found)
        sound_bench(found, worse=1.6)
        (tmp_path / "hut.toml").write_text(STATION)
        shelf.keep_station(found, tmp_path / "hut.toml", by=BY)
        yield found


def belief(ledger, tag):
    return shelf.belief_of_piece(ledger, tag).belief


def spread(draws):
    low, middle, high = np.quantile(draws, [0.025, 0.5, 0.975])
    return middle, (high - low) / middle


@FILE_FIRST
def test_two_parts_lose_together_what_the_whole_lost_and_each_is_less_sure(ledger):
    whole = belief(ledger, "blue 7")
    kept = shelf.cut(ledger, "blue 7", "2 m", by=BY)
    assert (kept.item.key, kept.with_it[0].key) == ("blue 7 a", "blue 7 b")
    assert [kept.item.body["length"], kept.with_it[0].body["length"]] == ["2 m", "5.3152 m"]
    a, b = belief(ledger, "blue 7 a"), belief(ledger, "blue 7 b")
    both = np.median(a.loss_db(F)) + np.median(b.loss_db(F))
    assert both == pytest.approx(np.median(whole.loss_db(F)), rel=0.03)
    assert spread(a.line_db(F))[1] > spread(b.line_db(F))[1] > spread(whole.line_db(F))[1]
    assert shelf.show_piece(ledger, "blue 7 a").tests == 1
    assert "was made from blue 7" in " ".join(shelf.belief_of_piece(ledger, "blue 7 a").remarks)


@FILE_FIRST
@pytest.mark.parametrize(("length", "apart"), [("3.6576 m", 0.05), ("1.4630 m", 0.1), ("10 cm", 0.2)])
def test_the_shorter_a_part_the_further_its_law_may_depart(ledger, length, apart):
    """Five per cent for a half, as a logarithm; never more than twenty."""
    whole = belief(ledger, "blue 7")
    shelf.cut(ledger, "blue 7", length, by=BY)
    assert np.log(belief(ledger, "blue 7 a").growth / whole.growth).std() == pytest.approx(apart, rel=0.1)


def test_what_was_cut_is_put_away_and_its_run_is_named(ledger):
    kept = shelf.cut(ledger, "blue 7", "2 m", tags=("foot", "head"), by=BY)
    assert shelf.kept(ledger, "piece", "blue 7").archived
    assert kept.remarks == ("wire of Hut names blue 7, which is no more: change it.",)
    assert kept.item.body["origin"] == {"how": "cut", "pieces": ["blue 7"], "on": "2026-04-02"}


@FILE_FIRST
def test_a_shortened_piece_keeps_its_law_and_its_run(ledger):
    before = belief(ledger, "blue 7").line_db(F) / 7.3152
    shelf.shorten(ledger, "blue 7", "7 m", by=BY)
    after = belief(ledger, "blue 7 a").line_db(F) / 7.0
    assert np.median(after) == pytest.approx(np.median(before), rel=0.005)
    assert shelf.kept_runs(ledger).runs[0].pieces == ("blue 7 a",)
    assert shelf.station_of(ledger, "Hut").run("wire").chain[0].piece.length_m == 7.0


def test_new_connectors_leave_the_law_and_take_the_bad_joint(ledger):
    old = belief(ledger, "blue 7")
    shelf.fit_connectors(ledger, "blue 7", 2, "blue 7 new", by=BY)
    new = belief(ledger, "blue 7 new")
    assert np.median(new.line_db(F)) == pytest.approx(np.median(old.line_db(F)))
    assert (new.joint_db == 0.0).all()
    assert new.ends_db(F).max() == pytest.approx(new.ends_db(F).min())


@FILE_FIRST
def test_joined_pieces_lose_what_they_lost(ledger):
    shelf.cut(ledger, "blue 7", "2 m", by=BY)
    a, b = belief(ledger, "blue 7 a"), belief(ledger, "blue 7 b")
    kept = shelf.join(ledger, ["blue 7 a", "blue 7 b"], "blue again", by=BY)
    assert (kept.item.body["length"], kept.item.body["connectors"]) == ("7.3152 m", 2)
    for f in (F, 3.5e6, 432e6):
        assert np.allclose(belief(ledger, "blue again").loss_db(f), a.loss_db(f) + b.loss_db(f), rtol=0.02)


@FILE_FIRST
def test_a_test_of_the_new_piece_speaks_for_it(ledger):
    shelf.shorten(ledger, "blue 7", "6 m", by=BY)
    shelf.file_sweep_bytes(ledger, "new.s2p", sweep_bytes(loss=2.5, metres=6.0), "blue 7 a", by=BY)
    assert shelf.show_piece(ledger, "blue 7 a").losses[0].ratio > 2.0


@FILE_FIRST
def test_what_is_learned_later_of_the_whole_reaches_its_parts(ledger):
    shelf.cut(ledger, "blue 7", "2 m", by=BY)
    before = shelf.show_piece(ledger, "blue 7 b").losses[0].loss_db
    shelf.file_sweep_bytes(ledger, "older.s2p", sweep_bytes(loss=2.2), "blue 7", by=BY)
    assert shelf.show_piece(ledger, "blue 7 b").losses[0].loss_db > 1.1 * before


@FILE_FIRST
@pytest.mark.parametrize(
    ("done", "said"),
    [
        (lambda x: shelf.cut(x, "blue 7", "8 m"), "must be less than the 7.3"),
        (lambda x: shelf.cut(x, "blue 7", "2 m", tags=("black 20", "b")), "must be new"),
        (lambda x: shelf.join(x, ["blue 7", "black 20"]), "must be of one type"),
        (lambda x: shelf.join(x, ["blue 7"]), "two or more"),
        (lambda x: shelf.fit_connectors(x, "blue 7", 51), "0 to 50"),
        (lambda x: shelf.shorten(x, "blue 8", "2 m"), "blue 7"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_changes(ledger, done, said):
    before = len(shelf.changes(ledger, most=None).changes)
    with pytest.raises(InputError, match=said):
        done(ledger)
    assert len(shelf.changes(ledger, most=None).changes) == before


def test_a_cut_is_undone_change_by_change(ledger):
    shelf.cut(ledger, "blue 7", "2 m", by=BY)
    for change in shelf.changes(ledger, most=3).changes:
        shelf.undo(ledger, change.id, by=BY)
    assert [i.key for i in shelf.all_kept(ledger, "piece")] == ["black 20", "blue 7"]


def test_a_life_comes_through_an_export(ledger, tmp_path):
    shelf.cut(ledger, "blue 7", "2 m", by=BY)
    shelf.export_ledger(ledger, tmp_path / "all.zip")
    with open_ledger(tmp_path / "other.sqlite", at=NOON) as other:
        shelf.merge_ledger(other, tmp_path / "all.zip", by=BY)
        assert shelf.show_piece(other, "blue 7 a") == shelf.show_piece(ledger, "blue 7 a")


def test_the_commands_do_it_too(ledger):
    where = "--ledger", ledger.where

    def ask(*words):
        found = CliRunner().invoke(main, ["shelf", *words, *where, "--json"])
        assert found.exit_code == 0, found.stderr
        return json.loads(found.stdout)

    assert ask("cut", "blue 7", "2 m", "--on", "2026-05-01")["item"]["key"] == "blue 7 a"
    assert ask("join", "blue 7 a", "blue 7 b", "--connectors", "2")["item"]["key"] == "blue 7 a and blue 7 b"
    assert ask("shorten", "black 20", "19 m", "--tag", "black 19")["item"]["key"] == "black 19"
    assert ask("connectors", "black 19", "0")["item"]["body"]["connectors"] == 0
