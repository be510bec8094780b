"""The bench: choose gear and pieces, read into the sheet, see after each reading what it all says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import groupby
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import RedirectResponse, Response, StreamingResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.messages import mark, say
from linewright.core.nouns.ledger import Item
from linewright.core.quantities import frequency_hz
from linewright.store.standing import kept_now
from linewright.verbs.shelf import add_note, all_kept, archive, notes_of, restore, undo
from linewright.web.bench_cache import LACKING, Judgements, Session
from linewright.web.bench_presenter import Answers, answers_of, mark_of, slots_of
from linewright.web.bench_rows import (
    MOST_ALIKE,
    ORDERS,
    REFERENCE,
    Bracket,
    Clash,
    Insertion,
    MeterColumn,
    PostedReading,
    SheetPlan,
    Wish,
    bands_of,
    columns_of,
    insertions_of,
    plan_in,
    plug_changes,
    read_again,
    record_all,
    slot_id,
    would_change,
)
from linewright.web.bench_rows import (
    listed as listed_parts,
)
from linewright.web.field_units import frequencies_written, frequency_written
from linewright.web.jobs import Work
from linewright.web.ledgers import Undoable, by, last_of_session, ledger_of
from linewright.web.live import EVENTS, Live, of_session
from linewright.web.pages.bench_start import order_words
from linewright.web.rendering import page, wants_part

# The bench: choose gear and pieces, read into the sheet, see after each reading what it all says

router = APIRouter(include_in_schema=False)
SHEET = "/bench/at/"
HAVE = "x-have"
"""The header in which a page's script says which lines it shows as they are."""
MOST_ALSO = 60
"""Lines an address may ask for besides the plan."""


@dataclass(frozen=True, slots=True)
class SessionLine:
    """A session in the list: where it is, when it was, how far it is."""

    key: str
    title: str
    measured_on: str
    pieces: tuple[str, ...]
    archived: bool = False


@dataclass(frozen=True, slots=True)
class BenchList:
    """The sessions there are."""

    sessions: tuple[SessionLine, ...]
    away: tuple[SessionLine, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A session's page."""

    key: str
    title: str
    measured_on: str
    archived: bool
    source: str
    reference: str
    plan: SheetPlan
    heads: tuple[tuple[str, str, int], ...]
    columns: tuple[MeterColumn, ...]
    insertions: tuple[Insertion, ...]
    folded: tuple[Bracket, ...]
    answers: Answers
    undo: Undoable | None
    meters: tuple[str, ...]
    tags: tuple[str, ...]
    changes: int
    number: int
    now: int
    orders: tuple[tuple[str, str], ...]
    pending: Work | None = None
    clashes: Mapping[str, Clash] = field(default_factory=dict)
    problems: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)
    also: tuple[str, ...] = ()
    marks: Mapping[str, str] = field(default_factory=dict)
    have: frozenset[str] = frozenset()


@router.get("/bench")
def bench(request: Request) -> Response:
    """Show the sessions there are."""
    ledger = ledger_of(request)
    found = BenchList(_listed(all_kept(ledger, "sheet")), _listed(all_kept(ledger, "sheet", archived=True)))
    return page(request, "bench.html", found, place="bench", title=say("Bench"))


def _listed(found: Sequence[Item]) -> tuple[SessionLine, ...]:
    newest = sorted(found, key=lambda i: (i.body["measured_on"], i.changed_at), reverse=True)
    return tuple(listed(i) for i in newest)


def listed(i: Item) -> SessionLine:
    """Return a session as lists show it."""
    pieces = tuple(str(p.get("tag")) for p in i.body["sheet"].get("piece", ()))
    return SessionLine(i.key, i.body["title"], i.body["measured_on"], pieces, i.archived)


@router.get("/bench/at/{session:path}")
def sheet(request: Request, session: str, also: Annotated[list[str], Query()] = []) -> Response:  # noqa: B006
    """Show a session's reading sheet."""
    return _shown(request, replace(_sheet(request, session, _places(also)), also=tuple(also)))


def _places(also: Sequence[str]) -> tuple[Wish, ...]:
    """Return the lines an address asks for: meter, frequency, path, and how many of them, with strokes between."""
    found = []
    for text in also[:MOST_ALSO]:
        meter, at, path, many = [*text.split("|"), "", "", ""][:4]
        times = int(many) if many.isdigit() and len(many) < 3 else 1
        found.append((meter, frequency_hz(at), path or REFERENCE, min(times, MOST_ALIKE)))
    return tuple(found)


def _sheet(request: Request, session: str, also: Sequence[Wish] = ()) -> Sheet:
    ledger = ledger_of(request)
    judged: Judgements = request.app.state.judged
    newest = kept_now(ledger).number  # read first: what comes after it is told
    return sheet_page(judged.bench(ledger, session), last_of_session(ledger, session), also, newest)


def sheet_page(bench: Session, undoable: Undoable | None, also: Sequence[Wish] = (), newest: int = 0) -> Sheet:
    """Return what a session's page shows; ``newest`` is the number of the newest change it holds."""
    plan = plan_in(bench.notes)
    bands = bands_of(bench.sheet, plan, bench.rows, also)
    tables = bench.item.body["sheet"]
    told = tables.get("reference", {})
    length, line = told.get("length") or say("no length"), told.get("line") or say("unknown type")
    stays = told.get("in_place") == "stays"
    words = mark("{length} of {line}, stays in line") if stays else mark("{length} of {line}")
    jumper = say(words, length=length, line=line) if told else ""
    insertions = insertions_of(bands, plan.order)
    free = [i.number for i in insertions if i.read < len(i.steps)]
    return Sheet(
        bench.item.key,
        bench.item.body["title"],
        bench.item.body["measured_on"],
        bench.item.archived,
        str(tables.get("source", {}).get("power", "")),
        jumper,
        plan,
        tuple((meter, mine[0].unit, len(mine)) for meter, mine in _by_meter(columns_of(bands))),
        columns_of(bands),
        insertions,
        tuple(b for band in bands for b in band.brackets if b.folded),
        answers_of(bench.result, bench.sheet, bands),
        undoable,
        tuple(m.name for m in bench.sheet.meters),
        tuple(p.tag for p in bench.sheet.pieces),
        plug_changes(s for i in insertions for s in i.steps),
        newest,
        free[0] if free else 0,
        order_words(),
        bench.pending,
    )


def _by_meter(columns: Sequence[MeterColumn]) -> list[tuple[str, list[MeterColumn]]]:
    return [(meter, list(mine)) for meter, mine in groupby(columns, key=lambda c: c.meter)]


def _shown(request: Request, found: Sheet, status: int = 200, sent: Sequence[str] = ()) -> Response:
    """Show a session's page; to its script only the lines that it does not show as they are, and those it ``sent``."""
    marks = _marks(found)
    if not wants_part(request):
        shown = replace(found, marks=marks)
        return page(request, "bench_sheet.html", shown, place="bench", title=found.title, status=status)
    had = frozenset(request.headers.get(HAVE, "").split(".")) - {marks.get(slot) for slot in sent}
    shown = replace(found, marks=marks, have=had)
    return page(request, "bench_answers.html", shown, place="bench", title=found.title, status=status)


def _marks(found: Sheet) -> dict[str, str]:
    """Return what the page shows of each line, as a digest, by line."""
    slots = [step.slot for i in found.insertions for step in i.cells if step]
    return {s.id: mark_of(s, found.answers.of(s.id), _wrong(found, s.id)) for s in slots}


def _wrong(found: Sheet, slot: str) -> str:
    clash = found.clashes.get(slot)
    return f"{clash.mine} {clash.theirs} {clash.was}" if clash else found.problems.get(slot, "")


@router.post("/bench/read/{session:path}")
async def read(request: Request, session: str) -> Response:
    """Keep what was typed into the sheet; the answer says what it all says now."""
    async with request.form() as form:
        return await run_in_threadpool(_read, request, session, form)


def _read(request: Request, session: str, form: FormData) -> Response:
    ledger = ledger_of(request)
    heard = _all_heard(form)
    judged: Judgements = request.app.state.judged
    before = judged.rows(ledger, session)
    slots = slots_of(bands_of(before.sheet, plan_in(before.notes), before.rows, _places(_texts(form, "also"))))
    clashes, problems = record_all(ledger, session, slots, heard, by(request))
    request.app.state.live.nudge()
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
    return _shown(request, found, status, [h.slot for h in heard])


@router.post("/bench/same/{session:path}")
def same(request: Request, session: str, slot: Annotated[str, Form()], typed: Annotated[str, Form()] = "") -> Response:
    """Keep that a reading was looked at again and still says the same: it counts as a repeat."""
    ledger = ledger_of(request)
    judged: Judgements = request.app.state.judged
    before = judged.rows(ledger, session)
    slots = slots_of(bands_of(before.sheet, plan_in(before.notes), before.rows))
    line = slots.get(slot)
    if line is None or line.typed != typed.strip():
        raise InputError("reading", say("was changed meanwhile"), cure=say("Load the page again and look at it."))
    alike = [s for s in slots.values() if (s.meter, s.frequency, s.path) == (line.meter, line.frequency, line.path)]
    read_again(ledger, session, line, len(alike), by(request))
    request.app.state.live.nudge()
    if wants_part(request):
        return _shown(request, _sheet(request, session))
    return RedirectResponse(SHEET + quote(session), 303)


@router.post("/bench/ahead/{session:path}")
async def ahead(request: Request, session: str) -> Response:
    """Begin to work out what would be said of what is being typed. Nothing is kept, and nothing is answered."""
    async with request.form() as form:
        await run_in_threadpool(_ahead, request, session, form)
    return Response(status_code=204)


def _ahead(request: Request, session: str, form: FormData) -> None:
    ledger = ledger_of(request)
    judged: Judgements = request.app.state.judged
    before = judged.rows(ledger, session)
    slots = slots_of(bands_of(before.sheet, plan_in(before.notes), before.rows, _places(_texts(form, "also"))))
    # A number that is only half typed may not be one yet.
    with suppress(InputError):
        judged.ahead(ledger, session, would_change(slots, _all_heard(form)))


def _all_heard(form: FormData) -> list[PostedReading]:
    """Return what was sent line by line, with what the page had seen there: of all lines at once, or of each."""
    seen = dict(pair.partition(":")[::2] for pair in str(form.get("was", "")).split())
    slots = [str(name).removeprefix("reading.") for name in form if str(name).startswith("reading.")]
    was = {s: str(form.get(f"was.{s}", seen.get(s, "0.0.0"))) for s in slots}
    return [PostedReading(s, str(form[f"reading.{s}"]).strip(), was[s]) for s in slots]


def _texts(form: FormData, name: str) -> list[str]:
    return [str(v) for v in form.getlist(name)]


@router.get("/bench/live/{session:path}")
def live(request: Request, session: str, who: Annotated[str, Query(max_length=40)] = "") -> Response:
    """Tell a page of a session's changes as they are made; where too many listen already, the page asks by itself."""
    ledger_of(request)
    live: Live = request.app.state.live
    if live.full:
        return Response(status_code=503)
    return StreamingResponse(live.events(of_session(session), session, who), media_type=EVENTS)


@router.post("/bench/undo/{session:path}")
def take_back(request: Request, session: str, change: Annotated[int, Form()]) -> Response:
    """Set the last change of a session back."""
    undo(ledger_of(request), change, by=by(request))
    request.app.state.live.nudge()
    if wants_part(request):
        return _shown(request, _sheet(request, session))
    return RedirectResponse(SHEET + quote(session), 303)


@router.post("/bench/plan/{session:path}")
def plan(
    request: Request,
    session: str,
    frequencies: Annotated[str, Form()] = "",
    joined: Annotated[str, Form()] = "",
    order: Annotated[str, Form()] = "",
) -> Response:
    """Change which bands and joined pieces the sheet holds, and in which order they are read."""
    hertz = frequencies_written(frequencies)
    if not hertz:
        raise InputError("frequencies", say("must name at least one"), cure=say('Write them as "14.2, 50.1, 2 m".'))
    old = _plan_of(request, session)
    chosen = next((o for o in ORDERS if o == order), old.order)
    wanted = replace(old, frequencies=tuple(frequency(f) for f in hertz), joined=listed_parts(joined), order=chosen)
    _keep_plan(request, session, wanted)
    return RedirectResponse(SHEET + quote(session), 303)


@router.post("/bench/out/{session:path}")
def out(request: Request, session: str, path: Annotated[str, Form()], back: Annotated[str, Form()] = "") -> Response:
    """Take what nobody has, or nobody will put in, off the sheet, or put it on again; readings of it stay."""
    old = _plan_of(request, session)
    rest = tuple(p for p in old.out if p != path)
    _keep_plan(request, session, replace(old, out=rest if back else (*rest, path)))
    return RedirectResponse(SHEET + quote(session), 303)


@router.post("/bench/lacking/{session:path}")
def lacking(request: Request, session: str, what: Annotated[str, Form()]) -> Response:
    """Keep that some gear is not at hand: no reading is proposed with it any more, in this session or another."""
    words = {
        "attenuator": say("No attenuator of known loss is at hand."),
        "second meter": say("There is no second meter rated for it."),
    }
    if what not in words:
        raise InputError(
            "what", say("must be one of {known}; got {value}", known=", ".join(words), value=repr(what[:40]))
        )
    add_note(ledger_of(request), "sheet", session, words[what], data={LACKING: [what]}, by=by(request))
    request.app.state.live.nudge()
    if wants_part(request):
        return _shown(request, _sheet(request, session))
    return RedirectResponse(SHEET + quote(session), 303)


def _plan_of(request: Request, session: str) -> SheetPlan:
    return plan_in([n.body for n in notes_of(ledger_of(request), "sheet", session)])


def _keep_plan(request: Request, session: str, wanted: SheetPlan) -> None:
    """Keep what a session means to read, as a note on it."""
    add_note(ledger_of(request), "sheet", session, wanted.text(), data=wanted.data(), by=by(request))
    request.app.state.live.nudge()


@router.post("/bench/also/{session:path}")
def also(
    request: Request,
    session: str,
    meter: Annotated[str, Form()] = "",
    at: Annotated[str, Form()] = "",
    path: Annotated[str, Form()] = REFERENCE,
    place: Annotated[str, Form()] = "",
) -> Response:
    """Put one more line on the sheet; the address holds it until it is read. ``place`` is a meter and a band in one."""
    if place:
        meter, _, at = place.rpartition("|")
    hertz = frequency_written(at)
    there = _lines_of(_sheet(request, session), meter, hertz, path)
    slot = slot_id(meter, hertz, path, there)
    place = quote(f"{meter}|{frequency(hertz)}|{path}|{there + 1}", safe="")
    return RedirectResponse(f"{SHEET}{quote(session)}?also={place}#{slot}", 303)


def _lines_of(found: Sheet, meter: str, hertz: float, path: str) -> int:
    """Return how many lines of one place a sheet has."""
    at = (meter, str(frequency(hertz)), path)
    return sum((s.slot.meter, str(s.slot.frequency), s.slot.path) == at for i in found.insertions for s in i.steps)


@router.post("/bench/again/{session:path}")
def again(request: Request, session: str, number: Annotated[int, Form()]) -> Response:
    """Put a whole insertion on the sheet once more; the address holds its lines until they are read."""
    shown = _sheet(request, session)
    found = next((i for i in shown.insertions if i.number == number), None)
    if found is None:
        raise InputError(
            "insertion", say("must be one of the sheet; got {value}", value=number), cure=say("Load the page again.")
        )
    places, first = [], ""
    for step in found.steps:
        slot, hertz = step.slot, frequency_hz(step.slot.frequency)
        there = _lines_of(shown, slot.meter, hertz, slot.path)
        first = first or slot_id(slot.meter, hertz, slot.path, there)
        places.append(quote(f"{slot.meter}|{slot.frequency}|{slot.path}|{there + 1}", safe=""))
    return RedirectResponse(f"{SHEET}{quote(session)}?{'&'.join(f'also={p}' for p in places)}#{first}", 303)


@router.get("/bench/room/{session:path}")
def room(request: Request, session: str) -> Response:
    """Show a session to a room: large, and following what is read."""
    found = _sheet(request, session)
    template = "bench_room_part.html" if wants_part(request) else "bench_room.html"
    return page(request, template, found, place="bench", title=found.title)


@router.post("/bench/here/{session:path}")
def here(
    request: Request,
    session: str,
    who: Annotated[str, Form(max_length=40)],
    slot: Annotated[str, Form(max_length=40)] = "",
) -> Response:
    """Tell all who look at a session at which line somebody types."""
    request.app.state.live.place(session, who, slot)
    return Response(status_code=204)


@router.post("/bench/away/{session:path}")
def away(request: Request, session: str, back: Annotated[str, Form()] = "") -> Response:
    """Put a session away, or bring it back."""
    (restore if back else archive)(ledger_of(request), "sheet", session, by=by(request))
    return RedirectResponse("/bench", 303)
