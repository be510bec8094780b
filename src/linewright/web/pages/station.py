"""The first page: how the station stands, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from linewright.core.formatting import frequency, plain
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.plan import BandFinding, Budget
from linewright.core.nouns.shelf import Reminder, ShelfPiece
from linewright.present.compose.plan_words import arrival
from linewright.store.ledger import Ledger
from linewright.verbs.shelf import all_kept, file_sheet_files, station_of, stations
from linewright.web.bench_cache import Judged
from linewright.web.bench_rows import bands_of, plan_in
from linewright.web.ledgers import by, ledger_of
from linewright.web.pages.bench import SHEET
from linewright.web.pages.shelf import verdict_of, verdict_workings
from linewright.web.rendering import page
from linewright.web.run_state import RunState, address
from linewright.web.standing import MeterSaid, standing
from linewright.web.stations import KEPT
from linewright.web.workings import word

router = APIRouter(include_in_schema=False)
DEMO = ("harbour-ridge.toml", "harbour-ridge.csv")
MOST = 4


@dataclass(frozen=True, slots=True)
class Open:
    """A session with lines still to be read."""

    key: str
    title: str
    measured_on: str
    read: int
    lines: int


@dataclass(frozen=True, slots=True)
class MeterDoubt:
    """A meter not to be believed on some bands."""

    meter: str
    bands: str
    why: str
    session: str


@dataclass(frozen=True, slots=True)
class RunLine:
    """A run of a kept station: what arrives on its worst band, and its weakest part."""

    name: str
    band: str
    arrives: str
    weakest: str
    address: str
    arrives_address: str
    weakest_address: str


@dataclass(frozen=True, slots=True)
class StationPage:
    """How the station stands; ``behind`` names what is shown as it was before the newest readings."""

    empty: bool
    lead: str
    pieces: tuple[tuple[str, str, tuple[Working, ...]], ...]
    due: tuple[Reminder, ...]
    open: tuple[Open, ...]
    meters: tuple[MeterDoubt, ...]
    stations: tuple[str, ...]
    away: tuple[str, ...]
    behind: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RunsPage:
    """The runs of a kept station, by themselves: they take a moment."""

    name: str
    runs: tuple[RunLine, ...]


@router.get("/")
def station(request: Request) -> Response:
    """Show how the station stands."""
    ledger, judged = ledger_of(request), request.app.state.judged
    stands = standing(ledger, judged)
    shelf = stands.shelf
    sheets = all_kept(ledger, "sheet")
    begun = _open(ledger, judged, sheets)
    shown = StationPage(
        not (shelf.pieces or sheets or all_kept(ledger, "meter")),
        _lead(shelf.pieces, shelf.reminders, begun),
        tuple((p.tag, verdict_of(p), verdict_workings(p)) for p in shelf.pieces),
        shelf.reminders,
        begun,
        _doubts(stands.meters),
        tuple(i.key for i in stations(ledger)),
        tuple(i.key for i in all_kept(ledger, "station", archived=True)),
        stands.behind,
    )
    return page(request, "station.html", shown, place="station", title="Station")


def _lead(pieces: Sequence[ShelfPiece], due: Sequence[Reminder], begun: Sequence[Open]) -> str:
    """Return how it stands, as a sentence."""
    if begun:
        return f"{begun[0].title} is under way: {begun[0].read} of {begun[0].lines} lines read."
    late = [r.piece for r in due if r.urgency == "due"]
    if late:
        more = f" and {len(late) - MOST} more" if len(late) > MOST else ""
        return f"To be tested now: {', '.join(late[:MOST])}{more}."
    tested = sum(p.tests > 0 for p in pieces)
    return f"{tested} of {len(pieces)} pieces are tested; none is due."


def _open(ledger: Ledger, judged: Judged, sheets: Sequence[Item]) -> tuple[Open, ...]:
    """Return sessions that were begun here and have lines to read, the newest first."""
    found = []
    for item in sorted(sheets, key=lambda i: i.changed_at, reverse=True)[: 2 * MOST]:
        bench = judged.rows(ledger, item.key)
        if not plan_in(bench.notes).frequencies:
            continue
        brackets = [b for band in bands_of(bench.sheet, plan_in(bench.notes), bench.rows) for b in band.brackets]
        slots = [s for b in brackets if not b.folded for s in b.slots]
        read = sum(s.kept is not None for s in slots)
        if read < len(slots):
            found.append(Open(item.key, item.body["title"], item.body["measured_on"], read, len(slots)))
    return tuple(found[:MOST])


def _doubts(said: Sequence[MeterSaid]) -> tuple[MeterDoubt, ...]:
    """Return the meters not to be believed, each with its bands."""
    bad = [s for s in said if s.finding.trust in ("doubtful", "none")]
    names = dict.fromkeys(s.finding.meter for s in bad)
    return tuple(_doubt([s for s in bad if s.finding.meter == name]) for name in names)


def _doubt(mine: Sequence[MeterSaid]) -> MeterDoubt:
    worst = next((s for s in mine if s.finding.trust == "none"), mine[-1])
    bands = ", ".join(frequency(s.finding.frequency_hz) for s in mine)
    where = f" That is at {frequency(worst.finding.frequency_hz)}." if len(mine) > 1 else ""
    return MeterDoubt(worst.finding.meter, bands, f"{worst.finding.why}{where}", worst.session)


@router.get("/station/runs/{name:path}")
def runs(request: Request, name: str) -> Response:
    """Show the runs of a kept station, each with its weakest part."""
    from linewright.verbs.plan import plan_station

    plan = plan_station(station_of(ledger_of(request), name))
    lines = tuple(_run(b, KEPT + name) for b in plan.budgets)
    return page(request, "station_runs.html", RunsPage(name, lines), place="station", title=name)


def _run(budget: Budget, key: str) -> RunLine:
    worst: BandFinding = max(budget.bands, key=lambda x: x.total_loss_db)
    place, weakest = max(enumerate(worst.parts, 1), key=lambda found: found[1].loss_db)
    state = RunState(key, budget.run)
    return RunLine(
        budget.run,
        frequency(worst.frequency_hz),
        arrival(worst),
        f"{weakest.name}, {plain(weakest.loss_db, 2)} dB of {plain(worst.total_loss_db, 2)} dB",
        address(state),
        address(state, how=word("power", worst.frequency_hz)),
        address(state, how=word(f"part{place}", worst.frequency_hz)),
    )


@router.post("/station/demo")
def demo(request: Request) -> Response:
    """File the invented Harbour Ridge bench."""
    folder = files("linewright.verbs.demo_data")
    sent = {name: folder.joinpath(name).read_bytes() for name in DEMO}
    done = file_sheet_files(ledger_of(request), sent, by=by(request))
    return RedirectResponse(SHEET + quote(done.item.key), 303)
