"""Someone who has never seen the app, and has no page of the manual open, comes from an empty ledger to a verdict.

Every step goes by words that stand on the page. Each is timed by the keystroke-level model (Card, Moran and Newell,
1980): a key 0.28 s, a place to be pointed at 1.1 s, a thought before each step 1.35 s, as commonly quoted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest
from playwright.sync_api import expect

from web.bench_helpers import reading_of
from web.conftest import PHONE, picture

KEY_S, POINT_S, THINK_S = 0.28, 1.1, 1.35
MOST_S = 300.0


@dataclass
class Person:
    """Who goes by what can be read, and how long that takes."""

    page: Any
    seconds: float = 0.0
    steps: int = 0

    def _did(self, keys: int = 0) -> None:
        self.steps += 1
        self.seconds += THINK_S + POINT_S + KEY_S * keys

    def opens(self, words: str) -> None:
        """Follow a link that stands on the page."""
        self.page.get_by_role("link", name=words, exact=True).locator("visible=true").first.click()
        self.page.wait_for_load_state()
        self._did()

    def presses(self, words: str) -> None:
        """Press a button that stands on the page."""
        self.page.get_by_role("button", name=words, exact=True).click()
        self.page.wait_for_load_state()
        self._did()

    def types(self, label: str, text: str) -> None:
        """Type into the first field of a label."""
        self.page.get_by_label(label, exact=True).first.fill(text)
        self._did(len(text))

    def picks(self, words: str) -> None:
        """Pick what stands on the page to be picked, or unfold it."""
        self.page.get_by_text(words, exact=True).locator("visible=true").first.click()
        self._did()

    def reads(self) -> int:
        """Type what the meter shows into each line, Enter after each; return how many lines there were."""
        many = int(self.page.locator("[data-reading]").count())
        expect(self.page.locator("[data-reading]:focus")).to_have_count(1)
        for _ in range(many):
            shown = reading_of(self.page.evaluate("document.activeElement.dataset.where"))
            self.page.keyboard.type(shown)
            self.page.keyboard.press("Enter")
            self.seconds += THINK_S + KEY_S * (len(shown) + 1)
        return many


@pytest.fixture
def person(browser, site):
    """Return a person with a phone, before an app that keeps nothing yet."""
    context = browser.new_context(base_url=site.address, **PHONE)
    page = context.new_page()
    page.device = "phone"
    yield Person(page)
    context.close()


def test_a_verdict_is_reached_in_five_minutes_by_what_stands_on_the_pages(person):
    page = person.page
    page.goto("/")
    page.wait_for_load_state()
    person.opens("Bench")
    person.opens("New session")
    person.types("What you call it", "desk meter")
    person.picks("0.1")
    person.types("Tag of a new piece", "blue 18")
    person.types("Type of a new piece; empty means as in the row above", "RG-58C/U")
    person.types("Length of a new piece, in metres", "17.9")
    person.types("Others, as bands or in MHz", "50.1, 144.3")
    person.picks("Carrier and reference jumper")
    person.types("Carrier power", "10")
    person.types("Type of the jumper", "RG-58C/U")
    person.types("Its length", "0.9")
    picture(page, "first-time-form")
    person.presses("Put in the reference jumper")
    page.wait_for_url("**/bench/at/**")
    page.wait_for_load_state()
    assert person.reads() >= 4
    expect(page.get_by_role("heading", level=1)).to_have_text("Blue 18 is worn.")
    picture(page, "first-time-verdict")
    assert person.seconds < MOST_S, (person.seconds, person.steps)


def test_who_begins_with_nothing_filled_in_is_told_what_lacks_and_loses_nothing(person):
    page = person.page
    page.goto("/bench/new")
    page.wait_for_load_state()
    person.types("Others, as bands or in MHz", "17m")
    person.presses("Put in the reference jumper")
    expect(page.locator("[role=alert]")).to_have_text("The session was not started: look at the marked fields.")
    expect(page.locator("#pieces-wrong")).to_be_visible()
    expect(page.get_by_label("Others, as bands or in MHz", exact=True)).to_have_value("17m")


@pytest.mark.parametrize(
    ("label", "typed", "at"),
    [
        ("Length of a new piece, in metres", "seven", "newpiece0_length"),
        ("Type of a new piece; empty means as in the row above", "RG-999", "newpiece0_line"),
    ],
)
def test_a_slip_in_a_field_is_named_there_and_what_was_typed_stays(person, label, typed, at):
    page = person.page
    page.goto("/bench/new")
    page.wait_for_load_state()
    told = {"tag": "blue 9", "line": "RG-58C/U", "length": "7.2"}
    for name, text in told.items():
        page.fill(f"#newpiece0_{name}", text)
    person.types(label, typed)
    person.types("Others, as bands or in MHz", "17m")
    person.presses("Put in the reference jumper")
    expect(page.locator(f"#{at}-wrong")).to_contain_text(typed)
    expect(page.locator(f"#{at}")).to_have_value(typed)
