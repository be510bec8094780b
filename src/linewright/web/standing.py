"""How shelf and meters stand: shown at once as they were remembered, while newer readings are judged aside."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from urllib.parse import quote

from linewright.core.errors import LinewrightError
from linewright.core.formatting import interval
from linewright.core.messages import say
from linewright.core.nouns.bench_result import MeterFinding
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.shelf import Due, HistoryPoint, PieceChange, PieceHistory, Shelf
from linewright.present.charts import ladder as charted
from linewright.present.charts.strips import Scale, bar
from linewright.store.ledger import Ledger
from linewright.store.standing import AllKept, kept_now
from linewright.verbs.due import due_first
from linewright.verbs.history import history_of, ladder_of
from linewright.verbs.plan import plan_station
from linewright.verbs.shelf import evidence_of, glance_at_shelf, list_shelf, station_of, stations
from linewright.verbs.shelf_open import today
from linewright.web import jobs
from linewright.web.bench_cache import Judgements
from linewright.web.jobs import MovingQuestion, Tell, Work, Works
from linewright.web.stations import revision

# How shelf and meters stand: shown at once as they were remembered, while newer readings are judged aside

MOST_SESSIONS = 6
"""The newest sessions that are asked about the meters."""


@dataclass(frozen=True, slots=True)
class MeterSaid:
    """What the newest session that could tell says of a meter on a band."""

    session: str
    finding: MeterFinding


@dataclass(frozen=True, slots=True)
class Standing:
    """The shelf, what the newest sessions say of each meter on each band, and what of it is older than its readings.

    Attributes
    ----------
    behind : tuple of str
        Pieces, and sessions that speak of meters, shown as they were before the newest readings.
    """

    shelf: Shelf
    meters: tuple[MeterSaid, ...]
    behind: tuple[str, ...]


def standing(
    ledger: Ledger, judged: Judgements, now: AllKept | None = None, patience_s: float | None = None
) -> Standing:
    """Return how all stands, having waited no longer than ``patience_s`` for what is judged anew."""
    until = time.monotonic() + (jobs.PATIENCE_S if patience_s is None else patience_s)
    now = kept_now(ledger) if now is None else now

    def left() -> float:
        return max(until - time.monotonic(), 0.0)

    meters, sessions = _meters(ledger, judged, now, left)
    shelf, pieces = glance_at_shelf(ledger)
    if pieces and _begun(ledger, judged.works).wait(left()):
        shelf, pieces = glance_at_shelf(ledger)
    return Standing(shelf, meters, (*pieces, *sessions))


def _begun(ledger: Ledger, works: Works) -> Work:
    """Return the one work that judges the shelf: the one under way, else one begun now."""
    name = f"shelf {ledger.where}"
    known = works.named(name)
    if known is not None and known.done:
        works.forget(known)
    return works.begin(name, "What the shelf says", "/shelf", partial(_listed, ledger), aside=True)


def _listed(ledger: Ledger, tell: Tell) -> Shelf:
    return list_shelf(ledger, progress=tell)


def _meters(
    ledger: Ledger, judged: Judgements, now: AllKept, left: Callable[[], float]
) -> tuple[tuple[MeterSaid, ...], tuple[str, ...]]:
    """Return what sessions say of meters, the newest that could tell first, and the sessions that are behind."""
    found: dict[tuple[str, float], MeterSaid] = {}
    behind = []
    for item in sorted(now.every("sheet", archived=False), key=_newness, reverse=True)[:MOST_SESSIONS]:
        result, newest = judged.glance(ledger, item.key, left(), now)
        if not newest:
            behind.append(item.body["title"])
        for m in result.meters if result else ():
            at = (m.meter, m.frequency_hz)
            if at not in found or (found[at].finding.trust == "unknown" and m.trust != "unknown"):
                found[at] = MeterSaid(item.key, m)
    return tuple(found[at] for at in sorted(found)), tuple(behind)


def _newness(session: Item) -> tuple[str, str]:
    return session.body["measured_on"], session.changed_at


# What takes longer than a glance: the plans of the kept stations, and what happened to each piece over the years


@dataclass(frozen=True, slots=True)
class Trend:
    """The tests of a piece, each alone, and what most likely happened between them."""

    points: tuple[HistoryPoint, ...]
    change: PieceChange | None


@dataclass(frozen=True, slots=True)
class Outlook:
    """The plans of the kept stations, the trend of each piece tested more than once, and what to test first."""

    plans: Mapping[str, Plan]
    trends: Mapping[str, Trend]
    due: tuple[Due, ...] = ()


NO_OUTLOOK = Outlook({}, {})


REST = 4.0
"""How many times as long as a long outlook took nobody works out the next: pages and readings go first."""


@dataclass(slots=True)
class Outlooks:
    """The newest outlook, shown while a newer one is worked out: one at a time, and seldom where it takes long."""

    _newest: tuple[int, Outlook] | None = None
    _work: tuple[int, Work] | None = None
    _from_s: float = 0.0

    def glance(
        self, ledger: Ledger, works: Works, shelf: Shelf, patience_s: float, now: int | None = None
    ) -> tuple[Outlook, bool]:
        """Return the outlook, and whether it is of the ledger as it stands; wait no longer than told.

        ``now`` is the number of the last change, where it is known.
        """
        now = revision(ledger) if now is None else now
        self._taken_over()
        if self._work is None and time.monotonic() >= self._from_s and (not self._newest or self._newest[0] != now):
            job = partial(_outlook, ledger, [p.tag for p in shelf.pieces if p.tests > 1])
            name = f"outlook {ledger.where} {now}"
            self._work = now, works.begin(name, say("How the station stands"), "/", job, aside=True)
        if self._work is not None and self._work[1].wait(patience_s):
            self._taken_over()
        newest, outlook = self._newest or (-1, NO_OUTLOOK)
        return outlook, newest == now

    def _taken_over(self) -> None:
        """Take what the work under way found, once it has; where it could not, the outlook stays as it was."""
        if self._work is None or not self._work[1].done:
            return
        (of, work), self._work = self._work, None
        outlook, took_s = (self._newest[1] if self._newest else NO_OUTLOOK, 0.0) if work.failed else work.answer()
        self._newest = of, outlook
        self._from_s = time.monotonic() + (REST * took_s if took_s > jobs.PATIENCE_S else 0.0)


def _outlook(ledger: Ledger, tags: Sequence[str], tell: Tell) -> tuple[Outlook, float]:
    """Return the outlook, and how long it took in seconds."""
    began_s = time.monotonic()
    plans: dict[str, Plan] = {}
    for item in stations(ledger):
        tell(0.0, item.key)
        with suppress(LinewrightError):
            plans[item.key] = plan_station(station_of(ledger, item.key))
    trends = {}
    for n, tag in enumerate(tags):
        tell(n / len(tags), tag)
        history = history_of(ledger, tag)
        trends[tag] = Trend(history.points, history.changes[0] if history.changes else None)
    due: tuple[Due, ...] = ()
    with suppress(LinewrightError):
        due = due_first(ledger).due
    return Outlook(plans, trends, due), time.monotonic() - began_s


# The evidence ladder of a piece as a table's rows: the words of each rung, its bar, and where its sheet is judged


@dataclass(frozen=True, slots=True)
class Rung:
    """One step of the ladder: what was heard, when, what it says alone, and what is believed after it."""

    what: str
    on: str
    href: str
    alone: str
    believed: str
    drawn: str


def history_work(ledger: Ledger, works: Works, piece: Item, notes: int, made: int | None = None) -> Work:
    """Return the work that finds what is known of a piece, its history.

    After a start it may take seconds; then what its tests say is remembered. Whoever waited for it has that of the
    moment ``made``, though readings came since.
    """
    title, page = f"What is known of {piece.key}", f"/shelf/piece/{quote(piece.key)}"
    now = kept_now(ledger).number
    name, light = _name(f"piece {notes}", ledger, piece), is_light(ledger, piece)
    question = MovingQuestion(name, title, f"{page}?made={now}", now, light, f"{ledger.where}\n{piece.key}")
    return works.of_moment(question, partial(_history, ledger, piece.key), made)


def ladder_work(ledger: Ledger, works: Works, piece: Item, at_hz: float, moment: int | None) -> Work:
    """Return the work that finds by which steps the loss of a piece came to be known; it lets all others go first.

    ``moment`` is that of the history it is shown beside.
    """
    title, page = f"How the belief in {piece.key} grew", f"/shelf/piece/{quote(piece.key)}"
    name = _name(f"ladder {at_hz:.0f}", ledger, piece)
    question = MovingQuestion(name, title, page, moment or 0, is_light(ledger, piece))
    return works.of_moment(question, partial(_ladder, ledger, piece.key, at_hz), moment, aside=True)


def is_light(ledger: Ledger, piece: Item) -> bool:
    """Return whether nothing need be judged to tell of a piece: nobody measured it, nor others of its stock."""
    return not piece.body.get("stock") and not evidence_of(ledger, piece.key)


def _name(what: str, ledger: Ledger, piece: Item) -> str:
    return f"{what} {ledger.where}\n{piece.key} {piece.version} {today()}"


def _history(ledger: Ledger, tag: str, tell: Tell) -> PieceHistory:
    return history_of(ledger, tag, progress=tell)


def _ladder(ledger: Ledger, tag: str, at_hz: float, tell: Tell) -> tuple[Rung, ...]:
    """Return the rungs as rows; none for a piece of unknown type that nobody measured."""
    _, rungs = ladder_of(ledger, tag, at_hz, progress=tell)
    ends = [end for rung in rungs for end in rung.believed]
    scale = Scale(min(ends, default=0.0), max(ends, default=1.0))
    return tuple(_rung(rung, scale, rungs[0].believed[1]) for rung in rungs)


def _rung(rung: charted.LadderStep, scale: Scale, new_db: float) -> Rung:
    alone = "" if rung.alone is None else _said(rung.alone)
    return Rung(rung.what, rung.on, rung.sheet, alone, _said(rung.believed), bar(scale, *rung.believed, new=new_db))


def _said(ends: charted.Interval) -> str:
    low, middle, high = ends
    return interval(middle, low, high)
