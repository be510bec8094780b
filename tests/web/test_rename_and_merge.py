"""A piece renamed and an export merged in a real browser, and both taken back."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from linewright.verbs.shelf import (
    add,
    add_note,
    all_kept,
    change,
    export_ledger,
    import_ledger,
    kept,
    notes_of,
    open_ledger,
    rename,
)
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from web.bench_helpers import bench_of
from web.conftest import DESK_FIRST, EVERYONE, PHONE, on_paper, picture, sound


@pytest.fixture
def site(tmp_path_factory):
    """Serve a ledger of its own to each test."""
    from web.conftest import site as served

    yield from served.__wrapped__(tmp_path_factory)


@pytest.fixture
def export(site, tmp_path):
    """An export of this ledger from another place, where a piece was changed and another one came to it."""
    bench_of(site.ledger, "Autumn")
    with open_ledger(site.ledger) as here, open_ledger(tmp_path / "there.sqlite") as there:
        export_ledger(here, tmp_path / "all.zip")
        import_ledger(there, tmp_path / "all.zip")
        change(there, "piece", "blue 7", {"length": "7 m"})
        add(there, "piece", {"tag": "grey 12", "line": "RG-213/U", "length": "12 m"})
        add_note(there, "piece", "blue 7", "shortened")
        export_ledger(there, tmp_path / "theirs.zip")
    return tmp_path / "theirs.zip"


def bring(page, export, clash):
    page.goto("/shelf/file#whole")
    page.set_input_files("#whole-file", export)
    page.select_option("#clash", label=clash)
    page.click("text=Import it")


@pytest.mark.parametrize("paper", ["light", pytest.param("dark", marks=pytest.mark.slow)])
def test_what_differs_is_told_and_nothing_comes(browser, site, export, paper):
    page = browser.new_context(base_url=site.address, **PHONE).new_page()
    page.device = "phone"
    page.goto("/shelf/file")
    on_paper(page, paper)
    bring(page, export, "tell me, and import nothing")
    expect(page.get_by_role("alert")).to_contain_text("piece blue 7 here and there differ")
    expect(page.get_by_role("alert")).to_contain_text("Nothing was saved.")
    sound(page)
    picture(page, f"merge-refused-{paper}")
    with open_ledger(site.ledger) as ledger:
        assert len(all_kept(ledger, "piece")) == 2
    page.context.close()


def test_mine_is_kept_and_the_rest_is_imported(visit, site, export):
    bring(visit, export, "keep mine")
    expect(visit.locator(".told")).to_contain_text("2 things came in.")
    expect(visit.locator(".told")).to_contain_text("Kept as here: piece blue 7.")
    picture(visit, "merged")
    with open_ledger(site.ledger) as ledger:
        assert {i.key for i in all_kept(ledger, "piece")} == {"blue 7", "blue 18", "grey 12"}
        assert kept(ledger, "piece", "blue 7").body["length"] == "7.2 m"


@DESK_FIRST
def test_both_are_kept_and_theirs_is_taken_back(visit, site, export):
    bring(visit, export, "keep both, theirs under a new name")
    expect(visit.locator(".told")).to_contain_text("Came under names of their own: piece blue 7 (2).")
    expect(visit.locator(".shelf-list h3")).to_have_count(4)
    with open_ledger(site.ledger) as ledger:
        assert kept(ledger, "piece", "blue 7 (2)").body["length"] == "7 m"
        assert [n.body["text"] for n in notes_of(ledger, "piece", "blue 7 (2)")] == ["shortened"]
    visit.locator("#changes summary").click()
    visit.get_by_role("button", name="Undo piece blue 7 (2) added").click()
    expect(visit.locator(".shelf-list h3")).to_have_count(3)


@EVERYONE
def test_a_piece_is_renamed_and_called_as_before_again(visit, site, paper):
    bench_of(site.ledger, "Autumn")
    visit.goto("/shelf/piece/blue%207")
    visit.click("text=Rename it")
    visit.wait_for_url("**/shelf/rename/**")
    on_paper(visit, paper)
    sound(visit)
    picture(visit, f"rename-{paper}")
    visit.fill("#new", "mast")
    visit.keyboard.press("Enter")
    visit.wait_for_url("**/shelf/piece/mast")
    expect(visit.get_by_role("heading", level=1)).to_contain_text("mast was never measured")
    visit.click("text=Undo renaming it; it was blue 7")
    visit.wait_for_url("**/shelf/piece/blue%207")
    with open_ledger(site.ledger) as ledger:
        assert {i.key for i in all_kept(ledger, "piece")} == {"blue 7", "blue 18"}


def test_a_tag_that_is_taken_and_a_piece_changed_meanwhile_are_told(tmp_path):
    where = tmp_path / "ledger.sqlite"
    bench_of(where, "Autumn")
    visitor = TestClient(create_app(Settings(str(where))), base_url="http://localhost:8731")
    token = visitor.get("/shelf/rename/blue 7").text.split('name="token" content="')[1].split('"')[0]
    told = {"token": token, "new": "blue 18", "version": "1"}
    answer = visitor.post("/shelf/rename/blue 7", data=told)
    assert (answer.status_code, "kept already" in answer.text) == (422, True)
    with open_ledger(where) as ledger:
        change(ledger, "piece", "blue 7", {"exposure": "outdoors"})
    answer = visitor.post("/shelf/rename/blue 7", data=told | {"new": "mast"})
    assert (answer.status_code, "was changed meanwhile" in answer.text) == (409, True)
    assert 'name="version" value="2"' in answer.text
    with open_ledger(where) as ledger:
        rename(ledger, "blue 7", "mast")
    assert str(visitor.get("/shelf/rename/blue 7").url).endswith("/shelf/rename/mast")
    assert visitor.get("/shelf/rename/nothing").status_code == 422


@DESK_FIRST
def test_the_old_tag_leads_to_the_piece_and_a_form_under_it_is_not_lost(visit, site):
    bench_of(site.ledger, "Autumn")
    visit.goto("/shelf/change/piece/blue%207")
    visit.fill("#note", "kinked at 3 m")
    with open_ledger(site.ledger) as ledger:
        rename(ledger, "blue 7", "mast")
    told = {i.get_attribute("name"): i.input_value() for i in visit.locator("form.stack [name]").all()}
    answer = visit.request.post("/shelf/keep/piece", form=told)
    assert (answer.status, "blue 7 was renamed mast meanwhile" in answer.text()) == (409, True)
    assert 'value="kinked at 3 m"' in answer.text()
    version = answer.text().split('name="version" value="')[1].split('"')[0]
    visit.request.post("/shelf/keep/piece", form=told | {"key": "mast", "tag": "mast", "version": version})
    with open_ledger(site.ledger) as ledger:
        assert kept(ledger, "piece", "mast").body["note"] == "kinked at 3 m"
    for address in ("/shelf/piece/blue%207", "/shelf/change/piece/blue%207"):
        visit.goto(address)
        assert visit.url.endswith("/mast")


def test_an_undoing_says_what_it_did_and_one_that_comes_too_late_that_it_did_nothing(visit, site):
    bench_of(site.ledger, "Autumn")
    with open_ledger(site.ledger) as ledger:
        add_note(ledger, "piece", "blue 7", "kinked at 3 m")
        change(ledger, "piece", "blue 7", {"length": "7 m"})
    visit.goto("/shelf")
    visit.locator("#changes summary").click()
    expect(visit.locator("#changes")).to_contain_text("note on piece blue 7 added")
    late = visit.context.new_page()
    late.goto("/shelf")
    late.locator("#changes summary").click()
    for page, words in ((visit, "Undone: piece blue 7 changed: length 7 m to"), (late, "Nothing was undone")):
        page.locator("#changes li", has_text="piece blue 7 changed").get_by_role("button").click()
        expect(page.locator("main [role=status]")).to_contain_text(words)
    with open_ledger(site.ledger) as ledger:
        assert kept(ledger, "piece", "blue 7").body["length"] != "7 m"


@DESK_FIRST
def test_a_page_whose_form_is_sent_asks_for_no_drawing_until_it_is_shown_again(visit, site):
    bench_of(site.ledger, "Autumn")
    visit.add_init_script(
        """const ask = fetch, told = (as) => { document.documentElement.dataset.drawing = as; };
        fetch = (at, how) => { told(how?.signal?.aborted ? "not asked for" : "asked for"); return ask(at, how); };"""
    )
    visit.goto("/shelf/piece/blue%207")
    visit.locator("[data-picture]").first.scroll_into_view_if_needed()
    whole = visit.locator("html")
    expect(whole).to_have_attribute("data-drawing", "asked for")
    visit.evaluate("document.querySelector('main form').dispatchEvent(new Event('submit', { bubbles: true }))")
    visit.set_viewport_size({"width": 700, "height": 900})
    expect(whole).to_have_attribute("data-drawing", "not asked for")
    visit.evaluate("dispatchEvent(new Event('pageshow'))")
    visit.set_viewport_size({"width": 500, "height": 900})
    expect(whole).to_have_attribute("data-drawing", "asked for")
