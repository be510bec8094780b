"""The first page: what a newcomer is told, and how a station stands."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from linewright.core.nouns.bench_result import MeterFinding
from linewright.web.pages.station import _doubts
from linewright.web.standing import MeterSaid
from web.bench_helpers import bench_of
from web.conftest import picture


def fits(page):
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def sound(page):
    page.wait_for_load_state()  # the style sheet too
    found = Axe().run(page)
    assert not found.response["violations"], found.generate_report()
    assert fits(page)


@pytest.fixture
def site(tmp_path_factory, request):
    """Serve a ledger of its own to each test: the first page of an empty one is looked at."""
    from web.conftest import site as served

    yield from served.__wrapped__(tmp_path_factory)


@pytest.mark.parametrize("paper", ["light", "dark"])
def test_an_empty_ledger_offers_three_steps_and_the_invented_bench(visit, paper):
    visit.goto("/")
    visit.select_option("#paper", paper)
    visit.click("text=Set")
    expect(visit.locator(".steps li")).to_have_count(3)
    sound(visit)
    picture(visit, f"station-empty-{paper}")
    visit.click("text=Try it with the invented Harbour Ridge bench")
    visit.locator("#verdicts .lead").nth(2).wait_for()
    assert sorted(visit.locator("#verdicts .lead").all_inner_texts()) == [
        "black 20 is good.", "blue 18 is worn.", "blue 7 is worn.",
    ]  # fmt: skip
    expect(visit.locator(".reason .doubt")).to_have_count(3)
    picture(visit, f"bench-demo-{paper}")
    visit.goto("/")
    sound(visit)
    expect(visit.get_by_text("Meters to doubt")).to_have_count(1)
    expect(visit.get_by_text("pocket meter")).to_have_count(1)
    picture(visit, f"station-{paper}")


def test_a_session_under_way_is_offered_first(visit, site):
    bench_of(site.ledger, "Autumn")
    visit.goto("/")
    assert visit.locator(".verdict").inner_text() == "Autumn is under way: 0 of 30 lines read."
    assert "It was never tested." in visit.inner_text("main")
    picture(visit, "station-under-way")
    visit.click("text=Go on with Autumn")
    visit.wait_for_url("**/bench/at/**")
    expect(visit.locator("[data-reading]")).to_have_count(30)


@pytest.mark.parametrize(("bands", "where"), [((144.3e6,), ""), ((50.1e6, 144.3e6), " That is at 144.3 MHz.")])
def test_what_is_said_of_a_doubtful_meter_is_whole_sentences(bands, where):
    why = "Its decibels may be anything from 0.8 to 1.4 times what they are (used outside its rated band)."
    said = [MeterSaid("spring", MeterFinding("card meter", f, "doubtful", 1.1, 0.8, 1.4, why)) for f in bands]
    (doubt,) = _doubts(said)
    assert doubt.why == why + where
