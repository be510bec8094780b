"""Help: the manual in the app, as the pages have it, found by words, and behind every figure."""

from __future__ import annotations

import io
import re
from functools import cache
from html.parser import HTMLParser

import numpy as np
import pytest
from fastapi.testclient import TestClient
from pypdf import PdfReader

import linewright as lw
from demo.tool import ROOT, tool
from linewright.core.nouns.bench_result import Working
from linewright.web import manual
from linewright.web.app import create_app
from linewright.web.pages import help as pages
from linewright.web.rendering import environment
from linewright.web.sessions import Settings
from web.conftest import fits, picture, sound

made = tool("docs_help")
SEEN = lw.Seen("SWR 1.3", np.array([0.13 + 0j]), np.array([0.11]), np.array([0.15]))
NAMES = [entry.page for entry in pages.entries()]


class Links(HTMLParser):
    """The anchors of a page and where its links lead."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.anchors: set[str] = set()
        self.links: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        self.anchors |= {given["id"]} if given.get("id") else set()
        self.links += [given["href"]] if tag == "a" and given.get("href") else []


@pytest.fixture(scope="module", name="client")
def served(tmp_path_factory):
    settings = Settings(str(tmp_path_factory.mktemp("help") / "ledger.db"), 8765)
    with TestClient(create_app(settings), base_url="http://localhost:8765") as found:
        yield found


def test_the_help_is_what_the_pages_say_now():
    there = {str(p.relative_to(made.HELP)): p.read_text(encoding="utf-8") for p in made.HELP.rglob("*") if p.is_file()}
    assert there == made.made(), "run tools/docs_help.py"


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_page_of_the_manual_is_served_and_every_link_in_it_leads_somewhere(client, language):
    reader = {"accept-language": language}
    texts = {manual.address(name): Links(client.get(manual.address(name), headers=reader).text) for name in NAMES}
    assert len(texts) > 40
    missing, status = [], cache(lambda where: client.get(where).status_code)
    for here, page in texts.items():
        for link in page.links:
            where, _, anchor = link.partition("#")
            if "://" in link:
                continue
            there = texts.get(where or here)
            if there is None:
                missing += [f"{here}: {link}"] if status(where) != 200 else []
            elif anchor and anchor not in there.anchors:
                missing.append(f"{here}: {link}")
    assert missing == []


def test_the_manual_asks_nothing_of_a_network(client):
    for name in NAMES:
        loaded = re.findall(r'<(?:script|link|img)[^>]*(?:src|href)="([^"]+)"', client.get(manual.address(name)).text)
        assert [what for what in loaded if "//" in what] == []


def test_an_address_of_no_page_says_so(client):
    for wrong in (
        "/help/nothing",
        "/help/..%2Fstatic%2Fstyle.css",
        "/help/reference",
        "/help/schemas/nothing.json",
        "/help/pages.json",
    ):
        assert client.get(wrong).status_code == 404


@pytest.mark.parametrize(
    ("sought", "first"),
    [
        ("velocity factor", "velocity"),
        ("cannot tell", "Cannot tell"),
        ("dummy load", "Safety"),
    ],
)
def test_words_are_found_where_they_stand(client, sought, first):
    page = client.get("/help", params={"q": sought}).text
    (body,) = re.findall(r'<ol class="found">(.*?)</ol>', page, re.DOTALL)
    assert first.casefold() in body.casefold()
    assert all(word in body.casefold() for word in sought.split())


def test_words_that_stand_nowhere_get_an_answer(client):
    assert "No page holds all of these words" in client.get("/help", params={"q": "xyzzy <b>"}).text
    assert "<b>" not in client.get("/help", params={"q": "<b>"}).text.split("<article")[1][:200]


def test_a_schema_is_served_as_it_is_published(client):
    published = ROOT / "docs" / "reference" / "schemas" / "meaning.json"
    assert client.get("/help/schemas/meaning.json").text == published.read_text(encoding="utf-8")


@pytest.mark.parametrize("place", manual.PAGES)
def test_what_stands_behind_a_kind_of_figure_is_there(place, client):
    page, _, anchor = place.partition("#")
    found = Links(client.get(manual.address(page)).text)
    assert page in NAMES
    assert not anchor or anchor in found.anchors


def test_every_kind_of_figure_of_the_demo_leads_to_a_place_of_its_own():
    station = ROOT / "src" / "linewright" / "verbs" / "demo_data" / "harbour-ridge-station.toml"
    plan = lw.plan_station(station, run="two-metre beam")
    asked = [
        *plan.budgets[0].workings,
        *lw.see_through(SEEN, lw.line_behind(loss_db=3.0)).workings,
        *lw.meaning_of(-3.0).workings,
        *lw.line_loss("RG-213/U", 30.0, [14.2e6]).workings,
    ]
    kinds = {str(w.key[0]) for w in asked if w.key}
    assert len(kinds) > 20
    assert kinds <= manual.PLACE.keys()


HEAT = Working("heat in the line", "P = ...", (("P", "1 W"),), "a book", ("part heat", 2, 7e6))


@pytest.mark.parametrize(("file", "macro", "given"), [
    ("run_macros.html", "working", (HEAT,)),
    ("bench_parts.html", "how", ((HEAT,), "how-1")),
])  # fmt: skip
def test_an_opened_figure_leads_to_its_place(file, macro, given):
    shown = getattr(environment().get_template(file).make_module({"how": None}), macro)(*given)
    assert "/help/chain-equations#voltage-and-heat" in Links(str(shown)).links


def test_a_figure_without_a_place_of_its_own_leads_to_what_the_figures_mean():
    assert manual.behind(Working("", "", (), "", ("something new", 1.0))) == manual.START


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_bench_card_is_one_printed_page(site, browser, paper):
    with browser.new_context(base_url=site.address) as context:
        page = context.new_page()
        page.goto("/help/bench-card")
        printed = page.pdf(format=paper)
    sheets = PdfReader(io.BytesIO(printed)).pages
    assert len(sheets) == 1
    assert "RF burns" in sheets[0].extract_text()


@pytest.mark.parametrize(
    ("name", "language"), [("quick-start-app", "en"), ("quick-start-app", "de"), ("quick-start-terminal", "en")]
)
def test_a_quick_start_fits_one_screen_of_a_desk(site, browser, name, language):
    size = {"width": 1280, "height": 800}
    with browser.new_context(base_url=site.address, viewport=size, locale=language) as context:
        page = context.new_page()
        page.goto(f"/help/{name}")
        below = page.evaluate("document.querySelector('.text > p:last-of-type').getBoundingClientRect().bottom")
    assert below <= 800


def test_help_is_read_searched_and_left_on_any_device(visit):
    visit.goto("/help")
    visit.get_by_label("Search the manual").fill("reference section")
    visit.get_by_role("button", name="Search").click()
    visit.get_by_role("heading", level=1).wait_for()
    visit.goto("/help/how-to/plan-a-run")
    picture(visit, "help-plan-a-run")
    sound(visit)
    visit.goto("/help")
    picture(visit, "help")
    assert fits(visit)
