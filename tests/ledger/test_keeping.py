"""What is kept: items and readings, on a file and on a server alike."""

from __future__ import annotations

import pytest

from ledger.gear import BLACK, BLUE, BY, DRUM, FILE_FIRST, METER, reading, session, stock_up
from linewright.core.errors import CannotError, InputError, UnknownNameError
from linewright.core.nouns.ledger import ConflictError
from linewright.store.ledger import written
from linewright.verbs import shelf
from linewright.verbs.shelf import open_ledger


def test_a_new_ledger_has_the_tables_as_they_are_drawn(ledger):
    from linewright.store.opening import difference

    with ledger.reads() as snapshot:
        assert difference(snapshot) == []


def test_a_reading_of_nothing_that_is_kept_is_refused_by_the_tables_themselves(ledger):
    from sqlalchemy.exc import IntegrityError

    from linewright.store.schema import reading as table

    row = {"item_id": 4711, "number": 1, "version": 1, "at": "2026-04-02T10:00:00.000Z", "checksum": ""}
    with ledger.engine.connect() as connection, pytest.raises(IntegrityError):
        connection.execute(table.insert().values(**row))


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_a_number_that_json_does_not_know_is_not_written(number):
    with pytest.raises(ValueError, match="not JSON compliant"):
        written({"length_m": number})


def test_what_was_kept_is_there_after_closing(where):
    with open_ledger(where) as first:
        stock_up(first)
    with open_ledger(where) as again:
        assert shelf.kept(again, "piece", "blue 7").body == BLUE
        assert [i.key for i in shelf.all_kept(again, "piece")] == ["black 20", "blue 7"]


def test_a_tag_is_taken_once(ledger):
    shelf.add(ledger, "piece", BLUE)
    with pytest.raises(InputError, match="must be new"):
        shelf.add(ledger, "piece", BLUE)


@FILE_FIRST
@pytest.mark.parametrize(
    ("kind", "body", "said"),
    [
        ("piece", BLUE | {"length": "7.2"}, "length needs a unit"),
        ("piece", BLUE | {"line": "RG-58Q"}, "line must be"),
        ("piece", BLUE | {"colour": "blue"}, "colour means nothing here"),
        ("piece", BLUE | {"exposure": "wet"}, "exposure must be"),
        ("piece", {"tag": "blue 7"}, "length is missing"),
        ("piece", BLUE | {"tag": "a+b"}, "plus sign"),
        ("meter", METER | {"scale": "furlongs"}, "scale must be"),
        ("line", DRUM | {"points": []}, "points must be"),
        ("stock", {"name": "x", "since": "spring"}, "since must be a day"),
        ("sheet", {}, "kind must be one of"),
    ],
)
def test_what_breaks_a_rule_is_refused_and_leaves_no_trace(ledger, kind, body, said):
    with pytest.raises(InputError, match=said):
        shelf.add(ledger, kind, body)
    assert shelf.changes(ledger).changes == ()


def test_a_piece_of_the_persons_own_type(ledger):
    with pytest.raises(InputError):
        shelf.add(ledger, "piece", BLUE | {"line": "club drum"})
    shelf.add(ledger, "line", DRUM)
    shelf.add(ledger, "piece", BLUE | {"line": "club drum"})
    assert shelf.belief_of_piece(ledger, "blue 7").belief.piece.line.designator == "club drum"


def test_nothing_is_written_over_unseen(ledger):
    first = shelf.add(ledger, "piece", BLUE)
    shelf.change(ledger, "piece", "blue 7", {"length": "7 m"}, expect=first.version)
    with pytest.raises(ConflictError) as met:
        shelf.change(ledger, "piece", "blue 7", {"length": "8 m"}, expect=first.version)
    assert met.value.mine["length"] == "8 m"
    assert met.value.theirs["length"] == "7 m"
    assert shelf.kept(ledger, "piece", "blue 7").body["length"] == "7 m"


def test_a_change_that_changes_nothing_is_none(ledger):
    shelf.add(ledger, "piece", BLUE)
    assert shelf.change(ledger, "piece", "blue 7", {"length": "24 ft"}).version == 1
    assert len(shelf.changes(ledger).changes) == 1


def test_a_tag_stays(ledger):
    shelf.add(ledger, "piece", BLUE)
    with pytest.raises(InputError, match="stays"):
        shelf.change(ledger, "piece", "blue 7", {"tag": "red 7"})


def test_an_unknown_name_is_told_what_is_near(ledger):
    shelf.add(ledger, "piece", BLUE)
    with pytest.raises(UnknownNameError, match="blue 7"):
        shelf.kept(ledger, "piece", "blue7")


def test_archived_is_out_of_the_list_and_comes_back(ledger):
    stock_up(ledger)
    shelf.archive(ledger, "piece", "blue 7")
    assert [i.key for i in shelf.all_kept(ledger, "piece")] == ["black 20"]
    assert [i.key for i in shelf.all_kept(ledger, "piece", archived=True)] == ["blue 7"]
    assert shelf.restore(ledger, "piece", "blue 7").body == BLUE


def test_a_reading_sent_twice_is_kept_once(ledger):
    stock_up(ledger)
    key = session(ledger)
    first = shelf.add_reading(ledger, key, reading(9.3), token="a")
    assert shelf.add_reading(ledger, key, reading(9.3), token="a") == first
    assert [r.number for r in shelf.readings_of(ledger, key)] == [1]
    with pytest.raises(InputError, match="token must be new"):
        shelf.add_reading(ledger, key, reading(9.4), token="a")


def test_readings_keep_their_order_their_time_and_their_corrections(ledger):
    stock_up(ledger)
    key = session(ledger)
    for value in (9.3, 8.2, 9.1):
        shelf.add_reading(ledger, key, reading(value), by=BY)
    shelf.correct_reading(ledger, key, 2, reading(8.3), expect=1)
    shelf.correct_reading(ledger, key, 3, None)
    with pytest.raises(ConflictError):
        shelf.correct_reading(ledger, key, 2, reading(8.4), expect=1)
    assert [(r.number, r.cells["reading"], r.version) for r in shelf.readings_of(ledger, key)] == [
        (1, "9.3", 1),
        (2, "8.3", 2),
    ]
    assert shelf.readings_of(ledger, key)[0].at == "2026-04-02T12:00:00.000Z"
    assert [(r.row, r.reading) for r in shelf.sheet_of(ledger, key).readings] == [(1, 9.3), (2, 8.3)]
    assert shelf.add_reading(ledger, key, reading(7.0)).number == 4


@FILE_FIRST
@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (reading("a lot"), "reading must be a finite number"),
        (reading(9.3, path="red 7"), "path must be"),
        (reading(9.3, frequency="14.2"), "frequency needs"),
        (reading(9.3) | {"meter": "lost meter"}, "meter must be"),
        (reading(9.3) | {"mood": "good"}, "mood means nothing"),
        ({"meter": "desk meter"}, "is missing"),
    ],
)
def test_a_reading_its_sheet_could_not_be_read_with_is_refused(ledger, cells, said):
    stock_up(ledger)
    key = session(ledger)
    with pytest.raises(InputError, match=said):
        shelf.add_reading(ledger, key, cells)
    assert shelf.readings_of(ledger, key) == ()


def test_a_session_put_away_takes_no_reading(ledger):
    stock_up(ledger)
    key = session(ledger)
    shelf.archive(ledger, "sheet", key)
    with pytest.raises(CannotError, match="put away"):
        shelf.add_reading(ledger, key, reading(9.3))


def test_a_session_needs_gear_of_the_shelf(ledger):
    with pytest.raises(UnknownNameError, match="meter"):
        session(ledger)


def test_a_session_keeps_the_description_of_a_piece_at_that_time(ledger):
    stock_up(ledger)
    key = session(ledger)
    shelf.change(ledger, "piece", "blue 7", {"length": "5 m"})
    assert shelf.sheet_of(ledger, key).piece("blue 7").length_m == pytest.approx(7.3152)


def test_two_sessions_of_one_day_and_title_have_names_of_their_own(ledger):
    stock_up(ledger)
    assert [session(ledger), session(ledger)] == ["2026-04-02 Spring", "2026-04-02 Spring (2)"]


def test_tables_of_a_session_change_under_its_readings(ledger):
    stock_up(ledger)
    key = session(ledger)
    shelf.add_reading(ledger, key, reading(9.3, "blue 7"))
    shelf.change_session(ledger, key, {"source": {"power": "5 W", "swr": 1.2}})
    assert shelf.sheet_of(ledger, key).source.power_w == 5.0
    with pytest.raises(InputError, match="path"):
        shelf.change_session(ledger, key, {"piece": [BLACK_ON_SHEET]})
    assert len(shelf.sheet_of(ledger, key).pieces) == 2


BLACK_ON_SHEET = {k: v for k, v in BLACK.items() if k != "exposure"}


def test_notes_stand_with_what_they_are_of(ledger):
    stock_up(ledger)
    shelf.add_note(ledger, "piece", "blue 7", "plug made off again", by=BY)
    shelf.add_note(ledger, "piece", "blue 7", "jacket nicked at 3 m", by=BY)
    assert [n.body["text"] for n in shelf.notes_of(ledger, "piece", "blue 7")] == [
        "plug made off again", "jacket nicked at 3 m",
    ]  # fmt: skip
    assert shelf.notes_of(ledger, "piece", "black 20") == ()
