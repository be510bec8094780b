"""A ledger goes out as open files and comes back the same."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from examples import few
from ledger.gear import BLACK, BY, DRUM, METER, NOON, reading, session, stock_up, sweep_bytes
from linewright.core.errors import CannotError, InputError
from linewright.core.nouns.shelf import SessionPlan
from linewright.files.sheet import read_bench_sheet
from linewright.files.toml import toml_text
from linewright.verbs import shelf
from linewright.verbs.shelf import By, open_ledger

DEMO = Path(__file__).parents[2] / "src" / "linewright" / "verbs" / "demo_data"


def filled(ledger):
    """Keep something of every kind, with corrections, archives and notes."""
    stock_up(ledger)
    shelf.add(ledger, "line", DRUM, by=BY)
    shelf.add(ledger, "stock", {"name": "blue drum", "line": "RG-58C/U"}, by=BY)
    shelf.file_sheet(ledger, DEMO / "harbour-ridge.toml", by=BY)
    shelf.keep_station(ledger, DEMO / "harbour-ridge-station.toml", by=BY)
    key = session(ledger)
    for value in (9.3, 8.2, 9.1):
        shelf.add_reading(ledger, key, reading(value, note='said "about" 9, so'), token=f"t{value}", by=BY)
    shelf.correct_reading(ledger, key, 2, reading(8.3), by=BY)
    shelf.correct_reading(ledger, key, 3, None, by=BY)
    shelf.file_sweep_bytes(ledger, "blue.s2p", sweep_bytes(), "blue 7", by=BY)
    shelf.add_note(ledger, "piece", "blue 7", "plug made off again\nbraid bright", by=BY)
    shelf.archive(ledger, "piece", "black 20", by=BY)
    shelf.undo(ledger, shelf.changes(ledger, most=1).changes[0].id, by=BY)


def test_export_import_export_gives_the_same_bytes(ledger, new_where, tmp_path):
    filled(ledger)
    first, second = tmp_path / "first.zip", tmp_path / "second.zip"
    shelf.export_ledger(ledger, first)
    with open_ledger(new_where()) as other:
        assert shelf.import_ledger(other, first) == 14
        shelf.export_ledger(other, second)
        assert first.read_bytes() == second.read_bytes()
        # It goes on living: new numbers follow the old ones, and old changes can be undone.
        last = shelf.changes(other, most=1).changes[0]
        assert shelf.undo(other, last.id).id == last.id + 1
        assert shelf.belief_of_piece(other, "blue 7").belief is not None


def test_a_file_on_a_disk_and_a_server_export_the_same(server, tmp_path):
    from ledger.conftest import fresh

    made = []
    for number, where in enumerate((str(tmp_path / "a.sqlite"), fresh(server))):
        with open_ledger(where) as ledger:
            filled(ledger)
            shelf.export_ledger(ledger, tmp_path / f"{number}.zip")
        made.append((tmp_path / f"{number}.zip").read_bytes())
    assert made[0] == made[1]


def test_an_exported_sheet_is_a_sheet_again(tmp_path):
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        shelf.file_sheet(ledger, DEMO / "harbour-ridge.toml")
        shelf.export_ledger(ledger, tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as packed:
        packed.extractall(tmp_path / "out")
    before, after = (
        read_bench_sheet(DEMO / "harbour-ridge.toml"),
        read_bench_sheet(tmp_path / "out" / "sheets" / "1.toml"),
    )
    assert after.meters == before.meters
    assert after.pieces == before.pieces
    assert [(r.meter, r.path, r.reading, r.low) for r in after.readings] == [
        (r.meter, r.path, r.reading, r.low) for r in before.readings
    ]


def test_filed_files_come_out_as_they_came(tmp_path):
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        stock_up(ledger)
        kept = shelf.file_sweep_bytes(ledger, "blue.s2p", sweep_bytes(), "blue 7").item
        assert shelf.file_of(ledger, kept.body["files"][0]["sha256"]) == sweep_bytes()
        shelf.export_ledger(ledger, tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as packed:
        (name,) = [n for n in packed.namelist() if n.endswith(".s2p")]
        assert packed.read(name) == sweep_bytes()


def test_nothing_is_imported_over_what_is_there(ledger, tmp_path):
    stock_up(ledger)
    shelf.export_ledger(ledger, tmp_path / "a.zip")
    with pytest.raises(InputError, match="must be empty"):
        shelf.import_ledger(ledger, tmp_path / "a.zip")


def _tampered(path, name, change):
    with zipfile.ZipFile(path) as packed:
        files = {n: packed.read(n) for n in packed.namelist()}
    found = next(n for n in files if n.startswith(name))
    files[found] = change(files[found])
    with zipfile.ZipFile(path, "w") as out:
        for n, content in files.items():
            if content is not None:
                out.writestr(n, content)


@pytest.fixture(scope="module")
def exported(tmp_path_factory) -> bytes:
    """Return the export of a ledger that holds something of everything."""
    place = tmp_path_factory.mktemp("exported")
    with open_ledger(place / "a.sqlite") as ledger:
        filled(ledger)
        shelf.export_ledger(ledger, place / "a.zip")
    return (place / "a.zip").read_bytes()


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        ("files/", lambda c: c + b" ", "is damaged"),
        ("ledger.json", lambda c: b"{}", "is not the list of a ledger"),
        ("ledger.json", lambda c: b"[", "is not JSON"),
        ("ledger.json", lambda c: None, "is missing"),
        ("pieces.toml", lambda c: b"[[piece", "must be a TOML file"),
        ("pieces.toml", lambda c: b"", "does not hold what it should"),
        ("readings.json", lambda c: b'[{"sheet": "x"}]', "number is missing"),
    ],
)
def test_a_damaged_export_is_refused_and_leaves_the_ledger_empty(tmp_path, exported, name, change, said):
    (tmp_path / "a.zip").write_bytes(exported)
    _tampered(tmp_path / "a.zip", name, change)
    with open_ledger(tmp_path / "b.sqlite") as other:
        with pytest.raises(InputError, match=said) as told:
            shelf.import_ledger(other, tmp_path / "a.zip")
        assert str(told.value).count("Export the ledger again.") == 1
        assert shelf.changes(other).changes == ()


def _edited(name, change):
    """Return a change of one entry of a list in JSON."""

    def edit(content):
        told = json.loads(content)
        listed = told["items"] if isinstance(told, dict) else told
        change(listed)
        return json.dumps(told).encode()

    return name, edit


# An export that somebody edited: what is wrong, and what is said, with its place and the cure.
EDITED = {
    "a line that is no number": (
        "pieces.toml", lambda c: c.replace(b'line = "RG-58C/U"', b"line = nan", 1),
        r"line must be text; got nan \(row \d+ of pieces.toml of a.zip\)",
    ),
    "a length without a unit": (
        "pieces.toml", lambda c: c.replace(b'"24 ft"', b"24", 1),
        r"length needs a number with its unit.*\(row \d+ of pieces.toml",
    ),
    "a huge whole number": (
        "meters.toml", lambda c: c.replace(b'"0.1 W"', b"9" * 5000, 1), "at most 100 characters",
    ),
    "a huge version": (*_edited("ledger.json", lambda e: e[0].update(version=10**30)), "must be a whole number"),
    "things that are no tables": ("meters.toml", lambda c: b'meter = ["p", "p", "p"]', "body must be a table; got 'p'"),
    "archived in words": (
        *_edited("ledger.json", lambda e: e[2].update(archived="no")),
        r"archived must be true or false; got 'no' \(entry 3 of ledger.json of a.zip\)",
    ),
    "a reading of an unknown sheet": (
        *_edited("readings.json", lambda e: e[1].update(sheet="nowhere")),
        r"sheet must be a session of this export; got 'nowhere' \(entry 2 of readings.json of a.zip\)",
    ),
    "a reading twice": (*_edited("readings.json", lambda e: e.append(e[0])), "must hold each thing once"),
    "a change twice": (*_edited("history.json", lambda e: e.append(e[0])), "must hold each thing once"),
    "cells that are numbers": (*_edited("readings.json", lambda e: e[0].update(cells={"a": 3})), "a must be text"),
    "a change that is not finite": (
        *_edited("history.json", lambda e: e[0].update(after={"body": {"x": float("nan")}})), "must be a finite number",
    ),
    "a field of nobody's": (*_edited("history.json", lambda e: e[0].update(colour="red")), "colour means nothing here"),
    "a list that is none": ("history.json", lambda c: b"{}", "must be a list"),
}  # fmt: skip


def test_an_export_that_tells_by_notes_alone_what_was_undone_is_understood(tmp_path):
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        filled(ledger)
        before = [c.undoes for c in shelf.changes(ledger).changes]
        shelf.export_ledger(ledger, tmp_path / "a.zip")
    assert [c for c in before if c is not None]
    name, change = _edited("history.json", lambda e: [entry.pop("undoes") for entry in e])
    _tampered(tmp_path / "a.zip", name, change)
    with open_ledger(tmp_path / "b.sqlite") as other:
        shelf.import_ledger(other, tmp_path / "a.zip")
        assert [c.undoes for c in shelf.changes(other).changes] == before


@pytest.mark.parametrize("what", EDITED)
def test_an_edited_export_is_refused_with_its_place_and_cure(tmp_path, exported, what):
    name, change, said = EDITED[what]
    (tmp_path / "a.zip").write_bytes(exported)
    _tampered(tmp_path / "a.zip", name, change)
    with open_ledger(tmp_path / "b.sqlite") as other:
        for take in (shelf.import_ledger, shelf.merge_ledger):
            with pytest.raises(InputError, match=said) as told:
                take(other, tmp_path / "a.zip")
            assert "a.zip" in str(told.value)
            assert told.value.cure
            assert len(told.value.rule) < 300
        assert shelf.changes(other).changes == ()


def test_an_export_of_a_newer_version_is_told(tmp_path):
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        shelf.export_ledger(ledger, tmp_path / "a.zip")
        _tampered(tmp_path / "a.zip", "ledger.json", lambda c: json.dumps({"schema": "linewright/ledger/2"}).encode())
        with pytest.raises(CannotError, match="newer version"):
            shelf.import_ledger(ledger, tmp_path / "a.zip")


def test_a_zip_hurt_anywhere_is_refused_or_read_whole(tmp_path):
    import random

    from linewright.verbs.ledger_files import read_export

    with open_ledger(tmp_path / "a.sqlite") as ledger:
        filled(ledger)
        shelf.export_ledger(ledger, tmp_path / "a.zip")
    sound, hurt, chance = (tmp_path / "a.zip").read_bytes(), tmp_path / "hurt.zip", random.Random(7)
    refused = []
    for _ in range(300):
        at = chance.randrange(len(sound))
        hurt.write_bytes(sound[:at] + bytes([sound[at] ^ chance.randrange(1, 256)]) + sound[at + 1 :])
        try:
            read_export(hurt)
        except (InputError, CannotError) as cause:
            refused.append(str(cause))
    assert len(refused) > 200
    assert not any(str(tmp_path) in words for words in refused)  # by its name: a page holds it in a passing folder


def _bomb(path, content=b"[],", times=1_000_000, again=1, name="readings.json", files=1):
    """Write a small zip that unpacks to much: a content so many times, again and again."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("ledger.json", json.dumps({"schema": "linewright/ledger/1", "items": []}))
        for number in range(files):
            with out.open(name if files == 1 else f"{number}", "w") as part:
                for _ in range(again):
                    part.write(content * times)


# What is refused, by what it holds; each limit as it is told. The ratio stands before the unpacking.
TOO_MUCH = {
    "a bomb": ({"again": 60}, "at most 100 times as many bytes unpacked as packed"),
    "JSON of nothing but brackets": ({"times": 1_700_000}, "at most 3,000,000 commas and opening brackets"),
    "deep JSON": ({"content": b"[", "times": 100_000}, "nested too deeply"),
    "very many files": ({"times": 0, "files": 50_001}, "at most 50,000 files; got 50,002"),
}


@pytest.mark.parametrize("what", TOO_MUCH)
def test_an_export_that_holds_too_much_is_refused_with_the_limit_and_little_memory(tmp_path, what):
    import tracemalloc

    from linewright.verbs.ledger_files import read_export

    holds, said = TOO_MUCH[what]
    _bomb(tmp_path / "a.zip", **holds)
    assert (tmp_path / "a.zip").stat().st_size < 8_000_000
    tracemalloc.start()
    try:
        with pytest.raises(InputError, match=said):
            read_export(tmp_path / "a.zip")
        assert tracemalloc.get_traced_memory()[1] < 100_000_000
    finally:
        tracemalloc.stop()


def test_a_list_of_files_that_is_too_long_is_refused_unread(tmp_path):
    from linewright.verbs.ledger_files import read_export

    end = bytearray(22)
    end[:4], end[12:16] = b"PK\5\6", (10_000_001).to_bytes(4, "little")
    (tmp_path / "a.zip").write_bytes(bytes(end))
    with pytest.raises(InputError, match="at most 10,000,000 bytes of its list of files"):
        read_export(tmp_path / "a.zip")


def test_an_export_of_ten_thousand_readings_is_far_from_every_limit(tmp_path):
    from linewright.core.nouns.ledger import KeptReading
    from linewright.store import items as rows
    from linewright.verbs import ledger_files
    from linewright.verbs.shelf_open import writing

    with open_ledger(tmp_path / "a.sqlite") as ledger:
        stock_up(ledger)
        key = session(ledger)
        with writing(ledger, BY) as w:
            told = ((n, reading(f"{n / 1000}", "blue 7")) for n in range(1, 10_001))
            rows.append_rows(w.connection, [KeptReading(key, n, 1, w.at, f"t{n}", cells) for n, cells in told])
        shelf.export_ledger(ledger, tmp_path / "a.zip")
    packed = zipfile.ZipFile(tmp_path / "a.zip")
    unpacked = sum(i.file_size for i in packed.infolist())
    assert unpacked / (tmp_path / "a.zip").stat().st_size < ledger_files.MAX_RATIO / 2
    signs = sum(packed.read("readings.json").count(sign) for sign in (b",", b"[", b"{"))
    assert 100_000 < signs < ledger_files.MAX_JSON_SIGNS / 20
    with open_ledger(tmp_path / "b.sqlite") as other:
        assert shelf.import_ledger(other, tmp_path / "a.zip") == 4


@pytest.mark.parametrize("limit", ["MAX_FILES", "MAX_UNPACKED_BYTES", "MAX_FILE_BYTES", "MAX_JSON_SIGNS"])
def test_an_export_that_no_import_takes_is_written_and_says_so(tmp_path, monkeypatch, limit):
    from linewright.verbs import ledger_files

    monkeypatch.setattr(ledger_files, limit, 3)
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        filled(ledger)
        with pytest.raises(CannotError, match="no import takes it: it must hold at most 3 "):
            shelf.export_ledger(ledger, tmp_path / "a.zip")
    monkeypatch.undo()
    with open_ledger(tmp_path / "b.sqlite") as other:
        assert shelf.import_ledger(other, tmp_path / "a.zip") > 4


def test_what_is_no_zip_is_told(tmp_path):
    (tmp_path / "a.zip").write_text("no")
    with open_ledger(tmp_path / "a.sqlite") as ledger, pytest.raises(InputError, match="must be a zip"):
        shelf.import_ledger(ledger, tmp_path / "a.zip")


ANY = st.text(st.characters(exclude_categories=("Cs",)))
TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc", "Zl", "Zp", "Zs")), min_size=1, max_size=12)
NAMES = st.lists(TEXT.filter(lambda t: "+" not in t and t.isprintable()), min_size=1, max_size=4, unique=True)


@st.composite
def acts(draw):
    """Return some things a person might do, as (verb, argument ...)."""
    tags = draw(NAMES)
    some = st.one_of(
        st.tuples(st.just("length"), st.sampled_from(tags), st.floats(0.01, 500).map(lambda m: f"{m:.4g} m")),
        st.tuples(st.just("archive"), st.sampled_from(tags)),
        st.tuples(st.just("note"), st.sampled_from(tags), ANY.filter(str.strip)),
        st.tuples(st.just("read"), st.sampled_from(tags), st.floats(0, 10), st.text(max_size=10)),
        st.tuples(st.just("withdraw"), st.integers(1, 3)),
        st.tuples(st.just("undo"), st.integers(1, 8)),
    )  # fmt: skip
    return tags, draw(st.lists(some, max_size=8))


def _do(ledger, tags, done):
    shelf.add(ledger, "meter", METER, by=BY)
    for tag in tags:
        shelf.add(ledger, "piece", BLACK | {"tag": tag}, by=BY)
    plan = SessionPlan("Any day", ("desk meter",), tuple(i.key for i in shelf.all_kept(ledger, "piece")))
    key = shelf.start_session(ledger, plan, by=BY).key
    for act, *told in done:
        try:
            _act(ledger, key, act, told)
        except (InputError, CannotError):
            # Refused: nothing was written, and that is one of the things to come through the export.
            continue


def _act(ledger, key, act, told):
    verbs = {
        "length": lambda tag, length: shelf.change(ledger, "piece", tag, {"length": length}, by=BY),
        "archive": lambda tag: shelf.archive(ledger, "piece", tag, by=BY),
        "note": lambda tag, text: shelf.add_note(ledger, "piece", tag, text, by=By(NOON, text[:20])),
        "read": lambda tag, value, note: shelf.add_reading(ledger, key, reading(value, tag, note=note), by=BY),
        "withdraw": lambda number: shelf.correct_reading(ledger, key, number, None, by=BY),
        "undo": lambda number: shelf.undo(ledger, number, by=BY),
    }
    verbs[act](*told)


@few(12, suppress_health_check=[HealthCheck.too_slow])
@given(acts())
def test_whatever_was_done_comes_back_the_same(tmp_path_factory, told):
    home = tmp_path_factory.mktemp("any")
    with open_ledger(home / "a.sqlite") as ledger:
        _do(ledger, *told)
        shelf.export_ledger(ledger, home / "a.zip")
        with open_ledger(home / "b.sqlite") as other:
            shelf.import_ledger(other, home / "a.zip")
            shelf.export_ledger(other, home / "b.zip")
            assert (home / "a.zip").read_bytes() == (home / "b.zip").read_bytes()
            assert shelf.changes(other, most=None) == shelf.changes(ledger, most=None)
            for kind in ("piece", "note", "sheet"):
                assert shelf.all_kept(other, kind) == shelf.all_kept(ledger, kind)


VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(-(2**62), 2**62), st.floats(allow_nan=False, allow_infinity=False),
              ANY),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(ANY, inner, max_size=3)),
    max_leaves=8,
)  # fmt: skip


@given(st.dictionaries(ANY, VALUES, max_size=4))
def test_toml_reads_back_as_what_was_written(content):
    import tomllib

    assert tomllib.loads(toml_text(content)) == content
    assert toml_text(tomllib.loads(toml_text(content))) == toml_text(content)
