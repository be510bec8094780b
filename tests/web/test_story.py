"""The whole story, told by a browser: from an empty ledger to a printed report, and not one line of a file typed.

A person puts a piece on the shelf, reads a bench of 30 readings with a slip in it while another looks on and the
station is killed once, gets a verdict, draws a run, asks what if, chooses a line, shares out the shelf, looks through
the line, tests from one end, reads a sweep, keeps people away from the antenna, and prints what they know.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest
from playwright.sync_api import expect

from linewright.verbs.examples import demo_file
from linewright.verbs.shelf import all_kept, open_ledger, readings_of
from web.bench_helpers import reading_of
from web.conftest import DESK, PHONE, picture
from web.test_bench_sturdy import Station, settled

TYPE = "RG-58C/U"
SLIP_AT = "pocket meter · 144.3 MHz · blue 7"
KILLED_AT, SEEN_AT = 12, 4


@dataclass
class Person:
    """Who sits at a page, and does what stands on it."""

    page: Any
    device: str

    def link(self, words: str) -> None:
        """Follow the first link in view that is called so."""
        self.page.get_by_role("link", name=words, exact=True).locator("visible=true").first.click()
        self.page.wait_for_load_state()

    def button(self, words: str) -> None:
        """Press the first button in view that is called so."""
        self.page.get_by_role("button", name=words, exact=True).locator("visible=true").first.click()
        self.page.wait_for_load_state()

    def types(self, label: str, text: str) -> None:
        """Type into the first field of a label."""
        self.page.get_by_label(label, exact=True).locator("visible=true").first.fill(text)

    def picks(self, words: str) -> None:
        """Touch the first thing in view that says so."""
        self.page.get_by_text(words, exact=True).locator("visible=true").first.click()

    def place(self, words: str) -> None:
        """Go to one of the places of the app."""
        self.page.get_by_label("Places").get_by_role("link", name=words).click()
        self.page.wait_for_load_state()

    def shows(self, name: str) -> None:
        """Leave a picture."""
        picture(self.page, f"story-{name}")


def puts_pieces_on_the_shelf(who: Person) -> None:
    page = who.page
    page.goto("/")
    page.wait_for_load_state()
    for tag, length in (("blue 7", "7.2"), ("blue 18", "17.9")):
        who.link("Add a piece")
        for label, text in (("Tag", tag), ("Claimed type", TYPE), ("Length", length), ("Stock", "blue drum")):
            who.types(label, text)
        who.button("Keep this piece")
        expect(page.get_by_role("heading", level=1)).to_contain_text(tag)
        who.place("Shelf")


def sets_up_a_bench(who: Person) -> None:
    page = who.page
    who.place("Bench")
    who.link("New session")
    for n, name in enumerate(("desk meter", "pocket meter")):
        meter = page.locator(".newmeter").nth(n)
        if n:
            meter.locator("label.pick").click()
        meter.get_by_label("What you call it").fill(name)
        meter.get_by_text("0.1", exact=True).click()
    for tag in ("blue 7", "blue 18"):
        page.locator("label.pick", has_text=tag).click()
    who.picks("Also: pieces joined, an attenuator")
    who.picks("Two pieces joined in line")
    who.picks("Carrier and reference jumper")
    who.types("Carrier power", "10")
    who.types("Type of the jumper", TYPE)
    who.types("Its length", "0.9")
    who.shows("bench-set-up")
    who.button("Put in the reference jumper")
    page.wait_for_url("**/bench/at/**")
    page.wait_for_selector("body.scripted")


def reads_the_bench(who: Person, station: Station, other: Person) -> None:
    page = who.page
    lines = page.locator("[data-reading]")
    expect(lines).to_have_count(30)
    other.page.goto(page.url.partition("#")[0])
    other.page.wait_for_selector("body.scripted")
    expect(page.locator("#hands")).to_contain_text("At this bench as well:")
    for n in range(30):
        where = page.evaluate("document.activeElement.dataset.where")
        value = reading_of(where)
        if where == SLIP_AT:
            value = value[::-1]
        page.keyboard.type(value[:1])
        if n == KILLED_AT:
            station.kill()
        page.keyboard.type(value[1:])
        slot = page.evaluate("document.activeElement.id")
        page.keyboard.press("Enter")
        if n == SEEN_AT:
            expect(other.page.locator(f"#{slot}")).to_have_value(value)
        if n == KILLED_AT:
            expect(page.locator("#said")).to_contain_text("kept in this browser")
            who.shows("killed")
            station.start()
    settled(page)
    who.shows("doubted")


def mends_the_slip(who: Person, other: Person) -> None:
    page = who.page
    expect(page.locator("#verdicts")).to_contain_text("1 reading is doubted")
    if who.device == "phone":
        who.button("Look at it")
    who.button("Read it again")
    at = page.evaluate("document.activeElement.dataset.where")
    assert at == SLIP_AT
    page.keyboard.type(reading_of(at))
    page.keyboard.press("Enter")
    for one in (page, other.page):
        expect(one.locator("#verdicts .word")).to_have_text(["worn", "worn"])
    who.shows("verdict")
    other.page.context.close()


def draws_a_run(who: Person) -> None:
    page = who.page
    page.get_by_label("Leave the bench").click()
    page.wait_for_load_state()
    who.place("Runs")
    who.button("2 m")
    page.wait_for_selector("#line")
    page.click("#at-1")
    page.wait_for_selector("#offers .sw")
    page.locator("a.sw", has_text="blue 18").click()
    page.wait_for_selector("#trying")
    page.click("#tried")
    page.wait_for_selector("#trying", state="detached")
    expect(page.locator("#at-1")).to_contain_text("blue 18")
    page.click("#insp-close")
    page.click("#at-antenna")
    page.fill("#f-gain", "11")
    page.wait_for_selector("#trying")
    page.locator("#fields").get_by_text("Keep it", exact=True).click()
    page.wait_for_selector("#trying", state="detached")
    page.click("#insp-close")
    who.shows("run")


def asks_what_if(who: Person) -> None:
    page = who.page
    arrives = page.inner_text("#verdict")
    page.click("#at-gap1")
    page.locator("#tab-line").click()
    page.wait_for_selector("#fields")
    page.fill("#f-length", "5")
    page.wait_for_selector("#trying")
    assert page.inner_text("#verdict") != arrives
    page.click("#insp-close")
    page.wait_for_selector("#insp", state="detached")
    expect(page.locator("#verdict")).to_have_text(arrives)


def chooses_a_line(who: Person) -> None:
    page = who.page
    page.click("#view-choose")
    page.wait_for_selector("#asked-of-line")
    page.fill("#v-limit", "2")
    page.get_by_label("Price of a metre of corrugated 1/2 in foam").fill("5.20")
    page.get_by_label("Price of a metre of RG-213/U").fill("1.85")
    page.fill("#v-money", "EUR")
    who.button("Choose")
    page.wait_for_selector(".chs .best")
    expect(page.locator("[data-picture*='trade-off'] .drawn.live svg")).to_have_count(1)
    who.shows("choose")
    page.locator(".chs .best").get_by_role("link").click()
    page.wait_for_selector("#trying")


def shares_out_the_shelf(who: Person) -> None:
    page = who.page
    page.click("#view-share")
    page.wait_for_selector("#v-budget")
    page.locator("input[name^='v.r.']").first.fill("20")
    who.button("Share out")
    page.wait_for_selector("#lay-shared")
    expect(page.locator(".shs")).to_contain_text("blue")
    who.shows("share")
    page.click("#lay-shared")
    page.wait_for_selector("#lay-shared", state="detached")
    expect(page.locator("#line")).to_contain_text("blue 18")
    expect(page.locator("#line")).to_contain_text("blue 7")


def undoes_and_does_again(who: Person) -> None:
    page = who.page
    page.click("#undo")
    expect(page.locator("#line")).not_to_contain_text("blue 7")
    page.click("#redo")
    expect(page.locator("#line")).to_contain_text("blue 7")


def keeps_people_away(who: Person) -> None:
    page = who.page
    page.click("#view-exposure")
    page.wait_for_selector("#exposed-figures")
    expect(page.locator(".exl li")).not_to_have_count(0)
    who.shows("exposure")


def sees_through_the_line(who: Person) -> None:
    page = who.page
    page.click("#view-through")
    who.link("Draw both ends")
    expect(page.locator(".ends .sw1")).to_have_count(2)
    expect(page.locator("#shack_swr")).not_to_have_value("")
    who.shows("through")


def proves_it_from_one_end(who: Person) -> None:
    page = who.page
    page.goto("/shelf/piece/blue%207")
    who.link("Test it from one end")
    who.button("Go on")
    for end, swr in (("open", "4.0"), ("short", "4.1")):
        who.types("Frequency, MHz", "144.3")
        page.select_option("#end", end)
        page.fill("#read", swr)
        who.button("Record reading")
    who.shows("one-end")
    who.button("Keep it as evidence of blue 7")
    expect(page.locator(".told")).to_contain_text("Kept as evidence")


def reads_a_sweep(who: Person) -> None:
    page = who.page
    who.place("Sweeps")
    page.set_input_files("#files", str(demo_file("drum.s2p")))
    who.button("Read it")
    page.wait_for_selector("#verdict")
    drawn = page.locator("[data-picture*='/law'] .drawn")
    drawn.scroll_into_view_if_needed()
    expect(page.locator("[data-picture*='/law'] .drawn.live")).to_have_count(1)
    drawn.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("[data-picture*='/law'] .reading")).to_contain_text("dB (")
    who.shows("sweep")


def hands_out_paper(who: Person) -> None:
    page = who.page
    page.goto("/shelf/piece/blue%207")
    expect(page.locator(".ladder tbody tr")).to_have_count(3)
    expect(page.locator("[data-picture*='years'] .drawn.live")).to_have_count(1)
    who.shows("history")
    for words in ("Label", "Report"):
        with page.expect_download() as coming:
            page.get_by_role("link", name=words, exact=True).click()
        assert coming.value.path().read_bytes().startswith(b"%PDF")
    page.emulate_media(media="print")
    assert not page.is_visible("header.top nav")
    assert page.is_visible("#ladder")
    page.emulate_media(media="screen")


def takes_a_step_back(who: Person) -> None:
    page = who.page
    who.place("Shelf")
    who.picks("Latest changes, with undo")
    page.locator("#changes button").first.click()
    page.wait_for_load_state()
    page.goto("/shelf/piece/blue%207")
    expect(page.locator(".ladder tbody tr")).to_have_count(2)
    page.goto("/")
    expect(page.locator(".runlist > li")).to_have_count(1)
    expect(page.locator(".piecelist .stands")).to_have_count(2)
    who.shows("station")


@pytest.fixture
def station(tmp_path):
    """Start a station of an empty ledger in a process of its own, which can be killed."""
    found = Station(tmp_path / "ledger.db")
    yield found
    found.kill()


@pytest.mark.slow  # each step has a cheaper test of its own in the browser, in the file of its topic
@pytest.mark.parametrize("device", ["desk", "phone"])
def test_the_whole_story_from_an_empty_ledger_to_a_printed_report(browser, station, device):
    people, complaints = [], []
    for one in (device, "phone" if device == "desk" else "desk"):
        page = browser.new_context(base_url=station.address, **(PHONE if one == "phone" else DESK)).new_page()
        page.device = one
        page.on("pageerror", lambda cause: complaints.append(str(cause)))
        people.append(Person(page, one))
    who, other = people
    puts_pieces_on_the_shelf(who)
    sets_up_a_bench(who)
    reads_the_bench(who, station, other)
    mends_the_slip(who, other)
    with open_ledger(station.ledger) as ledger:
        (session,) = all_kept(ledger, "sheet")
        assert len(readings_of(ledger, session.key)) == 30
    draws_a_run(who)
    asks_what_if(who)
    chooses_a_line(who)
    shares_out_the_shelf(who)
    undoes_and_does_again(who)
    keeps_people_away(who)
    sees_through_the_line(who)
    proves_it_from_one_end(who)
    reads_a_sweep(who)
    hands_out_paper(who)
    takes_a_step_back(who)
    who.page.context.close()
    assert complaints == []
