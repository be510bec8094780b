"""Pages as text: the templates, what they may call, and the frame around each page."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from functools import cache
from typing import IO, TYPE_CHECKING, Any, Literal, cast

from starlette.requests import Request
from starlette.responses import HTMLResponse

from linewright import __version__
from linewright.core.formatting import as_typed
from linewright.core.messages import say
from linewright.present.localize import FIGURE, unbroken
from linewright.web.language import spoken, taste_of
from linewright.web.manual import behind

if TYPE_CHECKING:
    from _typeshed import DataclassInstance
    from jinja2 import Environment

# Pages as text: the templates, what they may call, and the frame around each page

Place = Literal["station", "bench", "shelf", "runs", "sweeps", "help", "find", "settings", "elsewhere", ""]
PLACES: tuple[tuple[Place, str, str], ...] = (
    ("station", "/", say("Station")),
    ("bench", "/bench", say("Bench")),
    ("shelf", "/shelf", say("Shelf")),
    ("runs", "/runs", say("Runs")),
    ("sweeps", "/sweeps", say("Sweeps")),
    ("help", "/help", say("Help")),
)
"""Where a person may go: key, address, name."""
PART_HEADER = "x-part"
"""Sent when only a part of a page is wanted, to be put in place of the old one."""


@cache
def environment() -> Environment:
    """Return the templates. Everything they show is escaped, whatever it holds, and in the manner of the request."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    from linewright.web.language import teach

    found = Environment(
        loader=PackageLoader("linewright.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    found.filters |= {"as_typed": as_typed, "behind": behind}
    teach(found)
    return found


@dataclass(frozen=True, slots=True)
class PageFrame:
    """What stands around a page: where one is, its title, the token of its forms, the language, light or dark paper.

    ``paper`` is "" where the system decides, ``still`` whether nothing may move. ``remarks`` is what should be known of
    the ledger: damage, a backup that failed.
    """

    place: Place
    title: str
    token: str
    paper: str
    address: str
    lan: bool
    language: str = "en"
    still: bool = False
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PageTrouble:
    """What went wrong, in words, and what would cure it."""

    heading: str
    problems: tuple[str, ...]
    damaged: bool = False


def page(
    request: Request, template: str, context: DataclassInstance, *, place: Place = "", title: str, status: int = 200
) -> HTMLResponse:
    """Return a page made of a template and its context, whose fields are the template's names."""
    taste = taste_of(request.cookies)
    frame = PageFrame(
        place,
        title,
        request.state.token,
        taste.look,
        request.url.path,
        bool(request.app.state.settings.pass_phrase),
        spoken().language,
        taste.motion == "still",
        request.app.state.opened.remarks if place else (),
    )
    names = {item.name: getattr(context, item.name) for item in fields(context)}
    return HTMLResponse(rendered(template, {**names, "frame": frame}), status)


def rendered(template: str, names: Mapping[str, Any]) -> str:
    """Return a template's text."""
    return bound_page(environment().get_template(template).render(places=PLACES, version=__version__, **names))


_KEPT = "script|style|textarea|pre|code|option"
"""Elements whose spaces mean what they are: what is in them is run, sent or copied."""
_PAGE = re.compile(rf"(<({_KEPT})\b.*?</\2>|<[^>]*>)|{FIGURE}", re.DOTALL)


def bound_page(text: str) -> str:
    """Return a page on which no line ends between a figure and its unit; attributes keep the spaces they have.

    >>> bound_page('<p title="3 dB">3 dB</p><option>3 dB</option>').replace("\N{NO-BREAK SPACE}", "~")
    '<p title="3 dB">3~dB</p><option>3 dB</option>'
    """
    return _PAGE.sub(lambda found: found[0] if found[1] else unbroken(found), text)


def wants_part(request: Request) -> bool:
    """Return whether the page's own script asks for a part to put in place."""
    return PART_HEADER in request.headers


def messages_in(
    file: IO[bytes], keywords: Mapping[str, Any], comment_tags: Iterable[str], options: Mapping[str, Any]
) -> Iterator[tuple[int, str, Any, list[str]]]:
    """Yield the messages of a template, as ``babel.messages.extract`` wants them."""
    from jinja2.ext import extract_from_ast

    tree = environment().parse(file.read().decode())
    for line, function, messages in extract_from_ast(tree, (*keywords, "in_words")):
        yield line, "say" if function == "in_words" else function, cast("Any", messages), []
