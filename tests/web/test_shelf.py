"""The shelf in a real browser: kept, changed, put away, brought back, taken out whole and put in again."""

import re
import zipfile
from datetime import date
from importlib.resources import files
from urllib.parse import quote

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from linewright.verbs.examples import demo_file
from linewright.verbs.shelf import add, all_kept, change, file_sheet, kept, list_shelf, open_ledger
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from web.conftest import DESK_FIRST, EVERYONE, fits, on_paper, picture, sound

SHEET = files("linewright.verbs.demo_data")
#: An invented line through: 20.4 m, half as much again lost as new; poorly matched plugs left out.
SWEEP = "\n".join(
    ["! invented", "# MHZ S DB R 50"]
    + [f"{f} -38 0 {x:.3f} {a:.1f} {x:.3f} {a:.1f} -38 0"
       for f in range(5, 451, 5)
       for x, a in [(-0.13 * f**0.5 - 0.002 * f, (-f * 37.2 + 180) % 360 - 180)]]
).encode()  # fmt: skip
SHORT = b"# MHZ S DB R 50\n10 -35 10 -0.6 -150 -0.6 -150 -35 10\n50 -33 60 -1.4 -30 -1.4 -30 -33 60\n"


@pytest.fixture
def site(tmp_path_factory):
    """Serve a ledger of its own to each test."""
    from web.conftest import site as served

    yield from served.__wrapped__(tmp_path_factory)


@pytest.fixture
def filed(visit, site):
    """Return a page of a station that has the invented sheet."""
    with open_ledger(site.ledger) as ledger:
        file_sheet(ledger, demo_file("harbour-ridge.toml"), on=date(2026, 4, 2))
    return visit


def test_a_filed_sheet_fills_the_shelf(visit, site):
    visit.goto("/shelf/file")
    names = ("harbour-ridge.csv", "harbour-ridge.toml")
    sent = [{"name": n, "mimeType": "text/plain", "buffer": SHEET.joinpath(n).read_bytes()} for n in names]
    visit.set_input_files("#sheet-files", sent)
    visit.fill("#sheet-on", "2026-04-02")
    visit.click("text=File this sheet")
    visit.wait_for_url("**/bench/at/2026-04-02**")
    visit.goto("/shelf")
    assert visit.locator(".shelf-list h3 a").all_inner_texts() == ["black 20", "blue 18", "blue 7"]
    # Made with 2.070 dB at 144.3 MHz (the answer sheet), 1.47 times a new one.
    assert re.search(r"1\.[34]\d times what RG-58C/U should", visit.inner_text(".shelf-list li:last-child"))
    expect(visit.locator(".leaf h3")).to_have_count(3)
    visit.click("text=blue 18")
    visit.wait_for_url("**/shelf/piece/**")
    expect(visit.locator(".ladder tbody tr")).to_have_count(2)
    visit.locator("#against").scroll_into_view_if_needed()
    expect(visit.locator(".drawn.live")).to_have_count(2)
    expect(visit.locator(".ladder .bar .new")).to_have_count(2)  # each bar beside what a new one loses
    visit.click("a.figure[href='#loss-at-14200000']")
    expect(visit.locator("#loss-at-14200000 .formula")).to_be_visible()
    assert "length · (conductor part · G" in visit.inner_text("#loss-at-14200000")
    picture(visit, "shelf-piece")


@DESK_FIRST
def test_a_piece_is_added_changed_undone_and_noted(visit, site):
    visit.goto("/shelf/new/piece")
    visit.fill("#tag", "grey 12")
    visit.fill("#line", "RG-213/U")
    token = visit.get_attribute("meta[name=token]", "content")
    none = visit.request.post("/shelf/keep/piece", form={"token": token, "tag": "grey 12", "length": "12 yards"})
    assert (none.status, "12 yards" in none.text()) == (422, True)
    visit.fill("#length", "12,4")
    visit.click("text=Keep this piece")
    visit.wait_for_url("**/shelf/piece/grey**")
    assert "was never measured" in visit.inner_text(".verdict")
    visit.click("text=Change it")
    visit.fill("#length", "12 m")
    visit.select_option("#exposure", "outdoors")
    visit.click("text=Keep this piece")
    visit.wait_for_url("**/shelf/piece/grey**")
    assert "12 m of RG-213/U, outdoors" in visit.inner_text("main")
    visit.fill("#text", "a tight bend at the window")
    visit.click("text=Write it down")
    visit.get_by_text("a tight bend at the window").wait_for()
    visit.locator("button:has-text('Undo')").click()
    visit.get_by_text("12.4 m of RG-213/U").wait_for()
    with open_ledger(site.ledger) as ledger:
        assert kept(ledger, "piece", "grey 12").body["length"] == "12,4 m"


@pytest.fixture
def client(tmp_path):
    """Return a visitor without a browser, and the ledger of the station."""
    where = tmp_path / "ledger.sqlite"
    return TestClient(create_app(Settings(str(where))), base_url="http://localhost:8731"), where


def hidden(page, name):
    """Return what a form of a page sends along."""
    return re.search(f'name="{name}" (?:value|content)="([^"]*)"', page.text)[1]


def test_what_was_changed_on_another_day_is_undone_from_the_shelf_alone(client, monkeypatch):
    visitor, where = client
    with open_ledger(where) as ledger:
        add(ledger, "piece", {"tag": "grey 12", "line": "rg213", "length": "12 m"})
    page = visitor.get("/shelf/piece/grey 12").text
    assert "Undo adding it" in page
    assert "rg213" not in page  # its type is written as the catalogue has it
    monkeypatch.setattr("linewright.web.pages.shelf.today", lambda: "2031-05-01")
    assert "Undo" not in visitor.get("/shelf/piece/grey 12").text
    assert "piece grey 12 added" in visitor.get("/shelf").text


def test_of_two_who_change_a_piece_the_later_sees_both(client):
    visitor, where = client
    with open_ledger(where) as ledger:
        add(ledger, "piece", {"tag": "grey 12", "line": "RG-213/U", "length": "12 m"})
        page = visitor.get("/shelf/change/piece/grey 12")
        change(ledger, "piece", "grey 12", {"length": "11 m"})
    told = {"token": hidden(page, "token"), "version": hidden(page, "version"), "key": "grey 12", "tag": "grey 12"}
    answer = visitor.post("/shelf/keep/piece", data={**told, "line": "RG-213/U", "length": "10 m"})
    assert answer.status_code == 409
    assert "<td>10 m</td><td>11 m</td>" in answer.text
    with open_ledger(where) as ledger:
        assert kept(ledger, "piece", "grey 12").body["length"] == "11 m"


@DESK_FIRST
def test_what_is_put_away_comes_back_with_its_evidence(filed, site):
    filed.goto("/shelf/piece/blue%207")
    before = filed.inner_text(".verdict")
    filed.click("text=Put it away")
    filed.get_by_text("blue 7 is put away").wait_for()
    assert "blue 7" not in filed.locator(".shelf-list h3 a").all_inner_texts()
    filed.locator("#away form", has_text="blue 7").get_by_role("button").click()
    filed.get_by_text("blue 7 is back on the shelf").wait_for()
    filed.goto("/shelf/piece/blue%207")
    assert filed.inner_text(".verdict") == before


def test_a_sweep_is_filed_with_its_piece(filed, site):
    filed.goto("/shelf/file")
    filed.select_option("#sweep-piece", "black 20")
    filed.set_input_files("#sweep-files", {"name": "twenty.s2p", "mimeType": "text/plain", "buffer": SWEEP})
    filed.click("text=File this sweep")
    filed.wait_for_url("**/shelf/piece/black**")
    expect(filed.locator(".ladder tbody tr")).to_have_count(3)
    assert "twenty.s2p, through it" in filed.inner_text(".ladder")


def test_a_sweep_that_says_nothing_of_a_cable_spoils_no_page(client):
    visitor, where = client
    with open_ledger(where) as ledger:
        file_sheet(ledger, demo_file("harbour-ridge.toml"))
    told = {"token": hidden(visitor.get("/shelf/file"), "token"), "piece": "black 20", "far_end": "through"}
    answer = visitor.post("/shelf/import/sweep", data=told, files={"files": ("few.s2p", SHORT)})
    assert (answer.status_code, "needs 16 points or more" in answer.text) == (422, True)
    for path in ("/", "/shelf", "/shelf/piece/black 20"):
        assert visitor.get(path).status_code == 200


def test_a_file_that_is_no_sheet_is_refused_in_words(client):
    visitor, _ = client
    told = {"token": hidden(visitor.get("/shelf/file"), "token")}
    answer = visitor.post("/shelf/import/sheet", data=told, files={"files": ("a.toml", b"nonsense [")})
    assert answer.status_code == 422
    assert "Nothing was saved." in answer.text


@DESK_FIRST
def test_the_whole_ledger_goes_out_and_into_an_empty_one(filed, site, tmp_path_factory, browser):
    from web.conftest import site as served

    with filed.expect_download() as waited:
        filed.goto("/shelf")
        filed.click("text=Export everything")
    path = tmp_path_factory.mktemp("out") / "whole.zip"
    waited.value.save_as(path)
    assert zipfile.ZipFile(path).testzip() is None
    other = served.__wrapped__(tmp_path_factory)
    empty = next(other)
    page = browser.new_context(base_url=empty.address).new_page()
    page.goto("/shelf/file")
    page.set_input_files("#whole-file", path)
    page.click("text=Import it")
    page.get_by_text("things came in").wait_for()
    with open_ledger(site.ledger) as one, open_ledger(empty.ledger) as two:
        assert list_shelf(one).to_dict() == list_shelf(two).to_dict()
        assert all_kept(one, "sheet") == all_kept(two, "sheet")
    again = page.request.get("/shelf/export").body()
    assert again == path.read_bytes()
    page.context.close()
    next(other, None)


@EVERYONE
def test_pages_of_the_shelf_are_sound_for_everyone(filed, paper):
    filed.goto("/shelf")
    on_paper(filed, paper)
    for path in ("/shelf/new/piece", "/shelf/change/meter/card%20meter"):  # test_every_page looks at the others
        filed.goto(path)
        sound(filed, path)
        picture(filed, f"shelf{quote(path[6:].replace('/', '-'))}-{paper}")


@pytest.mark.parametrize("kind", ["piece", "meter"])
def test_a_form_fits_a_page_magnified_four_times(browser, site, kind):
    context = browser.new_context(base_url=site.address, viewport={"width": 320, "height": 256})
    page = context.new_page()
    page.goto(f"/shelf/new/{kind}")
    if kind == "meter":
        page.select_option("#scale", "card")
    assert fits(page)
    context.close()


def test_every_part_of_a_date_shows_that_it_has_the_focus(browser, site):
    context = browser.new_context(base_url=site.address)
    page = context.new_page()
    page.goto("/shelf/file")
    page.focus("#sheet-on")
    for _ in range(4):  # day, month, year, the calendar
        assert page.evaluate("document.activeElement.id") == "sheet-on"
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
        page.keyboard.press("Tab")
    context.close()
