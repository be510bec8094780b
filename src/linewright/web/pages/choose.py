"""Choosing a line for a run: limits and prices beside the answer. The address holds all of it."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import parse_qsl, urlencode

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from linewright.formats.texts import decoded
from linewright.model.station import Run, Station
from linewright.web.choose_page import HERE, Answer, Asked, ChoosePage, answer
from linewright.web.choosing import EVERY, HEADING, LIMITS, MORE_LIMITS, OUTDOORS, chosen, held, stepped_limit
from linewright.web.pages.runs import PLACE, station_held
from linewright.web.run_state import RunState, address
from linewright.web.shown import page, wants_part
from linewright.web.stations import INVENTED, invented_prices
from linewright.web.sweep_given import tried
from linewright.workflows.plan import the_run

router = APIRouter(include_in_schema=False)
NAMES = (*(one.name for one in EVERY), OUTDOORS)


@router.get(HERE)
def choose(request: Request) -> Response:
    """Show what may be laid in a run, with the limits and prices its address holds."""
    params = request.query_params
    known = station_held(request, params.get("station", ""))
    run = the_run(known.station, params.get("run", ""))
    texts = held(run.wishes, params)
    prices = params.get("prices", invented_prices() if known.key == INVENTED else f"{HEADING}\n")
    given = tuple((name, texts[name]) for name in NAMES if texts[name] or name in ("limit", *params))
    asked = Asked(known.key, run.name, (*given, ("prices", prices)), params.get("at", ""))
    found, problems = tried(lambda: _answered(asked, known.station, texts, prices))
    shown = ChoosePage(
        known.key, run.name, (known.station.name, f"/runs?{urlencode({'station': known.key})}"),
        address(RunState(known.key, run.name)), LIMITS, MORE_LIMITS, texts, stepped_limit(run.wishes), prices,
        asked.at, asked.address(), asked.address().partition("?")[2], problems, found,
    )  # fmt: skip
    template = "choose_result.html" if wants_part(request) else "choose.html"
    return page(request, template, shown, place=PLACE, title=f"A line for {run.name}")


def _answered(asked: Asked, station: Station, texts: dict[str, str], prices: str) -> Answer:
    from linewright.choice.choose import span_of

    choice = chosen(station, asked.run, texts, prices)
    run: Run = the_run(station, asked.run)
    return answer(asked, choice, run, span_of(run))


@router.post(HERE)
def give_prices(
    file: Annotated[UploadFile | None, File()] = None, asked: Annotated[str, Form()] = ""
) -> RedirectResponse:
    """Take prices from a file, and go to the page whose address holds them."""
    pairs = [(name, value) for name, value in parse_qsl(asked) if name not in ("prices", "at")]
    text = decoded(file.file.read(), "prices", file.filename or "") if file and file.filename else f"{HEADING}\n"
    return RedirectResponse(f"{HERE}?{urlencode([*pairs, ('prices', text)])}", 303)
