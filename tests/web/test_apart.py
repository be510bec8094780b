"""Work in a process of its own: answered as in place, ended when it takes too much or nobody waits, one a person."""

from __future__ import annotations

import asyncio
import os
import pickle
import re
import sys
from datetime import date

import pytest
from starlette.testclient import TestClient

from ledger.gear import sweep_bytes
from linewright.core.errors import CannotError, InputError, LinewrightError, UnknownNameError
from linewright.core.locale import ENGLISH
from linewright.core.quantities import length_m
from linewright.present.charts.frame import framed
from linewright.present.charts.render import draw_elsewhere, to_svg
from linewright.present.writers import drawings
from linewright.present.writers.paper import report_pdf
from linewright.verbs import examples
from linewright.verbs.report import ReportWish
from linewright.verbs.report_kept import report_of_piece
from linewright.verbs.shelf import file_sheet, open_ledger
from linewright.web import apart, bench_cache, guard, sweep_requests
from linewright.web.apart import Apart, Drawer, Turns, unless_gone
from linewright.web.app import create_app
from linewright.web.bench_cache import Judgements
from linewright.web.jobs import StoppedError
from linewright.web.sessions import Settings
from web.conftest import ran

HOME = "http://localhost:8731"
ENDLESS = (re.fullmatch, "(a+)+b", "a" * 60)
"""A parser in C that lets no other thread have its turn, and would take years."""


def visitor(tmp_path, **told):
    client = TestClient(create_app(Settings(str(tmp_path / "ledger.sqlite"), **told)), base_url=HOME)
    client.headers["x-linewright-token"] = client.get("/api/session").json()["token"]
    return client


def question():
    sheet, csv = (examples.demo_file(f"harbour-ridge.{end}").read_text() for end in ("toml", "csv"))
    return {"sheet": sheet, "files": {"harbour-ridge.csv": csv}}


def test_a_program_gets_the_same_answer_apart_as_in_place(tmp_path):
    there, here = visitor(tmp_path, apart=True), visitor(tmp_path)
    for asked in (question(), {"sheet": "a = 1"}, {"sheet": 7}):
        found, wanted = (v.post("/api/prove", json=asked) for v in (there, here))
        assert (found.status_code, found.content) == (wanted.status_code, wanted.content)
        assert found.headers["content-security-policy"] == wanted.headers["content-security-policy"]


def test_what_is_filed_apart_is_in_the_ledger(tmp_path):
    sheet, csv = question()["sheet"], question()["files"]["harbour-ridge.csv"]
    sent = [("files", ("x.toml", sheet.encode())), ("files", ("harbour-ridge.csv", csv.encode()))]
    client = visitor(tmp_path, apart=True)
    filed = client.post("/shelf/import/sheet", files=sent, data={"on": "2026-04-02"}, follow_redirects=False)
    assert filed.status_code == 303
    assert "Harbour Ridge" in client.get(filed.headers["location"]).text


def test_a_large_sweep_is_read_apart_and_says_what_it_says_in_place(tmp_path, monkeypatch):
    monkeypatch.setattr(sweep_requests, "LARGE_BYTES", 100)
    for content, status in ((sweep_bytes(2.0), 200), (b"# Hz S RI R 50\n1 nothing\n" * 9, 422)):
        there, here = (
            visitor(tmp_path, apart=a).post("/sweeps", files={"files": ("x.s2p", content)}) for a in (True, False)
        )
        assert there.status_code == here.status_code == status
        assert re.findall(r"<(?:p|td)[^>]*>[^<]+", there.text) == re.findall(r"<(?:p|td)[^>]*>[^<]+", here.text)


def test_a_large_bench_is_judged_apart_and_says_what_it_says_in_place(tmp_path, monkeypatch):
    monkeypatch.setattr(bench_cache, "LARGE", 0)
    begun = []
    monkeypatch.setattr(bench_cache, "Apart", lambda *given, **how: begun.append(given) or Apart(*given, **how))
    with open_ledger(tmp_path / "ledger.sqlite") as ledger:
        session = file_sheet(ledger, examples.demo_file("harbour-ridge.toml")).item.key
        found = [Judgements(apart=a, works=bench_cache.Works()).bench(ledger, session) for a in (True, False)]
    there, here = (f.result or f.pending.answer()[1] for f in found)
    assert there.to_dict() == here.to_dict()
    assert len(begun) == 1


def test_what_takes_too_long_is_ended_even_inside_a_parser_in_c(monkeypatch):
    monkeypatch.setattr(apart, "MOST_S", 1)
    work = Apart(*ENDLESS)
    with pytest.raises(CannotError, match="took more than 1 s of work or 1,000 MB of memory and was ended"):
        work.answer()
    assert not work._process.is_alive()


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the system keeps nobody to a memory")
def test_what_takes_too_much_memory_is_refused():
    with pytest.raises(CannotError, match="or 1,000 MB of memory and was ended"):
        Apart(bytearray, 2 << 30).answer()


def test_what_nobody_waits_for_any_more_is_ended():
    async def left():
        return {"type": "http.disconnect"}

    work = Apart(*ENDLESS)
    assert ran(unless_gone(work, left)) is None
    assert not work._process.is_alive()


def test_what_is_stopped_is_ended():
    def stop(share, doing):
        raise StoppedError

    work = Apart(*ENDLESS)
    with pytest.raises(StoppedError):
        work.answer(stop)
    assert not work._process.is_alive()


def test_an_error_comes_back_as_it_was():
    with pytest.raises(LinewrightError) as there:
        Apart(length_m, "7 parsecs", "length").answer()
    with pytest.raises(LinewrightError) as here:
        length_m("7 parsecs", "length")
    assert (type(there.value), str(there.value)) == (type(here.value), str(here.value))
    for cause in (InputError("swr", "must be 1", cure="Write 1."), UnknownNameError("x", "is none"), StoppedError()):
        again = pickle.loads(pickle.dumps(cause))
        assert (type(again), str(again), vars(again)) == (type(cause), str(cause), vars(cause))


def test_one_persons_requests_wait_for_each_other_and_for_nobody_else():
    async def asked():
        turns, order, go_on = Turns(1, 1), [], asyncio.Event()

        async def ask(who):
            async with turns.of(who):
                order.append(who)
                await go_on.wait()

        first = [asyncio.ensure_future(ask(who)) for who in ("one", "one", "other")]
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        begun, full = list(order), (turns.full("one"), turns.full("other"), turns.full("nobody"))
        go_on.set()
        await asyncio.gather(*first)
        return begun, full, order, turns._lines

    begun, full, order, left = ran(asked())
    assert begun == ["one", "other"]
    assert full == (True, False, False)
    assert order == ["one", "other", "one"]
    assert left == {}


def test_who_has_too_much_waiting_is_told_to_wait(tmp_path, monkeypatch):
    monkeypatch.setattr(guard.Turns, "full", lambda self, person: True)
    answer = TestClient(create_app(Settings(str(tmp_path / "ledger.sqlite"))), base_url=HOME).get("/bench")
    assert answer.status_code == 429
    assert "still being done" in answer.text
    assert "content-security-policy" in answer.headers


def test_a_file_typeset_apart_is_the_file_typeset_in_place(tmp_path):
    with open_ledger(str(tmp_path / "ledger.sqlite")) as ledger:
        file_sheet(ledger, examples.demo_file("harbour-ridge.toml"), on=date(2026, 4, 2))
    there, here = visitor(tmp_path, apart=True), visitor(tmp_path)
    forms = (
        "/report/piece/blue 7",
        "/report/piece/blue 7?form=html",
        "/label/piece/blue 7",
        "/label/piece/blue 7?form=png",
    )
    for at in (*forms, "/labels/file?tag=blue 7"):
        found, wanted = there.get(at), here.get(at)
        assert (found.status_code, len(wanted.content) > 1000) == (200, True)
        assert found.content == wanted.content, at


def test_heavy_work_stands_behind_pages_and_a_file_that_is_set_does_not():
    assert Apart(os.nice, 0).answer() == os.nice(0) + apart.NICE > os.nice(0)
    assert apart.typeset(True, os.nice, 0) == os.nice(0)


def test_a_page_is_set_with_the_drawings_that_are_at_hand(tmp_path, monkeypatch):
    with open_ledger(str(tmp_path / "ledger.sqlite")) as ledger:
        file_sheet(ledger, examples.demo_file("harbour-ridge.toml"), on=date(2026, 4, 2))
        letter = report_of_piece(ledger, "blue 7", ReportWish(date(2026, 4, 2))).letter()
    known, page = drawings.drawings_of(letter, ENGLISH), report_pdf(letter)
    drawings._drawn.cache_clear()
    monkeypatch.setattr(drawings, "to_svg", None)
    assert len(known) >= 1
    assert report_pdf(letter, known=known) == page


WORDS = framed({"mark": {"type": "text", "text": "3 dB"}, "data": {"values": [{}]}}, "Words")


@pytest.fixture(scope="module")
def drawer():
    return Drawer()


def test_a_chart_drawn_elsewhere_is_the_chart_drawn_here(drawer):
    here = to_svg(WORDS)
    draw_elsewhere(drawer)
    try:
        assert to_svg(WORDS) == here
    finally:
        draw_elsewhere(None)


def test_a_chart_that_cannot_be_drawn_elsewhere_says_why_and_the_next_is_drawn(drawer):
    with pytest.raises(CannotError, match="could not be drawn"):
        drawer({**WORDS, "mark": "spoon"})
    assert "3 dB" in drawer(WORDS)


def test_a_drawing_process_that_ended_is_begun_anew(drawer):
    drawer(WORDS)
    drawer._process.kill()
    drawer._process.join()
    assert "3 dB" in drawer(WORDS)


def test_a_chart_that_takes_too_long_is_given_up(drawer, monkeypatch):
    drawer(WORDS)
    monkeypatch.setattr(apart, "MOST_DRAWN_S", 0.0)
    with pytest.raises(CannotError, match="Its figures are in its table"):
        drawer(WORDS)
    monkeypatch.undo()
    assert "3 dB" in drawer(WORDS)


def test_a_drawing_process_ends_with_the_station():
    drawer = Drawer()
    drawer(WORDS)
    drawer._pipe.close()
    drawer._process.join(60)
    assert not drawer._process.is_alive()
