"""A piece under another tag keeps everything that was ever measured of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from ledger.gear import BLUE, BY, reading, sound_bench, stock_up, sweep_bytes
from linewright.cli.shelf import shelf as command
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.nouns.ledger import ConflictError
from linewright.verbs import shelf

DEMO = Path(__file__).parents[2] / "src" / "linewright" / "verbs" / "demo_data"


def losses(ledger, tag):
    return shelf.show_piece(ledger, tag).losses


@pytest.fixture
def bench(ledger):
    """A ledger with a bench and a sweep of blue 7."""
    stock_up(ledger)
    key = sound_bench(ledger, worse=1.3)
    shelf.file_sweep_bytes(ledger, "blue.s2p", sweep_bytes(), "blue 7", by=BY)
    shelf.add_note(ledger, "piece", "blue 7", "plug made off again", by=BY)
    return key


def test_what_is_believed_stays_the_same(ledger, bench):
    before, evidence = losses(ledger, "blue 7"), shelf.evidence_of(ledger, "blue 7")
    item = shelf.rename(ledger, "blue 7", "shack to mast", by=BY)
    assert (item.key, item.body["tag"], item.body["formerly"]) == ("shack to mast", "shack to mast", ["blue 7"])
    assert len(evidence) == 2
    assert shelf.evidence_of(ledger, "shack to mast") == evidence
    assert losses(ledger, "shack to mast") == before
    with pytest.raises(UnknownNameError):
        shelf.show_piece(ledger, "blue 7")


def test_the_history_holds_both_names_and_the_notes(ledger, bench):
    shelf.rename(ledger, "blue 7", "shack to mast", by=BY)
    known = shelf.history_of(ledger, "shack to mast")
    assert [c.key for c in known.edits] == ["shack to mast", "blue 7"]
    assert known.edits[0].before["body"]["tag"] == "blue 7"
    assert [n.body["text"] for n in known.notes] == ["plug made off again"]
    assert shelf.notes_of(ledger, "piece", "shack to mast") == known.notes


def test_a_session_goes_on_under_the_tag_it_was_begun_with(ledger, bench):
    shelf.rename(ledger, "blue 7", "shack to mast", by=BY)
    shelf.add_reading(ledger, bench, reading("9.4", "blue 7"), by=BY)
    assert any("17 readings" in e.what for e in shelf.evidence_of(ledger, "shack to mast"))
    assert {p.piece for p in shelf.prove_session(ledger, bench).pieces} == {"blue 7", "black 20"}


def test_it_is_undone_and_done_again(ledger, bench):
    before = losses(ledger, "blue 7")
    shelf.rename(ledger, "blue 7", "shack to mast", by=BY)
    made = shelf.changes(ledger, most=1).changes[0]
    back = shelf.undo(ledger, made.id, by=BY)
    assert back.key == "blue 7"
    assert dict(shelf.kept(ledger, "piece", "blue 7").body) == BLUE
    assert losses(ledger, "blue 7") == before
    again = shelf.undo(ledger, back.id, by=BY)
    assert again.key == "shack to mast"
    assert losses(ledger, "shack to mast") == before


def test_a_change_before_it_is_undone_only_after_it(ledger, bench):
    shelf.change(ledger, "piece", "blue 7", {"exposure": "outdoors"}, by=BY)
    first = shelf.changes(ledger, most=1).changes[0]
    shelf.rename(ledger, "blue 7", "shack to mast", by=BY)
    with pytest.raises(ConflictError):
        shelf.undo(ledger, first.id, by=BY)


def test_there_and_back_by_name(ledger, bench):
    before = losses(ledger, "blue 7")
    shelf.rename(ledger, "blue 7", "shack to mast", by=BY)
    item = shelf.rename(ledger, "shack to mast", "blue 7", by=BY)
    assert item.body["formerly"] == ["shack to mast"]
    assert losses(ledger, "blue 7") == before


def test_a_tag_of_another_now_or_before_is_refused(ledger, bench):
    with pytest.raises(InputError, match="kept already"):
        shelf.rename(ledger, "blue 7", "black 20", by=BY)
    shelf.rename(ledger, "blue 7", "shack to mast", by=BY)
    with pytest.raises(InputError, match="former tag of shack to mast"):
        shelf.add(ledger, "piece", BLUE, by=BY)
    with pytest.raises(InputError, match="former tag of shack to mast"):
        shelf.rename(ledger, "black 20", "blue 7", by=BY)
    with pytest.raises(ConflictError):
        shelf.rename(ledger, "black 20", "black", expect=7, by=BY)


def test_a_station_finds_its_piece_under_the_new_tag(ledger):
    shelf.file_sheet(ledger, DEMO / "harbour-ridge.toml", by=BY)
    kept = shelf.keep_station(ledger, DEMO / "harbour-ridge-station.toml", by=BY)
    before = shelf.station_of(ledger, kept.item.key)
    in_use = {part.piece.tag for run in before.runs for part in run.chain if getattr(part, "piece", None)}
    # A bought section has a tag of its own in the station but is no piece of the shelf.
    used = min(in_use & {item.key for item in shelf.all_kept(ledger, "piece")})
    shelf.rename(ledger, used, "under a new tag", by=BY)
    after = shelf.station_of(ledger, kept.item.key)
    tags = {part.piece.tag for run in after.runs for part in run.chain if getattr(part, "piece", None)}
    assert "under a new tag" in tags
    assert used not in tags


def test_it_goes_out_and_comes_back(ledger, bench, new_where, tmp_path):
    shelf.rename(ledger, "blue 7", "shack to mast", by=BY)
    shelf.export_ledger(ledger, tmp_path / "a.zip")
    with shelf.open_ledger(new_where()) as other:
        shelf.import_ledger(other, tmp_path / "a.zip")
        assert losses(other, "shack to mast") == losses(ledger, "shack to mast")


def test_the_command_renames(tmp_path):
    where = str(tmp_path / "l.sqlite")
    run = CliRunner()
    add = run.invoke(command, ["add", "blue 7", "--length", "7.2m", "--line", "RG-58C/U", "--ledger", where])
    assert add.exit_code == 0
    done = run.invoke(command, ["rename", "blue 7", "mast", "--ledger", where, "--json"])
    assert json.loads(done.output)["item"]["body"]["formerly"] == ["blue 7"]
    assert "mast" in run.invoke(command, ["list", "--ledger", where]).output
