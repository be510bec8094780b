"""Keyboard alone, from an empty ledger to a verdict; and nothing that moves where that is not wanted."""

import pytest
from playwright.sync_api import expect

from web.bench_helpers import reading_of
from web.conftest import DESK

MOST_TABS = 120


@pytest.fixture
def page(browser, site):
    """Return a desk without a mouse, that asks for reduced motion."""
    context = browser.new_context(base_url=site.address, reduced_motion="reduce", **DESK)
    opened = context.new_page()
    for name in ("click", "check", "fill", "tap", "select_option", "hover", "dblclick"):
        setattr(opened, name, None)
    yield opened
    context.close()


def go_to(page, name):
    """Press Tab until what has this name has the focus; it must be seen to have it."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        said = page.evaluate(
            """() => { const at = document.activeElement;
              const label = at.labels?.[0]?.innerText ?? at.innerText ?? "";
              return [label.trim().split("\\n")[0], getComputedStyle(at).outlineStyle]; }"""
        )
        if said[0].startswith(name):
            assert said[1] != "none", f"{name} has the focus, and nobody can see it"
            return
    pytest.fail(f"no way to {name} by Tab")


def fill_in(page, **fields):
    for name, text in fields.items():
        go_to(page, name.replace("_", " "))
        page.keyboard.type(text)


def test_from_a_new_piece_to_a_verdict_without_a_mouse(page):
    page.goto("/")
    go_to(page, "Add a piece")
    page.keyboard.press("Enter")
    page.wait_for_url("**/shelf/new/piece")
    fill_in(page, Tag="blue 7", Claimed="RG-58C/U", Length="7.2 m", Connectors="2")
    page.keyboard.press("Enter")
    page.wait_for_url("**/shelf/piece/**")
    page.goto("/bench/new")
    page.wait_for_load_state()
    go_to(page, "What you call it")
    page.keyboard.type("desk meter")
    go_to(page, "not known")
    page.keyboard.press("ArrowLeft")  # the smallest step: 1
    go_to(page, "blue 7")
    page.keyboard.press("Space")
    for band in ("20 m", "6 m"):
        go_to(page, band)
        page.keyboard.press("Space")
    go_to(page, "Carrier and reference jumper")
    page.keyboard.press("Enter")
    fill_in(page, Carrier_power="10", Type_of_the_jumper="RG-58C/U", Its_length="0.9")
    go_to(page, "Put in the reference jumper")
    page.keyboard.press("Enter")
    page.wait_for_url("**/bench/at/**")
    expect(page.locator("[data-reading]:focus")).to_have_count(1)
    expect(page.locator("[data-reading]:visible")).to_have_count(3)
    for _ in range(3):
        page.keyboard.type(reading_of(page.evaluate("document.activeElement.dataset.where")))
        page.keyboard.press("Enter")
    expect(page.locator("#verdicts .lead").first).to_contain_text("blue 7")
    assert page.evaluate("document.getAnimations().length") == 0
