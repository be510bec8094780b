"""What is said of a reading is worked out while it is being typed: sooner there, the same, and never kept by that."""

from __future__ import annotations

import gc
import time

import numpy as np
import pytest
from fastapi.testclient import TestClient

from linewright.core.errors import InputError
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.shelf import SessionPlan
from linewright.inference.bench import pieces
from linewright.store.ledger import Ledger
from linewright.verbs import shelf_evidence
from linewright.verbs.shelf import (
    add,
    add_reading,
    all_kept,
    belief_of_piece,
    change,
    correct_reading,
    imagined,
    kept,
    open_ledger,
    readings_of,
    rename,
    sheet_of,
    sheet_of_rows,
    show_piece,
    start_session,
)
from linewright.web import bench_cache as module
from linewright.web.app import create_app
from linewright.web.bench_cache import Judgements
from linewright.web.jobs import StoppedError
from linewright.web.sessions import Settings
from web.bench_helpers import bench_of, reading_of
from web.conftest import free_port

KEPT = "(n) => [...document.querySelectorAll('.state')].filter((s) => s.textContent === '✓').length === n"
PATHS = ("reference", "blue 7", "blue 18")


def cells(path: str, reading: str | None = None) -> dict[str, str]:
    where = f"desk meter \u00b7 14.2 MHz \u00b7 {path}"
    return {"meter": "desk meter", "frequency": "14.2 MHz", "path": path, "reading": reading or reading_of(where)}


@pytest.fixture
def ledger(tmp_path):
    where = tmp_path / "ledger.sqlite"
    bench_of(where, meters=("desk meter",))
    with open_ledger(where) as found:
        yield found


@pytest.fixture
def session(ledger: Ledger) -> str:
    (only,) = all_kept(ledger, "sheet")
    for path in PATHS:
        add_reading(ledger, only.key, cells(path))
    return only.key


@pytest.fixture
def proved(monkeypatch) -> list[int]:
    """How many readings each judgement rested on, one entry a judgement."""
    counted, plain = [], module._proved

    def counting(ledger, standing, how, tell):
        counted.append(len(sheet_of_rows(ledger, standing.item, standing.rows).readings))
        return plain(ledger, standing, how, tell)

    monkeypatch.setattr(module, "_proved", counting)
    return counted


def settled(judged: Judgements) -> None:
    while not judged.works.idle:
        time.sleep(0.005)


def said(judged: Judgements, ledger: Ledger, session: str) -> BenchResult | None:
    """Return what a session says, however long that takes: a page is shown after a second without it."""
    found = judged.bench(ledger, session)
    while found.pending is not None:
        found.pending.wait()
        found = judged.bench(ledger, session)
    return found.result


def test_an_imagined_reading_makes_the_sheet_that_keeping_it_makes(ledger, session):
    rows, item = readings_of(ledger, session), kept(ledger, "sheet", session)
    would = sheet_of_rows(ledger, item, imagined(rows, [(0, cells("blue 7")), (2, cells("blue 7", "9.3")), (3, None)]))
    assert sheet_of(ledger, session) == sheet_of_rows(ledger, item, rows) != would
    add_reading(ledger, session, cells("blue 7"))
    correct_reading(ledger, session, 2, cells("blue 7", "9.3"))
    correct_reading(ledger, session, 3, None)
    assert sheet_of(ledger, session) == would


def test_a_reading_that_is_not_there_cannot_be_imagined_otherwise(ledger, session):
    with pytest.raises(InputError, match="must be that of a reading"):
        imagined(readings_of(ledger, session), [(9, cells("blue 7"))])


def test_what_was_thought_ahead_is_not_thought_again(ledger, session, proved):
    judged = Judgements()
    said(judged, ledger, session)
    judged.ahead(ledger, session, [(0, cells("reference"))])
    settled(judged)
    assert proved == [3, 4]
    assert len(readings_of(ledger, session)) == 3
    add_reading(ledger, session, cells("reference"))
    found = said(judged, ledger, session)
    assert proved == [3, 4]
    assert found == said(Judgements(), ledger, session)


@pytest.fixture
def by_the_shelf(monkeypatch) -> list[int]:
    """How many readings each sheet had that the shelf judged for itself."""
    judged, plain = [], pieces.messages_of
    monkeypatch.setattr(pieces, "messages_of", lambda sheet: judged.append(len(sheet.readings)) or plain(sheet))
    shelf_evidence._messages.cache_clear()
    return judged


@pytest.mark.parametrize("thought_ahead", [False, True])
def test_what_a_bench_was_judged_by_the_shelf_takes_from_it(ledger, session, by_the_shelf, thought_ahead):
    judged = Judgements()
    if thought_ahead:
        judged.ahead(ledger, session, [(0, cells("reference"))])
        settled(judged)
    add_reading(ledger, session, cells("reference"))
    said(judged, ledger, session)
    taken = show_piece(ledger, "blue 7")
    assert by_the_shelf == []
    shelf_evidence._messages.cache_clear()
    anew = belief_of_piece(ledger, "blue 7")
    assert by_the_shelf == [4]
    assert [x.loss_db for x in taken.losses] == [
        np.quantile(anew.belief.loss_db(x.frequency_hz), 0.5) for x in taken.losses
    ]


def test_a_guess_tells_the_shelf_nothing(ledger, session, by_the_shelf):
    judged = Judgements()
    judged.ahead(ledger, session, [(2, cells("blue 7", "2.0"))])
    settled(judged)
    show_piece(ledger, "blue 7")
    assert by_the_shelf == [3]


def test_what_was_read_on_since_the_shelf_judges_for_itself(ledger, session, by_the_shelf, monkeypatch):
    judged, plain = Judgements(), module._judged

    def slowly(*given):
        add_reading(ledger, session, cells("reference"))
        return plain(*given)

    monkeypatch.setattr(module, "_judged", slowly)
    said(judged, ledger, session)
    show_piece(ledger, "blue 7")
    assert by_the_shelf == [4]


def test_a_session_of_former_names_the_shelf_judges_for_itself(ledger, session, by_the_shelf):
    rename(ledger, "blue 7", "red 7")
    said(Judgements(), ledger, session)
    show_piece(ledger, "red 7")
    assert by_the_shelf == [3]


def test_of_many_sessions_only_the_latest_judgements_are_held(ledger, session, monkeypatch):
    def held():
        gc.collect()
        return sum(isinstance(one, BenchResult) for one in gc.get_objects())

    monkeypatch.setattr(module, "MOST", 2)
    judged, before = Judgements(), held()
    for n in range(6):
        key = start_session(ledger, SessionPlan(f"No {n}", ("desk meter",), ("blue 7",), {"power": "10 W"})).key
        for path in PATHS[:2]:
            add_reading(ledger, key, cells(path))
        assert said(judged, ledger, key) is not None
    # The work that ended last holds its answer until the next begins.
    assert held() - before <= 3


def test_a_wrong_guess_changes_nothing(ledger, session, proved):
    judged = Judgements()
    judged.ahead(ledger, session, [(2, cells("blue 7", "2.0"))])
    settled(judged)
    correct_reading(ledger, session, 2, cells("blue 7", "9.0"))
    assert said(judged, ledger, session) == said(Judgements(), ledger, session)


def test_a_newer_guess_stops_an_older_one(ledger, session, monkeypatch):
    judged, stopped, plain = Judgements(), [], module._proved

    def slowly(ledger, standing, how, tell):
        if standing.rows[-1].cells["reading"] == "9":
            try:
                while True:
                    tell(0.1, "thinking")
                    time.sleep(0.005)
            except StoppedError:
                stopped.append(True)
                raise
        return plain(ledger, standing, how, tell)

    monkeypatch.setattr(module, "_proved", slowly)
    judged.ahead(ledger, session, [(2, cells("blue 7", "9"))])
    judged.ahead(ledger, session, [(2, cells("blue 7", "9.1"))])
    settled(judged)
    assert stopped == [True]
    # A value that was stopped as a guess is worked out as soon as it is real.
    monkeypatch.setattr(module, "_proved", plain)
    correct_reading(ledger, session, 2, cells("blue 7", "9"))
    assert said(judged, ledger, session) is not None


def test_nobody_waits_for_a_guess(ledger, session, proved):
    judged = Judgements()
    busy = judged.works.begin("busy", "Busy", "/", lambda tell: time.sleep(0.2))
    judged.ahead(ledger, session, [(2, cells("blue 7", "9.1"))])
    busy.wait()
    settled(judged)
    assert proved == []


def test_an_own_line_type_set_right_judges_anew(tmp_path, proved):
    line = {"name": "attic coax", "impedance": "50 ohm", "velocity_factor": 0.66, "points": [["10 MHz", "5 dB/100m"]]}
    with open_ledger(tmp_path / "own.sqlite") as ledger:
        add(ledger, "line", line)
        add(ledger, "meter", {"name": "desk meter", "division": "0.1 W"})
        add(ledger, "piece", {"tag": "blue 7", "line": "attic coax", "length": "7.2 m"})
        plan = SessionPlan(
            "Own", ("desk meter",), ("blue 7",), {"power": "10 W"}, {"line": "RG-58C/U", "length": "1 m"}
        )
        key = start_session(ledger, plan).key
        for path in PATHS[:2]:
            add_reading(ledger, key, cells(path))
        judged = Judgements()
        before = said(judged, ledger, key)
        change(ledger, "line", "attic coax", {"points": [["10 MHz", "15 dB/100m"]]})
        assert said(judged, ledger, key) != before


def test_a_page_guesses_and_half_a_number_is_no_error(ledger, session):
    port = free_port()
    app = create_app(Settings(str(ledger.path), port))
    with TestClient(app, base_url=f"http://localhost:{port}") as client:
        page = client.get(f"/bench/at/{session}").text
        token = page.split('name="token" content="')[1].split('"')[0]
        slot, _, was = page.split('name="was" value="')[1].split()[0].partition(":")
        for typed in ("9.4", "<", "9.", "\u2212", "nine", ""):
            asked = {f"reading.{slot}": typed, f"was.{slot}": was}
            told = client.post(f"/bench/ahead/{session}", data=asked, headers={"X-Linewright-Token": token})
            assert (told.status_code, told.content) == (204, b"")
        assert client.post(f"/bench/ahead/{session}", data={f"reading.{slot}": "9.4"}).status_code == 403
    assert [r.version for r in readings_of(ledger, session)] == [1, 1, 1]


def test_typing_asks_ahead_and_enter_finds_it(visit, site):
    key = bench_of(site.ledger, f"Ahead {visit.device}", ("desk meter",))
    asked = []
    visit.on("request", lambda r: asked.append(r.url.rpartition("/bench/")[2].split("/")[0]))
    visit.goto(f"/bench/at/{key}")
    lines = visit.locator("[data-reading]")
    for i in range(4):
        lines.nth(i).focus()
        with visit.expect_request("**/bench/ahead/**"):
            visit.keyboard.type(reading_of(visit.evaluate("document.activeElement.dataset.where")), delay=60)
        visit.keyboard.press("Enter")
        visit.wait_for_function(KEPT, arg=i + 1)
    assert asked.count("read") == 4
    assert asked.count("ahead") >= 4
    assert asked.index("ahead") < asked.index("read")


def test_half_a_number_is_not_asked_about_until_the_keys_rest(visit, site):
    key = bench_of(site.ledger, f"Half {visit.device}", ("desk meter",))
    with open_ledger(site.ledger) as ledger:
        add_reading(ledger, key, cells("reference", "9.4"))
    visit.clock.install(time=0)
    visit.goto(f"/bench/at/{key}")
    visit.clock.pause_at(3_600)  # else time goes on by itself, and on a busy machine past the rest between two keys
    asked = []
    visit.on("request", lambda r: asked.append(r.post_data) if "/bench/ahead/" in r.url else None)
    line = visit.locator("[data-reading]").nth(1)
    line.focus()
    for typed in ("8", ".", "1"):
        visit.keyboard.type(typed)
        visit.clock.run_for(200)
    visit.wait_for_function("() => true")
    assert ["=8.1&" in told for told in asked] == [True]
    line.fill("8")
    visit.clock.run_for(310)
    visit.wait_for_function("() => true")
    assert ["=8&" in told for told in asked] == [False, True]
