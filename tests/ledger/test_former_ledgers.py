"""A ledger of every revision of the tables is kept as data and opened: nothing it held is lost on the way up."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from ledger.gear import NOON
from linewright.store import backups
from linewright.store.opening import REVISIONS, check_rows, difference
from linewright.store.schema import HEAD
from linewright.verbs import shelf
from linewright.verbs.shelf import open_ledger

#: Each written by the program of its day, from the same invented gear (``first`` by hand, the others as ``filled``).
LEDGERS = sorted((Path(__file__).parents[1] / "data" / "ledgers").glob("*.sqlite"))


def asked(path, sql):
    with closing(sqlite3.connect(path)) as raw:
        return raw.execute(sql).fetchall()


def rows(path):
    """Return what every table that is no cache held, in words, without what migrations add or say otherwise."""
    return {
        "item": asked(path, "SELECT id, kind, key, body, version, archived, changed_at FROM item ORDER BY id"),
        "reading": asked(path, "SELECT id, item_id, number, version, at, token, cells FROM reading ORDER BY id"),
        "blob": asked(path, "SELECT sha256, content FROM blob ORDER BY sha256"),
        "change": asked(path, "SELECT id, at, who, kind, key, before, after FROM change ORDER BY id"),
    }


def test_there_is_a_ledger_of_every_revision():
    found = {asked(path, "SELECT version_num FROM alembic_version")[0][0] for path in LEDGERS}
    assert found == set(REVISIONS) - {""}


@pytest.mark.parametrize("kept", LEDGERS, ids=lambda p: p.stem)
def test_a_ledger_of_a_former_revision_keeps_every_row(tmp_path, kept):
    path = Path(shutil.copy(kept, tmp_path / "ledger.sqlite"))
    (revision,) = asked(path, "SELECT version_num FROM alembic_version")[0]
    before = rows(path)
    with open_ledger(path, at=NOON) as ledger:
        assert check_rows(ledger) == ()
        with ledger.reads() as snapshot:
            assert difference(snapshot) == []
    assert rows(path) == before
    assert asked(path, "SELECT version_num FROM alembic_version") == [(HEAD,)]
    copies = [p.name for p in backups.backups(path)]
    assert any(name.endswith(f"-before-{HEAD}.sqlite") for name in copies) == (revision != HEAD)


@pytest.mark.parametrize("kept", LEDGERS, ids=lambda p: p.stem)
def test_a_ledger_of_a_former_revision_goes_on_living(tmp_path, kept):
    path = Path(shutil.copy(kept, tmp_path / "ledger.sqlite"))
    with open_ledger(path, at=NOON) as ledger:
        many = asked(path, "SELECT max(id) FROM change")[0][0]
        assert shelf.show_piece(ledger, "blue 7").tests >= 1
        shelf.add_note(ledger, "piece", "blue 7", "opened again")
        newest = shelf.changes(ledger, most=1).changes[0]
        assert newest.id == many + 1
        shelf.undo(ledger, newest.id)
        shelf.export_ledger(ledger, tmp_path / "all.zip")
    with open_ledger(tmp_path / "other.sqlite") as other:
        assert shelf.import_ledger(other, tmp_path / "all.zip") > 5
