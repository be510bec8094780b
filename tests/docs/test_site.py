"""The site: built without a warning, whole in itself, every link and anchor there, fit for a phone and for everyone."""

from __future__ import annotations

import os
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import pytest
from axe_playwright_python.sync_playwright import Axe

import linewright
from demo.tool import ROOT
from linewright.cli import main
from web.conftest import DESK, PHONE

LOOKED_AT = ("index", "tutorial", "how-to/judge-the-instruments", "bench-equations", "reference/commands")


class Seen(HTMLParser):
    """The anchors of a page, where its links lead, and what it loads."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.anchors: list[str] = []
        self.links: list[str] = []
        self.loaded: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        self.anchors += [given["id"]] if given.get("id") else []
        self.links += [given["href"]] if tag == "a" and given.get("href") else []
        self.loaded += [given[key] for key in ("src", "href") if tag in ("script", "link", "img") and given.get(key)]


@pytest.fixture(scope="module", name="site")
def built(tmp_path_factory):
    """Build the site strictly; a warning fails it."""
    folder = tmp_path_factory.mktemp("site")
    asked = [sys.executable, "-m", "mkdocs", "build", "--strict", "--site-dir", str(folder)]
    done = subprocess.run(asked, cwd=ROOT, capture_output=True, encoding="utf-8", check=False, env=dict(os.environ))
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="module", name="pages")
def read(site):
    return {path: Seen(path.read_text(encoding="utf-8")) for path in site.rglob("*.html")}


def test_every_link_and_anchor_leads_somewhere(pages):
    missing = []
    for page, seen in pages.items():
        for link in seen.links:
            if "://" in link or link.startswith("mailto:"):
                continue
            where, _, anchor = unquote(link).partition("#")
            there = (page.parent / where).resolve() if where else page
            if not there.exists() or (anchor and anchor not in pages[there].anchors):
                missing.append(f"{page.name}: {link}")
    assert missing == []


def test_no_page_names_two_places_alike(pages):
    twice = {page.name: {name for name in seen.anchors if seen.anchors.count(name) > 1} for page, seen in pages.items()}
    assert {page: names for page, names in twice.items() if names} == {}


def test_nothing_is_loaded_from_elsewhere(site, pages):
    assert [what for seen in pages.values() for what in seen.loaded if "://" in what] == []
    styles = "".join(path.read_text(encoding="utf-8") for path in site.rglob("*.css") if "assets" not in path.parts)
    assert "http" not in styles
    assert "@import" not in styles


def test_the_reference_names_every_command_document_and_name(site, pages):
    anchors = {
        name: pages[site / "reference" / f"{name}.html"].anchors for name in ("commands", "documents", "library")
    }
    assert {f"linewright-{name}" for name in main.commands} <= set(anchors["commands"])
    assert {name.lower() for name in linewright.__all__} <= set(anchors["library"])
    assert len([anchor for anchor in anchors["documents"] if anchor.startswith("linewright")]) >= 15


def test_no_page_holds_a_mark_of_the_tools(site):
    marks = ("<!-- run", "<!-- file", "<!-- end", "<!-- generated")
    held = {path.name for path in site.rglob("*.html") for mark in marks if mark in path.read_text(encoding="utf-8")}
    assert held == set()


@pytest.mark.parametrize(
    ("device", "scheme"),
    [
        pytest.param(PHONE, "light", id="phone-light"),
        pytest.param(DESK, "dark", id="desk-dark", marks=pytest.mark.slow),
        pytest.param(PHONE, "dark", id="phone-dark", marks=pytest.mark.slow),
        pytest.param(DESK, "light", id="desk-light", marks=pytest.mark.slow),
    ],
)
def test_pages_fit_the_screen_and_break_no_rule_of_access(site, browser, device, scheme):
    with browser.new_context(color_scheme=scheme, **device) as context:
        page = context.new_page()
        for name in LOOKED_AT:
            look(page, site / f"{name}.html", device["viewport"]["width"])


def look(page, path: Path, width: int) -> None:
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda cause: complaints.append(str(cause)))
    page.goto(path.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width, path.name
    assert complaints == []
    # Without preload: it would ask for the style sheets once more, which a page opened as a file may not.
    found = Axe().run(page, options={"preload": False, "resultTypes": ["violations"]})
    assert found.violations_count == 0, f"{path.name}: {found.generate_report()}"


def test_search_finds_a_page_without_a_network(site, browser):
    with browser.new_context(**DESK) as context:
        page = context.new_page()
        page.goto((site / "how-to" / "plan-a-run.html").as_uri())
        page.get_by_label("Search").fill("velocity factor")
        page.locator("#found a").first.wait_for()
        page.locator("#found a").first.click()
        page.wait_for_load_state()
        assert "velocity" in page.inner_text("main").lower()
