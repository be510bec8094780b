"""Help: the manual, which the package carries, so that it is there without a network. The address names its page.

A page is served in the reader's language where it is translated as a whole, else in English, and then it says so.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cache
from html import unescape
from importlib.resources import files
from importlib.resources.abc import Traversable
from itertools import groupby

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup
from starlette.exceptions import HTTPException

from linewright.core.locale import ENGLISH
from linewright.core.messages import say
from linewright.web.language import spoken
from linewright.web.manual import address
from linewright.web.rendering import page

router = APIRouter(include_in_schema=False)
HOME = "index"
TAGS = re.compile(r"<svg.*?</svg>|<[^>]+>", re.DOTALL)
HEADING = re.compile(r'<h[1-3] id="(?P<anchor>[^"]+)">(?P<words>.*?)</h[1-3]>', re.DOTALL)
AROUND = 60
"""Characters shown to either side of a word that was found."""
MOST_FOUND = 20
LONGEST_WORDS = 200


@dataclass(frozen=True)
class HelpEntry:
    """A page in the list: which part it belongs to, what it is called, and where it stands."""

    part: str
    title: str
    page: str

    @property
    def address(self) -> str:
        """Where it stands."""
        return address(self.page)


@dataclass(frozen=True)
class Found:
    """A place that holds the words sought: page and heading, where it stands, the words around and their language."""

    title: str
    address: str
    around: str
    language: str


@dataclass(frozen=True)
class HelpPage:
    """A page of the manual and its language, the list of all, what is on it, and what a search found."""

    body: Markup
    language: str
    here: str
    parts: tuple[tuple[str, tuple[HelpEntry, ...]], ...]
    headings: tuple[tuple[str, str], ...]
    sought: str
    found: tuple[Found, ...]
    before: HelpEntry | None
    after: HelpEntry | None


@router.get("/help")
def start(request: Request) -> Response:
    """Show where the manual begins, or where the words ``q`` stand in it."""
    sought = " ".join(request.query_params.get("q", "")[:LONGEST_WORDS].split())
    return _shown(request, HOME, sought)


@router.get("/help/schemas/{name}.json")
def schema(name: str) -> Response:
    """Return the JSON Schema of a document."""
    there = files("linewright.files").joinpath("schemas", f"{name}.json")
    if not re.fullmatch(r"[a-z-]+", name) or not there.is_file():
        raise HTTPException(404)
    return Response(there.read_text(encoding="utf-8"), media_type="application/schema+json")


@router.get("/help/examples/{name}.ipynb")
def notebook(name: str) -> Response:
    """Return an example as a notebook."""
    there = files("linewright.web").joinpath("help", "examples", f"{name}.ipynb")
    if not re.fullmatch(r"[a-z-]+", name) or not there.is_file():
        raise HTTPException(404)
    return Response(there.read_text(encoding="utf-8"), media_type="application/x-ipynb+json")


@router.get("/help/{name:path}")
def one(request: Request, name: str) -> Response:
    """Show a page of the manual."""
    return _shown(request, name, "")


def _shown(request: Request, name: str, sought: str) -> Response:
    listed = entries(spoken().language)
    at = next((i for i, entry in enumerate(listed) if entry.page == name), None)
    if at is None:
        raise HTTPException(404)
    language = language_of(name, spoken().language)
    body = text_of(name, language)
    parts = tuple((part, tuple(some)) for part, some in groupby(listed, lambda entry: entry.part))
    headings = tuple((m["anchor"], _plain(m["words"])) for m in HEADING.finditer(body) if m[0].startswith("<h2"))
    shown = HelpPage(
        Markup(body), language, name, parts, headings if len(headings) > 2 else (), sought,
        search(sought, spoken().language) if sought else (), listed[at - 1] if at else None,
        listed[at + 1] if at + 1 < len(listed) else None,
    )  # fmt: skip
    return page(request, "help.html", shown, place="help", title=say("{title} · Help", title=listed[at].title))


def _file(name: str, language: str) -> Traversable:
    """Return a file of the manual in a language; the English one where there is none."""
    manual = files("linewright.web").joinpath("help")
    theirs = manual.joinpath(language, name)
    return theirs if theirs.is_file() else manual.joinpath(name)


@cache
def entries(language: str = ENGLISH.language) -> tuple[HelpEntry, ...]:
    """Return every page of the manual, in its order, with its title in a language."""
    return tuple(HelpEntry(**entry) for entry in json.loads(_file("pages.json", language).read_text(encoding="utf-8")))


@cache
def language_of(name: str, language: str) -> str:
    """Return the language that a reader of one is served a page in: theirs, or English."""
    there = files("linewright.web").joinpath("help", language, f"{name}.html").is_file()
    return language if there else ENGLISH.language


@cache
def text_of(name: str, language: str) -> str:
    """Return a page's text as it was rendered when the manual was made."""
    return _file(f"{name}.html", language).read_text(encoding="utf-8")


def search(sought: str, language: str) -> tuple[Found, ...]:
    """Return the places that hold all the words sought: headings first, then as the manual goes."""
    words = sought.casefold().split()
    found = []
    for entry in entries(language):
        served = language_of(entry.page, language)
        for anchor, heading, text in sections(entry.page, served):
            lower = f"{heading} {text}".casefold()
            if all(word in lower for word in words):
                told = sum(word in f"{entry.title} {heading}".casefold() for word in words)
                where = entry.address + (f"#{anchor}" if anchor else "")
                title = entry.title if heading in {"", entry.title} else f"{entry.title}: {heading}"
                found.append((-told, Found(title, where, _around(text, words), served)))
    return tuple(one for _, one in sorted(found, key=lambda pair: pair[0])[:MOST_FOUND])


@cache
def sections(name: str, language: str) -> tuple[tuple[str, str, str], ...]:
    """Return a page cut at its headings: anchor, heading and plain text of each section."""
    pieces = HEADING.split(text_of(name, language))
    cut = [("", "", pieces[0]), *zip(pieces[1::3], pieces[2::3], pieces[3::3], strict=True)]
    return tuple((anchor, _plain(heading), _plain(text)) for anchor, heading, text in cut if text.strip())


def _plain(html: str) -> str:
    return " ".join(unescape(TAGS.sub(" ", html)).split())


def _around(text: str, words: list[str]) -> str:
    at = max(0, min((i for i in (text.casefold().find(word) for word in words) if i >= 0), default=0))
    start, end = max(0, at - AROUND), at + 2 * AROUND
    return f"{'… ' if start else ''}{text[start:end].strip()}{' …' if end < len(text) else ''}"
