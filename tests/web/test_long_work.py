"""Work that takes long: followed, stopped, answered; with script and without."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Iterator

import pytest
from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, RedirectResponse, Response
from fastapi.testclient import TestClient

from linewright.core.errors import InputError
from linewright.web.app import create_app
from linewright.web.jobs import GONE_S, MOST, MovingQuestion, StoppedError, Work, Works, works_of
from linewright.web.sessions import Settings
from web.conftest import DESK, EVERYONE, Site, free_port, on_paper, own_port, picture, sound

GO_ON = threading.Event()
PATIENCE_S = 300.0
SLOW = APIRouter()


def slowly(tell):
    step = 0
    while not GO_ON.wait(0.05):
        step += 1
        tell(1 - 1 / step, "counting cables")  # until it is let go on, or stopped
    return "counted: 7"


@SLOW.get("/slow/{name}")
def slow(request: Request, name: str) -> Response:
    work = works_of(request).begin(name, "Counting cables", f"/slow/{name}", slowly)
    if not work.wait(0.05):
        return RedirectResponse(work.address, 303)
    return PlainTextResponse(work.answer())


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Iterator[Site]:
    import uvicorn

    port = free_port(own_port())
    app = create_app(Settings(str(tmp_path_factory.mktemp("slow") / "ledger.db"), port))
    app.include_router(SLOW)
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield Site(f"http://localhost:{port}", tmp_path_factory.getbasetemp())
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def works():
    return Works()


def test_the_same_name_is_the_same_work_and_is_done_once(works):
    times = []
    jobs = [works.begin("a", "A", "/a", lambda tell: times.append(1) or "x") for _ in range(5)]
    assert {job.answer() for job in jobs} == {"x"}
    assert len(times) == 1


def test_stopped_work_says_so_and_can_be_begun_again(works):
    work = works.begin("a", "A", "/a", slowly)
    work.stop()
    assert work.wait(PATIENCE_S)
    assert work.failed
    with pytest.raises(StoppedError, match="Nothing was changed"):
        work.answer()
    again = works.begin("a", "A", "/a", lambda tell: 3)
    assert again is not work
    assert again.answer() == 3


def test_what_goes_wrong_is_told_to_whoever_asks_and_is_no_answer(works):
    def wrong(tell):
        raise InputError("length", "must be positive")

    work = works.begin("a", "A", "/a", wrong)
    for _ in range(2):
        with pytest.raises(InputError, match="must be positive"):
            work.answer()


def test_stopping_what_is_done_keeps_its_answer(works):
    work = works.begin("a", "A", "/a", lambda tell: 3)
    assert work.wait(PATIENCE_S)
    work.stop()
    assert works.begin("a", "A", "/a", lambda tell: 4).answer() == 3


def test_work_that_lasts_lets_others_begin(works, monkeypatch):
    monkeypatch.setattr("linewright.web.jobs.TURN_S", 0.1)
    GO_ON.clear()
    long = works.begin("long", "Long", "/", slowly)
    assert works.begin("short", "Short", "/", lambda tell: "at once").answer() == "at once"
    assert not long.done
    long.stop()


def test_work_that_stands_aside_lets_all_others_go_first(works):
    done, go = [], threading.Event()

    def aside(tell):
        for step in range(4):
            tell(step / 4, "tidying up")
            done.append("aside")
            go.wait()

    long = works.begin("aside", "Aside", "/", aside, aside=True)
    while not done:
        time.sleep(0.01)
    others = [works.begin(f"w{i}", "W", "/", lambda tell: done.append("other")) for i in range(3)]
    while works._turns.waiting < len(others):
        time.sleep(0.01)
    go.set()
    for work in (*others, long):
        work.answer()
    assert done == ["aside", *["other"] * 3, *["aside"] * 3]


def test_works_have_their_turns_in_the_order_of_coming(works):
    go, order = threading.Event(), []
    works.begin("first", "W", "/", lambda tell: go.wait())
    mine = []
    for i in range(20):
        mine.append(works.begin(f"w{i}", "W", "/", lambda tell, i=i: order.append(i)))
        while works._turns.waiting <= i:
            time.sleep(0.001)
    go.set()
    for work in mine:
        work.answer()
    assert order == list(range(20))


def test_what_is_light_is_answered_though_others_wait_for_their_turns(works):
    go = threading.Event()
    long = works.begin("long", "Long", "/", lambda tell: go.wait())
    light = works.of_moment(MovingQuestion("a", "A", "/", 1, light=True), lambda tell: tell(0.5, "") or "at once")
    assert (light.done, light.answer()) == (True, "at once")
    assert works.of_moment(MovingQuestion("a", "A", "/", 1, light=True), lambda tell: "never") is light
    go.set()
    assert long.answer()


def test_questions_of_one_subject_are_answered_one_after_the_other_and_others_meanwhile(works, monkeypatch):
    monkeypatch.setattr("linewright.web.jobs.TURN_S", 0.0)
    go, order = threading.Event(), []

    def slowly(tell):
        order.append("report")
        while not go.wait(0.01):
            tell(0.5, "judging")
        order.append("report done")

    report = works.of_moment(MovingQuestion("report", "R", "/", 1, subject="blue 7"), slowly)
    while not order:
        time.sleep(0.01)
    label = works.of_moment(MovingQuestion("label", "L", "/", 1, subject="blue 7"), lambda tell: order.append("label"))
    works.of_moment(
        MovingQuestion("label of red 5", "L", "/", 2, subject="red 5"), lambda tell: order.append("red")
    ).answer()
    go.set()
    for work in (report, label):
        work.answer()
    assert order == ["report", "red", "report done", "label"]


def test_who_waits_for_work_that_was_dropped_is_led_to_its_page(tmp_path):
    app = create_app(Settings(str(tmp_path / "ledger.db"), 8080))
    GO_ON.clear()
    with TestClient(app, base_url="http://localhost:8080", follow_redirects=False) as client:
        work = app.state.works.begin("dropped", "Counting cables", "/back", slowly)
        app.state.works.forget(work)
        for headers in ({}, {"X-Part": "1"}):
            answer = client.get(work.address, headers=headers)
            assert (answer.status_code, answer.headers["location"]) == (303, "/back")
    work.stop()


def test_old_answers_make_room_and_what_is_under_way_stays(works, monkeypatch):
    monkeypatch.setattr("linewright.web.jobs.TURN_S", 0.0)
    GO_ON.clear()
    long = works.begin("long", "Long", "/", slowly)
    for i in range(MOST + 5):
        works.begin(f"w{i}", "W", "/", lambda tell: 1).answer()
    works.begin("last", "W", "/", lambda tell: 1).answer()
    assert works.named("w0") is None
    assert works.named("last") is not None
    assert works.named("long") is long
    long.stop()


def asked(moment):
    return MovingQuestion("report on blue 7", "Report", "/back", moment)


def until_let_go(go, answer):
    def job(tell):
        while not go.wait(0.01):
            tell(0.5, "judging")
        return answer

    return job


def test_of_several_who_ask_what_moves_all_wait_for_one_answer(works):
    go, begun = threading.Event(), []
    job = until_let_go(go, "first")
    mine = [works.of_moment(asked(n), lambda tell: begun.append(1) or job(tell)) for n in (4, 5, 6)]
    go.set()
    assert [m.answer() for m in mine] == ["first"] * 3
    assert len(begun) == 1
    assert mine[0] is mine[2]
    assert mine[2].moment == 4


def test_an_answer_of_a_moment_is_for_who_waited_for_it_and_who_comes_later_has_a_new_one(works):
    old = works.of_moment(asked(4), lambda tell: "old")
    assert old.answer() == "old"
    assert works.of_moment(asked(4), lambda tell: "never").answer() == "old"  # nothing was kept since
    assert works.of_moment(asked(6), lambda tell: "new").answer() == "new"
    assert works.of_moment(asked(7), lambda tell: "never", made=4) is old
    assert works.of_moment(asked(6), lambda tell: "never").answer() == "new"
    assert works.of_moment(asked(7), lambda tell: "newest", made=5).answer() == "newest"  # nobody made that


def test_an_answer_of_a_moment_is_forgotten_after_a_while(works, monkeypatch):
    old = works.of_moment(asked(4), lambda tell: "old")
    assert old.answer() == "old"
    monkeypatch.setattr("linewright.web.jobs.HELD_S", -1.0)
    assert works.of_moment(asked(7), lambda tell: "new", made=4).answer() == "new"
    assert works.called(old.key) is None
    newer = works.of_moment(asked(8), lambda tell: "newer")
    assert list(works._last.values()) == [newer]


def test_work_that_nobody_looks_after_ends_and_the_next_who_asks_begins_it_anew(works, monkeypatch):
    go = threading.Event()
    old = works.of_moment(asked(4), until_let_go(go, "old"))
    other = works.begin("other", "Other", "/", until_let_go(go, "other"))
    monkeypatch.setattr("linewright.web.jobs.GONE_S", -1.0)
    with pytest.raises(StoppedError):
        old.answer()
    monkeypatch.undo()
    new = works.of_moment(asked(4), until_let_go(go, "new"), made=4)
    go.set()
    assert new.answer() == "new"
    assert other.answer() == "other"  # its answer is remembered, whoever looks


def test_looking_after_work_keeps_it(works, monkeypatch):
    now_s = [1000.0]
    monkeypatch.setattr("linewright.web.jobs.time.monotonic", lambda: now_s[0])
    work = Work("a", "A", "/a", moment=1)
    work.look()
    now_s[0] += GONE_S
    assert not work.left
    now_s[0] += 1.0
    assert work.left
    work.look()
    assert not work.left


def test_an_answer_that_somebody_waits_for_is_not_pushed_out_by_others(works):
    mine = works.of_moment(asked(4), lambda tell: "mine")
    assert mine.answer() == "mine"
    for i in range(MOST + 5):
        works.begin(f"w{i}", "W", "/", lambda tell: 1).answer()
    assert works.called(mine.key) is mine


def test_of_many_answers_of_a_moment_the_newest_are_held(works):
    for moment in range(MOST + 5):
        works.of_moment(asked(moment), lambda tell: 1).answer()
    works.of_moment(asked(MOST + 5), lambda tell: 1).answer()
    assert len([w for w in works._known.values() if w.moment is not None]) == MOST + 1
    assert len(works._last) == 1


def test_a_long_answer_of_a_moment_lets_other_people_s_work_begin(works, monkeypatch):
    monkeypatch.setattr("linewright.web.jobs.TURN_S", 0.0)
    go = threading.Event()
    long = works.of_moment(asked(4), until_let_go(go, "long"))
    assert works.begin("short", "Short", "/", lambda tell: "at once").answer() == "at once"
    assert not long.done
    go.set()
    assert long.answer() == "long"


@pytest.mark.parametrize("script", [True, False])
def test_a_page_follows_the_work_to_its_answer(browser, site, script):
    GO_ON.clear()
    context = browser.new_context(base_url=site.address, java_script_enabled=script, **DESK)
    page = context.new_page()
    page.goto(f"/slow/{script}")
    page.wait_for_selector("progress")
    assert "/waiting/" in page.url
    first = int(page.get_attribute("progress", "value"))
    page.wait_for_function(f"() => Number(document.querySelector('progress')?.value) > {first}")
    assert page.inner_text("label[for=far]") == "counting cables"
    page.click("#stop")
    page.wait_for_selector(".over")
    assert "stopped before it was done" in page.inner_text(".over")
    page.click("text=Begin it again")
    page.wait_for_selector("progress")
    GO_ON.set()
    page.wait_for_url(f"**/slow/{script}")
    assert page.inner_text("body") == "counted: 7"
    context.close()


def test_a_press_of_stop_counts_however_long_it_lasts(browser, site):
    GO_ON.clear()
    context = browser.new_context(base_url=site.address, **DESK)
    page = context.new_page()
    page.goto("/slow/pressed")
    page.wait_for_load_state()
    page.hover("#stop")
    page.mouse.down()
    held = page.evaluate_handle("document.querySelector('#stop:active')").as_element()
    for _ in range(3):  # the answer before the last has been dealt with
        with page.expect_response("**/waiting/*"):
            pass
    assert held.evaluate("button => button.isConnected")
    page.mouse.up()
    page.wait_for_selector(".over")
    context.close()


@EVERYONE
def test_waiting_is_sound_for_everyone(visit, paper):
    GO_ON.clear()
    visit.goto("/bench")
    on_paper(visit, paper)
    visit.goto(f"/slow/{paper} {visit.device}")
    for name, shown in (("waiting", "progress"), ("stopped", ".over")):
        visit.wait_for_selector(shown)
        sound(visit, name)
        picture(visit, f"{name}-{paper}")
        if name == "waiting":
            visit.click("#stop")


def test_a_work_nobody_knows_is_told(browser, site):
    context = browser.new_context(base_url=site.address, **DESK)
    page = context.new_page()
    page.goto("/waiting/0123")
    assert "begun since the app was started" in page.inner_text("main")
    context.close()


def test_a_part_that_follows_work_made_needless_is_told_nothing_and_a_page_why(site):
    from httpx2 import Client

    with Client(base_url=site.address) as client:
        assert client.get("/waiting/0123", headers={"X-Part": "1"}).status_code == 204
        assert client.get("/waiting/0123").status_code == 422


HELD = """
import re, sys
from linewright.web import serving
serving._leave_soon(143)
print("told", flush=True)
re.fullmatch("(a+)+b", "a" * 60)  # never lets another thread have its turn, and would take years
"""


def test_told_to_end_the_app_ends_even_while_a_parser_lets_no_other_thread_have_its_turn():
    done = subprocess.run([sys.executable, "-c", HELD], capture_output=True, text=True, check=False)
    assert (done.stdout, done.returncode) == ("told\n", 1)
