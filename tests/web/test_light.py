"""How little a page asks of the ledger and sends over the line: counts and bytes, so that no clock is needed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import PurePosixPath
from urllib.parse import quote, urljoin

import pytest
from fastapi.testclient import TestClient

from ledger.test_held import asked
from linewright.core.nouns.shelf import SessionPlan
from linewright.verbs.shelf import (
    By,
    add,
    add_note,
    add_reading,
    file_sheet,
    keep_station,
    list_shelf,
    open_ledger,
    start_session,
)
from linewright.web import stations
from linewright.web.app import STATIC, create_app
from linewright.web.lean import lean_style
from linewright.web.sessions import Settings
from web.bench_helpers import bench_of, reading_of
from web.test_api import DEMO
from web.test_every_page import WALKED

PORT = 8732
MOST_BYTES = 150_000
"""What a page may weigh before its pictures, with its style and its scripts, nothing packed."""
KEPT_RUN = "/runs/choose?station=%3DHarbour+Ridge+station+%28invented%29&run=two-metre+beam"
"""The heaviest view of a run that is kept: its addresses are longer than those of the invented station."""
MOST_ANSWER = 20_000
"""What an answer to one reading of sixty may weigh, before it is packed."""
MOST_ASKED = 6
"""Questions to the database for the first page, however much is kept."""
SIXTY = "To read: 14.2 MHz, 28.5 MHz, 50.1 MHz, 70.2 MHz, 144.3 MHz, 432.1 MHz; through blue 7+blue 18"
LINE = re.compile(r'name="reading\.(r\w+)" value="([^"]*)"[^>]*aria-label="([^"]*)"')


def client_of(where: str) -> TestClient:
    return TestClient(create_app(Settings(where, PORT)), base_url=f"http://localhost:{PORT}")


@pytest.fixture(params=["file", "server"])
def where(request, tmp_path):
    if request.param == "file":
        return str(tmp_path / "ledger.sqlite")
    from ledger.conftest import fresh

    return fresh(request.getfixturevalue("server"))


def weeks(ledger, many: int) -> None:
    """Keep a session a week of two meters and one piece, the last of them today."""
    for n in range(2):
        add(ledger, "meter", {"name": f"meter {n}", "division": "0.05 W"})
    for week in range(many):
        add(ledger, "piece", {"tag": f"piece {week}", "line": "RG-58C/U", "length": "9 m"})
        by = By(datetime.combine(date.today() - timedelta(weeks=many - week), datetime.min.time(), UTC))
        plan = SessionPlan(f"week {week}", ("meter 0", "meter 1"), (f"piece {week}",))
        key = start_session(ledger, plan, by=by).key
        add_note(ledger, "sheet", key, "To read: 14.2 MHz, 50.1 MHz", by=by)
        for n in range(2):
            for path, watts in (("reference", "10.0"), (f"piece {week}", "8.4")):
                cells = {"meter": f"meter {n}", "frequency": "14.2 MHz", "path": path, "reading": watts}
                add_reading(ledger, key, cells, by=by)


def warm(app: TestClient) -> str:
    """Return the first page once nothing of it is worked out any more."""
    while 'data-follow="/"' in (page := app.get("/").text):
        continue
    return page


def test_the_first_page_asks_the_ledger_a_handful_of_times_however_much_is_kept(where):
    with open_ledger(where) as ledger:
        weeks(ledger, 9)
        list_shelf(ledger)
    with client_of(where) as app:
        page = warm(app)
        assert page.count('href="/shelf/piece/') == 9
        with asked(app.app.state.opened.ledger()) as statements:
            assert app.get("/").text.count('href="/shelf/piece/') == 9
    assert len([s for s in statements if s.startswith("SELECT")]) <= MOST_ASKED, statements


def test_the_first_page_reads_only_what_came_since(where):
    with open_ledger(where) as ledger:
        weeks(ledger, 3)
        list_shelf(ledger)
    with client_of(where) as app:
        warm(app)
        ledger = app.app.state.opened.ledger()
        cells = {"meter": "meter 1", "frequency": "50.1 MHz", "path": "reference", "reading": "9.9"}
        session = next(key for key in re.findall(r'href="/bench/at/([^"]+)"', app.get("/").text))
        add_reading(ledger, session.replace("%20", " "), cells)
        with asked(ledger) as statements:
            assert "5 of 12 lines are read." in app.get("/").text
    whole = [s for s in statements if "FROM item" in s and "WHERE" not in s]
    assert whole == []


@contextmanager
def filled(tmp_path) -> Iterator[tuple[TestClient, str]]:
    """Give an app on a ledger with a bit of everything, and a session of sixty lines, all of them read."""
    where = tmp_path / "ledger.sqlite"
    key = bench_of(where, "Sixty")
    with open_ledger(where) as ledger:
        add_note(ledger, "sheet", key, SIXTY)
        file_sheet(ledger, DEMO / "harbour-ridge.toml", on=date(2026, 4, 2))
        keep_station(ledger, DEMO / "harbour-ridge-station.toml")
        add(ledger, "piece", {"tag": "grey 9", "length": "9 m"})
    with client_of(str(where)) as app:
        page = app.get(f"/bench/at/{quote(key)}").text
        lines = LINE.findall(page)
        assert len(lines) == 60
        told = {"token": token(page)}
        for line, _, words in lines:
            path, meter, band, _ = words.split(", ")
            told |= {f"reading.{line}": reading_of(f"{meter} · {band} · {path}"), f"was.{line}": "0.0.0"}
        assert app.post(f"/bench/read/{quote(key)}", data=told, follow_redirects=False).status_code == 303
        yield app, key


def token(page: str) -> str:
    return re.search(r'name="token" content="([^"]+)"', page)[1]


def weight(app: TestClient, at: str) -> int:
    """Return the bytes of a page, of its style and of its scripts with what they call in, nothing packed."""
    page = app.get(at, headers={"accept-encoding": "identity"})
    assert page.status_code == 200, at
    wanted = re.findall(r'<(?:link rel="stylesheet" href|script[^>]* src)="([^"]+)"', page.text)
    total, seen = len(page.content), set()
    while wanted:
        there = urljoin("/static/", wanted.pop())
        if there in seen:
            continue
        seen.add(there)
        found = app.get(there, headers={"accept-encoding": "identity"})
        assert found.status_code == 200, there
        total += len(found.content)
        if PurePosixPath(there).suffix == ".js":
            wanted += re.findall(r'from "([^"]+)"', found.text)
    return total


def test_every_page_weighs_little_before_its_pictures(tmp_path):
    with filled(tmp_path) as (app, key):
        places = [*WALKED.values(), KEPT_RUN, *(f"/bench/{at}/{quote(key)}" for at in ("at", "said", "room"))]
        heavy = {at: much for at in places if (much := weight(app, at)) > MOST_BYTES}
    assert heavy == {}


def test_a_style_sheet_and_a_script_are_sent_without_what_their_authors_read(tmp_path):
    with client_of(str(tmp_path / "ledger.sqlite")) as app:
        for name, most in (("style.css", 0.86), ("draw.css", 0.86), ("bench.js", 0.88)):
            found = app.get(f"/static/{name}")
            kept = (STATIC / name).read_text(encoding="utf-8")
            assert len(found.content) < most * len(kept.encode()), name
            assert "\n  " not in found.text
            again = app.get(f"/static/{name}", headers={"if-none-match": found.headers["etag"]})
            assert (again.status_code, again.content) == (304, b"")
        assert app.head("/static/style.css").content == b""
        assert app.get("/static/mark.svg").content == (STATIC / "mark.svg").read_bytes()


@pytest.mark.parametrize("sheet", sorted(STATIC.glob("*.css")), ids=lambda sheet: sheet.name)
def test_a_browser_reads_the_same_rules_from_a_lean_style_sheet(browser, sheet):
    page = browser.new_context().new_page()
    rules = """(text) => { const sheet = new CSSStyleSheet(); sheet.replaceSync(text);
      return [...sheet.cssRules].map((rule) => rule.cssText).join("\\n"); }"""
    whole = sheet.read_text(encoding="utf-8")
    read, again = (re.sub(r",\s+", ",", page.evaluate(rules, text)) for text in (whole, lean_style(whole)))
    assert len(read) > 100
    assert again == read
    page.context.close()


def test_an_answer_to_a_reading_holds_what_it_changed_and_no_more(tmp_path):
    """The page says which lines it shows as they are; those are left out, and whatever it shows is what stands."""
    with filled(tmp_path) as (app, key):
        at = f"/bench/at/{quote(key)}"
        page = app.get(at).text
        shown = dict(re.findall(r'id="x-(r\w+)" data-mark="(\w+)"', page))
        assert len(shown) == 60
        heads = {"x-part": "1", "x-linewright-token": token(page), "x-have": ".".join(shown.values())}
        same = app.get(at, headers=heads).text
        assert 'class="beside' not in same
        line, value, _ = LINE.findall(page)[7]
        was = re.search(rf"{line}:([\d.]+)", page)[1]
        told = {f"reading.{line}": f"{float(value) + 0.1:.1f}", f"was.{line}": was}
        answer = app.post(f"/bench/read/{quote(key)}", data=told, headers=heads)
        changed = dict(re.findall(r'id="x-(r\w+)" data-mark="(\w+)"', answer.text))
        assert line in changed
        # What was left out is what the whole page shows now.
        anew = dict(re.findall(r'id="x-(r\w+)" data-mark="(\w+)"', app.get(at).text))
        assert shown | changed == anew
        whole = app.get(at, headers={"x-part": "1"})
        assert len(changed) < 60
        assert len(whole.content) - len(answer.content) > 300 * (60 - len(changed))
        assert len(answer.content) < MOST_ANSWER
        # Sent again, a line that is just so is told all the same: whoever sent it waits for it.
        again = app.post(
            f"/bench/read/{quote(key)}", data=told, headers=heads | {"x-have": ".".join(anew.values())}
        ).text
        assert f'id="x-{line}"' in again


def test_the_list_of_runs_is_worked_out_once(tmp_path, monkeypatch):
    made, plain = [], stations.planned

    def counting(station, *told, **how):
        made.append(station.name)
        return plain(station, *told, **how)

    app = create_app(Settings(str(tmp_path / "ledger.sqlite"), PORT))
    with TestClient(app, base_url=f"http://localhost:{PORT}") as client:
        stations.held.cache_clear()
        monkeypatch.setattr(stations, "planned", counting)
        pages = {re.sub(r'"[\w-]{30,}"', "", client.get("/runs?station=harbour-ridge").text) for _ in range(3)}
    assert len(pages) == 1
    assert len(made) == 2  # the evidence judged, and the plan that is shown
