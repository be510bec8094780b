"""Every figure opens to how it was worked out: on the station, its runs, the shelf."""

import html
import re

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from linewright.web.app import create_app
from linewright.web.settings import Settings
from linewright.web.stations import invented

HOME = "http://localhost:8731"


@pytest.fixture
def visitor(tmp_path):
    """Return a visitor of a ledger with the invented bench and station."""
    client = TestClient(create_app(Settings(str(tmp_path / "ledger.sqlite"))), base_url=HOME)
    token = client.get("/").text.split('name="token" content="')[1].split('"')[0]
    client.post("/station/demo", data={"token": token})
    text, files = invented()
    sent = [("files", ("station.toml", text)), *(("files", (n, t)) for n, t in files.items())]
    kept = client.post("/runs", files=sent, data={"token": token, "keep": "yes"})
    assert kept.status_code == 200
    client.kept = str(kept.url.params["station"]).removeprefix("=")
    return client


def test_every_verdict_of_the_station_opens(visitor):
    page = visitor.get("/").text
    pieces = page.split("<h2>The pieces</h2>")[1].split("<h2>")[0]
    assert len(re.findall("<li>", pieces)) == 3
    assert pieces.count("How it was worked out") == 3
    assert pieces.count("loss of the piece / loss of a new one") == 3


def test_every_figure_of_a_kept_stations_runs_opens(visitor):
    page = visitor.get(f"/station/runs/{visitor.kept}").text
    links = [html.unescape(link) for link in re.findall(r'class="figure" href="([^"#]+)#worked"', page)]
    assert len(links) == 8
    for link in links:
        assert "How it was worked out" in visitor.get(link).text, link


def test_every_figure_of_the_list_of_runs_opens(visitor):
    page = visitor.get("/runs?station=harbour-ridge").text
    links = [html.unescape(link) for link in re.findall(r'class="figure" href="([^"#]+)#worked"', page)]
    assert len(links) == 10
    for link in links:
        assert "How it was worked out" in visitor.get(link).text, link


def test_a_figure_of_the_shelf_leads_to_its_working_opened(visit):
    visit.goto("/")
    visit.click("text=Try it with the invented Harbour Ridge bench")
    visit.goto("/shelf")
    visit.locator(".losses a.figure").first.click()
    expect(visit.locator("#loss-1")).to_have_attribute("open", "")
    expect(visit.locator("#loss-1 .formula")).to_be_visible()
