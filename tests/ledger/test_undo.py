"""Every kind of change can be undone, and the undoing too."""

from __future__ import annotations

import pytest

from ledger.gear import BLUE, DRUM, METER, NOON, reading, session, stock_up
from linewright.core.errors import UnknownNameError
from linewright.core.nouns.ledger import ConflictError
from linewright.store.opening import difference
from linewright.verbs import shelf
from linewright.verbs.shelf import By, open_ledger
from linewright.web.ledgers import pending


def _added(kind, body, key):
    return (lambda ledger: None, lambda ledger: shelf.add(ledger, kind, body), kind, key)


def _session(ledger):
    stock_up(ledger)
    key = session(ledger)
    shelf.add_reading(ledger, key, reading(9.3))
    return key


KEY = "2026-04-02 Spring"
CHANGES = {
    "piece added": _added("piece", BLUE, "blue 7"),
    "meter added": _added("meter", METER, "desk meter"),
    "line added": _added("line", DRUM, "club drum"),
    "stock added": _added("stock", {"name": "blue drum"}, "blue drum"),
    "piece changed": (stock_up, lambda x: shelf.change(x, "piece", "blue 7", {"length": "5 m"}), "piece", "blue 7"),
    "piece archived": (stock_up, lambda x: shelf.archive(x, "piece", "blue 7"), "piece", "blue 7"),
    "session begun": (stock_up, session, "sheet", KEY),
    "session changed": (_session, lambda x: shelf.change_session(x, KEY, {"source": None}), "sheet", KEY),
    "note written": (stock_up, lambda x: shelf.add_note(x, "piece", "blue 7", "wet"), "note", None),
}


def _state(ledger, kind, key):
    item = shelf.kept(ledger, kind, key)
    return item.body, item.archived


@pytest.mark.parametrize("name", CHANGES)
def test_a_change_is_undone_and_done_again(ledger, name):
    before, act, kind, key = CHANGES[name]
    before(ledger)
    made = name.endswith(("added", "begun", "written"))
    was = None if made else _state(ledger, kind, key)
    act(ledger)
    (newest,) = shelf.changes(ledger, kind=kind, most=1).changes
    key = key or newest.key
    now = _state(ledger, kind, key)
    undone = shelf.undo(ledger, newest.id)
    assert _state(ledger, kind, key) == ((now[0], True) if made else was)
    assert undone.note == f"undoes change {newest.id}"
    assert undone.undoes == newest.id
    shelf.undo(ledger, undone.id)
    assert _state(ledger, kind, key) == now


def test_a_restored_piece_goes_away_again(ledger):
    stock_up(ledger)
    shelf.archive(ledger, "piece", "blue 7")
    shelf.restore(ledger, "piece", "blue 7")
    shelf.undo(ledger, shelf.changes(ledger, most=1).changes[0].id)
    assert shelf.kept(ledger, "piece", "blue 7").archived


def test_readings_added_corrected_and_withdrawn_are_undone(ledger):
    key = _session(ledger)

    def values():
        return [r.cells["reading"] for r in shelf.readings_of(ledger, key)]

    def undo_newest():
        return shelf.undo(ledger, shelf.changes(ledger, kind="reading", most=1).changes[0].id)

    shelf.correct_reading(ledger, key, 1, reading(9.5))
    undo_newest()
    assert values() == ["9.3"]
    shelf.correct_reading(ledger, key, 1, None)
    undo_newest()
    assert values() == ["9.3"]
    shelf.add_reading(ledger, key, reading(8.2))
    undo_newest()
    assert values() == ["9.3"]
    undo_newest()
    assert values() == ["9.3", "8.2"]


def test_a_change_that_was_built_upon_is_not_undone_unseen(ledger):
    stock_up(ledger)
    shelf.change(ledger, "piece", "blue 7", {"length": "5 m"})
    middle = shelf.changes(ledger, most=1).changes[0].id
    shelf.change(ledger, "piece", "blue 7", {"connectors": 1})
    with pytest.raises(ConflictError):
        shelf.undo(ledger, middle)
    assert shelf.kept(ledger, "piece", "blue 7").body["length"] == "5 m"


def test_only_what_was_done_can_be_undone(ledger):
    with pytest.raises(UnknownNameError):
        shelf.undo(ledger, 12)


def test_every_change_says_who_when_and_why(ledger):
    stock_up(ledger)
    said = shelf.By(note="cut for the mast", who="Robin")
    shelf.change(ledger, "piece", "blue 7", {"length": "5 m"}, by=said)
    newest = shelf.changes(ledger, most=1).changes[0]
    assert (newest.who, newest.note) == ("Robin", "cut for the mast")
    assert newest.before["body"]["length"] == "24 ft"
    assert newest.after["body"]["length"] == "5 m"


def _standing(ledger):
    return [c.id for c in pending(shelf.changes(ledger).changes)]


def test_an_undoing_is_known_by_its_number_whatever_its_note_says(ledger):
    stock_up(ledger)
    shelf.archive(ledger, "piece", "blue 7")
    (newest,) = shelf.changes(ledger, most=1).changes
    shelf.undo(ledger, newest.id, by=By(note="hung up again"))
    (undone,) = shelf.changes(ledger, most=1).changes
    assert (undone.note, undone.undoes) == ("hung up again", newest.id)
    assert not {newest.id, undone.id} & set(_standing(ledger))


def test_a_note_that_reads_like_an_undoing_undoes_nothing(ledger):
    stock_up(ledger)
    (newest,) = shelf.changes(ledger, most=1).changes
    shelf.change(ledger, "piece", "blue 7", {"length": "5 m"}, by=By(note=f"undoes change {newest.id}"))
    (said,) = shelf.changes(ledger, most=1).changes
    assert said.undoes is None
    assert {newest.id, said.id} <= set(_standing(ledger))


def test_an_old_ledger_keeps_what_was_undone(where):
    with open_ledger(where) as ledger:
        stock_up(ledger)
        shelf.archive(ledger, "piece", "blue 7")
        (newest,) = shelf.changes(ledger, most=1).changes
        undone = shelf.undo(ledger, newest.id)
        before = _standing(ledger)
        with ledger.writes(NOON) as w:
            w.connection.exec_driver_sql("ALTER TABLE change DROP COLUMN undoes")
            w.connection.exec_driver_sql("DROP TABLE token")
            w.connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0002'")
    with open_ledger(where) as ledger:
        (again,) = shelf.changes(ledger, most=1).changes
        assert (again.id, again.undoes) == (undone.id, newest.id)
        assert _standing(ledger) == before
        with ledger.reads() as snapshot:
            assert not difference(snapshot)
