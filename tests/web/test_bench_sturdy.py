"""The bench when the station is killed in the middle, and when a sheet takes long to judge."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from urllib.parse import quote

import httpx2 as httpx
import pytest
from playwright.sync_api import expect

from linewright.verbs.shelf import open_ledger, readings_of
from web.bench_helpers import bench_of, read, reading_of
from web.conftest import DESK, PHONE, free_port

BEFORE = 6
"""So many readings are there before the station is killed."""


def lines(page):
    return page.locator("[data-reading]")


def settled(page):
    page.wait_for_function("() => ![...document.querySelectorAll('.state')].some(s => s.textContent === '…')")


class Station:
    """A station in a process of its own, which can be killed."""

    def __init__(self, ledger):
        self.port, self.ledger = free_port(), ledger
        self.address = f"http://localhost:{self.port}"
        self.start()

    def start(self):
        text = (
            "from linewright.web.app import create_app; from linewright.web.sessions import Settings; import uvicorn;"
            f"uvicorn.run(create_app(Settings({str(self.ledger)!r}, {self.port})), port={self.port}, log_level='error')"
        )
        self.process = subprocess.Popen([sys.executable, "-c", text])
        while self.process.poll() is None:
            try:
                httpx.get(self.address)
                return
            except httpx.TransportError:
                time.sleep(0.05)
        raise AssertionError("the station did not start")

    def kill(self):
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait()


@pytest.fixture
def station(tmp_path):
    found = Station(tmp_path / "ledger.db")
    yield found
    found.kill()


@pytest.mark.parametrize("device", [pytest.param(PHONE, marks=pytest.mark.slow), DESK], ids=["phone", "desk"])
def test_a_station_killed_between_keystrokes_loses_no_reading(browser, station, device):
    key = bench_of(station.ledger, "Killed", ("desk meter",))
    read(station.ledger, key, "desk meter", most=BEFORE)
    context = browser.new_context(base_url=station.address, **device)
    page = context.new_page()
    page.goto(f"/bench/at/{quote(key)}")
    many = lines(page).count()
    typed = [lines(page).nth(i).input_value() for i in range(BEFORE)]
    page.wait_for_selector("body.scripted")
    lines(page).nth(BEFORE).focus()
    for i in range(BEFORE, many):
        where = page.evaluate("document.activeElement.dataset.where")
        value = reading_of(where)
        half = len(value) // 2
        page.keyboard.type(value[:half])
        if i in (7, 11):
            station.kill()
        page.keyboard.type(value[half:])
        page.keyboard.press("Enter")
        typed.append(value)
        if i in (9, 13):
            expect(page.locator("#said")).to_contain_text("kept in this browser")
            station.start()
    settled(page)
    with open_ledger(station.ledger) as ledger:
        kept = readings_of(ledger, key)
    assert len(kept) == many
    assert [lines(page).nth(i).input_value() for i in range(many)] == typed
    assert sorted(r.cells["reading"] for r in kept) == sorted(typed)
    expect(page.locator("#verdicts .lead")).to_have_count(2)
    assert page.evaluate("localStorage.length") == 0
    context.close()


def test_a_page_loaded_anew_after_the_kill_sends_what_it_held(browser, station):
    key = bench_of(station.ledger, "Reloaded", ("desk meter",))
    context = browser.new_context(base_url=station.address, **DESK)
    page = context.new_page()
    page.goto(f"/bench/at/{quote(key)}")
    lines(page).first.fill("9.3")
    lines(page).first.press("Enter")
    settled(page)
    station.kill()
    lines(page).nth(1).fill("8.1")
    lines(page).nth(1).press("Enter")
    expect(page.locator("#said")).to_contain_text("kept in this browser")
    station.start()
    page.reload()
    settled(page)
    with open_ledger(station.ledger) as ledger:
        assert [r.cells["reading"] for r in readings_of(ledger, key)] == ["9.3", "8.1"]
    assert [lines(page).nth(i).input_value() for i in range(2)] == ["9.3", "8.1"]
    context.close()


@pytest.fixture
def slow_engine(monkeypatch, in_haste):
    """An engine that takes as long as the test wants, and says how far it is."""
    from linewright.verbs import prove

    quick, go = prove.prove_and_tell, threading.Event()

    def slowly(sheet, *, progress=None, **told):
        step = 1
        while not go.wait(0.05):
            step += 1
            progress(1 - 1 / step, "refitting")  # until it is let go on, or stopped
        return quick(sheet, **told)

    monkeypatch.setattr(prove, "prove_and_tell", slowly)
    yield go
    go.set()


def test_what_takes_long_shows_how_far_it_is_and_comes_in_place(visit, site, slow_engine):
    key = bench_of(site.ledger, f"Long {visit.device}", ("desk meter",))
    visit.goto(f"/bench/at/{quote(key)}")
    for i, value in enumerate(("9.3", "8.1", "6.5")):
        lines(visit).nth(i).fill(value)
        lines(visit).nth(i).press("Enter")
    settled(visit)
    far = visit.locator("#verdicts progress")
    expect(far).to_be_visible()
    first = float(far.get_attribute("value") or 0)
    visit.wait_for_function(f"() => document.querySelector('#verdicts progress').value > {first}")
    with open_ledger(site.ledger) as ledger:
        assert len(readings_of(ledger, key)) == 3
    slow_engine.set()
    expect(visit.locator("#verdicts .lead")).to_have_count(2)
    assert f"/bench/at/{quote(key)}" in visit.url


@pytest.mark.parametrize("visit", ["desk", pytest.param("phone", marks=pytest.mark.slow)], indirect=True)
def test_what_takes_long_is_stopped_and_begun_again(visit, site, slow_engine):
    key = bench_of(site.ledger, f"Stopped {visit.device}", ("desk meter",))
    visit.goto(f"/bench/at/{quote(key)}")
    lines(visit).nth(0).fill("9.3")
    lines(visit).nth(1).fill("8.1")
    lines(visit).nth(1).press("Enter")
    settled(visit)
    visit.click("#stop")
    expect(visit.locator("#verdicts")).to_contain_text("Stopped before it was worked out")
    visit.reload()
    expect(visit.locator("#verdicts")).to_contain_text("Stopped before it was worked out")
    slow_engine.set()
    visit.click("text=Work it out")
    visit.wait_for_url("**/bench/said/**")
    expect(visit.locator("main")).to_contain_text("blue 7")
