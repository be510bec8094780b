"""The station is away: what a browser that was here before still shows, and what it says."""

import pytest
from playwright.sync_api import expect

from linewright.verbs.shelf import add, open_ledger
from web.conftest import DESK, PHONE, PHONE_FIRST, free_port, picture


@pytest.fixture
def station(tmp_path):
    """A station that can be stopped and started again on the same ledger."""
    import threading
    import time

    import uvicorn

    from linewright.web.app import create_app
    from linewright.web.sessions import Settings

    class Station:
        port, ledger = free_port(), str(tmp_path / "ledger.db")

        def start(self):
            app = create_app(Settings(self.ledger, self.port))
            settings = uvicorn.Config(app, host="127.0.0.1", port=self.port, log_level="warning")
            self.server = uvicorn.Server(settings)
            self.thread = threading.Thread(target=self.server.run, daemon=True)
            self.thread.start()
            while not self.server.started:
                time.sleep(0.02)

        def stop(self):
            self.server.should_exit = True
            self.thread.join(10)

    found = Station()
    with open_ledger(found.ledger) as ledger:
        add(ledger, "piece", {"tag": "blue 7", "line": "RG-58C/U", "length": "7.2 m"})
    found.start()
    yield found
    found.stop()


@pytest.fixture(params=PHONE_FIRST)
def page(request, browser, station):
    context = browser.new_context(
        base_url=f"http://localhost:{station.port}", **(PHONE if request.param == "phone" else DESK)
    )
    found = context.new_page()
    found.device = request.param
    found.goto("/shelf")
    found.evaluate("navigator.serviceWorker.ready")
    found.wait_for_function("() => navigator.serviceWorker.controller !== null")
    yield found
    context.close()


def test_a_page_seen_before_says_that_it_is_old_and_one_never_seen_says_where_one_is(page, station):
    page.goto("/shelf")
    station.stop()
    page.goto("/shelf")
    expect(page.locator("main [role=status]")).to_contain_text("as it was last seen here")
    expect(page.locator("main")).to_contain_text("blue 7")
    page.goto("/shelf/piece/blue%207")
    expect(page.locator("h1")).to_have_text("The station does not answer")
    assert page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--paper')")  # it has its style
    picture(page, "away")
    page.click("nav >> text=Shelf")
    expect(page.locator("main")).to_contain_text("blue 7")
    station.start()
    page.goto("/shelf")
    expect(page.locator("main [role=status]")).to_have_count(0)


def test_a_form_that_cannot_be_sent_is_not_lost(page, station):
    page.goto("/shelf/change/piece/blue%207")
    page.fill("#note", "kinked at 3 m")
    station.stop()
    page.click("text=Keep this piece")
    expect(page.locator("h1")).to_have_text("The station does not answer")
    page.go_back()
    expect(page.locator("#note")).to_have_value("kinked at 3 m")
