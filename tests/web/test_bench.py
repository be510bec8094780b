"""The bench in a real browser: from nothing to a verdict, cut off in the middle, and two at one sheet."""

from urllib.parse import quote

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from linewright.verbs.shelf import open_ledger, readings_of
from web.bench_helpers import bench_of, reading_of
from web.conftest import DESK, EVERYONE, PHONE, picture


def kept(site, key):
    with open_ledger(site.ledger) as ledger:
        return [
            (r.cells["meter"], r.cells["frequency"], r.cells["path"], r.cells["reading"])
            for r in readings_of(ledger, key)
        ]


@pytest.fixture(params=["phone", "desk"])
def cut_off(request, browser, site):
    """Return a page whose connection may be cut: the browser's own word about that is no complaint of the page."""
    context = browser.new_context(base_url=site.address, **(PHONE if request.param == "phone" else DESK))
    page = context.new_page()
    complaints = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda cause: complaints.append(str(cause)))
    page.device = request.param
    yield page
    context.close()
    assert not [c for c in complaints if "net::ERR_" not in c]


def settled(page):
    page.wait_for_function("() => ![...document.querySelectorAll('.state')].some(s => s.textContent === '…')")


def fits(page):
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def lines(page):
    return page.locator("[data-reading]:visible")


def type_all(page, most=1000):
    """Type readings by keyboard alone, Enter after each, as far as the sheet or ``most`` goes."""
    many = min(lines(page).count(), most)
    lines(page).first.focus()
    for _ in range(many):
        where = page.evaluate("document.activeElement.dataset.where")
        page.keyboard.type(reading_of(where))
        page.keyboard.press("Enter")
    return many


def test_a_whole_session_from_nothing_to_a_verdict(visit, site):
    title = f"From nothing, {visit.device}"
    visit.goto("/bench")
    visit.click("text=New session")
    for name in ("desk meter", "pocket meter"):
        if visit.get_by_role("checkbox", name=name).count() == 0:
            visit.fill("#meter_name", name)
            visit.fill("#meter_division", "0.1 W")
            visit.click("text=Add this meter")
            if not visit.locator("#add-meter[open]").count():
                visit.click("#add-meter summary")
        visit.get_by_role("checkbox", name=name).check()
    for tag, length in (("blue 7", "7.2 m"), ("blue 18", "17.9 m")):
        if visit.get_by_role("checkbox", name=tag).count() == 0:
            visit.fill("#piece_tag", tag)
            visit.fill("#piece_line", "RG-58C/U")
            visit.fill("#piece_length", length)
            visit.fill("#piece_stock", "drum")
            visit.click("text=Add this piece")
            if not visit.locator("#add-piece[open]").count():
                visit.click("#add-piece summary")
        visit.get_by_role("checkbox", name=tag).check()
    visit.fill("#title", title)
    visit.fill("#line", "RG-58C/U")
    visit.fill("#length", "0.9 m")
    visit.fill("#power", "10 W")
    visit.fill("#frequencies", "14.2 MHz, 50,1 MHz, 144.3 MHz")
    visit.fill("#joined", "blue 7+blue 18")
    picture(visit, "bench-new")
    assert fits(visit)
    visit.click("text=Begin reading")
    expect(visit.locator("#before[open]")).to_have_count(1)
    picture(visit, "bench-empty")
    assert type_all(visit) == 30
    settled(visit)
    verdicts = visit.locator("#verdicts .lead").all_inner_texts()
    assert sorted(verdicts) == ["blue 18 is worn.", "blue 7 is worn."]
    expect(visit.locator(".beside .expected")).to_have_count(30)
    assert fits(visit)
    picture(visit, "bench-read")
    with open_ledger(site.ledger) as ledger:
        from linewright.verbs.shelf import all_kept

        key = next(i.key for i in all_kept(ledger, "sheet") if i.body["title"] == title)
    assert len(kept(site, key)) == 30
    visit.goto(f"/bench/said/{quote(key)}")
    visit.wait_for_load_state("networkidle")
    assert fits(visit)
    picture(visit, "bench-said")


def test_a_slip_is_doubted_in_words_and_undone(visit, site):
    key = bench_of(site.ledger, "Slip")
    visit.goto(f"/bench/at/{quote(key)}")
    type_all(visit)
    settled(visit)
    slip = visit.get_by_label("blue 18, desk meter, 50.1 MHz, W", exact=True)
    right = slip.input_value()
    slip.fill("8,9")
    slip.press("Enter")
    settled(visit)
    row = visit.locator(f"#w-{slip.get_attribute('id')}")
    row.locator(".doubt").wait_for()
    assert row.locator(".doubt").inner_text().startswith("Doubted:")
    picture(visit, "bench-doubted")
    visit.click("text=Undo the last change")
    visit.wait_for_function(f"() => document.getElementById('{slip.get_attribute('id')}').value === '{right}'")
    expect(row.locator(".doubt")).to_have_count(0)


def test_a_connection_cut_in_the_middle_loses_nothing(cut_off, site):
    key = bench_of(site.ledger, "Cut", ("desk meter",))
    cut_off.goto(f"/bench/at/{quote(key)}")
    type_all(cut_off, 5)
    settled(cut_off)
    cut_off.route("**/bench/read/**", lambda route: route.abort())
    all_lines = lines(cut_off)
    for i in range(5, 10):
        all_lines.nth(i).focus()
        cut_off.keyboard.type(reading_of(all_lines.nth(i).get_attribute("data-where")))
        cut_off.keyboard.press("Enter")
    cut_off.wait_for_selector("body.away")
    cut_off.get_by_text("5 readings are kept in this browser").wait_for()
    assert len(kept(site, key)) == 5
    cut_off.reload()
    assert [all_lines.nth(i).input_value() != "" for i in range(12)] == [True] * 10 + [False] * 2
    cut_off.unroute("**/bench/read/**")
    cut_off.wait_for_selector("body:not(.away)")
    settled(cut_off)
    cut_off.wait_for_function("() => Object.keys(localStorage).every(k => !k.startsWith('bench/'))")
    found = kept(site, key)
    assert len(found) == 10
    assert [r[2] for r in found[5:]] == ["reference", "blue 7+blue 18", "blue 18", "blue 7", "reference"]


def test_an_answer_lost_on_its_way_back_keeps_a_reading_once(cut_off, site):
    key = bench_of(site.ledger, "Lost answer", ("desk meter",))
    cut_off.goto(f"/bench/at/{quote(key)}")
    times = []

    def heard_but_unanswered(route):
        times.append(1)
        route.fetch() and route.abort() if len(times) == 1 else route.continue_()

    cut_off.route("**/bench/read/**", heard_but_unanswered)
    type_all(cut_off, 1)
    cut_off.wait_for_selector("body.away")
    cut_off.wait_for_selector("body:not(.away)")
    settled(cut_off)
    assert len(times) == 2
    assert len(kept(site, key)) == 1


def test_two_tabs_at_one_line_show_both_values_and_ask(visit, site):
    key = bench_of(site.ledger, "Two tabs", ("desk meter",))
    other = visit.context.new_page()
    visit.goto(f"/bench/at/{quote(key)}")
    other.goto(f"/bench/at/{quote(key)}")
    for page, value in ((visit, "9.3"), (other, "9.1")):
        lines(page).first.fill(value)
        lines(page).first.press("Enter")
        page.wait_for_function("() => [...document.querySelectorAll('.state')].every(s => s.textContent !== '…')")
    ask = other.locator(".reason .doubt").first
    assert "here 9.1, on the station 9.3" in ask.inner_text()
    assert [r[3] for r in kept(site, key)] == ["9.3"]
    picture(visit, "bench-two")
    other.device = f"{visit.device}-other"
    picture(other, "bench-two")
    other.click("text=Keep 9.1")
    settled(other)
    other.wait_for_function("() => !document.querySelector('[data-take]')")
    assert [r[3] for r in kept(site, key)] == ["9.1"]
    # The first tab has not seen it: its next change asks as well, and what stands is taken.
    lines(visit).first.fill("9.4")
    lines(visit).first.press("Enter")
    visit.click("text=Keep 9.1")
    assert lines(visit).first.input_value() == "9.1"
    assert [r[3] for r in kept(site, key)] == ["9.1"]


def test_what_cannot_be_a_reading_is_said_at_its_line(visit, site):
    key = bench_of(site.ledger, "Wrong", ("desk meter",))
    visit.goto(f"/bench/at/{quote(key)}")
    lines(visit).nth(1).fill("8.2 MHz")
    lines(visit).nth(1).press("Enter")
    visit.wait_for_selector(".reason .over")
    assert lines(visit).nth(1).get_attribute("aria-invalid") == "true"
    assert lines(visit).nth(1).input_value() == "8.2 MHz"
    assert kept(site, key) == []
    lines(visit).nth(1).fill("<0,5")
    lines(visit).nth(1).press("Enter")
    settled(visit)
    visit.wait_for_function("() => !document.querySelector('.reason .over')")
    assert len(kept(site, key)) == 1


def test_the_keypad_types_by_thumb(browser, site):
    key = bench_of(site.ledger, "Thumb", ("desk meter",))
    context = browser.new_context(base_url=site.address, **PHONE)
    page = context.new_page()
    page.goto(f"/bench/at/{quote(key)}")
    lines(page).first.tap()
    for k in ("9", ".", "4", "⌫", "3"):
        page.locator(f"[data-key='{k}']").tap()
    page.device = "phone"
    picture(page, "bench-keypad")
    page.locator("[data-key='next']").tap()
    settled(page)
    assert [r[3] for r in kept(site, key)] == ["9.3"]
    assert page.evaluate("document.activeElement.dataset.where").endswith("blue 7")
    context.close()


def test_the_sheet_works_without_script(browser, site):
    key = bench_of(site.ledger, "Plain", ("desk meter",))
    context = browser.new_context(base_url=site.address, java_script_enabled=False, **DESK)
    page = context.new_page()
    page.goto(f"/bench/at/{quote(key)}")
    for i, value in enumerate(("9.3", "8,1", "6.5", "5.7", "9.3")):
        lines(page).nth(i).fill(value)
    page.click("text=Record readings")
    assert len(kept(site, key)) == 5
    page.locator("#verdicts .lead").nth(1).wait_for()
    page.click("text=Undo the last change")
    page.wait_for_load_state()
    assert len(kept(site, key)) == 4
    context.close()


@EVERYONE
def test_pages_of_the_bench_are_sound_for_everyone(visit, site, paper):
    key = bench_of(site.ledger, f"Sound {paper} {visit.device}")
    visit.goto("/bench")
    visit.select_option("#paper", paper)
    visit.click("text=Set")
    visit.goto(f"/bench/at/{quote(key)}")
    type_all(visit, 10)
    settled(visit)
    for path in ("/bench", "/bench/new", f"/bench/at/{quote(key)}", f"/bench/said/{quote(key)}"):
        visit.goto(path)
        visit.wait_for_load_state("networkidle")
        visit.wait_for_load_state()  # the style sheet too
        found = Axe().run(visit)
        assert not found.response["violations"], found.generate_report()
        assert fits(visit)
        picture(visit, f"{path.split('/')[2] if path.count('/') > 1 else 'bench'}-{paper}")


def test_a_station_that_cannot_keep_a_reading_says_why_and_gets_it_again(visit, site):
    key = bench_of(site.ledger, f"Full {visit.device}", ("desk meter",))
    visit.goto(f"/bench/at/{quote(key)}")
    full = '<ul class="troubles"><li>The disk is full.</li></ul>'
    visit.evaluate(
        """(full) => { window.plain = window.fetch; window.fetch = async (at, how) => String(at).includes("/read/")
          ? new Response(full, { status: 503 }) : window.plain(at, how); }""",
        full,
    )
    lines(visit).first.fill("9.4")
    lines(visit).first.press("Enter")
    expect(visit.locator("#said")).to_contain_text("The disk is full. 1 reading is kept in this browser")
    assert kept(site, key) == []
    visit.evaluate("() => { window.fetch = window.plain; }")
    settled(visit)
    assert [r[3] for r in kept(site, key)] == ["9.4"]
    expect(visit.locator("#said")).not_to_contain_text("kept in this browser and")
