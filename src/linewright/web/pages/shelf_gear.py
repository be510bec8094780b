"""Pieces and meters added and changed on the shelf, and the picture of a piece's loss."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from linewright.charts.piece import piece_chart
from linewright.charts.render import to_svg
from linewright.charts.theme import DARK, LIGHT
from linewright.errors import InputError, UnknownNameError
from linewright.ledger.store import Ledger
from linewright.model.ledger import Body, ConflictError
from linewright.web.gear import (
    EXPOSURES,
    METER_FIELDS,
    PIECE_FIELDS,
    SCALES,
    designators,
    form_of,
    meter_body,
    piece_body,
    whole,
)
from linewright.web.ledgers import by, ledger_of
from linewright.web.pages.bench_result import NARROW, WIDE
from linewright.web.shown import page
from linewright.workflows.shelf import add, belief_of_piece, change, kept
from linewright.workflows.shelf_renames import called_now

router = APIRouter(include_in_schema=False)
Gear = Literal["piece", "meter"]


@dataclass(frozen=True, slots=True)
class GearPage:
    """A form; ``seen`` is the version it shows, 0 for a new one, ``theirs`` what somebody else wrote meanwhile."""

    kind: Gear
    key: str
    seen: int
    typed: dict[str, str]
    lines: tuple[str, ...]
    trouble: tuple[str, ...] = ()
    theirs: tuple[tuple[str, str, str], ...] = ()
    scales: tuple[tuple[str, str], ...] = SCALES
    exposures: tuple[tuple[str, str], ...] = EXPOSURES


@router.get("/shelf/new/{kind}")
def new(request: Request, kind: Gear) -> Response:
    """Show an empty form."""
    return _shown(request, GearPage(kind, "", 0, {}, designators()))


@router.get("/shelf/change/{kind}/{key:path}")
def edit(request: Request, kind: Gear, key: str) -> Response:
    """Show a form with what is kept."""
    ledger = ledger_of(request)
    if kind == "piece" and (now := called_now(ledger, key)) != key:
        return RedirectResponse(f"/shelf/change/piece/{quote(now)}", 303)
    item = kept(ledger, kind, key)
    return _shown(request, GearPage(kind, key, item.version, form_of(item), designators()))


def _shown(request: Request, found: GearPage, status: int = 200) -> Response:
    title = found.key or f"New {found.kind}"
    return page(request, "shelf_gear.html", found, place="shelf", title=title, status=status)


@router.post("/shelf/keep/{kind}")
async def keep(request: Request, kind: Gear) -> Response:
    """Keep what the form says."""
    async with request.form() as form:
        return await run_in_threadpool(_keep, request, kind, form)


def _keep(request: Request, kind: Gear, form: FormData) -> Response:
    ledger = ledger_of(request)
    typed = {k: str(v) for k, v in form.multi_items() if isinstance(v, str)}
    key, version = typed.get("key", ""), whole(typed.get("version") or "0", "version")
    shown = GearPage(kind, key, version, typed, designators())
    if kind == "piece" and key and (now := called_now(ledger, key)) != key:
        renamed = f"{key} was renamed {now} meanwhile. Nothing was written: keep it again to change {now}."
        seen = kept(ledger, kind, now).version
        return _shown(request, GearPage(kind, now, seen, typed | {"tag": now}, shown.lines, (renamed,)), 409)
    try:
        name = _written(ledger, kind, typed, (key, version), request)
    except ConflictError as cause:
        theirs = _differ(cause.mine, cause.theirs)
        return _shown(request, GearPage(kind, key, cause.version, typed, shown.lines, (str(cause),), theirs), 409)
    except InputError as cause:
        problems = tuple(str(p) for p in getattr(cause, "problems", ()) or (cause,))
        return _shown(request, GearPage(kind, key, version, typed, shown.lines, problems), 422)
    return RedirectResponse(f"/shelf/piece/{quote(name)}" if kind == "piece" else "/shelf", 303)


def _written(ledger: Ledger, kind: Gear, typed: dict[str, str], old: tuple[str, int], request: Request) -> str:
    body: dict[str, Any] = piece_body(typed) if kind == "piece" else meter_body(typed)
    key, version = old
    if not key:
        return add(ledger, kind, body, by=by(request)).key
    every = PIECE_FIELDS if kind == "piece" else METER_FIELDS
    told = {k: body.get(k) for k in every if k not in ("tag", "name")}
    return change(ledger, kind, key, told, expect=version, by=by(request)).key


def _differ(mine: Body | None, theirs: Body | None) -> tuple[tuple[str, str, str], ...]:
    """Return the fields in which two versions differ: name, mine, theirs."""
    ours, other = dict(mine or {}), dict(theirs or {})
    names = [k for k in {**ours, **other} if ours.get(k) != other.get(k)]
    return tuple((k, str(ours.get(k, "not said")), str(other.get(k, "not said"))) for k in names)


@router.get("/shelf/chart/{tag:path}")
def chart(request: Request, tag: str, paper: str = "light", wide: int = WIDE) -> Response:
    """Return the loss of a piece against frequency as SVG."""
    found = belief_of_piece(ledger_of(request), tag)
    if found.belief is None:
        raise UnknownNameError("chart", "needs a piece of known type, or a test of it")
    palette = DARK if paper == "dark" else LIGHT
    width_px = NARROW if wide < 520 else 560
    drawn = to_svg(piece_chart(found.belief.piece, found.belief, width_px=width_px, palette=palette))
    return Response(drawn, media_type="image/svg+xml")
