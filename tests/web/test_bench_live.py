"""Two at one bench and a screen for the room: each sees what the others read, and where they type."""

from urllib.parse import quote

import pytest
from playwright.sync_api import expect

from linewright.verbs.shelf import add_reading, correct_reading, open_ledger, readings_of
from linewright.web.bench_cache import Judgements
from web.bench_helpers import bench_of, read, reading_of
from web.conftest import DESK, PHONE, picture, sound


@pytest.fixture
def both(browser, site):
    """Return a phone and a desk at one station."""
    pages = []
    for device, size in (("phone", PHONE), ("desk", DESK)):
        page = browser.new_context(base_url=site.address, **size).new_page()
        page.device = device
        pages.append(page)
    yield pages
    for page in pages:
        page.context.close()


def at_bench(page, key):
    page.goto(f"/bench/at/{quote(key)}")
    page.wait_for_selector("body.scripted")


def test_each_sees_what_the_other_reads_and_where_they_type(both, site):
    phone, desk = both
    key = bench_of(site.ledger, "Live")
    at_bench(phone, key)
    at_bench(desk, key)
    expect(desk.locator("#hands")).to_contain_text("At this bench as well:")
    first = phone.locator("[data-reading][data-step='1']").get_attribute("id")
    desk.locator("[data-reading][data-step='9']").focus()
    expect(desk.locator(f"#row-{first}[data-hand]")).to_have_count(1)
    expect(desk.locator(f"#{first}")).to_have_value("")
    phone.keyboard.type("9.8")
    phone.keyboard.press("Enter")
    expect(desk.locator(f"#{first}")).to_have_value("9.8")
    # What is being typed here stays while others are heard.
    desk.keyboard.type("7.7")
    with open_ledger(site.ledger) as ledger:
        told = {"meter": "desk meter", "frequency": "50.1 MHz", "path": "reference", "reading": "9.7"}
        add_reading(ledger, key, told)
    expect(desk.locator("[data-reading][data-step='2']")).to_have_value("9.7")
    assert desk.evaluate("document.activeElement.value") == "7.7"
    with open_ledger(site.ledger) as ledger:
        correct_reading(ledger, key, 2, None)
    expect(desk.locator("[data-reading][data-step='2']")).to_have_value("")
    phone.context.close()
    expect(desk.locator("#hands")).to_be_hidden()


def test_all_show_the_same_verdict_and_the_room_what_it_wants(both, site):
    phone, desk = both
    key = bench_of(site.ledger, "Room")
    read(site.ledger, key, "desk meter", "pocket meter", most=26)
    at_bench(phone, key)
    desk.goto(f"/bench/room/{quote(key)}")
    steps = phone.locator("[data-reading]").count()
    for _ in range(26, steps):
        phone.keyboard.type(reading_of(phone.evaluate("document.activeElement.dataset.where")))
        phone.keyboard.press("Enter")
    expect(phone.locator("#verdicts .word")).to_have_text(["worn", "worn"])
    expect(desk.locator("h1")).to_have_text("Every line is read.")
    expect(desk.locator("#room .value")).to_have_count(steps)
    expect(desk.locator(".room-says")).to_be_hidden()
    desk.get_by_label("Show what the bench says").check()
    expect(desk.locator(".room-says .word")).to_have_text(["worn", "worn"])
    picture(desk, "bench-room")
    sound(desk)
    with open_ledger(site.ledger) as ledger:
        assert len(readings_of(ledger, key)) == steps


def test_where_nobody_can_be_heard_the_page_asks_from_time_to_time(both, site):
    phone, _ = both
    key = bench_of(site.ledger, "Deaf", ("desk meter",))
    phone.route("**/bench/live/**", lambda route: route.fulfill(status=503))
    at_bench(phone, key)
    with open_ledger(site.ledger) as ledger:
        told = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "reference", "reading": "9.7"}
        add_reading(ledger, key, told)
    expect(phone.locator("[data-reading]").first).to_have_value("9.7")


def test_what_nobody_has_is_never_asked_for_again(both, site):
    _, desk = both
    key = bench_of(site.ledger, "No pad")
    read(site.ledger, key, "desk meter", "pocket meter")
    at_bench(desk, key)
    expect(desk.locator("#next")).to_contain_text("attenuator of known loss")
    expect(desk.locator("#next").get_by_text("Read through an attenuator")).to_have_count(1)
    desk.get_by_role("button", name="I have none of that").first.click()
    expect(desk.locator("#next")).not_to_contain_text("attenuator")
    again = bench_of(site.ledger, "No pad again")
    with open_ledger(site.ledger) as ledger:
        for row in readings_of(ledger, key):
            add_reading(ledger, again, row.cells)
        judged = Judgements()
        found = judged.bench(ledger, again)
        assert found.pending is None or found.pending.wait(600)
        assert not [n for n in judged.bench(ledger, again).result.next if n.needs]


def test_an_insertion_is_read_once_more_or_left_out(both, site):
    _, desk = both
    key = bench_of(site.ledger, "Once more", ("desk meter",))
    desk.set_viewport_size({"width": 390, "height": 844})
    at_bench(desk, key)
    for _ in range(6):
        desk.keyboard.type(reading_of(desk.evaluate("document.activeElement.dataset.where")))
        desk.keyboard.press("Enter")
    desk.wait_for_function("() => ![...document.querySelectorAll('.state')].some(s => s.textContent === '…')")
    desk.select_option("#insertion", "2")
    desk.get_by_role("button", name="Read it once more").click()
    desk.wait_for_url("**also=**")
    desk.wait_for_selector("body.scripted")
    expect(desk.locator("h1")).to_have_text("Put in blue 7 again. Key. Read.")
    desk.keyboard.type("8.6")
    desk.keyboard.press("Enter")
    desk.wait_for_function("() => ![...document.querySelectorAll('.state')].some(s => s.textContent === '…')")
    desk.goto(f"/bench/at/{quote(key)}")
    desk.wait_for_selector("body.scripted")
    expect(desk.locator("tr.insertion")).to_have_count(6)
    desk.select_option("#insertion", "3")
    desk.get_by_role("button", name="Leave it out").click()
    desk.wait_for_load_state()
    expect(desk.locator("tr.insertion[data-path='blue 18']")).to_have_count(0)
    with open_ledger(site.ledger) as ledger:
        assert len(readings_of(ledger, key)) == 7
