"""Choosing a line for a run: limits and prices beside the answer. The address holds all of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Annotated
from urllib.parse import parse_qsl, urlencode
from zlib import crc32

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from linewright.choice.choose import span_of
from linewright.core.errors import UnknownNameError
from linewright.core.nouns.choice import Choice
from linewright.core.nouns.station import Run
from linewright.files.tables import decoded
from linewright.present.charts.longest_run import longest_run_chart
from linewright.present.charts.render import to_svg
from linewright.present.charts.theme import DARK, LIGHT, Spec
from linewright.present.charts.trade_off import trade_off_chart
from linewright.verbs.plan import the_run
from linewright.web.choose_page import (
    EVERY,
    HEADING,
    HERE,
    LIMITS,
    MORE_LIMITS,
    OUTDOORS,
    Asked,
    Choices,
    ChoosePage,
    answer,
    held,
    stepped_limit,
    wishes_in,
)
from linewright.web.pages.runs import PLACE, station_held
from linewright.web.rendering import page, wants_part
from linewright.web.run_state import RunState, address
from linewright.web.stations import INVENTED, HeldStation, invented_prices
from linewright.web.sweep_requests import tried

router = APIRouter(include_in_schema=False)
CHARTS: dict[str, Callable[..., Spec]] = {"trade-off": trade_off_chart, "lengths": longest_run_chart}
WIDE, NARROW = 760, 340
NAMES = (*(one.name for one in EVERY), OUTDOORS)


@dataclass(frozen=True, slots=True)
class _Question:
    """What an address asks: of which station, with which limits and prices."""

    known: HeldStation
    run: Run
    texts: dict[str, str]
    prices: str
    asked: Asked


@router.get(HERE)
def choose(request: Request) -> Response:
    """Show what may be laid in a run, with the limits and prices its address holds."""
    q = _question(request)
    key, station = q.known.key, q.known.station
    found, problems = tried(lambda: answer(q.asked, _choice(request, q), q.run, span_of(_wished(q))))
    there = q.asked.address()
    shown = ChoosePage(
        key, q.run.name, (station.name, f"/runs?{urlencode({'station': key})}"),
        address(RunState(key, q.run.name)), LIMITS, MORE_LIMITS, q.texts, stepped_limit(q.run.wishes), q.prices,
        q.asked.at, there, there.partition("?")[2], f"{crc32(there.encode()):08x}", problems, found,
    )  # fmt: skip
    template = "choose_result.html" if wants_part(request) else "choose.html"
    return page(request, template, shown, place=PLACE, title=f"A line for {q.run.name}")


@router.get(f"{HERE}/chart/{{name}}")
def chart(request: Request, name: str, paper: str = "light", wide: int = WIDE) -> Response:
    """Return a chart of a choice as SVG."""
    if name not in CHARTS:
        raise UnknownNameError("chart", f"must be one of {', '.join(CHARTS)}; got {name[:40]!r}")
    choice = _choice(request, _question(request))
    palette = DARK if paper == "dark" else LIGHT
    drawn = CHARTS[name](choice, width_px=NARROW if wide < WIDE else WIDE, palette=palette)
    return Response(to_svg(drawn), media_type="image/svg+xml")


def _question(request: Request) -> _Question:
    params = request.query_params
    known = station_held(request, params.get("station", ""))
    run = the_run(known.station, params.get("run", ""))
    texts = held(run.wishes, params)
    prices = params.get("prices", invented_prices() if known.key == INVENTED else f"{HEADING}\n")
    given = tuple((name, texts[name]) for name in NAMES if texts[name] or name in ("limit", *params))
    asked = Asked(known.key, run.name, (*given, ("prices", prices)), params.get("at", ""))
    return _Question(known, run, texts, prices, asked)


def _choice(request: Request, q: _Question) -> Choice:
    choices: Choices = request.app.state.choices
    return choices.chosen(q.known, q.run.name, q.texts, q.prices)


def _wished(q: _Question) -> Run:
    """Return the run with what the form asks of its line."""
    return replace(q.run, wishes=replace(q.run.wishes, **wishes_in(q.texts)))


@router.post(HERE)
def give_prices(
    file: Annotated[UploadFile | None, File()] = None, asked: Annotated[str, Form()] = ""
) -> RedirectResponse:
    """Take prices from a file, and go to the page whose address holds them."""
    pairs = [(name, value) for name, value in parse_qsl(asked) if name not in ("prices", "at")]
    text = decoded(file.file.read(), "prices", file.filename or "") if file and file.filename else f"{HEADING}\n"
    return RedirectResponse(f"{HERE}?{urlencode([*pairs, ('prices', text)])}", 303)
