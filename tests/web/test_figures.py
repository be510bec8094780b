"""Every figure opens to how it was worked out: on the station, its runs, the shelf."""

import html
import re

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from linewright.web.app import create_app
from linewright.web.sessions import Settings
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
    pieces = page.split('<ul class="piecelist">')[1].split("</section>")[0]
    assert len(re.findall("<h3>", pieces)) == 3
    opened = [pieces.split(f'id="{there}"')[1] for there in re.findall(r'class="figure" href="#([^"]+)"', pieces)]
    assert len(opened) == 3
    for figure in opened:
        working = figure.split("</details>")[0]
        assert "How that was worked out" in working
        assert working.count("loss of the piece / loss of a new one") == 1


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
    demo = visit.get_by_text("Try it with the invented Harbour Ridge bench")
    if demo.count():
        demo.click()
    visit.goto("/shelf")
    visit.wait_for_load_state()
    figure = visit.locator(".losses a.figure").first
    working = figure.get_attribute("href").rpartition("#")[2]
    assert working.startswith("loss-at-")
    figure.click()
    expect(visit.locator(f"details[id='{working}']")).to_have_attribute("open", "")
    expect(visit.locator(f"details[id='{working}'] .formula").first).to_be_visible()
