"""A piece's page hands out its label; a label or report that takes long is waited for, and is of one moment."""

from __future__ import annotations

import html
import io
import re
import threading
from urllib.parse import quote

import pypdf
import pytest
from fastapi.testclient import TestClient

from linewright.store.standing import kept_now
from linewright.verbs.shelf import add, change, open_ledger
from linewright.web import jobs, standing
from linewright.web.app import create_app
from linewright.web.pages import files_out, shelf
from linewright.web.sessions import Settings
from web.conftest import DESK

PORT = 8080
TAG = "blue 7/é #1"


@pytest.fixture
def client(tmp_path):
    where = str(tmp_path / "ledger.db")
    with open_ledger(where) as found:
        add(found, "piece", {"tag": TAG, "line": "RG-58C/U", "length": "7.2 m", "stock": "drum"})
    with TestClient(create_app(Settings(where, PORT)), base_url=f"http://localhost:{PORT}") as found:
        yield found


def test_the_page_of_a_piece_leads_to_its_label(client):
    page = client.get(f"/shelf/piece/{quote(TAG)}").text
    at = page.index('href="/label/piece/')
    href = page[at + 6 : page.index('"', at + 6)]
    answer = client.get(href)
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    words = pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert TAG in words
    assert "not measured" in words


@pytest.mark.parametrize(("form", "start"), [("svg", b"<svg"), ("png", b"\x89PNG")])
def test_a_label_comes_as_a_picture(client, form, start):
    answer = client.get(f"/label/piece/{quote(TAG)}", params={"form": form, "qr": True})
    assert answer.content.startswith(start)
    assert answer.headers["content-disposition"].endswith(f"label.{form}")


@pytest.mark.parametrize(("path", "status"), [("/label/piece/nobody", 422), (f"/label/piece/{quote(TAG)}?size=1", 422)])
def test_what_cannot_be_set_is_answered_with_words(client, path, status):
    answer = client.get(path)
    assert answer.status_code == status
    assert "must" in answer.text or "nobody" in answer.text


# What takes long

REPORT = f"/report/piece/{quote(TAG)}"
BROWSER = {"accept": "text/html,application/xhtml+xml,*/*;q=0.8"}


@pytest.fixture
def go(client, monkeypatch):
    """Let labels and reports take as long as the test wants, and nobody wait for them."""
    found = threading.Event()
    found.begun = threading.Event()

    def slowly(maker):
        def made(ledger, key, asked, *, progress):
            kept_now(ledger)  # the moment
            progress(0.5, "judging what was measured")
            found.begun.set()
            while not found.wait(0.01):
                progress(0.5, "judging what was measured")
            return maker(ledger, key, asked, progress=progress)

        return made

    monkeypatch.setattr(files_out, "MAKERS", {what: slowly(maker) for what, maker in files_out.MAKERS.items()})
    monkeypatch.setattr(files_out, "SCRIPT_S", 0.0)
    monkeypatch.setattr(shelf, "LONG_S", 0.0)
    monkeypatch.setattr(jobs, "PATIENCE_S", 0.0)
    yield found
    found.set()


def piece_is(client, exposure):
    with open_ledger(client.app.state.settings.ledger) as found:
        change(found, "piece", TAG, {"exposure": exposure})


def waits(client, address):
    """Ask as a browser does; return where one waits."""
    answer = client.get(address, headers=BROWSER, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/waiting/")
    return answer.headers["location"]


def taken(client, waiting):
    """Wait as a browser does, and take the file."""
    while "data-follow" in (page := client.get(waiting, headers=BROWSER).text):
        continue
    at = re.search(r'id="take" href="([^"]*)"', page)[1]
    return client.get(html.unescape(at), headers=BROWSER, follow_redirects=False)


def test_whoever_waits_for_a_file_is_offered_it_and_it_is_of_one_moment(client, go):
    waiting = waits(client, f"{REPORT}?form=html")
    go.begun.wait()
    assert "judging what was measured" in client.get(waiting, headers=BROWSER).text
    piece_is(client, "outdoors")
    go.set()
    answer = taken(client, waiting)
    assert answer.headers["content-disposition"].endswith(".html")
    assert "It is kept outdoors" not in answer.text
    page = client.get(waiting, headers=BROWSER).text
    assert re.search(r"It is of what was kept at \d\d:\d\d:\d\d\. What came since will be in the next\.", page)
    assert f'href="/shelf/piece/{quote(TAG)}">Back' in page
    assert taken(client, waiting).content == answer.content
    assert "outdoors" in taken(client, waits(client, f"{REPORT}?form=html&on=")).text


def test_a_page_waits_two_seconds_for_few_sheets_and_a_moment_for_many(monkeypatch):
    monkeypatch.setattr(jobs, "PATIENCE_S", 0.6)
    assert [shelf.patience_s(sheets) for sheets in (0, 4, 5)] == [2.0, 2.0, 0.6]


def test_several_wait_for_one_work_and_each_is_offered_the_file_asked_for(client, go):
    page, paper, label = (waits(client, at) for at in (f"{REPORT}?form=html", REPORT, f"/label/piece/{quote(TAG)}"))
    assert page.partition("?")[0] == paper.partition("?")[0] != label.partition("?")[0]
    go.set()
    assert taken(client, page).content.startswith(b"<!doctype html>")
    assert taken(client, paper).content.startswith(b"%PDF")
    assert taken(client, label).content.startswith(b"%PDF")


def test_a_program_is_told_when_to_ask_again_and_then_has_the_file(client, go):
    answer = client.get(REPORT, params={"form": "html"})
    assert (answer.status_code, answer.headers["retry-after"]) == (503, str(files_out.AGAIN_S))
    assert answer.headers["content-type"].startswith("text/plain")
    again = re.search(r"Ask again for (\S+) in", answer.text)[1]
    assert client.get(again).status_code == 503
    go.begun.wait()
    piece_is(client, "outdoors")
    go.set()
    while (answer := client.get(again)).status_code == 503:
        continue
    assert answer.status_code == 200
    assert "outdoors" not in answer.text


def test_a_file_that_was_forgotten_is_made_anew(client, go, monkeypatch):
    waiting = waits(client, f"{REPORT}?form=html")
    go.begun.wait()
    piece_is(client, "outdoors")
    go.set()
    assert "outdoors" not in taken(client, waiting).text
    monkeypatch.setattr(jobs, "HELD_S", -1.0)
    again = client.get(f"{REPORT}?form=html&made=4", headers=BROWSER)
    assert "/waiting/" in str(again.url)


def test_work_on_a_file_can_be_stopped_and_begun_again_with_the_same_address(client, go):
    waiting = waits(client, f"{REPORT}?form=html")
    page = client.get(waiting, headers=BROWSER).text
    token = page.split('name="token" content="')[1].split('"')[0]
    stop = html.unescape(re.search(r'action="(/waiting/[^"]*)"', page)[1])
    client.post(stop, data={"token": token}, headers=BROWSER)
    while "data-follow" in (over := client.get(waiting, headers=BROWSER).text):
        continue
    assert "stopped before it was done" in over
    go.set()
    again = html.unescape(re.search(r'href="([^"]*)">Begin it again', over)[1])
    assert taken(client, waits(client, again)).content.startswith(b"<!doctype html>")


def test_an_address_that_is_not_the_app_s_own_is_offered_to_nobody(client, go):
    waiting = waits(client, REPORT).partition("?")[0]
    page = client.get(f"{waiting}?file=https://elsewhere.invalid/&by=0123", headers=BROWSER).text
    assert "elsewhere" not in page


def test_whoever_waits_for_a_page_of_a_piece_has_it_though_it_is_read_on(client, go, monkeypatch):
    plain = standing.history_of

    def slowly(*asked, progress):
        kept_now(asked[0])  # the moment
        go.begun.set()
        while not go.wait(0.01):
            progress(0.5, "judging what was measured")
        return plain(*asked, progress=progress)

    monkeypatch.setattr(standing, "history_of", slowly)
    waiting = waits(client, f"/shelf/piece/{quote(TAG)}")
    go.begun.wait()
    with open_ledger(client.app.state.settings.ledger) as found:
        add(found, "piece", {"tag": "red 5", "length": "5 m"})
    go.set()
    while "/waiting/" in str((answer := client.get(waiting, headers=BROWSER)).url):
        continue
    assert re.search(r"It is of what was kept at \d\d:\d\d:\d\d", answer.text)
    while follow := re.search(r'id="ladder" data-follow="([^"]*)"', answer.text):
        answer = client.get(html.unescape(follow[1]), headers=BROWSER)
        assert answer.history == []
    assert "It is of what was kept" not in client.get(f"/shelf/piece/{quote(TAG)}").text


def test_a_browser_waits_takes_the_file_and_goes_back(browser, site, monkeypatch):
    with open_ledger(site.ledger) as found:
        add(found, "piece", {"tag": "own 1", "line": "RG-58C/U", "length": "5 m", "stock": "drum"})
    let_go, plain = threading.Event(), files_out.MAKERS

    def slowly(ledger, key, asked, *, progress):
        while not let_go.wait(0.01):
            progress(0.5, "judging what was measured")
        return plain["report", "piece"](ledger, key, asked, progress=progress)

    context = browser.new_context(base_url=site.address, **DESK)
    page = context.new_page()
    page.goto("/shelf/piece/own%201")
    monkeypatch.setattr(files_out, "MAKERS", {**plain, ("report", "piece"): slowly})
    monkeypatch.setattr(jobs, "PATIENCE_S", 0.05)
    monkeypatch.setattr(shelf, "LONG_S", 0.05)
    page.get_by_role("link", name="Report with workings", exact=True).click()
    page.wait_for_selector("progress")
    let_go.set()
    with page.expect_download() as coming:
        page.click("#take")
    assert coming.value.path().read_bytes().startswith(b"%PDF")
    monkeypatch.undo()
    page.get_by_role("link", name="Back", exact=True).click()
    page.wait_for_url("**/shelf/piece/own%201")
    context.close()
