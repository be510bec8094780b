"""A damaged ledger is told, with what is hurt and which copy is whole; its whole copies stay."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from ledger.gear import BLUE, BY, session, stock_up
from linewright.core.errors import CannotError, DamagedError
from linewright.store import backups, soundness
from linewright.store.names import names_in
from linewright.store.opening import open_at
from linewright.verbs import shelf
from linewright.verbs.shelf_open import check_ledger, recover_ledger

NOW = datetime(2026, 4, 2, 12, 0, tzinfo=UTC)
TABLES = ("item", "reading", "blob", "change", "derived", "alembic_version")


def zero_page(path, table):
    """Zero the first page of a table."""
    with closing(sqlite3.connect(path)) as raw:
        ((page,),) = raw.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)).fetchall()
        ((size,),) = raw.execute("PRAGMA page_size").fetchall()
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(bytes(size))


def orphan(path):
    """Write a reading of no session, as only damage or another program can."""
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("INSERT INTO reading (item_id, number, version, at) VALUES (99, 1, 1, 'x')")
        raw.commit()


def is_whole(path):
    with closing(sqlite3.connect(path)) as raw:
        try:
            return raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        except sqlite3.DatabaseError:
            return False


def open_daily(path, days, *, begin=NOW, change=True):
    for day in range(days):
        with open_at(str(path), begin + timedelta(days=day)) as ledger:
            if change:
                shelf.add(ledger, "piece", BLUE | {"tag": f"{begin:%Y-%m-%d %H} {day}"}, by=BY)


@pytest.fixture
def path(tmp_path):
    """A ledger with something in it and copies of three days."""
    where = tmp_path / "ledger.sqlite"
    with open_at(str(where), NOW - timedelta(days=9)) as ledger:
        stock_up(ledger)
        session(ledger)
    open_daily(where, 3)
    return where


@pytest.mark.parametrize("table", TABLES)
def test_a_damaged_table_is_told_by_name_with_the_newest_whole_copy(path, table):
    zero_page(path, table)
    before = path.read_bytes()
    newest = backups.backups(path)[-1]
    for day in range(5, 25):
        with pytest.raises(CannotError) as told:
            open_at(str(path), NOW + timedelta(days=day))
        assert f"damaged in the table {table}" in str(told.value)
        assert f"newest sound copy is {newest}" in str(told.value)
    assert path.read_bytes() == before
    assert [is_whole(p) for p in backups.backups(path)] == [True] * 3


def test_a_damaged_copy_is_not_named_as_whole(path):
    zero_page(path, "reading")
    *_, second, newest = backups.backups(path)
    zero_page(newest, "item")
    with pytest.raises(CannotError, match="newest sound copy is") as told:
        open_at(str(path), NOW)
    assert str(second) in str(told.value)
    assert str(newest) not in str(told.value)


def test_that_no_copy_is_whole_is_told(path):
    zero_page(path, "reading")
    for copy in backups.backups(path):
        zero_page(copy, "item")
    with pytest.raises(CannotError, match=r"None of the 3 copies in .*ledger-backups is whole"):
        open_at(str(path), NOW)


def test_rows_that_belong_to_nothing_are_damage(path):
    orphan(path)
    with pytest.raises(CannotError, match="1 rows of the table reading that belong to nothing"):
        open_at(str(path), NOW)


def test_a_ledger_damaged_while_it_is_open_is_not_copied(path):
    with open_at(str(path), NOW + timedelta(days=3)) as ledger:
        there = backups.backups(path)
        ledger.engine.dispose()
        zero_page(path, "reading")
        with pytest.raises(CannotError, match="damaged in the table reading"):
            backups.back_up(ledger, NOW + timedelta(days=4))
    assert backups.backups(path) == there
    assert not list(backups.folder(path).glob("*.part"))


def test_an_older_copy_makes_no_room_where_too_few_others_are_whole(tmp_path):
    path = tmp_path / "ledger.sqlite"
    open_daily(path, backups.KEPT + 1)
    first, *others = backups.backups(path)
    for copy in others:
        zero_page(copy, "item")
    open_daily(path, 4, begin=NOW + timedelta(days=30))
    assert is_whole(first)
    assert sum(map(is_whole, backups.backups(path))) >= backups.MIN_WHOLE


def test_a_clock_set_back_costs_no_copy_that_is_newer_in_truth(tmp_path, monkeypatch):
    monkeypatch.setattr(backups, "WEEKS", 0)
    monkeypatch.setattr(backups, "MONTHS", 0)
    path = tmp_path / "ledger.sqlite"
    open_daily(path, backups.KEPT + 2)
    open_daily(path, 3, begin=NOW - timedelta(days=400))
    names = [p.name for p in backups.backups(path)]
    assert len(names) == backups.KEPT
    assert [name[7:17] for name in names[:3]] == ["2025-02-26", "2025-02-27", "2025-02-28"]
    assert [soundness.changes_in(p) for p in backups.backups(path)[:3]] == [16, 17, 18]


def test_the_last_copy_of_each_week_and_of_each_month_outlives_the_daily_ones(tmp_path):
    days = [(NOW + timedelta(days=i)).date() for i in range(500)]
    copies = [tmp_path / f"ledger-{day}-120000.sqlite" for day in days]
    there: list[Path] = []
    for copy in copies:  # each day one comes, as in life
        there.append(copy)
        gone = backups._outlived(there, "ledger", 14)
        there = [p for p in there if p not in gone]
    kept = [date.fromisoformat(p.stem[7:17]) for p in there]
    assert kept[-14:] == days[-14:]
    sundays = [day for day in days[:-14] if day.isoweekday() == 7]
    assert set(sundays[-7:]) <= set(kept)
    ends = [day for day in days[:-14] if (day + timedelta(days=1)).day == 1]
    assert {(day.year, day.month) for day in ends[-11:]} <= {(day.year, day.month) for day in kept}
    assert len(kept) <= 14 + backups.WEEKS + backups.MONTHS


def test_a_clock_that_shows_a_day_long_copied_does_not_stop_the_copies(path):
    open_daily(path, 1, begin=NOW + timedelta(hours=1))
    assert len([p for p in backups.backups(path) if "2026-04-02" in p.name]) == 2


def test_what_there_is_no_time_to_check_is_said(path):
    found = soundness.check_file(path, -1.0)
    assert found.unchecked[:2] == ("alembic_version", "item")
    assert not found.whole
    assert soundness.check_file(path, 60.0).whole


def test_a_ledger_too_large_to_be_checked_at_once_opens_and_says_so(path, monkeypatch):
    from linewright.store import opening

    monkeypatch.setattr(opening, "MAX_OPENING_S", -1.0)
    with open_at(str(path), NOW) as ledger:
        assert "not checked: alembic_version, item" in ledger.remarks[0]


def test_a_copy_there_was_no_time_to_check_makes_no_room(tmp_path, monkeypatch):
    path = tmp_path / "ledger.sqlite"
    open_daily(path, backups.KEPT + 1)  # opened for the first time it is empty, and not copied
    monkeypatch.setattr(backups, "MAX_COPY_S", -1.0)
    open_daily(path, 2, begin=NOW + timedelta(days=30))
    assert len(backups.backups(path)) == backups.KEPT + 2


@pytest.mark.parametrize("table", TABLES)
def test_a_list_of_tables_whose_bytes_are_no_text_any_more_is_damage_with_a_cure(path, table):
    # The driver quotes the name of a table that it cannot read, and fails where that is no UTF-8.
    name, content = table.encode(), path.read_bytes()
    hurt = content.replace(b"table" + name, b"table\xa0" + name[1:]).replace(b"CREATE TABLE " + name, b"C" * 13 + name)
    assert hurt != content
    path.write_bytes(hurt)
    copy = backups.newest_whole(path)
    with pytest.raises(DamagedError, match="damaged in the list of tables") as met:
        open_at(str(path), NOW)
    assert str(copy) in str(met.value)
    assert check_ledger(path).hurt
    assert names_in(path, "piece") == []
    recover_ledger(path, at=NOW)
    assert check_ledger(path).hurt == ()


def test_a_file_that_cannot_be_read_counts_as_older_than_any(tmp_path):
    """A new ledger has made no change yet; what is no ledger comes before it."""
    (tmp_path / "torn.sqlite").write_bytes(b"no ledger" * 100)
    with closing(sqlite3.connect(tmp_path / "new.sqlite")) as raw:
        raw.execute("CREATE TABLE change (id INTEGER PRIMARY KEY)")
    assert [soundness.changes_in(tmp_path / name) for name in ("torn.sqlite", "new.sqlite")] == [-1, 0]
