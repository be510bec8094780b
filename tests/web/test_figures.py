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
    demo = visit.get_by_text("Try it with the invented Harbour Ridge bench")
    if demo.count():
        demo.click()
    visit.goto("/shelf")
    visit.locator(".losses a.figure").first.click()
    expect(visit.locator("#loss-1")).to_have_attribute("open", "")
    expect(visit.locator("#loss-1 .formula")).to_be_visible()


def test_the_figures_of_plans_side_by_side_open_in_the_plan_they_belong_to(visitor):
    there = "/runs/run?station=harbour-ridge&run=two-metre+beam&length1=9&kept=length1%3D6"
    page = visitor.get(there).text
    sides = page.split('id="sides-name"')[1].split("</section>")[0]
    links = [html.unescape(link) for link in re.findall(r'class="figure" href="([^"#]+)#worked"', sides)]
    arrives = re.findall(r'#worked"><strong>([^<]+)</strong>', sides)
    assert len(links) == len(arrives) == 3
    for link, watts in zip(links, arrives, strict=True):
        opened = visitor.get(link).text
        assert "How it was worked out" in opened
        said = re.search(r"power at the antenna at 144.3 MHz: ([\d.]+) W", opened.split('id="worked"')[1])
        assert said
        assert float(said[1]) == pytest.approx(float(watts.removesuffix(" W")), abs=0.5)
