"""A damaged ledger becomes a whole one again; silent change is noticed; the damaged file is kept."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from datetime import timedelta

import pytest
from click.testing import CliRunner

from ledger.conftest import fresh
from ledger.gear import BLUE, BY, reading, session, stock_up
from ledger.test_damage import NOW, TABLES, zero_page
from linewright.cli.main import main
from linewright.core.errors import CannotError, DamagedError, InputError
from linewright.store import backups
from linewright.store.opening import open_at
from linewright.store.recovery import COLUMNS, _number_of
from linewright.verbs import shelf
from linewright.verbs.shelf_open import check_ledger, keep_daily, recover_ledger


def told(path):
    """Return everything a ledger holds, as a reader sees it; no copy is made at that time."""
    with open_at(str(path), NOW - timedelta(days=1)) as ledger:
        items = [i for kind in ("piece", "meter", "sheet") for i in shelf.all_kept(ledger, kind)]
        kept = [(i.kind, i.key, dict(i.body), i.archived) for i in items]
        read = {
            i.key: [(r.number, r.cells) for r in shelf.readings_of(ledger, i.key)] for i in items if i.kind == "sheet"
        }
        made = [(c.kind, c.key, c.before, c.after) for c in shelf.changes(ledger, most=1000).changes]
    return kept, read, made


@pytest.fixture
def path(made, tmp_path):
    """A ledger of two sessions: a copy was made after the first, and a piece renamed after that."""
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    return tmp_path / "ledger.sqlite"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    where = tmp_path_factory.mktemp("made") / "ledger.sqlite"
    with open_at(str(where), NOW - timedelta(days=2)) as ledger:
        stock_up(ledger)
        first = session(ledger, "First")
        for i in range(10):
            shelf.add_reading(ledger, first, reading(9 - i / 10), token=f"a{i}", by=BY)
    with open_at(str(where), NOW - timedelta(days=1)) as ledger:
        assert len(backups.backups(where)) == 1
        shelf.rename(ledger, "blue 7", "mast", by=BY)
        second = session_of(ledger)
        for i in range(40):
            shelf.add_reading(ledger, second, reading(8 - i / 10), token=f"b{i}", by=BY)
        shelf.correct_reading(ledger, first, 3, reading(5), by=BY)
        shelf.correct_reading(ledger, second, 4, None, by=BY)
    return where.parent


def session_of(ledger):
    from linewright.core.nouns.shelf import SessionPlan

    plan = SessionPlan("Second", ("desk meter",), ("mast",), {"power": "10 W"}, {"line": "RG-58C/U", "length": "0.9 m"})
    return shelf.start_session(ledger, plan, by=BY).key


def change_text(path, table, column, number, value):
    """Change a value as only damage or another program can."""
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(f"UPDATE {table} SET {column} = ? WHERE id = ?", (value, number))
        raw.commit()


@pytest.mark.parametrize("table", [t for t in TABLES if t != "change"])
def test_a_zeroed_table_costs_nothing_that_the_history_or_a_copy_holds(path, table):
    before = told(path)
    zero_page(path, table)
    damaged = path.read_bytes()
    done = recover_ledger(path, at=NOW)
    assert told(path) == before
    assert done.lost == 0
    assert done.damaged.read_bytes() == damaged
    assert check_ledger(path).hurt == ()


def test_a_zeroed_history_costs_history_alone_and_the_number_lost_is_told(path):
    kept, read, made = told(path)
    zero_page(path, "change")
    done = recover_ledger(path, at=NOW)
    assert told(path)[:2] == (kept, read)
    there = told(path)[2]
    assert there == made[-len(there) :]
    assert done.copied > 0


def test_of_a_table_with_one_page_lost_the_other_pages_are_read(path):
    before = told(path)
    for copy in backups.backups(path):
        copy.unlink()
    with closing(sqlite3.connect(path)) as raw:
        ((leaf,),) = raw.execute(
            "SELECT max(pageno) FROM dbstat WHERE name = 'change' AND pagetype = 'leaf'"
        ).fetchall()
        ((size,),) = raw.execute("PRAGMA page_size").fetchall()
    with path.open("r+b") as file:
        file.seek((leaf - 1) * size)
        file.write(bytes(size))
    recover_ledger(path, at=NOW)
    kept, read, changes = told(path)
    assert (kept, read) == before[:2]
    assert 0 < len(changes) < len(before[2])
    assert set(map(str, changes)) < set(map(str, before[2]))


def before_checksums(path):
    """Take the checksums out of a ledger, which makes it one of the first tables."""
    with closing(sqlite3.connect(path)) as raw:
        for table in ("item", "reading", "change"):
            raw.execute(f"ALTER TABLE {table} DROP COLUMN checksum")
        raw.execute("ALTER TABLE change DROP COLUMN undoes")
        raw.execute("DROP TABLE token")
        raw.execute("UPDATE alembic_version SET version_num = '0001'")
        raw.commit()


def test_a_ledger_of_the_first_tables_gets_checksums_that_hold(path):
    before = told(path)
    before_checksums(path)
    assert told(path) == before
    assert check_ledger(path).hurt == ()
    change_text(path, "reading", "cells", 1, "{}")
    assert check_ledger(path).hurt
    assert any("before-0004" in p.name for p in backups.backups(path))


def test_a_copy_of_the_first_tables_fills_the_gaps_of_a_damaged_ledger(path):
    before = told(path)
    for copy in backups.backups(path):
        before_checksums(copy)
    zero_page(path, "item")
    recover_ledger(path, at=NOW)
    assert told(path) == before


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("reading", "cells", json.dumps(reading(1.0))), ("reading", "item_id", 1), ("item", "body", "{}"),
        ("item", "archived", 1), ("change", "who", "nobody"), ("change", "after", "{}"),
    ],
)  # fmt: skip
def test_a_value_that_changed_silently_is_noticed_and_set_right(path, table, column, value):
    before = told(path)
    change_text(path, table, column, 2, value)
    (hurt,) = check_ledger(path).hurt
    assert hurt == f"the table {table} (row 2 changed since written)"
    with open_at(str(path), NOW) as ledger:
        assert any("No backup was made" in r and table in r for r in ledger.remarks)
    recover_ledger(path, at=NOW)
    assert told(path) == before


def test_a_byte_that_is_no_text_any_more_is_noticed(path):
    change_text(path, "item", "changed_at", 1, b"\xff\xfe")
    assert "row 1 changed" in check_ledger(path).hurt[0]


def test_without_any_copy_what_can_be_read_becomes_the_ledger(path):
    before = told(path)
    for copy in backups.backups(path):
        copy.unlink()
    zero_page(path, "item")
    done = recover_ledger(path, at=NOW)
    assert (done.copy, done.copied) == (None, 0)
    assert told(path)[1:] == before[1:]


def test_a_file_that_is_no_database_any_more_becomes_its_newest_copy(path):
    path.write_bytes(bytes(4096))
    with open_at(str(backups.backups(path)[-1]), NOW) as copy:
        wanted = [i.key for i in shelf.all_kept(copy, "piece")]
    with pytest.raises(CannotError, match="damaged in its first page"):
        open_at(str(path), NOW)
    recover_ledger(path, at=NOW)
    with open_at(str(path), NOW) as ledger:
        assert [i.key for i in shelf.all_kept(ledger, "piece")] == wanted


def test_where_nothing_can_be_read_and_no_copy_is_whole_the_file_is_left(path):
    for place in (*backups.backups(path), path):
        for table in ("item", "reading", "change", "blob"):
            zero_page(place, table)
    before = path.read_bytes()
    with pytest.raises(CannotError, match="Nothing can be read"):
        recover_ledger(path, at=NOW)
    assert path.read_bytes() == before


def test_a_whole_ledger_is_not_recovered(path):
    with pytest.raises(InputError, match="nothing is hurt"):
        recover_ledger(path)


def test_a_ledger_that_is_open_elsewhere_is_not_recovered(path):
    change_text(path, "item", "body", 1, "{}")
    with open_at(str(path), NOW) as ledger, ledger.reads(), pytest.raises(CannotError, match="open in another program"):
        recover_ledger(path, at=NOW)


def test_the_commands_check_and_recover(path):
    run = CliRunner().invoke
    assert run(main, ["shelf", "check", "--ledger", str(path)], standalone_mode=False).output.endswith("is whole.\n")
    zero_page(path, "reading")
    found = run(main, ["shelf", "check", "--ledger", str(path), "--json"])
    assert found.exit_code == 1
    document = json.loads(found.output)
    assert document["whole"] is False
    assert document["newest_whole"] == str(backups.backups(path)[-1])
    done = json.loads(run(main, ["shelf", "recover", "--ledger", str(path), "--json"]).output)
    assert done["lost"] == 0
    assert run(main, ["shelf", "check", "--ledger", str(path)]).exit_code == 0


def test_what_is_due_each_day_finds_silent_change_and_copies(path):
    with open_at(str(path), NOW) as ledger:
        assert keep_daily(ledger, at=NOW + timedelta(days=1)) == ()
        assert any("2026-04-03" in p.name for p in backups.backups(path))
        change_text(path, "item", "body", 1, "{}")
        assert "row 1 changed" in keep_daily(ledger, at=NOW + timedelta(days=1))[0]


def test_a_server_notices_silent_change(server):
    new_server_ledger = fresh(server)
    with open_at(new_server_ledger, NOW) as ledger:
        shelf.add(ledger, "piece", BLUE, by=BY)
        assert check_ledger(new_server_ledger).hurt == ()
        with ledger.writes(NOW) as w:
            w.connection.exec_driver_sql("UPDATE item SET archived = true")
        assert check_ledger(new_server_ledger).hurt == ("the table item (row 1 changed since written)",)


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [("item", "body", '{"tag":"blue 8"}'), ("item", "body", "{"), ("item", "version", 7), ("reading", "cells", "{"),
     ("reading", "cells", "{}"), ("reading", "cells", json.dumps(reading(1.0))), ("reading", "number", 77)],
)  # fmt: skip
def test_a_row_that_changed_is_told_where_it_is_read_and_never_taken(path, table, column, value):
    change_text(path, table, column, 1, value)
    day_before = NOW - timedelta(days=1)
    with open_at(str(path), day_before) as ledger, pytest.raises(DamagedError, match="linewright shelf check"):
        shelf.list_shelf(ledger)


def test_an_answer_that_changed_where_it_is_remembered_is_worked_out_anew(path):
    with open_at(str(path), NOW) as ledger:
        shelf.show_piece(ledger, "mast")
        before = shelf.show_piece(ledger, "mast")
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("UPDATE derived SET body = replace(replace(body, '1.', '9.'), '0.', '8.')")
        raw.commit()
    with open_at(str(path), NOW) as ledger:
        assert shelf.show_piece(ledger, "mast") == before


@pytest.mark.parametrize(
    ("kind", "key", "number"),
    [("sheet", "spring", 7), ("sheet", "autumn", 2), ("piece", "blue 7", 2)],
    ids=["its readings carry its number", "no reading of it is left", "a piece"],
)
def test_a_session_that_is_lost_gets_the_number_back_that_its_readings_still_carry(kind, key, number):
    """Items 1 and 9 are there; readings of 1 and of 7, which is not. Number 7 is free for no one else."""

    def row(table, **values):
        return tuple(values.get(name) for name in COLUMNS[table])

    tables = {
        "item": {n: row("item", id=n) for n in (1, 9)},
        "reading": {
            n: row("reading", id=n, item_id=item, number=1, at="noon", cells=cells)
            for n, item, cells in ((1, 1, "[1]"), (2, 7, "[2]"))
        },
        "change": {1: row("change", id=1, kind="reading", key="spring / 1", at="noon", after="[2]")},
    }
    assert _number_of(tables, kind, key) == number
