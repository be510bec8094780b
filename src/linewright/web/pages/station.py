"""The first page: the state of the station, run by run, piece by piece, meter by meter, and what to do next."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache, partial
from importlib.resources import files
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from linewright.core.formatting import capitalized, digits, frequency, percent, plain, power
from linewright.core.locale import Manner
from linewright.core.messages import listed, mark, say, say_many, together
from linewright.core.nouns.bench_result import MeterFinding, Working
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.plan import BandFinding, Budget, Plan
from linewright.core.nouns.shelf import Reminder, ShelfPiece, Standing
from linewright.present.compose.plan_words import arrival, watts
from linewright.store.ledger import Ledger
from linewright.store.standing import AllKept, kept_now
from linewright.verbs.shelf import file_sheet_files, station_of
from linewright.verbs.shelf_open import today
from linewright.web import jobs
from linewright.web.bench_cache import Judgements
from linewright.web.bench_rows import bands_of, plan_in
from linewright.web.drawing import DrawnBand, drawn_band, takes_most
from linewright.web.language import spoken
from linewright.web.ledgers import by, ledger_of
from linewright.web.pages.bench import SHEET
from linewright.web.pages.shelf import piece_words, verdict_workings
from linewright.web.rendering import page, rendered
from linewright.web.run_state import RunState, address
from linewright.web.standing import MeterSaid, Outlook, Trend, standing
from linewright.web.stations import KEPT
from linewright.web.workings import word

router = APIRouter(include_in_schema=False)
DEMO = ("harbour-ridge.toml", "harbour-ridge.csv")
MOST = 4
LITTLE = 0.25
"""Where less of the power arrives, a run is marked."""
LOOK_AGAIN, NOT_AT_HOME = 1.25, 1.5
"""Multiples of the specified loss that are worth a second look, and no cable for the home station (common practice)."""
SCALE = (0.7, 2.0)
"""The multiples at the ends of the scale that all pieces share."""
EXPONENTS = (0.6, 1.6)
"""Detector exponents at the ends of the scale that all meters share."""
SPARK_WIDE, SPARK_DEEP = 112.0, 24.0
STANDS: Mapping[Standing, tuple[str, str]] = {
    "good": ("●", mark("good")),
    "worn": ("▲", mark("worn")),
    "bad": ("▲", mark("bad")),
    "cannot tell": ("?", mark("cannot tell")),
    "not measured": ("○", mark("not measured")),
}
"""Each verdict with its mark."""
WORST_FIRST: Sequence[Standing] = ("bad", "worn", "cannot tell", "good", "not measured")


@dataclass(frozen=True, slots=True)
class Open:
    """A session with lines still to be read."""

    key: str
    title: str
    measured_on: str
    read: int
    lines: int


@dataclass(frozen=True, slots=True)
class NextStep:
    """One thing to do: a heading, why, and the button that leads there."""

    what: str
    why: str
    button: str
    href: str


@dataclass(frozen=True, slots=True)
class BandLine:
    """A band of a run: its shapes, what arrives, and where its figure is explained."""

    frequency: str
    drawn: DrawnBand
    arrives: str
    reach: str
    share: str
    little: bool
    href: str


@dataclass(frozen=True, slots=True)
class RunLine:
    """A run: what the radio gives, its bands, and its weakest part in words."""

    name: str
    href: str
    gives: str
    bands: tuple[BandLine, ...]
    weakest: str
    weakest_href: str


@dataclass(frozen=True, slots=True)
class RunsOf:
    """The runs of a kept station."""

    name: str
    href: str
    runs: tuple[RunLine, ...]


@dataclass(frozen=True, slots=True)
class Whisker:
    """An interval on a common scale, in thousandths of its width; hollow where nothing was measured."""

    low: float
    width: float
    middle: float
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Spark:
    """The tests of a piece over time: points of a small drawing, the height of a new one, what happened in words."""

    points: tuple[tuple[float, float], ...]
    new: float | None
    words: str


@dataclass(frozen=True, slots=True)
class PieceState:
    """A piece: verdict, multiple of a new one's loss on the common scale, age, trend."""

    tag: str
    about: str
    mark: str
    stands: str
    bad: bool
    whisker: Whisker | None
    times: str
    reach: str
    spark: Spark | None
    age: str
    late: bool
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class MeterBandLine:
    """A meter on a band: how it counts a decibel on the common scale, and that in words."""

    frequency: str
    whisker: Whisker | None
    words: str
    doubted: bool


@dataclass(frozen=True, slots=True)
class MeterStanding:
    """A meter, what it is good for, and why not on some bands."""

    name: str
    good: str
    bands: tuple[MeterBandLine, ...]
    why: str
    session: str


@dataclass(frozen=True, slots=True)
class StationPage:
    """How the station stands; ``behind`` names what is shown as it was before the newest readings.

    ``pieces`` are rows that are written already.
    """

    empty: bool
    day: str
    lead: str
    nexts: tuple[NextStep, ...]
    runs: tuple[RunsOf, ...]
    runs_come: bool
    pieces: tuple[str, ...]
    ticks: tuple[tuple[str, float, bool], ...]
    meters: tuple[MeterStanding, ...]
    one: float
    away: tuple[str, ...]
    behind: tuple[str, ...]


@router.get("/")
def station(request: Request) -> Response:
    """Show how the station stands."""
    ledger, judged = ledger_of(request), request.app.state.judged
    until = time.monotonic() + jobs.PATIENCE_S
    now = kept_now(ledger)
    stands = standing(ledger, judged, now)
    shelf, meters = stands.shelf, tuple(i.key for i in now.every("meter", archived=False))
    sheets = now.every("sheet", archived=False)
    patience_s = max(until - time.monotonic(), 0.0)
    outlook, newest = request.app.state.outlooks.glance(ledger, judged.works, shelf, patience_s, now.number)
    due = {r.piece: r for r in shelf.reminders}
    on = date.fromisoformat(today())
    shown = StationPage(
        not (shelf.pieces or sheets or meters or now.every("station", archived=False)),
        today(),
        lead_of(shelf.pieces, outlook.plans.values()),
        nexts_of(_open(ledger, judged, now), outlook, shelf.pieces, due),
        tuple(_runs_of(name, plan) for name, plan in outlook.plans.items()),
        not newest,
        tuple(
            _piece_shown(spoken(), i, (p, due.get(p.tag), outlook.trends.get(p.tag)), on)
            for i, p in enumerate(sorted(shelf.pieces, key=lambda p: WORST_FIRST.index(p.standing)), 1)
        ),
        _ticks(),
        meters_of(stands.meters, meters),
        _at(1.0, EXPONENTS),
        tuple(i.key for i in now.every("station", archived=True)),
        stands.behind,
    )
    return page(request, "station.html", shown, place="station", title=say("Station"))


# What is said first, and what is to be done next


def _share(x: BandFinding) -> float:
    return x.power_at_antenna_w / x.power_w if x.power_w > 0 else 0.0


def lead_of(pieces: Sequence[ShelfPiece], plans: Iterable[Plan]) -> str:
    """Return how the station stands, as a sentence or two: its runs first, else its pieces."""
    bands = [(b.run, x) for plan in plans for b in plan.budgets for x in b.bands]
    if bands:
        return _lead_of_runs(bands)
    tested = [p for p in pieces if p.tests]
    bad = [p.tag for p in tested if p.standing in ("worn", "bad")]
    unsure = [p.tag for p in tested if p.standing == "cannot tell"]
    if bad:
        return say_many("{names} loses more than its type should.", "{names} lose more than their types should.",
                        len(bad), names=_some(bad))  # fmt: skip
    if unsure:
        return say("Of {names} nobody can tell yet.", names=_some(unsure))
    if tested and len(tested) < len(pieces):
        return say(
            "Everything measured is good; {tested} of {all} pieces were measured.", tested=len(tested), all=len(pieces)
        )
    if tested:
        if len(pieces) == 1:
            return say("{piece} loses what its type should.", piece=capitalized(pieces[0].tag))
        return say("Every piece loses what its type should.")
    return say("Nothing is measured yet.") if pieces else say("Nothing is on the shelf yet.")


def _lead_of_runs(bands: Sequence[tuple[str, BandFinding]]) -> str:
    run, worst = min(bands, key=lambda found: _share(found[1]))
    least = min((_share(x) for name, x in bands if name != run), default=None)
    arrives, given = watts(worst)[0], power(worst.power_w)
    at = frequency(worst.frequency_hz)
    if _share(worst) >= 0.5:
        return say(
            "Every run brings at least half its power to the antenna; the least is {run}, {arrives} of {given} at "
            "{at}.",
            run=run, arrives=arrives, given=given, at=at,
        )  # fmt: skip
    first = say("The {run} gets {arrives} of its {given} at {at}.", run=run, arrives=arrives, given=given, at=at)
    if least is None:
        return first
    if least >= 0.5:
        return together((first, say("Every other run gets half or more.")))
    return together((first, say("No other run gets less than {share}.", share=percent(least))))


def _some(names: Sequence[str]) -> str:
    more = [say("{count} more", count=len(names) - MOST)] if len(names) > MOST else []
    return listed([*names[:MOST], *more])


def nexts_of(
    begun: Sequence[Open], outlook: Outlook, pieces: Sequence[ShelfPiece], due: Mapping[str, Reminder]
) -> tuple[NextStep, ...]:
    """Return what to do next, the most pressing first: go on, mend a run, test, plan."""
    found = [
        NextStep(
            say("Go on with {title}.", title=s.title),
            say("{read} of {lines} lines are read.", read=s.read, lines=s.lines),
            say("Go on reading"), SHEET + quote(s.key),
        )
        for s in begun
    ]  # fmt: skip
    found += [n for name, plan in outlook.plans.items() for b in plan.budgets if (n := _mend(name, b)) is not None]
    found += _tests(outlook, pieces, due)
    if pieces and not outlook.plans:
        why = say("It uses what was measured: watts at the antenna, with their interval.")
        found.append(NextStep(say("Plan a run."), why, say("Runs"), "/runs"))
    if not found:
        why = say("No run is weak and no test is due. The years will show how each piece ages.")
        found.append(NextStep(say("Nothing is urgent."), why, say("New bench session"), "/bench/new"))
    return tuple(found[:MOST])


def _mend(name: str, budget: Budget) -> NextStep | None:
    worst = min(budget.bands, key=_share, default=None)
    if worst is None or _share(worst) >= LITTLE:
        return None
    weakest = max(worst.parts, key=lambda part: part.loss_db)
    why = say("{part} loses {loss} dB of {total} dB at {at}. You can try another line on the run's page.",
              part=capitalized(weakest.name), loss=plain(weakest.loss_db, 1), total=plain(worst.total_loss_db, 1),
              at=frequency(worst.frequency_hz))  # fmt: skip
    return NextStep(say("Give the {run} another line.", run=budget.run), why, say("See it on the run"),
                address(RunState(KEPT + name, budget.run)))  # fmt: skip


def _tests(outlook: Outlook, pieces: Sequence[ShelfPiece], due: Mapping[str, Reminder]) -> Iterator[NextStep]:
    """Yield what to test: first by what the plans gain, as ``shelf list --due`` has it, then what nobody can tell.

    Until that is worked out, what is due comes in the order of the shelf.
    """
    known = {p.tag: p for p in pieces}
    first = [d for d in outlook.due if d.piece in known]
    for d in first:
        what = (
            say("Test {piece} again.", piece=d.piece) if known[d.piece].tests else say("Test {piece}.", piece=d.piece)
        )
        yield NextStep(what, d.why, say("New bench session"), "/bench/new")
    named = {d.piece for d in first}
    for p in pieces:
        if p.tag not in named and (n := _test(p, None if first else due.get(p.tag))) is not None:
            yield n


def _test(p: ShelfPiece, due: Reminder | None) -> NextStep | None:
    if p.standing == "cannot tell":
        why = say("Its tests so far cannot tell. {basis}", basis=p.remarks[0] if p.remarks else "")
        return NextStep(say("Test {piece} again.", piece=p.tag), why, say("New bench session"), "/bench/new")
    if due is None or due.urgency != "due":
        return None
    what = say("Test {piece} again.", piece=p.tag) if p.tests else say("Test {piece}.", piece=p.tag)
    return NextStep(what, due.why, say("New bench session"), "/bench/new")


# Runs


def _runs_of(name: str, plan: Plan) -> RunsOf:
    href = f"/runs?station={quote(KEPT + name)}"
    return RunsOf(name, href, tuple(_run(b, RunState(KEPT + name, b.run)) for b in plan.budgets if b.bands))


def _run(budget: Budget, state: RunState) -> RunLine:
    worst = max(budget.bands, key=lambda x: x.total_loss_db)
    place, _ = max(enumerate(worst.parts, 1), key=lambda found: found[1].loss_db)
    gives = power(max(x.power_w for x in budget.bands), 4)
    how = word(f"part{place}", worst.frequency_hz)
    bands = tuple(_band(x, state) for x in budget.bands[: 2 * MOST])
    return RunLine(budget.run, address(state), gives, bands, takes_most(worst), address(state, how=how))


def _band(x: BandFinding, state: RunState) -> BandLine:
    arrives, reach = watts(x)
    href = address(state, how=word("power", x.frequency_hz))
    share = _share(x)
    return BandLine(frequency(x.frequency_hz), drawn_band(x), arrives, reach, percent(share), share < LITTLE, href)


# Pieces


def _at(value: float, scale: tuple[float, float]) -> float:
    """Return where a value lies on a scale, in thousandths of its width, kept within it."""
    low, high = scale
    return round(1000 * min(1.0, max(0.0, (value - low) / (high - low))), 1)


def _whisker(low: float, middle: float, high: float, scale: tuple[float, float], kind: str = "") -> Whisker:
    left, right = _at(low, scale), _at(high, scale)
    return Whisker(left, round(max(right - left, 8.0), 1), _at(middle, scale), kind)


def _ticks() -> tuple[tuple[str, float, bool], ...]:
    return tuple((digits(at), _at(at, SCALE), at > 1) for at in (1.0, LOOK_AGAIN, NOT_AT_HOME))


@lru_cache(maxsize=1024)
def _piece_shown(
    _manner: Manner, number: int, known: tuple[ShelfPiece, Reminder | None, Trend | None], on: date
) -> str:
    """Return the row of a piece as it is written in a manner: from one page to the next most rows stay as they are."""
    return rendered("station_piece.html", {"p": _piece(*known, on), "number": number, "ticks": _ticks()})


def _piece(p: ShelfPiece, due: Reminder | None, trend: Trend | None, on: date) -> PieceState:
    sign, stands = STANDS[p.standing]
    ends = _multiple(p)
    whisker = None if ends is None else _whisker(*ends, SCALE, "" if p.tests else "hollow")
    times = "" if ends is None else say("{times} ×", times=plain(ends[1], 2))
    reach = "" if ends is None else say("({low} to {high})", low=plain(ends[0], 2), high=plain(ends[2], 2))
    late = due is not None and due.urgency == "due"
    return PieceState(
        p.tag, piece_words(p), sign, say(stands), p.standing in ("worn", "bad"), whisker, times, reach,
        _spark(p, trend), age_of(p.tested_on, on), late, verdict_workings(p),
    )  # fmt: skip


def _multiple(p: ShelfPiece) -> tuple[float, float, float] | None:
    """Return low end, middle and high end of the loss of a piece as a multiple of a new one's."""
    if p.ratio is not None and p.ratio_low is not None and p.ratio_high is not None:
        return p.ratio_low, p.ratio, p.ratio_high
    found = next((x for x in reversed(p.losses) if x.ratio is not None), None)
    if found is None or found.ratio is None or found.ratio_low is None or found.ratio_high is None:
        return None
    return found.ratio_low, found.ratio, found.ratio_high


def age_of(tested_on: str | None, on: date) -> str:
    """Return how long ago a piece was tested, in words.

    >>> from datetime import date
    >>> [age_of(day, date(2026, 11, 30)) for day in ("2026-11-30", "2026-11-20", "2026-04-02", "2021-05-02", None)]
    ['today', '10 days ago', '8 months ago', '6 years ago', 'never']
    """
    if tested_on is None:
        return say("never")
    days = (on - date.fromisoformat(tested_on)).days
    if days < 1:
        return say("today")
    if days < 60:
        return say_many("{count} day ago", "{count} days ago", days)
    if days < 700:
        return say_many("{count} month ago", "{count} months ago", round(days / 30.44))
    return say_many("{count} year ago", "{count} years ago", round(days / 365.25))


def _spark(p: ShelfPiece, trend: Trend | None) -> Spark | None:
    if not p.tests:
        return Spark((), None, say("catalogue only"))
    if trend is None or len(trend.points) < 2:
        return Spark((), None, say("first test") if p.tests == 1 else "")
    days = [date.fromisoformat(t.evidence.measured_on).toordinal() for t in trend.points]
    losses = [t.loss_db for t in trend.points]
    new = next(
        (x.loss_db / x.ratio for x in p.losses if x.frequency_hz == trend.points[0].frequency_hz and x.ratio), 0.0
    )
    low, high = min([*losses, *([new] if new else [])]), max(losses)
    reach, span = (high - low) or 1.0, (days[-1] - days[0]) or 1

    def y(loss: float) -> float:
        return round(SPARK_DEEP - 4 - (SPARK_DEEP - 8) * (loss - low) / reach, 1)

    points = tuple(
        (round(4 + (SPARK_WIDE - 8) * (d - days[0]) / span, 1), y(v)) for d, v in zip(days, losses, strict=True)
    )
    return Spark(points, y(new) if new else None, trend_words(trend))


SURE = 0.95
"""From here on what happened to a piece is said without "perhaps": as sure as a verdict must be."""


def trend_words(trend: Trend) -> str:
    """Return what happened to a piece, in few words; with "perhaps" where it is not sure."""
    change = trend.change
    if change is None:
        return ""
    sure = change.p > SURE
    if change.kind == "step":
        first, last = change.first_on[:4], change.last_on[:4]
        if first == last:
            return say("a step in {year}", year=first) if sure else say("perhaps a step in {year}", year=first)
        if sure:
            return say("a step between {first} and {last}", first=first, last=last)
        return say("perhaps a step between {first} and {last}", first=first, last=last)
    if change.kind == "ageing" and change.rate_per_year is not None:
        percent = plain(100 * change.rate_per_year, 1)
        if sure:
            return say("ageing, {percent} % a year", percent=percent)
        return say("perhaps ageing, {percent} % a year", percent=percent)
    return say("steady") if change.kind == "steady" else say("one test may be of another piece")


# Meters


def meters_of(said: Sequence[MeterSaid], kept: Sequence[str]) -> tuple[MeterStanding, ...]:
    """Return every meter with what it is good for, band by band."""
    names = dict.fromkeys((*kept, *(s.finding.meter for s in said)))
    return tuple(_meter(name, [s for s in said if s.finding.meter == name]) for name in names)


def _meter(name: str, mine: Sequence[MeterSaid]) -> MeterStanding:
    good = [frequency(s.finding.frequency_hz) for s in mine if s.finding.trust == "good"]
    bad = [s for s in mine if s.finding.trust in ("doubtful", "none")]
    if not mine:
        words = say("No session shows how it reads yet.")
    elif good:
        words = say("Good for {bands}.", bands=listed(good))
    elif bad:
        words = say("Good for no band that was read.")
    else:
        words = say("Cannot tell yet what it is good for.")
    worst = next((s for s in bad if s.finding.trust == "none"), bad[-1] if bad else None)
    return MeterStanding(
        name, words, tuple(_meter_band(s.finding) for s in mine), _doubt(bad), worst.session if worst else ""
    )


def _doubt(bad: Sequence[MeterSaid]) -> str:
    """Return why a meter is not to be believed on some bands."""
    if not bad:
        return ""
    worst = next((s for s in bad if s.finding.trust == "none"), bad[-1])
    if len(bad) == 1:
        return worst.finding.why
    return together((worst.finding.why, say("That is at {band}.", band=frequency(worst.finding.frequency_hz))))


TRUSTS = {
    "good": mark("good"),
    "doubtful": mark("doubtful"),
    "none": mark("do not use"),
    "unknown": mark("cannot tell"),
}


def _meter_band(m: MeterFinding) -> MeterBandLine:
    at, doubted = frequency(m.frequency_hz), m.trust in ("doubtful", "none")
    if m.exponent is None or m.exponent_low is None or m.exponent_high is None:
        return MeterBandLine(at, None, say(TRUSTS[m.trust]), doubted)
    kind = "doubted" if doubted else ("" if m.trust == "good" else "hollow")
    whisker = _whisker(m.exponent_low, m.exponent, m.exponent_high, EXPONENTS, kind)
    off = round(100 * (m.exponent - 1))
    if doubted and off:
        words = (
            say("a decibel {percent} % long", percent=off)
            if off > 0
            else say("a decibel {percent} % short", percent=-off)
        )
        return MeterBandLine(at, whisker, words, doubted)
    return MeterBandLine(at, whisker, say(TRUSTS[m.trust]), doubted)


# Sessions under way, the runs of a station by themselves, and the invented bench


def _open(ledger: Ledger, judged: Judgements, now: AllKept) -> tuple[Open, ...]:
    """Return sessions that were begun here and have lines to read, the newest first."""
    planned = {n.body["key"] for n in now.every("note", archived=False) if n.body["kind"] == "sheet"}
    newest = sorted(now.every("sheet", archived=False), key=lambda i: i.changed_at, reverse=True)[: 2 * MOST]
    begun = [now.once(("begun", i.key), partial(_begun, ledger, judged, now, i)) for i in newest if i.key in planned]
    return tuple(s for s in begun if s is not None)[:MOST]


def _begun(ledger: Ledger, judged: Judgements, now: AllKept, item: Item) -> Open | None:
    bench = judged.rows(ledger, item.key, now)
    plan = plan_in(bench.notes)
    if not plan.frequencies:
        return None
    brackets = [b for band in bands_of(bench.sheet, plan, bench.rows) for b in band.brackets]
    slots = [s for b in brackets if not b.folded for s in b.slots]
    read = sum(s.kept is not None for s in slots)
    if read == len(slots):
        return None
    return Open(item.key, item.body["title"], item.body["measured_on"], read, len(slots))


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run of a kept station: what arrives on its worst band, and its weakest part."""

    name: str
    band: str
    arrives: str
    weakest: str
    address: str
    arrives_address: str
    weakest_address: str


@dataclass(frozen=True, slots=True)
class RunsPage:
    """The runs of a kept station, by themselves: they take a moment."""

    name: str
    runs: tuple[RunRow, ...]


@router.get("/station/runs/{name:path}")
def runs(request: Request, name: str) -> Response:
    """Show the runs of a kept station, each with its weakest part."""
    from linewright.verbs.plan import plan_station

    plan = plan_station(station_of(ledger_of(request), name))
    lines = tuple(_row(b, KEPT + name) for b in plan.budgets)
    return page(request, "station_runs.html", RunsPage(name, lines), place="station", title=name)


def _row(budget: Budget, key: str) -> RunRow:
    worst: BandFinding = max(budget.bands, key=lambda x: x.total_loss_db)
    place, weakest = max(enumerate(worst.parts, 1), key=lambda found: found[1].loss_db)
    state = RunState(key, budget.run)
    return RunRow(
        budget.run,
        frequency(worst.frequency_hz),
        arrival(worst),
        say("{part}, {loss} dB of {total} dB", part=weakest.name, loss=plain(weakest.loss_db, 2),
            total=plain(worst.total_loss_db, 2)),
        address(state),
        address(state, how=word("power", worst.frequency_hz)),
        address(state, how=word(f"part{place}", worst.frequency_hz)),
    )  # fmt: skip


@router.post("/station/demo")
def demo(request: Request) -> Response:
    """File the invented Harbour Ridge bench."""
    folder = files("linewright.verbs.demo_data")
    sent = {name: folder.joinpath(name).read_bytes() for name in DEMO}
    done = file_sheet_files(ledger_of(request), sent, by=by(request))
    return RedirectResponse(SHEET + quote(done.item.key), 303)
