"""First page and shelf while newer readings are still being judged: nobody waits, and what is old says so."""

from __future__ import annotations

import threading
from types import SimpleNamespace

import pytest
from playwright.sync_api import expect

from linewright.verbs import shelf_evidence
from linewright.verbs.shelf import add_reading, list_shelf, open_ledger
from linewright.verbs.shelf_evidence import once
from linewright.web import bench_cache, standing
from linewright.web.jobs import Work
from linewright.web.standing import NO_OUTLOOK, Outlooks
from web.bench_helpers import bench_of, reading_of
from web.conftest import EVERYONE, on_paper, picture, sound

PATHS = ("reference", "blue 7", "blue 18", "blue 7+blue 18")


@pytest.fixture
def site(tmp_path_factory):
    """Serve a ledger of its own to each test."""
    from web.conftest import site as served

    yield from served.__wrapped__(tmp_path_factory)


@pytest.fixture
def slow_engine(monkeypatch, in_haste):
    """A judge of sheets that takes as long as the test wants."""
    quick, go = shelf_evidence._messages, threading.Event()

    @once(4)
    def slowly(written, known):
        go.wait()
        return quick(written, known)

    monkeypatch.setattr(shelf_evidence, "_messages", slowly)
    monkeypatch.setattr(bench_cache.HeardSession, "of", lambda *_: None)
    yield go
    go.set()


def read_all(ledger, key):
    for path in PATHS:
        where = f"desk meter \u00b7 144.3 MHz \u00b7 {path}"
        told = {"meter": "desk meter", "frequency": "144.3 MHz", "path": path, "reading": f"{reading_of(where)} W"}
        add_reading(ledger, key, told)


NEVER = {"/": "not measured", "/shelf": "blue 7 was never measured"}


def stands(page, path):
    """Return where a page says how blue 7 stands."""
    if path == "/shelf":
        return page.locator("#standing")
    return page.locator(".piecelist li", has=page.get_by_role("link", name="blue 7", exact=True)).locator(".stands")


@pytest.mark.parametrize("path", ["/", "/shelf"])
@EVERYONE
def test_a_page_shows_what_was_known_and_follows_to_what_is_new(visit, site, slow_engine, path, paper):
    key = bench_of(site.ledger, "Autumn", ("desk meter",))
    visit.goto(path)
    on_paper(visit, paper)
    expect(visit.locator("[data-follow]")).to_have_count(0)  # how all stands before the readings is known
    expect(stands(visit, path)).to_contain_text(NEVER[path])
    with open_ledger(site.ledger) as ledger:
        read_all(ledger, key)
    visit.goto(path)
    expect(
        visit.locator("#standing .hint", has_text="Still without the newest readings: blue 18, blue 7.")
    ).to_have_count(1)
    expect(stands(visit, path)).to_contain_text(NEVER[path])
    sound(visit)
    picture(visit, f"standing{path.replace('/', '-')}-{paper}")
    slow_engine.set()
    expect(stands(visit, path)).not_to_contain_text(NEVER[path])
    expect(visit.get_by_text("Still without the newest readings")).to_have_count(0)
    assert visit.get_attribute("#standing", "data-follow") is None
    with open_ledger(site.ledger) as ledger:
        piece = next(p for p in list_shelf(ledger).pieces if p.tag == "blue 7")
    figure = f"{piece.ratio:.2f} ×" if path == "/" else f"{piece.losses[1].loss_db:.1f}"
    assert figure in visit.locator("#standing").inner_text()


class Clock:
    """Time that passes when told, and works that end when told."""

    def __init__(self):
        self.now_s, self.begun = 0.0, []

    def monotonic(self):
        return self.now_s

    def begin(self, name, title, back, job, *, aside):
        assert aside
        self.begun.append(Work(name, title, back))
        return self.begun[-1]

    def ends(self, outlook, took_s):
        self.now_s += took_s
        self.begun[-1]._answer = outlook, took_s
        self.begun[-1]._done.set()


@pytest.fixture
def clock(monkeypatch):
    found = Clock()
    monkeypatch.setattr(standing, "time", found)
    return found


def glanced(outlooks, clock, number):
    return outlooks.glance(SimpleNamespace(where="x"), clock, SimpleNamespace(pieces=()), 0.0, number)


def test_one_outlook_is_worked_out_at_a_time_however_much_is_written(clock):
    outlooks = Outlooks()
    for number in (1, 2, 3):
        assert glanced(outlooks, clock, number) == (NO_OUTLOOK, False)
    assert len(clock.begun) == 1
    clock.ends("first", 0.5)
    assert glanced(outlooks, clock, 3) == ("first", False)  # of the first change: the third is begun
    clock.ends("third", 0.5)
    assert glanced(outlooks, clock, 3) == ("third", True)
    assert len(clock.begun) == 2


def test_after_a_long_outlook_pages_and_readings_have_the_machine_for_four_times_as_long(clock, in_haste):
    outlooks = Outlooks()
    glanced(outlooks, clock, 1)
    clock.ends("first", 10.0)
    assert glanced(outlooks, clock, 2) == ("first", False)
    clock.now_s += 39.0
    glanced(outlooks, clock, 3)
    assert len(clock.begun) == 1
    clock.now_s += 2.0
    glanced(outlooks, clock, 3)
    assert len(clock.begun) == 2
