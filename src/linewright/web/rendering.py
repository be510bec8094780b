"""Pages as text: the templates, what they may call, and the frame around each page."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

from starlette.requests import Request
from starlette.responses import HTMLResponse

from linewright import __version__
from linewright.core import formatting as writing
from linewright.present.charts.render import to_svg
from linewright.present.charts.theme import Spec
from linewright.web.manual import behind

if TYPE_CHECKING:
    from _typeshed import DataclassInstance
    from jinja2 import Environment

# Pages as text: the templates, what they may call, and the frame around each page

Place = Literal["station", "bench", "shelf", "runs", "sweeps", "help", "elsewhere", ""]
PLACES: tuple[tuple[Place, str, str], ...] = (
    ("station", "/", "Station"),
    ("bench", "/bench", "Bench"),
    ("shelf", "/shelf", "Shelf"),
    ("runs", "/runs", "Runs"),
    ("sweeps", "/sweeps", "Sweeps"),
    ("help", "/help", "Help"),
)
"""Where a person may go: key, address, name."""
PAPER = "paper"
PAPERS = ("", "light", "dark")
"""The paper a visitor chose (a cookie of that name); empty: as the system has it."""
PART_HEADER = "x-part"
"""Sent when only a part of a page is wanted, to be put in place of the old one."""


@cache
def environment() -> Environment:
    """Return the templates. Everything they show is escaped, whatever it holds."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    found = Environment(
        loader=PackageLoader("linewright.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    found.filters |= {
        "frequency": writing.frequency, "metres": writing.metres, "interval": writing.interval, "percent": percent,
        "behind": behind,
    }  # fmt: skip
    return found


def percent(share: float) -> str:
    """Write a share: "81 %".

    >>> percent(0.814), percent(0.004)
    ('81 %', '0.4 %')
    """
    return f"{100 * share:.0f} %" if share >= 0.0995 or share == 0 else f"{100 * share:.2g} %"


@dataclass(frozen=True, slots=True)
class PageFrame:
    """What stands around a page: where one is, its title, the token of its forms, the paper it lies on.

    ``remarks`` is what should be known of the ledger: damage, a backup that failed.
    """

    place: Place
    title: str
    token: str
    paper: str
    address: str
    lan: bool
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Trouble:
    """What went wrong, in words, and what would cure it."""

    heading: str
    problems: tuple[str, ...]
    damaged: bool = False


def page(
    request: Request, template: str, context: DataclassInstance, *, place: Place = "", title: str, status: int = 200
) -> HTMLResponse:
    """Return a page made of a template and its context, whose fields are the template's names."""
    frame = PageFrame(
        place,
        title,
        request.state.token,
        _paper(request),
        request.url.path,
        bool(request.app.state.settings.pass_phrase),
        request.app.state.opened.remarks if place else (),
    )
    names = {item.name: getattr(context, item.name) for item in fields(context)}
    return HTMLResponse(rendered(template, {**names, "frame": frame}), status)


def rendered(template: str, names: Mapping[str, Any]) -> str:
    """Return a template's text."""
    return environment().get_template(template).render(places=PLACES, version=__version__, **names)


def wants_part(request: Request) -> bool:
    """Return whether the page's own script asks for a part to put in place."""
    return PART_HEADER in request.headers


def _paper(request: Request) -> str:
    said = request.cookies.get(PAPER, "")
    return said if said in PAPERS else ""


# Charts in a page: drawn as SVG text, once for a desk and once for a phone; a page's style gives them its inks

DESK_PX, PHONE_PX = 760, 336


@dataclass(frozen=True, slots=True)
class PageChart:
    """A chart in both widths, and what it shows in words."""

    desk: str
    phone: str
    about: str


def chart(make: Callable[[int], Spec], about: str) -> PageChart:
    """Return a chart for a page; ``make`` returns its specification for a width in pixels."""
    desk, phone = (_drawn(make(width), prefix) for width, prefix in ((DESK_PX, "d"), (PHONE_PX, "p")))
    return PageChart(desk, phone, about)


def _drawn(spec: Spec, prefix: str) -> str:
    """Return a drawing whose clips have names of their own, since a page holds several."""
    mark = f"{prefix}{abs(hash(str(spec))) % 10**8}-"
    return re.sub(r"\bclip(\d+)\b", rf"{mark}\1", to_svg(spec)).replace("<svg ", '<svg aria-hidden="true" ', 1)
