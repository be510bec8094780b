"""First page and shelf while newer readings are still being judged: nobody waits, and what is old says so."""

from __future__ import annotations

import threading

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from linewright.verbs import shelf_evidence
from linewright.verbs.shelf import add_reading, list_shelf, open_ledger
from linewright.verbs.shelf_evidence import once
from web.bench_helpers import bench_of, reading_of
from web.conftest import picture

PATHS = ("reference", "blue 7", "blue 18", "blue 7+blue 18")


@pytest.fixture
def site(tmp_path_factory):
    """Serve a ledger of its own to each test."""
    from web.conftest import site as served

    yield from served.__wrapped__(tmp_path_factory)


@pytest.fixture
def slow_engine(monkeypatch):
    """A judge of sheets that takes as long as the test wants."""
    quick, go = shelf_evidence._messages, threading.Event()

    @once(4)
    def slowly(written, known):
        go.wait(30)
        return quick(written, known)

    monkeypatch.setattr(shelf_evidence, "_messages", slowly)
    yield go
    go.set()


def read_all(ledger, key):
    for path in PATHS:
        where = f"desk meter \u00b7 144.3 MHz \u00b7 {path}"
        told = {"meter": "desk meter", "frequency": "144.3 MHz", "path": path, "reading": f"{reading_of(where)} W"}
        add_reading(ledger, key, told)


@pytest.mark.parametrize("path", ["/", "/shelf"])
@pytest.mark.parametrize("paper", ["light", "dark"])
def test_a_page_shows_what_was_known_and_follows_to_what_is_new(visit, site, slow_engine, path, paper):
    key = bench_of(site.ledger, "Autumn", ("desk meter",))
    visit.goto(path)
    visit.select_option("#paper", paper)
    visit.click("text=Set")
    expect(visit.get_by_text("blue 7 was never measured")).to_have_count(1)
    with open_ledger(site.ledger) as ledger:
        read_all(ledger, key)
    visit.goto(path)
    expect(visit.locator("#standing .hint", has_text="As before the newest readings: blue 18, blue 7.")).to_have_count(
        1
    )
    expect(visit.get_by_text("blue 7 was never measured")).to_have_count(1)
    visit.wait_for_load_state()  # the style sheet too
    found = Axe().run(visit)
    assert not found.response["violations"], found.generate_report()
    picture(visit, f"standing{path.replace('/', '-')}-{paper}")
    slow_engine.set()
    expect(visit.get_by_text("blue 7 loses")).to_have_count(1)
    expect(visit.get_by_text("As before the newest readings")).to_have_count(0)
    assert visit.get_attribute("#standing", "data-follow") is None
    with open_ledger(site.ledger) as ledger:
        loss = next(p for p in list_shelf(ledger).pieces if p.tag == "blue 7").losses[1].loss_db
    assert f"{loss:.1f}" in visit.locator("#standing").inner_text()
