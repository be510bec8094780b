"""Runs: a station's runs drawn as they lie, made, changed, planned and put away where they are drawn.

The address holds where one is: the station, the run, a plan of it, the band drawn, the thing that is opened, what is
tried. What is written goes into the ledger, each step one that can be undone; a station that only an address holds
gets a new address.
"""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal
from urllib.parse import urlencode

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.datastructures import UploadFile as Uploaded

from linewright.core.errors import CannotError, InputError, UnknownNameError
from linewright.core.formatting import frequency, power
from linewright.core.messages import say, together
from linewright.core.nouns.ledger import Change, ConflictError
from linewright.core.nouns.plan import BandFinding, Budget
from linewright.files.prices import read_prices_text
from linewright.files.station import read_station_text
from linewright.files.tables import decoded
from linewright.present.compose.plan_words import arrival, watts
from linewright.verbs.plan import the_run
from linewright.verbs.shelf_edits import start_station, station_text, steps_of
from linewright.web import run_fields as fields
from linewright.web.drawing import Bar, DrawnBand, bar, drawn_band, takes_most
from linewright.web.ledgers import by, ledger_of
from linewright.web.pictures import LOOKS, answered
from linewright.web.rendering import Place, page, wants_part
from linewright.web.run_edit import Draft, apply_edit, fresh_name, gear_of, name_gear, new_run, said_otherwise
from linewright.web.run_edit import plain as named
from linewright.web.run_inspector import OfferedPart, offers
from linewright.web.run_page import RunPage, Steps, drawn_run, edit_in, problems_of, run_page
from linewright.web.run_state import RunState, address, state_of, untried
from linewright.web.run_views import below_of, choice_chart, shared_out, with_prices
from linewright.web.stations import INVENTED, KEPT, Drawings, HeldStation, held, invented, packed, unpacked
from linewright.web.sweep_requests import said
from linewright.web.workings import word

router = APIRouter(include_in_schema=False)
PLACE: Place = "runs"
FIRST_BANDS = ("80 m", "40 m", "20 m", "15 m", "10 m", "6 m", "2 m", "70 cm", "23 cm")
"""The bands a new run is offered for at first; every other stands behind them."""
MOST_FILE = 20_000_000
PRICE_FILE = "price-file"


@dataclass(frozen=True, slots=True)
class ListedRun:
    """One run of a station: where its page is; on each band what arrives of what, drawn too, and what takes most."""

    name: str
    address: str
    bands: tuple[tuple[str, str, Bar, str, str], ...]
    drawn: DrawnBand


KeptStation = tuple[str, str, tuple[tuple[str, str, str], ...]]
"""A station's name and address; of each of its runs the name, the address, bands and power as they are written."""


@dataclass(frozen=True, slots=True)
class RunListPage:
    """The stations at hand, or the runs of one; and a station that could not be read, as it was given."""

    invented: str
    station: str = ""
    key: str = ""
    listed: tuple[ListedRun, ...] = ()
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    text: str = ""
    problems: tuple[str, ...] = ()
    kept: tuple[KeptStation, ...] = ()
    beside: str = ""
    verdict: str = ""
    share: str = ""
    file: str = ""
    first: tuple[str, ...] = FIRST_BANDS
    others: tuple[str, ...] = tuple(name for name, _ in fields.band_options() if name not in FIRST_BANDS)


@dataclass(frozen=True, slots=True)
class Offers:
    """The candidates for a place in the chain, shown beside the drawing once they are worked out."""

    candidates: tuple[OfferedPart, ...]
    hidden: tuple[tuple[str, str], ...]
    putting: bool


@router.get("/runs")
def runs(request: Request, station: str = "") -> Response:
    """Show the stations at hand, or the runs of one."""
    if not station:
        return page(
            request, "runs.html", RunListPage(_here(INVENTED), kept=_kept(request)), place=PLACE, title=say("Runs")
        )
    shown = _of_station(request, station)
    return page(request, "runs.html", shown, place=PLACE, title=shown.station)


@router.post("/runs")
def give(
    request: Request,
    text: Annotated[str, Form()] = "",
    files: Annotated[list[UploadFile] | None, File()] = None,
    keep: Annotated[str, Form()] = "",
    beside: Annotated[str, Form()] = "",
) -> Response:
    """Take a station that was pasted or chosen, and go to its runs; what cannot be read is given back.

    ``beside`` is the address of a station whose files this one, written anew, still names.
    """
    given: dict[str, str] = {}
    try:
        given = _beside(beside, text) | {
            f.filename: decoded(f.file.read(), "file", f.filename) for f in files or () if f.filename
        }
        whole, others = _whole(text, given)
        if keep:
            return RedirectResponse(_here(KEPT + _keep(request, whole, others)), 303)
        read_station_text(whole, others)
        return RedirectResponse(_here(packed(whole, others)), 303)
    except InputError as error:
        problems = tuple(str(p) for p in problems_of(error))
        told = RunListPage(
            _here(INVENTED), text=text or _first(given), problems=problems, kept=_kept(request), beside=beside
        )
        return page(request, "runs.html", told, place=PLACE, title=say("Runs"), status=422)


@router.get("/runs/example")
def example(request: Request) -> Response:
    """Show the invented station's file, to start one's own from."""
    told = RunListPage(_here(INVENTED), text=invented()[0], kept=_kept(request), beside=INVENTED)
    return page(request, "runs.html", told, place=PLACE, title=say("Runs"))


@router.get("/runs/file")
def file(request: Request, station: str) -> Response:
    """Return a station's file."""
    name = "station.toml"
    return Response(
        _text_of(request, station), media_type="application/toml",
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )  # fmt: skip


def _text_of(request: Request, key: str) -> str:
    if key.startswith(KEPT):
        return station_text(ledger_of(request), key.removeprefix(KEPT))
    return invented()[0] if key == INVENTED else unpacked(key)[0]


# One run


@router.get("/runs/run")
def run(request: Request) -> Response:
    """Show a run as its address has it."""
    return _shown(request, state_of(request.query_params))


def _shown(
    request: Request, state: RunState, *, status: int = 200, wrong: InputError | None = None,
    notes: tuple[str, ...] = (),
) -> Response:  # fmt: skip
    """Return the page of a run; for the script of the page, the part that is put in place.

    ``notes`` are said of a price list that was handed in.
    """
    ledger, drawings = ledger_of(request), drawings_of(request)
    drawn = drawn_run(state, drawings, ledger)
    if wrong is not None:
        drawn = replace(drawn, problems=problems_of(wrong))
    part = wants_part(request)
    below = below_of(request, state, drawn)
    if isinstance(below, Response):
        return below
    if notes:
        below = replace(below, problems=(*below.problems, *notes))
    told: RunPage = run_page(
        state, drawn, drawings, ledger, _steps(request, state.station), whole=not part, below=below
    )
    shown = page(request, "run_result.html" if part else "run.html", told, place=PLACE, title=told.run, status=status)
    shown.headers["x-address"] = address(told.state)
    return shown


@router.get("/runs/choose")
@router.get("/runs/share")
def view_of_a_run(request: Request) -> Response:
    """Lead an old address to the view of the run that it asked for; a station without a run named to its first."""
    params = request.query_params
    view = request.url.path.rpartition("/")[2]
    draft = drawings_of(request).draft(ledger_of(request), params.get("station", ""))
    run = params.get("run") or str(draft.tables["run"][0]["name"])
    return RedirectResponse(address(RunState(draft.key, run, view=view)), 303)


@router.get("/runs/choose/chart/{name}")
def chart_of_choices(request: Request, name: str) -> Response:
    """Return a drawing of what may be laid in a run."""
    state = state_of({k: v for k, v in request.query_params.items() if k not in LOOKS})
    return choice_chart(request, state, drawn_run(state, drawings_of(request), ledger_of(request)), name)


@router.get("/runs/offers")
def offered(request: Request) -> Response:
    """Return what could stand in a place of a run, each with what would then arrive."""
    state = state_of(request.query_params)
    drawn = drawn_run(state, drawings_of(request), ledger_of(request))
    x = drawn.band(state.band, base=True)
    found = offers(state, drawn.draft, drawn.tables, drawn.tables["run"][drawn.at], drawn.base, x)
    from linewright.web.run_state import pairs_of

    told = Offers(found, tuple(pairs_of(untried(state))), state.gap is not None)
    return page(request, "run_offers.html", told, place=PLACE, title=say("Offers"))


@router.get("/runs/zone")
def zone(request: Request) -> Response:
    """Return the zone to keep clear around a run's antenna, drawn."""
    from linewright.present.compose.figures import zone_of

    pairs = {k: v for k, v in request.query_params.items() if k not in LOOKS}
    drawn = drawn_run(state_of(pairs), drawings_of(request), ledger_of(request))
    made = drawn.found.station
    draw = zone_of(the_run(made, str(drawn.run["name"])), drawn.budget, made.rules)
    if draw is None:
        raise UnknownNameError("zone", say("needs an antenna whose kind, lengths and height are known"))
    return answered(request, draw, say("{run} zone", run=str(drawn.run["name"])))


# Written


@router.post("/runs/edit")
async def edit(request: Request) -> Response:
    """Make an edit of a run, and show the run with it; what cannot be is told where it was typed."""
    async with request.form() as form:
        told, sent = await _sent(form)
        return await run_in_threadpool(_edited, request, told, sent)


async def _sent(form: FormData) -> tuple[dict[str, str], dict[str, str]]:
    """Return the fields of a form, and the files that came with it by name; a field of a file holds its name."""
    told, files = {}, {}
    for name, value in form.items():
        if isinstance(value, Uploaded):
            if value.filename:
                content = await value.read(MOST_FILE)
                files[value.filename] = decoded(content, name.removeprefix(fields.NAME), value.filename)
                told[name] = value.filename
        else:
            told.setdefault(name, value)
    return told, files


def _edited(request: Request, told: dict[str, str], files: dict[str, str]) -> Response:
    state = state_of(told)
    ledger, drawings = ledger_of(request), drawings_of(request)
    draft = drawings.draft(ledger, state.station)
    try:
        tables = deepcopy(draft.planned(state.run, state.plan))
        at = draft.run_at(state.run)
        made = edit_in(state, tables, at)
        apply_edit(made)
        drawings.drawn(ledger, draft, tables, tuple(sorted(files.items())))
        old = str(draft.tables["run"][at]["name"])
        draft.with_tables(tables, state.run, state.plan)
        said_otherwise(draft, old, made.touched)
        new = str(draft.tables["run"][at]["name"])
        if new != old:
            _renamed(draft, old, new)
        there = replace(
            untried(state), run=new, how="", open=made.opens if made.opens or made.do == "out" else state.open
        )
        return _written(request, draft, there, files, _note(made.do, new))
    except ConflictError:
        rule = say("was changed meanwhile, here or on another screen")
        return _shown(request, untried(state), status=409, wrong=InputError(draft.name, rule, cure=say("Do it again.")))
    except InputError as error:
        return _shown(request, replace(state, do=state.do if state.do == "set" else ""), status=422, wrong=error)


def _note(do: str, run: str) -> str:
    words = {
        "set": say("a change of {run}", run=run), "swap": say("a swap in {run}", run=run),
        "put": say("what was put into {run}", run=run), "out": say("what was taken out of {run}", run=run),
        "move": say("a move in {run}", run=run), "band": say("the bands of {run}", run=run),
    }  # fmt: skip
    return words.get(do, say("a change of {run}", run=run))


def _renamed(draft: Draft, old: str, new: str) -> None:
    for kept in (draft.plans, draft.assumed):
        for name in [n for n in kept if named(n) == named(old)]:
            kept[new] = kept.pop(name)  # type: ignore[assignment]


def _written(
    request: Request, draft: Draft, state: RunState, files: dict[str, str] | None = None, note: str = ""
) -> Response:  # fmt: skip
    """Write a draft, and show the run; without a script one is led to its address."""
    ledger = ledger_of(request)
    key = drawings_of(request).kept(ledger, draft, files or {}, by(request, note))
    there = replace(state, station=key)
    return _shown(request, there) if wants_part(request) else RedirectResponse(address(there), 303)


@router.post("/runs/plan")
async def plan(request: Request) -> Response:
    """Keep a run as a plan beside it, lay a plan in its place, or drop one."""
    async with request.form() as form:
        told, _ = await _sent(form)
        return await run_in_threadpool(_planned, request, told)


def _planned(request: Request, told: dict[str, str]) -> Response:
    what, name = told.pop("what", ""), " ".join(told.pop("name", "").split())[:60]
    state = state_of(told)
    drawn = drawn_run(state, drawings_of(request), ledger_of(request))
    draft, at = drawn.draft, drawn.at
    run_name = str(draft.tables["run"][at]["name"])
    plans = draft.plans_of(run_name)
    try:
        if drawn.problems:
            raise drawn.problems[0]
        if what == "keep":
            name = name or fresh_name([p["plan"] for p in plans], say("plan"))
            if any(named(p["plan"]) == named(name) for p in plans):
                raise InputError(
                    "name",
                    say("must be new; there is a plan {name}", name=repr(name)),
                    cure=say("Give it another name."),
                )
            draft.plans[run_name] = [*plans, {"plan": name, "run": {**drawn.run, "name": run_name}}]
            there, note = replace(untried(state), plan=name, open=""), say("the plan {plan}", plan=name)
        elif what == "lay":
            draft.tables["run"][at] = {**deepcopy(drawn.run), "name": run_name}
            said_otherwise(draft, run_name, ("power", "mode", "chain", "antenna"))
            there, note = replace(untried(state), plan="", open=""), say("the plan {plan}, laid", plan=state.plan)
        elif what == "drop":
            draft.plans[run_name] = [p for p in plans if named(p["plan"]) != named(state.plan)]
            there, note = replace(untried(state), plan="", open=""), say("the plan {plan}, dropped", plan=state.plan)
        else:
            raise InputError("what", say("must be keep, lay or drop; got {value}", value=repr(what[:20])))
        draft.plans = {run: found for run, found in draft.plans.items() if found}
        return _written(request, draft, there, note=note)
    except InputError as error:
        return _shown(request, state, status=422, wrong=error)


@router.post("/runs/prices")
async def prices(request: Request) -> Response:
    """Fill the small table of prices in from a price list, and choose by it; nothing is kept of it but the address."""
    async with request.form() as form:
        told, files = await _sent(form)
        return await run_in_threadpool(_priced, request, told, files)


def _priced(request: Request, told: dict[str, str], files: dict[str, str]) -> Response:
    told.pop(PRICE_FILE, "")
    state = untried(state_of(told))
    try:
        if not files:
            raise InputError("prices", say("must be a file"), cure=say("Choose a CSV file: line, price, currency."))
        name, text = next(iter(files.items()))
        station = drawings_of(request).draft(ledger_of(request), state.station)
        own = drawings_of(request).drawn(ledger_of(request), station, station.tables).station.lines
        found = read_prices_text(text.replace("\r\n", "\n"), own, name)
    except InputError as error:
        return _shown(request, state, status=422, notes=tuple(said(error)))
    there = with_prices(state, found)
    if wants_part(request):
        return _shown(request, there, notes=found.remarks)
    return RedirectResponse(address(there), 303)


@router.post("/runs/gear")
async def gear(request: Request) -> Response:
    """Keep a run's radio or antenna under a name on the shelf; the run names it from then on."""
    async with request.form() as form:
        told, _ = await _sent(form)
        return await run_in_threadpool(_kept_gear, request, told)


def _kept_gear(request: Request, told: dict[str, str]) -> Response:
    from linewright.verbs.shelf import add

    name, state = " ".join(told.pop("name", "").split())[:60], untried(state_of(told))
    draft = drawings_of(request).draft(ledger_of(request), state.station)
    tables = draft.planned(state.run, state.plan)
    run = tables["run"][draft.run_at(state.run)]
    kind: Literal["radio", "antenna"] = "radio" if state.open == "radio" else "antenna"
    try:
        if not state.station.startswith(KEPT):
            raise InputError("station", say("is held by an address"), cure=say("Keep the station in the ledger first."))
        add(
            ledger_of(request),
            kind,
            {"name": name, **gear_of(run, kind)},
            by=by(request, say("a {kind}", kind=say(kind))),
        )
        draft = drawings_of(request).draft(ledger_of(request), state.station)
        tables = deepcopy(draft.planned(state.run, state.plan))
        name_gear(tables["run"][draft.run_at(state.run)], kind, name)
        draft.with_tables(tables, state.run, state.plan)
        return _written(request, draft, state, note=say("the {kind} {name}", kind=say(kind), name=name))
    except InputError as error:
        return _shown(request, state, status=422, wrong=error)


@router.post("/runs/share/lay")
async def lay_shared(request: Request) -> Response:
    """Lay every run on the pieces it was given in sharing out, in one step that can be undone."""
    async with request.form() as form:
        told, _ = await _sent(form)
        return await run_in_threadpool(_shared, request, told)


def _shared(request: Request, told: dict[str, str]) -> Response:
    from linewright.verbs.shelf_apply import fed_tables

    state = replace(untried(state_of(told)), view="share", open="")
    drawn = drawn_run(state, drawings_of(request), ledger_of(request))
    try:
        shared = shared_out(request, state, drawn)
        if isinstance(shared, Response):
            return shared
        if shared is None:
            raise InputError(
                "route", say("must be stated for one run at least"), cure=say("Enter how far each run reaches.")
            )
        draft = drawn.draft
        draft.tables = fed_tables(draft.tables, shared)
        for run in shared.fed:
            said_otherwise(draft, run.run, ("chain",))
        return _written(request, draft, replace(state, view="bands"), note=say("the shelf, shared out"))
    except (InputError, CannotError) as error:
        wrong = error if isinstance(error, InputError) else InputError("runs", str(error))
        return _shown(request, state, status=422, wrong=wrong)


@router.post("/runs/new")
def new(
    request: Request, band: Annotated[str, Form()] = "2 m", station: Annotated[str, Form()] = ""
) -> Response:  # fmt: skip
    """Draw a new run for a band: what has to stand there is assumed, and said."""
    ledger, drawings = ledger_of(request), drawings_of(request)
    keys = [item.key for item in _stations(request)]
    key = station or (KEPT + keys[0] if keys else "")
    if not key:
        run_table, assumed = new_run(say("{band} run", band=band), band)
        name = fresh_name(_every_station(request), say("My station"))
        body = {"station": {"station": {"name": name}, "run": [run_table]}, "assumed": {run_table["name"]: assumed}}
        kept = start_station(ledger, name, body, by=by(request, say("a new run")))
        return RedirectResponse(address(RunState(KEPT + kept.item.key, run_table["name"])), 303)
    draft = drawings.draft(ledger, key)
    taken = [str(r.get("name")) for r in draft.tables.get("run", ())]
    run_table, assumed = new_run(fresh_name(taken, say("{band} run", band=band)), band)
    draft.tables["run"] = [*draft.tables.get("run", []), run_table]
    draft.assumed[run_table["name"]] = assumed
    drawings.drawn(ledger, draft, draft.tables)
    return _written(request, draft, RunState(key, run_table["name"]), note=say("a new run"))


@router.post("/runs/more")
async def more(request: Request) -> Response:
    """Copy a run, or take it out of its station."""
    async with request.form() as form:
        told, _ = await _sent(form)
        return await run_in_threadpool(_more, request, told)


def _more(request: Request, told: dict[str, str]) -> Response:
    what, state = told.pop("what", ""), state_of(told)
    draft = drawings_of(request).draft(ledger_of(request), state.station)
    at = draft.run_at(state.run)
    runs = draft.tables["run"]
    name = str(runs[at]["name"])
    if what == "copy":
        fresh = fresh_name([str(r.get("name")) for r in runs], name)
        copy: dict[str, Any] = deepcopy(draft.planned(name, state.plan)["run"][at]) | {"name": fresh}
        draft.tables["run"] = [*runs[: at + 1], copy, *runs[at + 1 :]]
        there, note = RunState(state.station, fresh), say("a copy of {run}", run=name)
    elif what == "out":
        if len(runs) == 1:
            wrong = InputError(
                "run", say("is the only one of its station"), cure=say("Put the whole station away instead.")
            )
            return _shown(request, untried(state), status=422, wrong=wrong)
        draft.tables["run"] = [*runs[:at], *runs[at + 1 :]]
        for kept in (draft.plans, draft.assumed):
            for old in [n for n in kept if named(n) == named(name)]:
                del kept[old]
        key = drawings_of(request).kept(ledger_of(request), draft, {}, by(request, say("the run {run}", run=name)))
        return RedirectResponse(_here(key), 303)
    else:
        raise InputError("what", say("must be copy or out; got {value}", value=repr(what[:20])))
    return _written(request, draft, there, note=note)


@router.post("/runs/undo")
async def undo_step(request: Request) -> Response:
    """Undo the last change of a kept station, or do again what was undone."""
    async with request.form() as form:
        told, _ = await _sent(form)
        return await run_in_threadpool(_undone, request, told)


def _undone(request: Request, told: dict[str, str]) -> Response:
    from linewright.verbs.shelf import undo

    number, state = told.pop("change", ""), untried(state_of(told))
    steps = _steps(request, state.station)
    if number.isdigit() and int(number) in (steps.back, steps.again):
        undo(ledger_of(request), int(number), by=by(request))
    there = replace(state, open="", how="")
    draft = drawings_of(request).draft(ledger_of(request), state.station)
    names = [str(r["name"]) for r in draft.tables["run"]]
    if named(state.run) not in map(named, names):
        return RedirectResponse(_here(state.station), 303)
    if state.plan and named(state.plan) not in (named(p["plan"]) for p in draft.plans_of(state.run)):
        there = replace(there, plan="")
    return _shown(request, there) if wants_part(request) else RedirectResponse(address(there), 303)


def _steps(request: Request, key: str) -> Steps:
    """Return what can be undone of a kept station, and done again."""
    if not key.startswith(KEPT):
        return Steps()
    back, again = steps_of(ledger_of(request), key.removeprefix(KEPT))
    return Steps(
        back.id if back else 0,
        _step_words(back),
        again.id if again else 0,
        say("what was undone last") if again else "",
    )


def _step_words(c: Change | None) -> str:
    if c is None:
        return ""
    return c.note if c.note and c.undoes is None else say("the last change")


# Stations


def drawings_of(request: Request) -> Drawings:
    """Return the stations this app has read."""
    state = request.app.state
    if not hasattr(state, "drawings"):
        state.drawings = Drawings()
    found: Drawings = state.drawings
    return found


def station_held(request: Request, key: str) -> HeldStation:
    """Return the station of an address: kept in the ledger, packed in the address, or the invented one."""
    return drawings_of(request).held(ledger_of(request), key) if key.startswith(KEPT) else held(key)


def _stations(request: Request) -> Any:
    from linewright.verbs.shelf import stations

    return stations(ledger_of(request))


def _every_station(request: Request) -> list[str]:
    from linewright.verbs.shelf import all_kept

    away = all_kept(ledger_of(request), "station", archived=True)
    return [item.key for item in (*_stations(request), *away)]


def _kept(request: Request) -> tuple[KeptStation, ...]:
    """Return the stations the ledger keeps: name and address, and those of its runs with their bands and power."""
    from linewright.verbs.shelf import kept_runs

    runs = kept_runs(ledger_of(request)).runs
    return tuple(
        (
            item.key,
            _here(KEPT + item.key),
            tuple(
                (run.run, address(RunState(KEPT + item.key, run.run)), together([*run.frequencies, run.power], " · "))
                for run in runs
                if run.station == item.key
            ),
        )
        for item in _stations(request)
    )


def _keep(request: Request, text: str, beside: dict[str, str]) -> str:
    """Keep a station in the ledger, with what it rests on; return its name."""
    from linewright.verbs.shelf import keep_station_files

    files = {"station.toml": text.encode(), **{name: content.encode() for name, content in beside.items()}}
    return keep_station_files(ledger_of(request), files, by=by(request)).item.key


def _of_station(request: Request, key: str) -> RunListPage:
    found = station_held(request, key)
    plan = found.whole()
    worst = max(((x.total_loss_db, b.run, x) for b in plan.budgets for x in b.bands), key=lambda one: one[0])
    verdict = say("Least arrives on {run} at {frequency}: {arrival}", run=worst[1],
                  frequency=frequency(worst[2].frequency_hz), arrival=arrival(worst[2]))  # fmt: skip
    listed = tuple(_listed(key, budget) for budget in plan.budgets)
    there = RunState(key, plan.budgets[0].run)
    return RunListPage(
        _here(INVENTED), plan.station, key, listed, plan.remarks, plan.cautions, _text_of(request, key), (), (),
        "" if key.startswith(KEPT) else key, verdict, address(replace(there, view="share")),
        f"/runs/file?{urlencode({'station': key})}",
    )  # fmt: skip


def _given(x: BandFinding) -> str:
    return power(x.power_w, 4)


def _listed(key: str, budget: Budget) -> ListedRun:
    state = RunState(key, budget.run)
    bands = tuple(
        (
            frequency(x.frequency_hz),
            together([say("{arrives} of {given}", arrives=watts(x)[0], given=_given(x)), watts(x)[1]]),
            bar(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, x.power_w),
            takes_most(x),
            address(state, how=word("power", x.frequency_hz)),
        )
        for x in budget.bands
    )  # fmt: skip
    return ListedRun(budget.run, address(state), bands, drawn_band(max(budget.bands, key=lambda x: x.total_loss_db)))


def _here(key: str) -> str:
    return f"/runs?{urlencode({'station': key})}"


def _beside(key: str, text: str) -> dict[str, str]:
    """Return the files of the station an address holds, as far as a text still speaks of them or of each other."""
    if not key or key.startswith(KEPT):
        return {}
    files = invented()[1] if key == INVENTED else unpacked(key)[1]
    said = "".join((text, *files.values()))
    return {name: content for name, content in files.items() if name in said}


def _whole(text: str, given: dict[str, str]) -> tuple[str, dict[str, str]]:
    """Return the station's text and the files beside it: pasted, or among the files chosen."""
    if text.strip():
        # A form writes its line ends as the internet does.
        return text.replace("\r\n", "\n"), given
    found = [name for name, content in given.items() if "[[run]]" in content.replace(" ", "")]
    if len(found) != 1:
        cure = say("Paste it, or choose one file that holds [[run]] tables, and the files it names.")
        raise InputError("station", say("must be one file; got {value}", value=len(found)), cure=cure)
    return given[found[0]], {name: content for name, content in given.items() if name != found[0]}


def _first(given: dict[str, str]) -> str:
    return next((content for content in given.values() if "[[run]]" in content), "")
