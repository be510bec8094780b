"""What is held of an open ledger is always what stands in it, and is read again only where something was written."""

from __future__ import annotations

from contextlib import contextmanager
from datetime import date
from threading import Timer

import pytest
from sqlalchemy import event, update

from ledger.gear import BY, reading, session, stock_up
from linewright.core.errors import DamagedError
from linewright.inference.bench import pieces
from linewright.store import items
from linewright.store.ledger import Writing
from linewright.store.schema import change, item
from linewright.store.standing import kept, kept_now
from linewright.store.watching import Watch
from linewright.verbs import history, shelf, shelf_evidence
from linewright.verbs.report import ReportWish
from linewright.verbs.report_kept import report_of_piece
from linewright.verbs.shelf import open_ledger
from linewright.verbs.shelf_evidence import Shelved


@contextmanager
def asked(ledger):
    """Give the statements that are sent to the database of a ledger."""
    found = []

    def note(_connection, _cursor, statement, *_):
        found.append(statement)

    event.listen(ledger.engine, "before_cursor_execute", note)
    yield found
    event.remove(ledger.engine, "before_cursor_execute", note)


def looked_up(statements):
    return [s for s in statements if s.startswith("SELECT") and "pg_" not in s]


def test_what_nobody_wrote_since_is_read_once(ledger):
    stock_up(ledger)
    key = session(ledger)
    before = kept_now(ledger)
    with asked(ledger) as statements:
        assert kept_now(ledger) is before
    assert len(looked_up(statements)) == 1
    assert [i.key for i in before.every("piece")] == ["black 20", "blue 7"]
    assert before.needed("sheet", key).key == key
    assert before.number == shelf.changes(ledger, most=1).changes[0].id


def test_of_readings_only_the_new_are_read_and_the_rest_stays_as_it_is(ledger, where):
    stock_up(ledger)
    one, two = session(ledger, "Spring"), session(ledger, "Autumn")
    shelf.add_reading(ledger, two, reading(9.1), by=BY)
    before = kept_now(ledger)
    with open_ledger(where) as other:
        shelf.add_reading(other, one, reading(9.4), by=BY)
        shelf.correct_reading(other, one, 1, reading(9.5), by=BY)
    with asked(ledger) as statements:
        after = kept_now(ledger)
    assert len(looked_up(statements)) == 2
    assert [(r.number, r.version, r.cells["reading"]) for r in after.rows(one)] == [(1, 1, "9.4"), (1, 2, "9.5")]
    assert after.rows(two) is before.rows(two)
    assert after.every("sheet")[0] is before.every("sheet")[0]
    assert after.number == before.number + 2


def test_the_shelf_that_follows_is_the_shelf_read_anew(ledger):
    stock_up(ledger)
    one, two = session(ledger, "Spring"), session(ledger, "Autumn")
    shelf.add_reading(ledger, two, reading(9.1), by=BY)
    with ledger.reads() as snapshot:
        Shelved.of(snapshot).written(two)
    for path in ("reference", "blue 7"):
        shelf.add_reading(ledger, one, reading(9.4, path), by=BY)
    with ledger.reads() as snapshot:
        followed = Shelved.of(snapshot)
        anew = Shelved._of(kept(snapshot))
        assert (followed.kept, followed.spoken) == (anew.kept, anew.spoken)
        assert followed.spoken[one] == {"blue 7"}
        assert set(followed.texts) == {two}
        assert followed.written(one).rows == (1, 2)


@pytest.mark.parametrize("what", ["a piece put away", "a piece more", "a reading set back"])
def test_whatever_is_written_stands_at_once(ledger, what):
    stock_up(ledger)
    key = session(ledger)
    shelf.add_reading(ledger, key, reading(9.4), by=BY)
    kept_now(ledger)
    if what == "a piece put away":
        shelf.archive(ledger, "piece", "blue 7", by=BY)
    elif what == "a piece more":
        shelf.add(ledger, "piece", {"tag": "red 5", "length": "5 m"}, by=BY)
    else:
        shelf.undo(ledger, shelf.changes(ledger, most=1).changes[0].id, by=BY)
    now = kept_now(ledger)
    with ledger.reads() as snapshot:
        assert list(now.every("piece", archived=False)) == items.every(snapshot, "piece", archived=False)
        assert list(now.rows(key)) == items.all_of(snapshot, [key])


def test_what_a_transaction_has_not_kept_is_seen_by_itself_alone(ledger):
    stock_up(ledger)
    before = kept_now(ledger)

    with ledger.engine.connect() as plain:
        writing = plain.execution_options(writes=True)
        with writing.begin() as thought:
            items.put(Writing(writing, "2026-04-02T12:00:00.000Z", ""), "piece", "red 5", {"tag": "red 5"})
            assert kept(writing).find("piece", "red 5") is not None
            thought.rollback()
    assert kept_now(ledger) is before
    # The number of the change that was not kept is the next one's: that one is not taken for it.
    shelf.add(ledger, "piece", {"tag": "green 3", "length": "3 m"}, by=BY)
    assert [i.key for i in kept_now(ledger).every("piece")] == ["black 20", "blue 7", "green 3"]


def test_a_ledger_put_back_to_another_past_is_read_anew(ledger):
    stock_up(ledger)
    before = kept_now(ledger)
    with ledger.engine.begin() as connection:
        connection.execute(update(change).where(change.c.id == before.number).values(checksum="another"))
    assert kept_now(ledger) is not before


def test_a_damaged_row_is_told_to_whoever_asks_for_its_kind(ledger):
    stock_up(ledger)
    with ledger.engine.begin() as connection:
        connection.execute(update(item).where(item.c.key == "desk meter").values(changed_at="x"))
    now = kept_now(ledger)
    assert len(now.every("piece")) == 2
    with pytest.raises(DamagedError, match="meter desk meter"):
        now.every("meter")


def test_whoever_watches_is_woken_by_what_another_program_writes(where):
    """The wait is far longer than the test may last: it ends because something was written."""
    with open_ledger(where) as here, open_ledger(where) as there:
        watch = Watch(here)
        assert watch.hears == ("://" in where)
        writes = Timer(0.5, shelf.add, (there, "piece", {"tag": "orange 2", "length": "2 m"}))
        writes.start()
        while kept_now(here).find("piece", "orange 2") is None:
            assert watch.wait(100_000.0) == []
        writes.join()
        watch.close()


def test_whoever_watches_is_woken_by_this_program(where):
    with open_ledger(where) as here:
        watch = Watch(here)
        shelf.add(here, "piece", {"tag": "orange 2", "length": "2 m"})
        assert watch.wait(100_000.0) == []
        Timer(0.1, watch.wake).start()
        assert watch.wait(100_000.0) == []
        watch.close()


def test_what_as_many_tests_as_a_piece_has_say_is_held(monkeypatch):
    # A piece asks for what all its tests say, one after the other: with fewer places than tests none is found again.
    judged = []
    monkeypatch.setattr("linewright.inference.bench.pieces.messages_of", judged.append)
    monkeypatch.setattr(shelf_evidence, "looked_at", lambda _: {})
    monkeypatch.setattr(shelf_evidence.SheetTexts, "sheet", lambda written: written)
    monkeypatch.setattr(shelf_evidence.MetersKnown, "on", lambda _, sheet: sheet)
    weekly = [shelf_evidence.SheetTexts(f"week {n}", (), "", ()) for n in range(3 * 52)]
    for _ in range(2):
        for written in weekly:
            shelf_evidence._messages(written, shelf_evidence.MetersKnown())
    assert judged == weekly
    shelf_evidence._messages.cache_clear()


def test_of_a_sheet_that_is_read_on_only_the_newest_state_is_held(ledger):
    stock_up(ledger)
    key = session(ledger)
    shelf_evidence._messages.cache_clear()
    held = []
    for n in range(6):
        shelf.add_reading(ledger, key, reading(8.0 + n / 10, "blue 7"), by=BY)
        shelf.list_shelf(ledger)
        held.append(len(shelf_evidence._messages))
    assert held[-1] == held[0] > 0


def test_what_is_held_of_sheets_is_bounded_in_bytes_too(monkeypatch):
    monkeypatch.setattr("linewright.inference.bench.pieces.messages_of", bytes)
    monkeypatch.setattr(shelf_evidence, "looked_at", lambda _: {})
    monkeypatch.setattr(shelf_evidence.SheetTexts, "sheet", lambda written: int(written.text))
    monkeypatch.setattr(shelf_evidence.MetersKnown, "on", lambda _, sheet: sheet)
    messages, held = shelf_evidence._messages, []
    for size in (430_000, 2_000_000):  # of two pieces on three bands, and of many
        messages.cache_clear()
        for n in range(160):
            messages(shelf_evidence.SheetTexts(str(size), (), str(n), ()), shelf_evidence.MetersKnown())
        held.append(len(messages))
    messages.cache_clear()
    assert held == [160, 47]


def test_what_was_believed_before_its_readings_is_worked_out_once_however_many_come(ledger, monkeypatch):
    stock_up(ledger)
    key = session(ledger)
    sheets = []
    for value in (8.1, 8.2):
        shelf.add_reading(ledger, key, reading(value), by=BY)
        with ledger.reads() as snapshot:
            sheets.append((Shelved.of(snapshot).before(key), Shelved.of(snapshot).written(key)))
    (first, one), (second, two) = sheets
    assert first == second
    assert one != two


def test_what_is_read_in_one_moment_does_not_move_and_is_read_once(ledger, where):
    stock_up(ledger)
    with open_ledger(where) as there:
        with ledger.one_moment():
            before = kept_now(ledger)
            shelf.add(there, "piece", {"tag": "orange 2", "length": "2 m"})
            kept_now(there)
            with ledger.one_moment(), asked(ledger) as statements:
                assert kept_now(ledger) is before
            assert kept_now(ledger) is before
            assert looked_up(statements) == []
            # What is written meanwhile is kept, though this moment does not hold it.
            shelf.add(ledger, "piece", {"tag": "orange 3", "length": "3 m"}, by=BY)
        assert {"orange 2", "orange 3"} <= {i.key for i in kept_now(ledger).every("piece")}


def test_a_report_is_of_one_moment_whoever_reads_on(ledger, where, monkeypatch):
    stock_up(ledger)
    key = session(ledger)
    for value, path in ((9.4, "reference"), (8.3, "blue 7")):
        shelf.add_reading(ledger, key, reading(value, path), by=BY)
    judged, plain = [], pieces.messages_of
    show = history.show_piece
    monkeypatch.setattr(pieces, "messages_of", lambda sheet: judged.append(len(sheet.readings)) or plain(sheet))
    with open_ledger(where) as there:

        def shown(*told, **how):
            found = show(*told, **how)
            shelf.add_reading(there, key, reading(8.4, "blue 7"), by=BY)
            return found

        monkeypatch.setattr(history, "show_piece", shown)
        shelf_evidence._messages.cache_clear()
        report_of_piece(ledger, "blue 7", ReportWish(date(2026, 4, 2)))
    assert set(judged) == {2}


def test_a_report_judges_each_sheet_once_though_newer_findings_take_its_place(ledger, where, monkeypatch):
    stock_up(ledger)
    key = session(ledger)
    for value, path in ((9.4, "reference"), (8.3, "blue 7")):
        shelf.add_reading(ledger, key, reading(value, path), by=BY)
    judged, plain, show = [], pieces.messages_of, history.show_piece
    monkeypatch.setattr(pieces, "messages_of", lambda sheet: judged.append(len(sheet.readings)) or plain(sheet))
    with open_ledger(where) as there:

        def shown(*told, **how):
            found = show(*told, **how)
            shelf.add_reading(there, key, reading(8.4, "blue 7"), by=BY)
            shelf.belief_of_piece(there, "blue 7")
            return found

        monkeypatch.setattr(history, "show_piece", shown)
        shelf_evidence._messages.cache_clear()
        report_of_piece(ledger, "blue 7", ReportWish(date(2026, 4, 2)))
    assert judged == [2, 3]


def test_what_was_judged_for_an_answer_is_not_judged_again_for_it_whoever_reads_on(ledger, where, monkeypatch):
    stock_up(ledger)
    keys = [session(ledger, title) for title in ("Autumn", "Spring")]
    for key in keys:
        for value, path in ((9.4, "reference"), (8.3, "blue 7")):
            shelf.add_reading(ledger, key, reading(value, path), by=BY)
    judged, plain = [], pieces.messages_of
    monkeypatch.setattr(pieces, "messages_of", lambda sheet: judged.append(len(sheet.readings)) or plain(sheet))
    shelf_evidence._messages.cache_clear()
    with open_ledger(where) as there:

        def read_on(done, _):
            if done:
                shelf.add_reading(there, keys[0], reading(8.4, "blue 7"), by=BY)
                shelf.belief_of_piece(there, "blue 7")

        shelf.show_piece(ledger, "blue 7", progress=read_on)
    assert judged == [2, 3, 2]
