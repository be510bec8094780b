"""Beginning a bench session: which meters and pieces, which reference, which bands."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from linewright.errors import InputError
from linewright.ledger.store import Ledger
from linewright.model.ledger import Item
from linewright.model.shelf import SessionPlan
from linewright.web.gear import SCALES, designators, meter_body, piece_body
from linewright.web.ledgers import by, ledger_of
from linewright.web.pages.bench import SHEET, keep_plan
from linewright.web.shown import page
from linewright.workflows.shelf import add, all_kept, start_session

router = APIRouter(include_in_schema=False)
TEXTS = ("title", "power", "swr", "line", "length", "in_place", "frequencies", "joined", "pad", "pad_loss")


@dataclass(frozen=True, slots=True)
class Choice:
    """A meter or a piece to take to the bench."""

    key: str
    about: str
    taken: bool


@dataclass(frozen=True, slots=True)
class StartPage:
    """The form a session begins with; ``typed`` is what stands in it, ``trouble`` what is wrong with it."""

    meters: tuple[Choice, ...]
    pieces: tuple[Choice, ...]
    lines: tuple[str, ...]
    typed: dict[str, str]
    scales: tuple[tuple[str, str], ...] = SCALES
    trouble: tuple[str, ...] = ()


@router.get("/bench/new")
def new(request: Request) -> Response:
    """Show the form."""
    return page(request, "bench_new.html", _page(request, FormData()), place="bench", title="New bench session")


@router.post("/bench/new")
async def begin(request: Request) -> Response:
    """Add a piece or a meter, or begin the session."""
    async with request.form() as form:
        return await run_in_threadpool(_begin, request, form)


def _begin(request: Request, form: FormData) -> Response:
    ledger, wanted = ledger_of(request), str(form.get("do", "begin"))
    try:
        if wanted in ("piece", "meter"):
            form = _with_new(ledger, wanted, form, request)
            shown = _page(request, form)
        else:
            item = start_session(ledger, _plan(form), by=by(request))
            keep_plan(ledger, item.key, str(form.get("frequencies", "")), str(form.get("joined", "")), request)
            return RedirectResponse(SHEET + quote(item.key), 303)
    except InputError as cause:
        problems = tuple(str(p) for p in getattr(cause, "problems", ()) or (cause,))
        shown = replace(_page(request, form), trouble=problems)
    status = 422 if shown.trouble else 200
    return page(request, "bench_new.html", shown, place="bench", title="New bench session", status=status)


def _with_new(ledger: Ledger, kind: str, form: FormData, request: Request) -> FormData:
    """Put what the form says on the shelf, and return the form with it taken and its fields empty."""
    told = {k.removeprefix(f"{kind}_"): str(v) for k, v in form.multi_items() if k.startswith(f"{kind}_")}
    body: dict[str, Any] = piece_body(told) if kind == "piece" else meter_body(told)
    item = add(ledger, "piece" if kind == "piece" else "meter", body, by=by(request))
    rest = [(k, v) for k, v in form.multi_items() if not k.startswith(f"{kind}_")]
    return FormData([*rest, (kind, item.key)])


def _plan(form: FormData) -> SessionPlan:
    typed = _texts(form)
    for name, cure in (("frequencies", "Write them as 14.2 MHz, 144.3 MHz."), ("title", "Say what it is.")):
        if not typed[name]:
            raise InputError(name, "is missing", cure=cure)
    meters, pieces = (tuple(str(v) for v in form.getlist(kind)) for kind in ("meter", "piece"))
    if not meters or not pieces:
        raise InputError("gear", "must be at least one meter and one piece", cure="Choose them, or add new ones.")
    source = {"power": typed["power"], "swr": typed["swr"]}
    reference = {k: typed[k] for k in ("line", "length", "in_place")}
    pads = ({"tag": typed["pad"], "loss": typed["pad_loss"]},) if typed["pad"] else ()
    return SessionPlan(typed["title"], meters, pieces, _told(source), _told(reference), pads)


def _told(table: dict[str, str]) -> dict[str, str]:
    return {k: v for k, v in table.items() if v}


def _texts(form: FormData) -> dict[str, str]:
    return {name: str(form.get(name, "")).strip() for name in TEXTS}


def _page(request: Request, form: FormData) -> StartPage:
    ledger = ledger_of(request)
    taken = {kind: {str(v) for v in form.getlist(kind)} for kind in ("meter", "piece")}
    typed = {k: str(v) for k, v in form.multi_items() if isinstance(v, str)}
    return StartPage(
        tuple(Choice(i.key, meter_about(i), i.key in taken["meter"]) for i in all_kept(ledger, "meter")),
        tuple(Choice(i.key, piece_about(i), i.key in taken["piece"]) for i in all_kept(ledger, "piece")),
        designators(),
        typed,
    )


def piece_about(item: Item) -> str:
    """Return a piece in words: "7.2 m of RG-58C/U"."""
    return f"{item.body['length']} of {item.body.get('line', 'unknown type')}"


def meter_about(item: Item) -> str:
    """Return a meter in words: "watts, steps of 0.2 W, rated 1.8 MHz to 60 MHz"."""
    body = item.body
    scale = "a bare scale with its card" if body.get("scale") == "card" else str(body.get("scale", "watts"))
    step = f"steps of {body['division']}" if "division" in body else "step not said"
    rated = f"rated {body['rated']}" if "rated" in body else "no rated band"
    return f"{scale}, {step}, {rated}"
