"""The bench: choose gear and pieces, read into the sheet, see after each reading what it all says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.shelf import SessionPlan
from linewright.core.quantities import frequency_hz
from linewright.files import fields
from linewright.store.ledger import Ledger
from linewright.verbs.shelf import add, add_note, all_kept, archive, restore, start_session, undo
from linewright.web.bench_cache import Judged, Session
from linewright.web.bench_presenter import Answers, answers_of, slots_of
from linewright.web.bench_rows import (
    REFERENCE,
    Clash,
    Place,
    Plan,
    PostedReading,
    SheetBand,
    bands_of,
    plan_in,
    record_all,
    slot_id,
    would_change,
)
from linewright.web.jobs import Work
from linewright.web.ledgers import Undoable, by, last_of_session, ledger_of
from linewright.web.pages.shelf_gear import SCALES, designators, meter_body, piece_body
from linewright.web.rendering import page, wants_part

# The bench: choose gear and pieces, read into the sheet, see after each reading what it all says

router = APIRouter(include_in_schema=False)
SHEET = "/bench/at/"


@dataclass(frozen=True, slots=True)
class ListedSession:
    """A session in the list: where it is, when it was, how far it is."""

    key: str
    title: str
    measured_on: str
    pieces: tuple[str, ...]
    archived: bool = False


@dataclass(frozen=True, slots=True)
class BenchList:
    """The sessions there are."""

    sessions: tuple[ListedSession, ...]
    away: tuple[ListedSession, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A session's page."""

    key: str
    title: str
    measured_on: str
    archived: bool
    source: str
    reference: str
    plan: Plan
    bands: tuple[SheetBand, ...]
    answers: Answers
    undo: Undoable | None
    meters: tuple[str, ...]
    pending: Work | None = None
    clashes: Mapping[str, Clash] = field(default_factory=dict)
    problems: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)
    also: tuple[str, ...] = ()


@router.get("/bench")
def bench(request: Request) -> Response:
    """Show the sessions there are."""
    ledger = ledger_of(request)
    found = BenchList(_listed(all_kept(ledger, "sheet")), _listed(all_kept(ledger, "sheet", archived=True)))
    return page(request, "bench.html", found, place="bench", title="Bench")


def _listed(found: Sequence[Item]) -> tuple[ListedSession, ...]:
    newest = sorted(found, key=lambda i: (i.body["measured_on"], i.changed_at), reverse=True)
    return tuple(listed(i) for i in newest)


def listed(i: Item) -> ListedSession:
    """Return a session as lists show it."""
    pieces = tuple(str(p.get("tag")) for p in i.body["sheet"].get("piece", ()))
    return ListedSession(i.key, i.body["title"], i.body["measured_on"], pieces, i.archived)


@router.get("/bench/at/{session:path}")
def sheet(request: Request, session: str, also: Annotated[list[str], Query()] = []) -> Response:  # noqa: B006
    """Show a session's reading sheet."""
    return _shown(request, replace(_sheet(request, session, _places(also)), also=tuple(also)))


def _places(also: Sequence[str]) -> tuple[Place, ...]:
    found = []
    for text in also:
        meter, _, rest = text.partition("|")
        at, _, path = rest.partition("|")
        found.append((meter, frequency_hz(at), path or REFERENCE))
    return tuple(found)


def _sheet(request: Request, session: str, also: Sequence[Place] = ()) -> Sheet:
    ledger = ledger_of(request)
    judged: Judged = request.app.state.judged
    return sheet_page(judged.bench(ledger, session), last_of_session(ledger, session), also)


def sheet_page(bench: Session, undoable: Undoable | None, also: Sequence[Place] = ()) -> Sheet:
    """Return what a session's page shows."""
    plan = plan_in(bench.notes)
    bands = bands_of(bench.sheet, plan, bench.rows, also)
    tables = bench.item.body["sheet"]
    told = tables.get("reference", {})
    stays = ", stays in line" if told.get("in_place") == "stays" else ""
    jumper = f"{told.get('length', 'no length')} of {told.get('line', 'unknown type')}{stays}" if told else ""
    return Sheet(
        bench.item.key,
        bench.item.body["title"],
        bench.item.body["measured_on"],
        bench.item.archived,
        str(tables.get("source", {}).get("power", "")),
        jumper,
        plan,
        bands,
        answers_of(bench.result, bench.sheet, bands),
        undoable,
        tuple(m.name for m in bench.sheet.meters),
        bench.pending,
    )


def _shown(request: Request, found: Sheet, status: int = 200) -> Response:
    template = "bench_answers.html" if wants_part(request) else "bench_sheet.html"
    return page(request, template, found, place="bench", title=found.title, status=status)


@router.post("/bench/read/{session:path}")
async def read(request: Request, session: str) -> Response:
    """Keep what was typed into the sheet; the answer says what it all says now."""
    async with request.form() as form:
        return await run_in_threadpool(_read, request, session, form)


def _read(request: Request, session: str, form: FormData) -> Response:
    ledger = ledger_of(request)
    heard = _all_heard(form)
    judged: Judged = request.app.state.judged
    before = judged.rows(ledger, session)
    slots = slots_of(bands_of(before.sheet, plan_in(before.notes), before.rows, _places(_texts(form, "also"))))
    clashes, problems = record_all(ledger, session, slots, heard, by(request))
    if not (clashes or problems or wants_part(request)):
        return RedirectResponse(SHEET + quote(session), 303)
    places = _texts(form, "also")
    found = replace(
        _sheet(request, session, _places(places)),
        clashes={c.slot: c for c in clashes},
        problems=problems,
        typed={h.slot: h.typed for h in heard if h.slot in problems},
        also=tuple(places),
    )
    # To the page's own script both values, or what is wrong, are an answer like any other.
    status = 200 if wants_part(request) else 409 if clashes else 422 if problems else 200
    return _shown(request, found, status)


@router.post("/bench/ahead/{session:path}")
async def ahead(request: Request, session: str) -> Response:
    """Begin to work out what would be said of what is being typed. Nothing is kept, and nothing is answered."""
    async with request.form() as form:
        await run_in_threadpool(_ahead, request, session, form)
    return Response(status_code=204)


def _ahead(request: Request, session: str, form: FormData) -> None:
    ledger = ledger_of(request)
    judged: Judged = request.app.state.judged
    before = judged.rows(ledger, session)
    slots = slots_of(bands_of(before.sheet, plan_in(before.notes), before.rows, _places(_texts(form, "also"))))
    # A number that is only half typed may not be one yet.
    with suppress(InputError):
        judged.ahead(ledger, session, would_change(slots, _all_heard(form)))


def _all_heard(form: FormData) -> list[PostedReading]:
    return [_heard(str(name).removeprefix("reading."), form) for name in form if str(name).startswith("reading.")]


def _heard(slot: str, form: FormData) -> PostedReading:
    return PostedReading(slot, str(form[f"reading.{slot}"]).strip(), str(form.get(f"was.{slot}", "0.0.0")))


def _texts(form: FormData, name: str) -> list[str]:
    return [str(v) for v in form.getlist(name)]


@router.post("/bench/undo/{session:path}")
def take_back(request: Request, session: str, change: Annotated[int, Form()]) -> Response:
    """Set the last change of a session back."""
    undo(ledger_of(request), change, by=by(request))
    if wants_part(request):
        return _shown(request, _sheet(request, session))
    return RedirectResponse(SHEET + quote(session), 303)


@router.post("/bench/plan/{session:path}")
def plan(
    request: Request,
    session: str,
    frequencies: Annotated[str, Form()] = "",
    joined: Annotated[str, Form()] = "",
) -> Response:
    """Change which frequencies and joined pieces the sheet holds."""
    keep_plan(ledger_of(request), session, frequencies, joined, request)
    return RedirectResponse(SHEET + quote(session), 303)


def keep_plan(ledger: Ledger, session: str, frequencies: str, joined: str, request: Request) -> None:
    """Keep what a session means to read, as a note on it."""
    from linewright.web.bench_rows import listed as parts

    hertz = [fields.frequency(text, "frequency") for text in parts(frequencies)]
    if not hertz:
        raise InputError("frequencies", "must name at least one", cure='Write them as "14.2 MHz, 144.3 MHz".')
    told = Plan(tuple(frequency(f) for f in sorted(set(hertz))), parts(joined))
    add_note(ledger, "sheet", session, told.text(), data=told.data(), by=by(request))


@router.post("/bench/also/{session:path}")
def also(
    session: str,
    meter: Annotated[str, Form()],
    at: Annotated[str, Form()],
    path: Annotated[str, Form()] = REFERENCE,
) -> Response:
    """Put one more line on the sheet; the address holds it until it is read."""
    hertz = fields.frequency(at, "frequency")
    slot = slot_id(meter, hertz, path, 0)
    place = quote(f"{meter}|{frequency(hertz)}|{path}", safe="")
    return RedirectResponse(f"{SHEET}{quote(session)}?also={place}#{slot}", 303)


@router.post("/bench/away/{session:path}")
def away(request: Request, session: str, back: Annotated[str, Form()] = "") -> Response:
    """Put a session away, or bring it back."""
    (restore if back else archive)(ledger_of(request), "sheet", session, by=by(request))
    return RedirectResponse("/bench", 303)


# Beginning a bench session: which meters and pieces, which reference, which bands

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
    typed = _form_texts(form)
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


def _form_texts(form: FormData) -> dict[str, str]:
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
