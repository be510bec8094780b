"""Runs: a station's runs drawn as they lie, with what changes would do kept side by side.

The address holds everything: the station, the run, the fields that were changed, the plans kept beside, the part
looked at and the figure opened. So back, bookmark and sharing work, and nothing is kept on the server.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response
from starlette.datastructures import QueryParams

from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formatting import frequency
from linewright.core.nouns.plan import Budget, Plan
from linewright.files.station import read_station_text
from linewright.files.tables import decoded
from linewright.present.charts.render import to_svg
from linewright.present.charts.theme import DARK, LIGHT
from linewright.present.compose.plan_words import arrival, watts
from linewright.verbs.plan import the_run
from linewright.web.drawing import Bar, bar
from linewright.web.ledgers import by, ledger_of
from linewright.web.rendering import DESK_PX, PHONE_PX, Place, page, wants_part
from linewright.web.run_page import RunPage, run_page
from linewright.web.run_state import RunState, address, changes_of, filled, groups_of, sifted, state_of
from linewright.web.stations import INVENTED, KEPT, HeldStation, KeptStation, held, invented, packed, unpacked
from linewright.web.workings import word

router = APIRouter(include_in_schema=False)
PLACE: Place = "runs"
NARROW_PX = 520
"""A picture asked for narrower than this is drawn for a phone."""


@dataclass(frozen=True, slots=True)
class ListedRun:
    """One run of a station: where its page is; on each band what arrives of what, drawn too, and what takes most."""

    name: str
    address: str
    bands: tuple[tuple[str, str, Bar, str, str], ...]


@dataclass(frozen=True, slots=True)
class RunListPage:
    """The stations at hand, or the runs of one; and a station that could not be read, as it was given."""

    invented: str
    station: str = ""
    listed: tuple[ListedRun, ...] = ()
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    text: str = ""
    problems: tuple[str, ...] = ()
    kept: tuple[tuple[str, str], ...] = ()
    beside: str = ""
    verdict: str = ""
    share: str = ""


@router.get("/runs")
def runs(request: Request, station: str = "") -> Response:
    """Show the stations at hand, or the runs of one."""
    if not station:
        return page(request, "runs.html", RunListPage(_here(INVENTED), kept=_kept(request)), place=PLACE, title="Runs")
    found = station_held(request, station)
    return page(request, "runs.html", _of_station(station, found.whole()), place=PLACE, title=found.station.name)


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
    named: dict[str, str] = {}
    try:
        named = _beside(beside, text) | {
            f.filename: decoded(f.file.read(), "file", f.filename) for f in files or () if f.filename
        }
        whole, others = _whole(text, named)
        if keep:
            return RedirectResponse(_here(KEPT + _keep(request, whole, others)), 303)
        read_station_text(whole, others)
        return RedirectResponse(_here(packed(whole, others)), 303)
    except InputError as error:
        problems = tuple(str(p) for p in getattr(error, "problems", ()) or (error,))
        told = RunListPage(
            _here(INVENTED), text=text or _first(named), problems=problems, kept=_kept(request), beside=beside
        )
        return page(request, "runs.html", told, place=PLACE, title="Runs", status=422)


@router.get("/runs/example")
def example(request: Request) -> Response:
    """Show the invented station's file, to start one's own from."""
    told = RunListPage(_here(INVENTED), text=invented()[0], kept=_kept(request), beside=INVENTED)
    return page(request, "runs.html", told, place=PLACE, title="Runs")


@router.get("/runs/run")
def run(request: Request) -> Response:
    """Show a run, with the changes its address holds."""
    state = state_of(request.query_params)
    told: RunPage = run_page(state, station_held(request, state.station))
    return page(request, "run_result.html" if wants_part(request) else "run.html", told, place=PLACE, title=told.run)


@router.get("/runs/zone")
def zone(request: Request, paper: str = "light", wide: int = DESK_PX) -> Response:
    """Return the zone to keep clear around a run's antenna as SVG."""
    from linewright.present.compose.figures import zone_of

    query = QueryParams([(k, v) for k, v in request.query_params.multi_items() if k not in ("paper", "wide", "v")])
    state = state_of(query)
    found = station_held(request, state.station)
    run = the_run(found.station, state.run)
    groups = groups_of(found.station, run)
    changes, _ = sifted(found.station, run.name, changes_of(groups, filled(groups, dict(state.values))))
    made = found.changed(changes, run.name)
    draw = zone_of(the_run(made, run.name), found.plan(run.name, changes).budgets[0], made.rules)
    if draw is None:
        raise UnknownNameError("zone", "needs an antenna whose kind, lengths and height are known")
    palette = DARK if paper == "dark" else LIGHT
    spec = draw(width_px=PHONE_PX if wide < NARROW_PX else DESK_PX, palette=palette)
    return Response(to_svg(spec), media_type="image/svg+xml")


def station_held(request: Request, key: str) -> HeldStation:
    """Return the station of an address: kept in the ledger, packed in the address, or the invented one."""
    if not key.startswith(KEPT):
        return held(key)
    state = request.app.state
    if not hasattr(state, "kept_stations"):
        state.kept_stations = KeptStation()
    found: HeldStation = state.kept_stations.held(ledger_of(request), key)
    return found


def _kept(request: Request) -> tuple[tuple[str, str], ...]:
    """Return the stations the ledger keeps: name and address."""
    from linewright.verbs.shelf import stations

    return tuple((item.key, _here(KEPT + item.key)) for item in stations(ledger_of(request)))


def _keep(request: Request, text: str, beside: dict[str, str]) -> str:
    """Keep a station in the ledger, with what it rests on; return its name."""
    from linewright.verbs.shelf import keep_station_files

    files = {"station.toml": text.encode(), **{name: content.encode() for name, content in beside.items()}}
    return keep_station_files(ledger_of(request), files, by=by(request)).item.key


def _of_station(key: str, plan: Plan) -> RunListPage:
    text = "" if key.startswith(KEPT) else invented()[0] if key == INVENTED else unpacked(key)[0]
    worst = max(((x.total_loss_db, b.run, x) for b in plan.budgets for x in b.bands), key=lambda found: found[0])
    verdict = f"Least arrives on {worst[1]} at {frequency(worst[2].frequency_hz)}: {arrival(worst[2])}"
    listed = tuple(_listed(key, budget) for budget in plan.budgets)
    share = f"/runs/share?{urlencode({'station': key})}"
    return RunListPage(
        _here(INVENTED), plan.station, listed, plan.remarks, plan.cautions, text, (), (), key, verdict, share
    )


def _listed(key: str, budget: Budget) -> ListedRun:
    state = RunState(key, budget.run)
    bands = tuple(
        (
            frequency(x.frequency_hz), " ".join(filter(None, (watts(x)[0], f"of {x.power_w:.4g} W", watts(x)[1]))),
            bar(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, x.power_w), x.weakest,
            address(state, how=word("power", x.frequency_hz)),
        )
        for x in budget.bands
    )  # fmt: skip
    return ListedRun(budget.run, address(state), bands)


def _here(key: str) -> str:
    return f"/runs?{urlencode({'station': key})}"


def _beside(key: str, text: str) -> dict[str, str]:
    """Return the files of the station an address holds, as far as a text still speaks of them or of each other."""
    if not key or key.startswith(KEPT):
        return {}
    files = invented()[1] if key == INVENTED else unpacked(key)[1]
    said = "".join((text, *files.values()))
    return {name: content for name, content in files.items() if name in said}


def _whole(text: str, named: dict[str, str]) -> tuple[str, dict[str, str]]:
    """Return the station's text and the files beside it: pasted, or among the files chosen."""
    if text.strip():
        # A form writes its line ends as the internet does.
        return text.replace("\r\n", "\n"), named
    found = [name for name, content in named.items() if "[[run]]" in content.replace(" ", "")]
    if len(found) != 1:
        cure = "Paste it, or choose one file that holds [[run]] tables, and the files it names."
        raise InputError("station", f"must be one file; got {len(found)}", cure=cure)
    return named[found[0]], {name: content for name, content in named.items() if name != found[0]}


def _first(named: dict[str, str]) -> str:
    return next((content for content in named.values() if "[[run]]" in content), "")
