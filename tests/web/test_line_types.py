"""The pages of line types: all of them, one in full, names out of use, a person's own."""

from __future__ import annotations

import html
import re

import pytest
from starlette.testclient import TestClient

from linewright.catalogue import line_types
from linewright.catalogue.connectors import connectors, fittings
from linewright.verbs.line_page import line_page
from linewright.web.app import create_app
from linewright.web.sessions import Settings

HOME = "http://localhost:8731"


@pytest.fixture(autouse=True)
def own_ledger(monkeypatch, tmp_path):
    """Keep what a test keeps in a ledger of its own."""
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "ledger.sqlite"))


@pytest.fixture
def visitor():
    return TestClient(create_app(Settings()), base_url=HOME)


def plain_text(page):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_every_type_is_listed_and_leads_to_its_page(visitor):
    page = visitor.get("/lines").text
    for kind in line_types():
        assert html.escape(kind.designator) in page
    assert visitor.get("/lines?type=RG-213%2FU").status_code == 200


def test_a_types_page_shows_its_chart_bands_core_mates_and_doubts(visitor):
    found = visitor.get("/lines", params={"type": "RG-213/U"})
    shown = plain_text(found.text)
    assert "<svg" in found.text
    assert "Made on the same core: RG-8/U" in shown
    assert "1296.2 MHz" in shown
    assert all(
        str(x) in shown for x in line_page(next(t for t in line_types() if t.designator == "RG-213/U")).settled_by
    )


def test_clad_steel_is_marked_as_doubtful_and_copper_is_not(visitor):
    assert "doubtful" in plain_text(visitor.get("/lines", params={"type": "RG-6 type"}).text)
    assert "doubtful" not in plain_text(visitor.get("/lines", params={"type": "RG-213/U"}).text)


def test_a_name_out_of_use_leads_to_its_successor(visitor):
    shown = plain_text(visitor.get("/lines", params={"type": "RG-17A/U"}).text)
    assert "RG-218/U" in shown
    assert "RG-17A/U is out of use" in shown


def test_a_name_nobody_knows_is_refused_with_the_nearest(visitor):
    found = visitor.get("/lines", params={"type": "RG-231/U"})
    assert found.status_code == 422
    assert "RG-213/U" in plain_text(found.text)


def test_figures_stand_in_the_units_people_use_each_with_how_it_is_known(visitor):
    shown = plain_text(visitor.get("/lines", params={"type": "RG-213/U"}).text)
    assert "capacitance 101 pF/m read in a text: digisolutions.de" in shown
    assert "centre diameter 2.28 mm from memory" in shown
    assert "e-10" not in shown


def test_every_published_point_of_a_type_stands_on_its_page_with_its_source(visitor):
    kind = next(t for t in line_types() if t.designator == "RG-223/U")
    found = visitor.get("/lines", params={"type": "RG-223/U"}).text
    shown = plain_text(found)
    assert f"{len(kind.points)} figures, each with its source" in shown
    for p in kind.points:
        assert html.escape(p.provenance.source) in found or p.provenance.source in shown


def test_a_types_core_mates_are_links(visitor):
    found = visitor.get("/lines", params={"type": "RG-213/U"}).text
    assert '<a href="/lines?type=RG-214%2FU">RG-214/U</a>' in found


def test_the_connectors_page_tells_loss_power_and_source_of_every_family_and_fitting(visitor):
    page = visitor.get("/connectors")
    shown = plain_text(page.text)
    assert page.status_code == 200
    for one in (*connectors(), *fittings()):
        assert one.name in shown
        for name in {"power", "loss"} & set(one.figures):
            assert " ".join(str(one.figures[name].value).split()) in shown
    assert "0.710" in shown  # UHF at 1296 MHz, its reflection counted
    assert "common practice, no source" in shown


def test_line_types_and_connectors_are_reached_from_every_page_of_the_program(visitor):
    for address in ("/", "/shelf", "/runs"):
        page = visitor.get(address).text
        assert '<a href="/lines">' in page
        assert '<a href="/connectors">' in page
