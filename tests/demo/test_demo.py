"""The demo: its bench is what its maker makes, the verdict finds what was put in, and nobody's files are harmed."""

from __future__ import annotations

import hashlib
import json

import pytest

from demo.tool import tool
from linewright.core.errors import CannotError, InputError
from linewright.verbs import shelf
from linewright.verbs.demo import CHARTS, GIVEN_FILES, NAME, run_demo
from linewright.verbs.plan import plan_station


@pytest.fixture(scope="module")
def maker():
    return tool("make_demo_bench")


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    said = []
    done = run_demo(tmp_path_factory.mktemp("demo") / "bench", tell=said.append)
    return done, said


def test_the_bench_that_ships_is_what_its_maker_makes(maker):
    for path, text in maker.files().items():
        assert path.read_text(encoding="utf-8") == text


def test_the_bench_says_that_it_is_invented(demo):
    done, said = demo
    assert "invented" in done.sheet.title
    assert "INVENTED" in (done.folder / f"{NAME}.toml").read_text(encoding="utf-8").splitlines()[0]
    assert "invented" in (done.folder / "what-is-here.md").read_text(encoding="utf-8")
    assert any("invented" in line for line in said)


def test_every_file_it_names_is_there_and_matches_its_checksum(demo):
    done, _ = demo
    lines = (done.folder / f"{NAME}.sha256").read_text(encoding="utf-8").splitlines()
    sums = {name: digest for digest, _, name in (line.partition("  ") for line in lines)}
    assert {path.name for path in done.files} == set(sums)
    assert all(hashlib.sha256(path.read_bytes()).hexdigest() == sums[path.name] for path in done.files)
    assert len([path for path in done.files if path.suffix in (".svg", ".png")]) == 2 * len(CHARTS)


def test_the_ledger_lies_in_the_folder_and_nowhere_else(demo, tmp_path, monkeypatch):
    done, _ = demo
    assert done.ledger == done.folder / f"{NAME}.sqlite"
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "usual.sqlite"))
    run_demo(tmp_path / "again", tell=str)
    assert (tmp_path / "again" / f"{NAME}.sqlite").exists()
    assert not (tmp_path / "usual.sqlite").exists()


def test_the_ledger_holds_two_years_of_tests_of_every_piece(demo):
    done, _ = demo
    with shelf.open_ledger(done.ledger) as ledger:
        for tag in ("blue 7", "blue 18", "black 20"):
            days = [e.measured_on for e in shelf.evidence_of(ledger, tag)]
            assert days == ["2024-03-16", "2025-03-15", "2026-03-14"]
        assert "12 readings" in shelf.evidence_of(ledger, "blue 7")[0].what


def test_the_plan_is_the_one_of_the_ledgers_station(demo):
    done, _ = demo
    with shelf.open_ledger(done.ledger) as ledger:
        assert done.plan == plan_station(shelf.station_of(ledger, shelf.the_station(ledger)))


def test_a_second_run_leaves_the_ledger_with_what_was_kept_in_it(tmp_path):
    first = run_demo(tmp_path, tell=str)
    with shelf.open_ledger(first.ledger) as ledger:
        shelf.add(ledger, "piece", {"tag": "red 5", "length": "5 m"})
        before = len(shelf.changes(ledger, most=None).changes)
    with shelf.open_ledger(run_demo(tmp_path, tell=str).ledger) as ledger:
        assert len(shelf.changes(ledger, most=None).changes) == before


def test_the_result_file_holds_what_was_returned(demo):
    done, _ = demo
    kept = json.loads((done.folder / f"{NAME}-result.json").read_text(encoding="utf-8"))
    assert kept == json.loads(json.dumps(done.result.to_dict()))
    assert kept["schema"] == "linewright/bench-result/1"


def test_the_two_slips_are_doubted_and_no_sound_reading_is(demo, maker):
    done, _ = demo
    doubted = {(r.meter, round(r.frequency_hz / 1e6, 1), r.path) for r in done.result.readings if r.p_wrong > 0.5}
    assert doubted == set(maker.SLIPS)


def test_the_intervals_hold_what_the_readings_were_made_from(demo, maker):
    """Fifteen intervals of 95 %: more than two misses would happen about once in thirty benches."""
    done, _ = demo
    truth = {x: maker.CABLES[x.piece].loss_db(x.frequency_hz / 1e6) for x in done.result.losses}
    assert len(truth) == 15
    assert sum(not x.loss_db_low <= true <= x.loss_db_high for x, true in truth.items()) <= 2


def test_the_blue_drum_is_worn_and_the_black_piece_good(demo):
    done, _ = demo
    verdicts = {p.piece: p.verdict for p in done.result.pieces}
    assert verdicts["black 20"] == "good"
    assert {verdicts["blue 7"], verdicts["blue 18"]} <= {"worn", "bad"}


def test_the_bent_detector_is_not_trusted_where_it_is_bent(demo):
    done, _ = demo
    trust = {(m.meter, round(m.frequency_hz / 1e6)): m.trust for m in done.result.meters}
    assert trust["pocket meter", 144] in ("doubtful", "none")
    assert trust["desk meter", 14] == "good"
    assert trust["card meter", 432] == "good"


def test_a_second_run_leaves_the_same_files(demo):
    done, _ = demo
    before = {path: path.read_bytes() for path in done.files}
    again = run_demo(done.folder, tell=lambda words: None)
    assert {path: path.read_bytes() for path in again.files} == before


@pytest.mark.parametrize("name", [*GIVEN_FILES, f"{NAME}-result.json", "what-is-here.md"])
def test_a_file_someone_changed_stops_it_before_it_writes(tmp_path, name):
    (tmp_path / name).write_text("my own work", encoding="utf-8")
    with pytest.raises(InputError, match="Name another folder"):
        run_demo(tmp_path, tell=lambda words: None)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text(encoding="utf-8") == "my own work"


def test_other_files_in_the_folder_stay_as_they_are(tmp_path):
    (tmp_path / "log.txt").write_text("keep", encoding="utf-8")
    run_demo(tmp_path, tell=lambda words: None)
    assert (tmp_path / "log.txt").read_text(encoding="utf-8") == "keep"


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "bench").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="must be a folder"):
        run_demo(tmp_path / "bench", tell=lambda words: None)


def test_a_folder_that_cannot_be_made_is_reported(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(CannotError, match="Cannot write"):
        run_demo(tmp_path / "file" / "bench", tell=lambda words: None)


def test_the_sweeps_that_ship_are_what_their_maker_makes():
    """Another machine's arithmetic may move the last of the six decimals."""
    for path, text in tool("make_demo_sweeps").files().items():
        shipped, made = (words.splitlines() for words in (path.read_text(encoding="utf-8"), text))
        assert shipped[0] == made[0]
        assert "INVENTED" in made[0]
        assert numbers(shipped) == pytest.approx(numbers(made), abs=2e-6)


def numbers(lines):
    """Return every number in the rows of a sweep."""
    rows = [line for line in lines if line[:1].isdigit()]
    assert len(rows) > 30
    return [float(word) for row in rows for word in row.replace(",", " ").split()]
