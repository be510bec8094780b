"""Sharing out the pieces on hand among a station's runs. The address holds routes, prices and budget."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from linewright.core.errors import CannotError, InputError
from linewright.core.nouns.choice import Prices, Shared
from linewright.core.nouns.station import Station
from linewright.files.prices import money
from linewright.files.tables import decoded
from linewright.web.choose_page import HEADING, prices_of
from linewright.web.jobs import Tell, Work, works_of
from linewright.web.ledgers import ledger_of
from linewright.web.pages.runs import PLACE, station_held
from linewright.web.rendering import page
from linewright.web.share_page import HERE, SharedOut, SharePage, routed, routes_of, told
from linewright.web.stations import INVENTED, KEPT, HeldStation, invented_prices, revision
from linewright.web.sweep_requests import said

router = APIRouter(include_in_schema=False)


@router.get(HERE)
def share(request: Request) -> Response:
    """Show who gets what; work that takes long is waited for on a page of its own."""
    params = request.query_params
    known = station_held(request, params.get("station", ""))
    routes = routes_of(known.station, params)
    prices = params.get("prices", invented_prices() if known.key == INVENTED else f"{HEADING}\n")
    asked = {"station": known.key, **{r.name: r.held for r in routes}, "budget": params.get("budget", "")}
    found: SharedOut | None = None
    problems: tuple[str, ...] = ()
    if any(r.held.strip() for r in routes):
        try:
            work = _begun(request, known, routed(known.station, routes), prices, asked["budget"])
            if not work.wait():
                return RedirectResponse(work.address, 303)
            found = told(work.answer(), {tag: p.length_m for tag, p in known.station.pieces.items()})
        except InputError as error:
            problems = tuple(said(error))
        except CannotError as error:
            problems = (str(error),)
    shown = SharePage(
        known.key, known.station.name, f"/runs?{urlencode({'station': known.key})}", routes, asked["budget"],
        prices, urlencode(asked), problems, found,
    )  # fmt: skip
    return page(request, "share.html", shown, place=PLACE, title="Share out the shelf")


def _begun(request: Request, known: HeldStation, station: Station, prices: str, budget: str) -> Work:
    sold = prices_of(prices, station)
    may_spend = money(budget.strip(), "budget") if budget.strip() else 0.0
    back = str(request.url.replace(scheme="", netloc=""))
    state = revision(ledger_of(request)) if known.key.startswith(KEPT) else 0
    job = partial(_shared, station, sold, may_spend)
    return works_of(request).begin(f"share {state} {back}", "Sharing out the shelf", back, job)


def _shared(station: Station, prices: Prices, budget: float, tell: Tell) -> Shared:
    from linewright.verbs.share import share_shelf

    offered: dict[str, Any] = {"prices": prices} if prices.offers else {}
    return share_shelf(station, budget=budget, progress=tell, **offered)


@router.post(HERE)
def give_prices(
    file: Annotated[UploadFile | None, File()] = None, asked: Annotated[str, Form()] = ""
) -> RedirectResponse:
    """Take prices from a file, and go to the page whose address holds them."""
    pairs = [(name, value) for name, value in parse_qsl(asked, keep_blank_values=True) if name != "prices"]
    text = decoded(file.file.read(), "prices", file.filename or "") if file and file.filename else f"{HEADING}\n"
    return RedirectResponse(f"{HERE}?{urlencode([*pairs, ('prices', text)])}", 303)
