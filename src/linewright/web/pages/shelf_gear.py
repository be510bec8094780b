"""Pieces and meters added and changed on the shelf, and the picture of a piece's loss."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any, Literal
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from linewright.catalogue import line_types
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.messages import say, together
from linewright.core.nouns.ledger import Body, ConflictError, Item
from linewright.core.nouns.shelf import PieceHistory
from linewright.files import fields
from linewright.present.charts.piece import piece_chart, years_chart
from linewright.store.ledger import Ledger
from linewright.verbs.history import history_of
from linewright.verbs.shelf import add, belief_of_piece, change, kept, rename
from linewright.verbs.shelf_renames import called_now
from linewright.web.field_units import STEP_UNIT, range_with_unit, with_unit
from linewright.web.ledgers import by, ledger_of
from linewright.web.pictures import Lead, answered
from linewright.web.rendering import page

# What a form says of a piece or a meter, as the body a ledger keeps

PIECE_FIELDS = ("tag", "line", "length", "connectors", "stock", "exposure", "since", "note")
METER_FIELDS = ("name", "scale", "division", "rated", "swr", "card")
SCALES = (
    ("watts", say("watts")), ("milliwatts", say("milliwatts")), ("dBm", "dBm"), ("dB", "dB"), ("volts", say("volts")),
    ("card", say("a bare scale, with a conversion card")),
)  # fmt: skip
EXPOSURES = (
    ("", say("not stated")), ("indoors", say("indoors")), ("outdoors", say("outdoors")), ("buried", say("buried")),
    ("portable", say("portable")),
)  # fmt: skip
POINT = "0 = 0 W; 25 = 0.8 W; 100 = 12.5 W"
GearForm = Mapping[str, str]


def designators() -> tuple[str, ...]:
    """Return the names of the catalogue's line types, to choose from."""
    return tuple(line.designator for line in line_types())


def piece_body(form: GearForm) -> dict[str, Any]:
    """Return a piece as its form has it, a bare length in metres; fields left empty are left out."""
    told: dict[str, Any] = {k: form[k].strip() for k in PIECE_FIELDS if form.get(k, "").strip()}
    if "length" in told:
        told["length"] = with_unit(told["length"], "m")
    if "connectors" in told:
        told["connectors"] = whole(told["connectors"], "connectors")
    return told


def meter_body(form: GearForm) -> dict[str, Any]:
    """Return a meter as its form has it; a bare number has the unit of its field.

    Raises
    ------
    InputError
        If its card cannot be read.
    """
    told: dict[str, Any] = {k: form[k].strip() for k in METER_FIELDS if form.get(k, "").strip()}
    if "card" in told:
        told["card"] = card_of(told["card"])
    if told.get("scale") == "card" and "division" in told:
        told["division"] = fields.written_number(told["division"], "division")
    elif "division" in told:
        told["division"] = with_unit(told["division"], STEP_UNIT.get(told.get("scale", "watts"), ""))
    if "rated" in told:
        told["rated"] = range_with_unit(told["rated"])
    return told


def whole(text: str, name: str) -> int:
    """Return a written whole number."""
    if not text.isdigit():
        raise InputError(name, say("must be a whole number; got {value}", value=repr(text)))
    return int(text)


def card_of(text: str) -> list[list[Any]]:
    """Return a conversion card as typed.

    >>> card_of("0 = 0 W; 25 = 0,8")
    [[0.0, '0 W'], [25.0, '0,8 W']]
    """
    points: list[list[Any]] = []
    for part in filter(None, (p.strip() for p in text.replace("\n", ";").split(";"))):
        scale, sign, power = part.partition("=")
        if not sign:
            raise InputError(
                "card",
                say("must be points of scale and power; got {value}", value=repr(part)),
                cure=say("Write {example}.", example=POINT),
            )
        points.append([fields.written_number(scale.strip(), "card"), with_unit(power, "W")])
    return points


def card_text(card: Any) -> str:
    """Return a kept card as a person types it."""
    return "; ".join(f"{scale:g} = {power}" for scale, power in card or ())


def form_of(item: Item) -> dict[str, str]:
    """Return what a form shows of a kept piece or meter."""
    told = {k: str(v) for k, v in item.body.items() if k != "card"}
    return told | ({"card": card_text(item.body["card"])} if "card" in item.body else {})


# Pieces and meters added and changed on the shelf, and the picture of a piece's loss

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
    return tuple((k, str(ours.get(k, "not stated")), str(other.get(k, "not stated"))) for k in names)


@router.get("/shelf/chart/{tag:path}")
def chart(request: Request, tag: str, kind: str = "loss") -> Response:
    """Return a chart of a piece: its loss against frequency, or over the years."""
    ledger = ledger_of(request)
    if kind == "years":
        history = history_of(ledger, tag)
        return answered(request, partial(years_chart, history), f"{tag} years", _sheet_of(history))
    found = belief_of_piece(ledger, tag)
    if kind != "loss" or found.belief is None:
        raise UnknownNameError("chart", say("needs a piece of known type, or a test of it"))
    lead = _loss_of(found.belief.piece.tag)
    return answered(request, partial(piece_chart, found.belief.piece, found.belief), f"{tag} loss", lead)


def _sheet_of(history: PieceHistory) -> Lead:
    """Return what leads from a test of a piece to what its sheet says."""
    sheets = {p.evidence.what: p.evidence.key for p in history.points if p.evidence.kind == "sheet"}

    def lead(row: Mapping[str, Any]) -> str:
        what = str(row.get("name", "")).partition(", ")[2]
        return f"/bench/said/{quote(sheets[what])}" if what in sheets else ""

    return lead


def _loss_of(tag: str) -> Lead:
    """Return what leads from a loss to how it was worked out."""
    return lambda row: (
        f"#loss-at-{row['frequency_hz']:.0f}" if row.get("frequency_hz") and row.get("piece") == tag else ""
    )


# A piece under another tag


@dataclass(frozen=True, slots=True)
class RenamePage:
    """The form to rename a piece: the version shown, the new tag as typed, and any error in it."""

    tag: str
    seen: int
    typed: str
    trouble: str = ""


@router.get("/shelf/rename/{tag:path}")
def form(request: Request, tag: str) -> Response:
    """Show the form."""
    ledger = ledger_of(request)
    if (now := called_now(ledger, tag)) != tag:
        return RedirectResponse(f"/shelf/rename/{quote(now)}", 303)
    return _rename_page(request, RenamePage(tag, kept(ledger, "piece", tag).version, tag))


def _rename_page(request: Request, found: RenamePage, status: int = 200) -> Response:
    return page(
        request, "shelf_rename.html", found, place="shelf", title=say("Rename {tag}", tag=found.tag), status=status
    )


@router.post("/shelf/rename/{tag:path}")
def change_tag(request: Request, tag: str, new: Annotated[str, Form()], version: Annotated[int, Form()]) -> Response:
    """Give a piece the tag that was typed."""
    ledger = ledger_of(request)
    try:
        item = rename(ledger, tag, new, expect=version, by=by(request))
    except ConflictError as cause:
        return _rename_page(
            request,
            RenamePage(tag, cause.version, new, together([str(cause), say("Send it again to rename it.")])),
            409,
        )
    except InputError as cause:
        return _rename_page(request, RenamePage(tag, version, new, str(cause)), 422)
    return RedirectResponse(f"/shelf/piece/{quote(item.key)}", 303)
