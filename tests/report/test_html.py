"""Reports as pages: self-contained, literal, the same as on paper."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from linewright.core.locale import Manner
from linewright.present.document import Document
from linewright.present.localize import visible
from linewright.present.writers.html import inks, report_html
from report.made import HOSTILE, crowded, hostile_station

KINDS = ("bench", "station", "piece")


class Words(HTMLParser):
    """The words of a page as a reader sees them, the tags it uses and every address it names."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: set[str] = set()
        self.addresses: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.addresses |= {str(value) for name, value in attrs if name in ("href", "src", "action", "data", "srcset")}

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return "".join(self.words)


@pytest.mark.parametrize("kind", KINDS)
def test_a_page_needs_nothing_from_elsewhere_and_no_script(documents: dict[str, Document], kind: str) -> None:
    page = report_html(documents[kind]).decode()
    found = Words(page)
    assert not found.tags & {"script", "link", "img", "iframe", "object", "embed", "form", "base"}
    assert all(address.startswith("#") for address in found.addresses)
    assert not re.search(r"url\((?!#)", page)
    assert "@import" not in page
    assert not re.search(r"\son\w+=", re.sub(r">[^<]*<", "><", page))


@pytest.mark.parametrize("kind", KINDS)
def test_paper_and_page_say_the_same(documents: dict[str, Document], kind: str) -> None:
    """Every text of every block stands on the page."""
    text = _squeezed(Words(report_html(documents[kind]).decode()).text)
    told = [t for s in documents[kind].to_dict()["sections"] for b in s["blocks"] for t in _texts(b)]
    assert len(told) > 30
    assert [t for t in told if _squeezed(t) not in text] == []


def _texts(block: dict[str, object]) -> list[str]:
    if block["block"] == "table":
        return [cell for part in block["parts"] for row in part["rows"] for cell in row["cells"]]
    if block["block"] in ("points", "cautions"):
        return list(block["items"])
    return [str(block[name]) for name in ("lead", "text", "caption") if name in block]


def _squeezed(text: str) -> str:
    return re.sub(r"[\s\u2068\u2069\u2007]+", "", text)


def test_hostile_names_stand_as_they_are_and_do_nothing(bench, station) -> None:
    for document in (crowded(bench, pieces=10, bands=1), hostile_station(station)):
        found = Words(report_html(document).decode())
        assert "script" not in found.tags
        for name in HOSTILE:
            assert _squeezed(visible(name)) in _squeezed(found.text)


def test_inks_of_the_drawings_turn_for_the_dark(documents: dict[str, Document]) -> None:
    page = report_html(documents["bench"]).decode()
    used = set(re.findall(r'(?:fill|stroke)="(#[0-9a-f]{6})"', page))
    assert used
    assert used <= {ink.light for ink in inks()}


def test_drawings_share_no_inner_name(documents: dict[str, Document]) -> None:
    ids = re.findall(r'\sid="([^"]+)"', report_html(documents["bench"]).decode())
    assert len(ids) == len(set(ids))


def test_one_document_serves_another_manner(documents: dict[str, Document]) -> None:
    page = Words(report_html(documents["bench"], Manner(decimal=",", lengths="ft")).decode()).text
    assert "blue 7, 23,6 ft" in page
    assert "1,39 times what RG-58C/U" in page
