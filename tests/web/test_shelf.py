"""The shelf in a real browser: kept, changed, put away, brought back, taken out whole and put in again."""

import re
import zipfile
from importlib.resources import files
from urllib.parse import quote

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from linewright.verbs.shelf import all_kept, change, kept, list_shelf, open_ledger
from web.conftest import EVERYONE, picture

SHEET = files("linewright.verbs.demo_data")
#: An invented line through: 20.4 m, half as much again lost as new; poorly matched plugs left out.
SWEEP = "\n".join(
    ["! invented", "# MHZ S DB R 50"]
    + [f"{f} -38 0 {x:.3f} {a:.1f} {x:.3f} {a:.1f} -38 0"
       for f in range(5, 451, 5)
       for x, a in [(-0.13 * f**0.5 - 0.002 * f, (-f * 37.2 + 180) % 360 - 180)]]
).encode()  # fmt: skip
SHORT = b"# MHZ S DB R 50\n10 -35 10 -0.6 -150 -0.6 -150 -35 10\n50 -33 60 -1.4 -30 -1.4 -30 -33 60\n"


def fits(page):
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


@pytest.fixture
def site(tmp_path_factory):
    """Serve a ledger of its own to each test."""
    from web.conftest import site as served

    yield from served.__wrapped__(tmp_path_factory)


@pytest.fixture
def filed(visit, site):
    """File the invented sheet as a person does."""
    visit.goto("/shelf/file")
    names = ("harbour-ridge.csv", "harbour-ridge.toml")
    sent = [{"name": n, "mimeType": "text/plain", "buffer": SHEET.joinpath(n).read_bytes()} for n in names]
    visit.set_input_files("#sheet-files", sent)
    visit.fill("#sheet-on", "2026-04-02")
    visit.click("text=File this sheet")
    visit.wait_for_url("**/bench/at/2026-04-02**")
    return visit


def test_a_filed_sheet_fills_the_shelf(filed, site):
    filed.goto("/shelf")
    assert filed.locator(".shelf-list h3 a").all_inner_texts() == ["black 20", "blue 18", "blue 7"]
    # Made with 2.070 dB at 144.3 MHz (the answer sheet), 1.47 times a new one.
    assert re.search(r"1\.4\d times what RG-58C/U should", filed.inner_text(".shelf-list li:last-child"))
    expect(filed.locator(".leaf h3")).to_have_count(3)
    filed.click("text=blue 18")
    filed.wait_for_url("**/shelf/piece/**")
    filed.wait_for_load_state("networkidle")
    expect(filed.locator(".ladder tbody tr")).to_have_count(2)
    drawn = filed.locator("img.chart")
    drawn.scroll_into_view_if_needed()
    filed.wait_for_function("() => document.querySelector('img.chart').naturalWidth > 100")
    first = filed.locator("#loss-1")
    first.locator("summary").click()
    assert "length · (conductor part · G" in first.inner_text()
    picture(filed, "shelf-piece")


def test_a_piece_is_added_changed_undone_and_noted(visit, site):
    visit.goto("/shelf/new/piece")
    visit.fill("#tag", "grey 12")
    visit.fill("#line", "RG-213/U")
    token = visit.get_attribute("meta[name=token]", "content")
    bare = visit.request.post("/shelf/keep/piece", form={"token": token, "tag": "grey 12", "length": "12"})
    assert (bare.status, "needs a unit" in bare.text()) == (422, True)
    visit.fill("#length", "12,4 m")
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
    visit.locator("button:has-text('Undo:')").click()
    visit.get_by_text("12.4 m of RG-213/U").wait_for()
    with open_ledger(site.ledger) as ledger:
        assert kept(ledger, "piece", "grey 12").body["length"] == "12,4 m"


def test_of_two_who_change_a_piece_the_later_sees_both(visit, site):
    with open_ledger(site.ledger) as ledger:
        from linewright.verbs.shelf import add

        add(ledger, "piece", {"tag": "grey 12", "line": "RG-213/U", "length": "12 m"})
        visit.goto("/shelf/change/piece/grey%2012")
        change(ledger, "piece", "grey 12", {"length": "11 m"})
    visit.fill("#length", "10 m")
    answer = visit.request.post(
        "/shelf/keep/piece",
        form={"token": visit.get_attribute("meta[name=token]", "content"), "key": "grey 12", "tag": "grey 12",
              "version": visit.get_attribute("[name=version]", "value"), "line": "RG-213/U", "length": "10 m"},
    )  # fmt: skip
    assert answer.status == 409
    assert "<td>10 m</td><td>11 m</td>" in answer.text()
    with open_ledger(site.ledger) as ledger:
        assert kept(ledger, "piece", "grey 12").body["length"] == "11 m"


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


def test_a_sweep_that_says_nothing_of_a_cable_spoils_no_page(filed, site):
    token = filed.get_attribute("meta[name=token]", "content")
    sent = {"name": "few.s2p", "mimeType": "text/plain", "buffer": SHORT}
    told = {"token": token, "piece": "black 20", "far_end": "through", "files": sent}
    answer = filed.request.post("/shelf/import/sweep", multipart=told)
    assert (answer.status, "needs 16 points or more" in answer.text()) == (422, True)
    for path in ("/", "/shelf", "/shelf/piece/black%2020"):
        assert filed.request.get(path).status == 200


def test_a_file_that_is_no_sheet_is_refused_in_words(visit, site):
    visit.goto("/shelf/file")
    token = visit.get_attribute("meta[name=token]", "content")
    answer = visit.request.post(
        "/shelf/import/sheet",
        multipart={"token": token, "files": {"name": "a.toml", "mimeType": "text/plain", "buffer": b"nonsense ["}},
    )
    assert answer.status == 422
    assert "Nothing was kept." in answer.text()


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
    filed.select_option("#paper", paper)
    filed.click("text=Set")
    paths = ("/shelf", "/shelf/piece/blue%207", "/shelf/new/piece", "/shelf/change/meter/card%20meter", "/shelf/file")
    for path in paths:
        filed.goto(path)
        filed.wait_for_load_state("networkidle")
        filed.wait_for_load_state()  # the style sheet too
        found = Axe().run(filed)
        assert not found.response["violations"], found.generate_report()
        assert fits(filed)
        picture(filed, f"shelf{quote(path[6:].replace('/', '-'))}-{paper}")


@pytest.mark.parametrize("kind", ["piece", "meter"])
def test_a_form_fits_a_page_magnified_four_times(browser, site, kind):
    context = browser.new_context(base_url=site.address, viewport={"width": 320, "height": 256})
    page = context.new_page()
    page.goto(f"/shelf/new/{kind}")
    if kind == "meter":
        page.select_option("#scale", "card")
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
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
