"""What the pages say one does in the app: each place is there, and each word in bold stands on it."""

from __future__ import annotations

import re
from contextlib import ExitStack
from datetime import date
from html import unescape

import pytest
from fastapi.testclient import TestClient

from demo.tool import ROOT, tool
from linewright.verbs.examples import demo_file
from linewright.verbs.shelf import file_any, keep_station, open_ledger
from linewright.web import jobs
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from web.test_every_page import WALKED, called

STEPS = re.compile(r"<!-- app: (?P<places>.+?) -->\n(?P<steps>(?:\d+\. .*\n(?: {3}.*\n)*)+)")
BOLD = re.compile(r"\*\*(.+?)\*\*", re.DOTALL)
LOCALE = tool("docs_locale")
PAGES = {
    path.name: path.read_text(encoding="utf-8")
    for path in [
        *sorted((ROOT / "docs" / "jobs").glob("*.md")),
        *(ROOT / "docs" / n for n in ("quick-start-app.md", "walk.md")),
    ]
}


@pytest.fixture(scope="module")
def clients(tmp_path_factory):
    """Serve a ledger with the demo's bench and station, as after `shelf file` and `shelf import`, and an empty one."""
    used, new = (tmp_path_factory.mktemp("app") / f"{name}.sqlite" for name in ("used", "new"))
    with open_ledger(used) as kept:
        file_any(kept, demo_file("harbour-ridge.toml"), on=date(2026, 3, 14))
        keep_station(kept, demo_file("harbour-ridge-station.toml"), on=date(2026, 3, 14))
    apps = [create_app(Settings(str(ledger), 8765)) for ledger in (used, new)]
    with ExitStack() as open_now:
        yield [open_now.enter_context(TestClient(app, base_url="http://localhost:8765")) for app in apps]


@pytest.fixture(name="client")
def served(clients, name, monkeypatch):
    """Return the app of the ledger that a page is about: whoever reads the quick start has an empty one."""
    monkeypatch.setattr(jobs, "PATIENCE_S", 600.0)
    return clients[name == "quick-start-app.md"]


def words_of(client, address, language="en"):
    """Return the words of a page, those of its fields and pictures too."""
    answer = client.get(address, headers={"accept-language": language})
    assert answer.status_code == 200, address
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


EVERY_DAY = ("quick-start-app.md", "walk.md", "01-prove-a-piece.md", "13-keep-the-record.md", "19-learn-and-teach.md")


@pytest.mark.parametrize("name", [n if n in EVERY_DAY else pytest.param(n, marks=pytest.mark.slow) for n in PAGES])
def test_every_step_in_the_app_can_be_taken(name, client):
    found = list(STEPS.finditer(PAGES[name]))
    assert len(found) == 1
    for block in found:
        there = " ".join(words_of(client, address) for address in block["places"].split())
        named = [" ".join(bold.split()) for bold in BOLD.findall(block["steps"])]
        assert named or name == "03-know-what-to-measure-next.md"
        assert [bold for bold in named if bold.rstrip(".") not in there] == []


GERMAN = {name.rpartition("/")[2] + ".md": name for name in LOCALE.kept("de")}


@pytest.mark.parametrize(
    "name", [n if n in EVERY_DAY else pytest.param(n, marks=pytest.mark.slow) for n in PAGES if n in GERMAN]
)
def test_every_step_in_the_app_can_be_taken_in_german(name, client):
    (found,) = STEPS.finditer(PAGES[name])
    there = " ".join(words_of(client, address, "de") for address in found["places"].split())
    said = {str(m.id): str(m.string) for m in LOCALE.read("de", GERMAN[name])}
    named = [bold for block in LOCALE.blocks(found["steps"]) for bold in BOLD.findall(said[block])]
    assert named or name == "03-know-what-to-measure-next.md"
    assert [bold for bold in named if bold.rstrip(".") not in there] == []


def test_the_walk_names_pictures_that_are_left_and_none_of_a_page_twice():
    named = re.findall(r"`page-([a-z-]+)`", PAGES["walk.md"])
    assert set(named) <= {called(route) for route in WALKED}
    assert len(named) == len(set(named)) > 25
