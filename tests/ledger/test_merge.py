"""An export comes into a ledger that holds things already."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from ledger.gear import BLUE, BY, DRUM, METER, reading, session, sound_bench, stock_up, sweep_bytes
from linewright.cli.shelf import shelf as command
from linewright.core.errors import InputError
from linewright.core.nouns.ledger import KINDS
from linewright.verbs import shelf
from linewright.verbs.shelf import open_ledger


def everything(ledger):
    return [(i.kind, i.key, i.body, i.version) for kind in KINDS for i in shelf.all_kept(ledger, kind)]


@pytest.fixture
def theirs(new_where, tmp_path):
    """An export of another ledger: the same blue 7 by tag, of another length, worn, with a bench and a sweep."""
    path = tmp_path / "theirs.zip"
    with open_ledger(new_where()) as other:
        stock_up(other)
        shelf.change(
            other, "piece", "blue 7", {"length": "7.3152 m", "line": "RG-58C/U", "exposure": "portable"}, by=BY
        )
        sound_bench(other, worse=1.3)
        shelf.file_sweep_bytes(other, "blue.s2p", sweep_bytes(), "blue 7", by=BY)
        shelf.add(other, "line", DRUM, by=BY)
        shelf.add(other, "piece", {"tag": "grey 3", "line": "club drum", "length": "3 m"}, by=BY)
        shelf.add_note(other, "piece", "blue 7", "theirs", by=BY)
        shelf.archive(other, "piece", "grey 3", by=BY)
        shelf.export_ledger(other, path)
        told = shelf.show_piece(other, "blue 7").losses
    return path, told


def test_an_empty_ledger_becomes_the_exported_one(ledger, theirs):
    merged = shelf.merge_ledger(ledger, theirs[0])
    assert (len(merged.came), merged.same, merged.clashed) == (8, 0, ())
    assert shelf.show_piece(ledger, "blue 7").losses == theirs[1]


def test_the_same_again_changes_nothing(ledger, theirs):
    shelf.merge_ledger(ledger, theirs[0])
    before, changes = everything(ledger), shelf.changes(ledger, most=None)
    merged = shelf.merge_ledger(ledger, theirs[0])
    assert (merged.came, merged.same, merged.clashed) == ((), 8, ())
    assert everything(ledger) == before
    assert shelf.changes(ledger, most=None) == changes


def test_what_is_new_comes_and_what_is_there_stays(ledger, theirs):
    shelf.add(ledger, "piece", {"tag": "green 4", "line": "RG-213/U", "length": "4 m"}, by=BY)
    shelf.add(ledger, "meter", METER, by=BY)
    before = everything(ledger)
    merged = shelf.merge_ledger(ledger, theirs[0], by=BY)
    assert (len(merged.came), merged.same, merged.clashed) == (7, 1, ())
    assert all(one in everything(ledger) for one in before)
    assert shelf.show_piece(ledger, "blue 7").losses == theirs[1]
    assert [i.key for i in shelf.all_kept(ledger, "piece", archived=True)] == ["grey 3"]
    assert shelf.changes(ledger, kind="piece", key="blue 7").changes[0].note == "from theirs.zip"
    assert [n.body["text"] for n in shelf.notes_of(ledger, "piece", "blue 7")] == ["theirs"]


def test_a_clash_is_named_and_nothing_comes(ledger, theirs):
    shelf.add(ledger, "piece", BLUE, by=BY)
    before = everything(ledger)
    with pytest.raises(InputError, match="piece blue 7 here and there differ"):
        shelf.merge_ledger(ledger, theirs[0])
    assert everything(ledger) == before


def test_mine_stays_and_the_rest_comes(ledger, theirs):
    shelf.add(ledger, "piece", BLUE, by=BY)
    merged = shelf.merge_ledger(ledger, theirs[0], clash="mine")
    assert [(b.kind, b.key, b.called) for b in merged.clashed] == [("piece", "blue 7", "")]
    assert dict(shelf.kept(ledger, "piece", "blue 7").body) == BLUE
    assert len(merged.came) == 7
    # Their tests of that tag are tests of mine now: who keeps mine says that it is the same piece.
    assert len(shelf.evidence_of(ledger, "blue 7")) == 2


def test_both_are_kept_and_their_tests_speak_of_theirs(ledger, theirs):
    stock_up(ledger)
    sound_bench(ledger)
    mine = shelf.show_piece(ledger, "blue 7").losses
    merged = shelf.merge_ledger(ledger, theirs[0], clash="both")
    named = {b.kind: b.called for b in merged.clashed}
    assert named["piece"] == "blue 7 (2)"
    assert named["sheet"].endswith("Spring (2)")
    assert shelf.show_piece(ledger, "blue 7").losses == mine
    # The pieces beside it are known from both ledgers now: that tells a little more of the meters, and nothing of it.
    for now, before in zip(shelf.show_piece(ledger, "blue 7 (2)").losses, theirs[1], strict=True):
        assert now.loss_db == pytest.approx(before.loss_db, rel=0.01)
    assert [n.body["text"] for n in shelf.notes_of(ledger, "piece", "blue 7 (2)")] == ["theirs"]
    assert shelf.notes_of(ledger, "piece", "blue 7") == ()


@pytest.mark.parametrize("clash", ["", "mine", "both"])
def test_what_came_under_a_name_of_its_own_is_known_when_it_comes_again(ledger, theirs, clash):
    stock_up(ledger)
    sound_bench(ledger)
    shelf.merge_ledger(ledger, theirs[0], clash="both", by=BY)
    before, changes = everything(ledger), shelf.changes(ledger, most=None)
    merged = shelf.merge_ledger(ledger, theirs[0], clash=clash, by=BY)
    assert (merged.came, merged.same, merged.clashed) == ((), 8, ())
    assert everything(ledger) == before
    assert shelf.changes(ledger, most=None) == changes


def test_an_import_that_was_renamed_and_changed_is_imported_again(ledger, theirs):
    stock_up(ledger)
    shelf.merge_ledger(ledger, theirs[0], clash="both", by=BY)
    shelf.change(ledger, "piece", "blue 7 (2)", {"length": "5 m"}, by=BY)
    merged = shelf.merge_ledger(ledger, theirs[0], clash="both", by=BY)
    assert [b.called for b in merged.clashed if b.kind == "piece"] == ["blue 7 (3)"]


def test_a_line_type_of_another_construction_is_imported_under_a_new_name(ledger, theirs):
    shelf.add(ledger, "line", DRUM | {"velocity_factor": 0.7}, by=BY)
    merged = shelf.merge_ledger(ledger, theirs[0], clash="both")
    assert [b.called for b in merged.clashed] == ["club drum (2)"]
    assert shelf.kept(ledger, "piece", "grey 3").body["line"] == "club drum (2)"
    assert shelf.restore(ledger, "piece", "grey 3").key == "grey 3"
    assert {x.designator for x in shelf.own_lines(ledger)} == {"club drum", "club drum (2)"}


def test_a_session_that_went_on_elsewhere_is_a_clash(ledger, new_where, tmp_path):
    stock_up(ledger)
    key = session(ledger)
    shelf.add_reading(ledger, key, reading(9.3), by=BY)
    shelf.export_ledger(ledger, tmp_path / "a.zip")
    shelf.add_reading(ledger, key, reading(8.2, "blue 7"), by=BY)
    with pytest.raises(InputError, match="sheet"):
        shelf.merge_ledger(ledger, tmp_path / "a.zip")
    shelf.merge_ledger(ledger, tmp_path / "a.zip", clash="both")
    assert len(shelf.readings_of(ledger, key)) == 2
    assert len(shelf.readings_of(ledger, f"{key} (2)")) == 1
    # Its readings can be corrected and continued like any other's.
    assert shelf.add_reading(ledger, f"{key} (2)", reading(8.1, "blue 7"), by=BY).number == 2


def test_a_former_tag_of_mine_is_not_taken_by_theirs(ledger, theirs):
    shelf.add(ledger, "piece", BLUE, by=BY)
    shelf.rename(ledger, "blue 7", "mast", by=BY)
    with pytest.raises(InputError, match="piece blue 7"):
        shelf.merge_ledger(ledger, theirs[0])
    shelf.merge_ledger(ledger, theirs[0], clash="both")
    assert shelf.show_piece(ledger, "blue 7 (2)").losses == theirs[1]
    assert shelf.evidence_of(ledger, "mast") == ()


def test_a_piece_renamed_there_comes_with_its_tests(ledger, new_where, tmp_path):
    with open_ledger(new_where()) as other:
        stock_up(other)
        sound_bench(other, worse=1.3)
        shelf.rename(other, "blue 7", "mast", by=BY)
        told = shelf.show_piece(other, "mast").losses
        shelf.export_ledger(other, tmp_path / "a.zip")
    shelf.add(ledger, "piece", BLUE, by=BY)
    shelf.merge_ledger(ledger, tmp_path / "a.zip")
    assert shelf.show_piece(ledger, "mast").losses == told
    assert shelf.evidence_of(ledger, "blue 7") == ()


def test_the_command_says_what_came(tmp_path):
    run, mine, other = CliRunner(), str(tmp_path / "a.sqlite"), str(tmp_path / "b.sqlite")
    for where, metres in ((mine, "7.2m"), (other, "7.4m")):
        run.invoke(command, ["add", "blue 7", "--length", metres, "--ledger", where])
    run.invoke(command, ["export", str(tmp_path / "b.zip"), "--ledger", other])
    asked = ["import", str(tmp_path / "b.zip"), "--ledger", mine]
    assert "must not write over" in str(run.invoke(command, asked).exception)
    assert "theirs is called blue 7 (2) here" in run.invoke(command, [*asked, "--clash", "both"]).output
    again = json.loads(run.invoke(command, [*asked, "--clash", "mine", "--json"]).output)
    assert (again["came"], again["clashed"]) == ([], [])
