"""The bench in a real browser: from nothing to a verdict, cut off in the middle, and two at one sheet."""

from urllib.parse import quote

import pytest
from playwright.sync_api import expect

from linewright.verbs.shelf import open_ledger, readings_of
from web.bench_helpers import bench_of, read, reading_of
from web.conftest import DESK, DESK_FIRST, EVERYONE, PHONE, PHONE_FIRST, fits, on_paper, picture, sound

METERS = ("desk meter", "pocket meter")


def kept(site, key):
    with open_ledger(site.ledger) as ledger:
        return [
            (r.cells["meter"], r.cells["frequency"], r.cells["path"], r.cells["reading"])
            for r in readings_of(ledger, key)
        ]


@pytest.fixture(params=PHONE_FIRST)
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


def lines(page):
    """Return the lines of the sheet as they stand on a desk: insertions down, meters across."""
    return page.locator("[data-reading]")


def type_all(page, most=1000):
    """Type readings by keyboard alone, Enter after each, as far as the sheet or ``most`` goes."""
    many = min(lines(page).count(), most)
    page.wait_for_selector("body.scripted")
    page.locator("[data-reading][data-step='1']").focus()
    for _ in range(many):
        where = page.evaluate("document.activeElement.dataset.where")
        page.keyboard.type(reading_of(where))
        page.keyboard.press("Enter")
    return many


def ticked(visit, name):
    """Tick a meter or a piece of the ledger; return whether there is one."""
    box = visit.get_by_role("checkbox", name=name)
    if box.count():
        box.first.check()
    return bool(box.count())


def test_a_whole_session_from_nothing_to_a_verdict_with_a_slip_found(visit, site):
    title = f"From nothing, {visit.device}"
    visit.goto("/bench")
    visit.click("text=New session")
    visit.wait_for_load_state()
    for n, name in enumerate(("desk meter", "pocket meter")):
        if not ticked(visit, name):
            visit.locator(f"[name=newmeter{n}_use]").check()
            visit.fill(f"[name=newmeter{n}_name]", name)
            visit.locator(f"[name=newmeter{n}_division][value='0.1']").check(force=True)
    for n, (tag, length) in enumerate((("blue 7", "7.2"), ("blue 18", "17.9 m"))):
        if not ticked(visit, tag):
            visit.fill(f"#newpiece{n}_tag", tag)
            visit.fill(f"#newpiece{n}_length", length)
            if n == 0:
                visit.fill("#newpiece0_line", "RG-58C/U")
                visit.evaluate("document.querySelector('[name=drum]').checked = true")
    for summary in ("Also:", "Order, day", "Carrier and"):
        if not visit.locator("details[open] > summary", has_text=summary).count():
            visit.locator("summary", has_text=summary).click()
    for name, text in (("title", title), ("reference_line", "RG-58C/U"), ("reference_length", "0.9"), ("power", "10")):
        visit.fill(f"#{name}", text)
    visit.locator("[name=join]").check()
    picture(visit, "bench-new")
    assert fits(visit)
    visit.click("text=Put in the reference jumper")
    visit.wait_for_url("**/bench/at/**")
    expect(visit.locator("h1")).to_have_text("Put in the reference jumper. Key. Read.")
    picture(visit, "bench-empty")
    assert type_all(visit) == 30
    settled(visit)
    expect(visit.locator("#verdicts .word")).to_have_text(["worn", "worn"])
    expect(visit.locator("h1")).to_contain_text("2 pieces are worn.")
    expect(visit.locator(".beside .expected")).to_have_count(30)
    assert fits(visit)
    picture(visit, "bench-read")
    expected_opens(visit)
    with open_ledger(site.ledger) as ledger:
        from linewright.verbs.shelf import all_kept

        key = next(i.key for i in all_kept(ledger, "sheet") if i.body["title"] == title)
    assert len(kept(site, key)) == 30
    slip = visit.get_by_label("blue 18, desk meter, 50.1 MHz, W", exact=True)
    if visit.device == "phone":
        visit.select_option("#insertion", "3")
    slip.fill("8.9")
    slip.press("Enter")
    settled(visit)
    visit.locator(f"#w-{slip.get_attribute('id')} .doubt").wait_for(state="attached")
    expect(visit.locator("#pin")).to_contain_text("1 reading is doubted.")
    visit.goto(f"/bench/said/{quote(key)}")
    assert fits(visit)
    picture(visit, "bench-said")


def expected_opens(visit):
    """An expected value opens to what stands behind it, and closes by the same key and by Escape."""
    if visit.device == "phone":
        visit.select_option("#insertion", "2")
    line = visit.get_by_label("blue 7, desk meter, 14.2 MHz, W", exact=True)
    cell = visit.locator(f"#row-{line.get_attribute('id')}")
    figure, worked = cell.locator("a.expected"), cell.locator(".worked")
    figure.click()
    expect(worked.locator("dd")).to_have_text([f"{line.input_value()} W", "under 1 %"])
    expect(figure).to_have_attribute("aria-expanded", "true")
    assert fits(visit)
    worked.get_by_role("link", name="How it was worked out").click()
    assert visit.locator("#expected-how").evaluate("(there) => there.open")
    picture(visit, "bench-expected")
    visit.keyboard.press("Escape")
    expect(worked).to_have_count(0)
    figure.press("Enter")
    expect(worked).to_be_visible()
    figure.press("Enter")
    expect(worked).to_have_count(0)


@DESK_FIRST
def test_a_slip_is_doubted_in_words_and_undone(visit, site):
    key = bench_of(site.ledger, "Slip")
    read(site.ledger, key, *METERS)
    visit.goto(f"/bench/at/{quote(key)}")
    slip = visit.get_by_label("blue 18, desk meter, 50.1 MHz, W", exact=True)
    right = slip.input_value()
    if visit.device == "phone":
        visit.select_option("#insertion", "3")
    slip.fill("8,9")
    slip.press("Enter")
    settled(visit)
    under = f"#w-{slip.get_attribute('id')}"
    row = visit.locator(under if visit.device == "phone" else f".why[data-of='{under[3:]}']")
    row.locator(".doubt").wait_for()
    assert "Doubted: expected 5.1" in row.locator(".doubt").inner_text()
    assert row.locator(".because").inner_text().startswith("91 % likely to be wrong.")
    picture(visit, "bench-doubted")
    visit.click("text=Undo the last change")
    visit.wait_for_function(f"() => document.getElementById('{slip.get_attribute('id')}').value === '{right}'")
    expect(row.locator(".doubt")).to_have_count(0)


def test_a_doubted_reading_that_is_looked_at_again_counts_as_a_repeat(visit, site):
    key = bench_of(site.ledger, f"Looked at {visit.device}")
    read(site.ledger, key, *METERS, slip=("blue 18", "desk meter", "50.1 MHz"), shown="8.9")
    visit.goto(f"/bench/at/{quote(key)}")
    visit.wait_for_selector("body.scripted")
    if visit.device == "phone":
        visit.get_by_role("button", name="Look at it").click()
    visit.locator("summary:visible", has_text="Keep 8.9").click()
    expect(visit.locator(".keeps[open]:visible")).to_contain_text("a misreading is then half as likely")
    picture(visit, "bench-keep")
    visit.get_by_role("button", name="It still says 8.9").locator("visible=true").click()
    alike = visit.locator(".because", has_text="Looking again gave the same reading: 2 are alike.")
    expect(alike.first).to_be_attached()
    expect(visit.locator("tr.insertion[data-path='blue 18'] [data-reading]")).to_have_count(7)
    with open_ledger(site.ledger) as ledger:
        found = [r.cells for r in readings_of(ledger, key) if r.cells["reading"] == "8.9"]
    assert [cells.get("note", "") for cells in found] == ["", "looked at again: the same"]


def test_a_connection_cut_in_the_middle_loses_nothing(cut_off, site):
    key = bench_of(site.ledger, "Cut", ("desk meter",))
    cut_off.goto(f"/bench/at/{quote(key)}")
    type_all(cut_off, 5)
    settled(cut_off)
    cut_off.route("**/bench/read/**", lambda route: route.abort())
    line = lambda i: cut_off.locator(f"[data-reading][data-step='{i + 1}']")  # noqa: E731
    for _ in range(5, 10):
        cut_off.keyboard.type(reading_of(cut_off.evaluate("document.activeElement.dataset.where")))
        cut_off.keyboard.press("Enter")
    cut_off.wait_for_selector("body.away")
    expect(cut_off.locator(".kept-here:visible")).to_contain_text("5 readings are kept in this browser")
    assert len(kept(site, key)) == 5
    cut_off.reload()
    cut_off.wait_for_selector("body.scripted")
    assert [line(i).input_value() != "" for i in range(12)] == [True] * 10 + [False] * 2
    cut_off.unroute("**/bench/read/**")
    cut_off.wait_for_selector("body:not(.away)")
    settled(cut_off)
    cut_off.wait_for_function("() => Object.keys(localStorage).every(k => !k.startsWith('bench/'))")
    found = kept(site, key)
    assert len(found) == 10
    assert [r[2] for r in found] == [p for p in ("reference", "blue 7", "blue 18") for _ in range(3)] + [
        "blue 7+blue 18"
    ]


def test_an_answer_lost_on_its_way_back_keeps_a_reading_once(cut_off, site):
    key = bench_of(site.ledger, "Lost answer", ("desk meter",))
    cut_off.goto(f"/bench/at/{quote(key)}")
    times = []

    def heard_but_unanswered(route):
        times.append(1)
        route.fetch() and route.abort() if len(times) == 1 else route.continue_()

    cut_off.route("**/bench/read/**", heard_but_unanswered)
    type_all(cut_off, 1)
    settled(cut_off)
    assert len(times) == 2
    assert len(kept(site, key)) == 1


@DESK_FIRST
def test_two_tabs_at_one_line_show_both_values_and_ask(visit, site):
    key = bench_of(site.ledger, "Two tabs", ("desk meter",))
    other = visit.context.new_page()
    visit.goto(f"/bench/at/{quote(key)}")
    other.goto(f"/bench/at/{quote(key)}")
    # The other is cut off while the first is heard.
    other.evaluate("() => { window.plain = window.fetch; window.fetch = () => Promise.reject(new Error('cut')); }")
    for page, value in ((visit, "9.3"), (other, "9.1")):
        page.wait_for_selector("body.scripted")
        lines(page).first.fill(value)
        lines(page).first.press("Enter")
        if page is visit:
            settled(page)
    other.evaluate("() => { window.fetch = window.plain; }")
    settled(other)
    ask = other.locator(".doubt:visible", has_text="Two values").first
    assert "9.1 here, 9.3 on the station" in ask.inner_text()
    assert [r[3] for r in kept(site, key)] == ["9.3"]
    picture(visit, "bench-two")
    other.device = f"{visit.device}-other"
    picture(other, "bench-two")
    other.locator("button:visible", has_text="Keep 9.1").click()
    settled(other)
    other.wait_for_function("() => !document.querySelector('[data-take]')")
    assert [r[3] for r in kept(site, key)] == ["9.1"]
    # The first tab hears of it, and shows it.
    expect(lines(visit).first).to_have_value("9.1")


def test_what_cannot_be_a_reading_is_said_at_its_line(visit, site):
    key = bench_of(site.ledger, "Wrong", ("desk meter",))
    visit.goto(f"/bench/at/{quote(key)}")
    visit.wait_for_selector("body.scripted")
    lines(visit).nth(1).fill("8.2 MHz")
    lines(visit).nth(1).press("Enter")
    visit.locator(".over:visible").wait_for()
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
    page.device = "phone"
    page.goto(f"/bench/at/{quote(key)}")
    page.wait_for_selector("body.padded.scripted")

    def press(*keys):
        for k in keys:
            page.locator(f"[data-key='{k}']").tap()

    def value():
        return page.evaluate("document.activeElement.value")

    assert page.evaluate("document.activeElement.dataset.step") == "1"
    press("9", ".", "4", "⌫", "3")
    assert value() == "9.3"
    press("clear", "9", "<")
    assert value() == "<9"
    press("<", ".", "5")
    picture(page, "bench-keypad")
    press("next")
    settled(page)
    assert [r[3] for r in kept(site, key)] == ["9.5"]
    assert page.evaluate("document.activeElement.dataset.where") == "desk meter · 50.1 MHz · reference"
    # What is tapped to be corrected is selected: the first key replaces it, and Next leads to what is not read yet.
    lines(page).first.tap()
    press("9", ".", "4", "next")
    settled(page)
    assert [r[3] for r in kept(site, key)] == ["9.4"]
    assert page.evaluate("document.activeElement.dataset.where") == "desk meter · 50.1 MHz · reference"
    press("9", ".", "2", "next", "8", ".", "9", "next")
    expect(page.locator("h1")).to_have_text("Put in blue 7. Key. Read.")
    expect(page.locator("#nx")).to_have_text("desk meter, 50.1 MHz")
    small = page.evaluate(
        """() => [...document.querySelectorAll("a, button, select, input, summary")]
          .filter((e) => e.checkVisibility() && !e.matches(".skip, .foot *"))
          .map((e) => [e.outerHTML.slice(0, 90), e.getBoundingClientRect()])
          .filter(([, r]) => r.width && r.height < 43.5).map(([text]) => text)"""
    )
    assert small == []
    context.close()


def test_the_sheet_works_without_script(browser, site):
    key = bench_of(site.ledger, "Plain", ("desk meter",))
    context = browser.new_context(base_url=site.address, java_script_enabled=False, **DESK)
    page = context.new_page()
    page.goto(f"/bench/at/{quote(key)}")
    for i, value in enumerate(("9.3", "8,1", "6.5", "5.7", "9.3")):
        lines(page).nth(3 * i).fill(value)
    page.click("text=Record readings")
    assert len(kept(site, key)) == 5
    page.locator("#verdicts .word").nth(1).wait_for()
    page.click("text=Undo the last change")
    page.wait_for_load_state()
    assert len(kept(site, key)) == 4
    context.close()


@EVERYONE
def test_pages_of_the_bench_are_sound_for_everyone(visit, site, paper):
    key = bench_of(site.ledger, f"Sound {paper} {visit.device}")
    read(site.ledger, key, *METERS, most=10)
    visit.goto("/bench")
    on_paper(visit, paper)
    for room in ("at", "said"):  # half read; test_every_page looks at the others, and at these with all read
        visit.goto(f"/bench/{room}/{quote(key)}")
        sound(visit, room)
        picture(visit, f"{room}-{paper}")


@DESK_FIRST
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
