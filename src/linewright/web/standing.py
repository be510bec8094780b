"""How shelf and meters stand: shown at once as they were remembered, while newer readings are judged aside."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, NamedTuple
from urllib.parse import quote

from linewright.core.formatting import interval
from linewright.core.nouns.bench_result import MeterFinding
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.shelf import PieceHistory, Shelf
from linewright.present.charts import ladder as charted
from linewright.present.charts.strips import Scale, bar, scale_of
from linewright.store.ledger import Ledger
from linewright.verbs.history import history_of, ladder_of
from linewright.verbs.shelf import all_kept, changes, glance_at_shelf, list_shelf
from linewright.verbs.shelf_open import today
from linewright.web.bench_cache import Judged
from linewright.web.jobs import PATIENCE_S, Tell, Work, Works

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


def standing(ledger: Ledger, judged: Judged, patience_s: float = PATIENCE_S) -> Standing:
    """Return how all stands, having waited no longer than ``patience_s`` for what is judged anew."""
    until = time.monotonic() + patience_s

    def left() -> float:
        return max(until - time.monotonic(), 0.0)

    meters, sessions = _meters(ledger, judged, left)
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


def _meters(ledger: Ledger, judged: Judged, left: Callable[[], float]) -> tuple[tuple[MeterSaid, ...], tuple[str, ...]]:
    """Return what sessions say of meters, the newest that could tell first, and the sessions that are behind."""
    found: dict[tuple[str, float], MeterSaid] = {}
    behind = []
    for item in sorted(all_kept(ledger, "sheet"), key=_newness, reverse=True)[:MOST_SESSIONS]:
        result, newest = judged.glance(ledger, item.key, left())
        if not newest:
            behind.append(item.body["title"])
        for m in result.meters if result else ():
            at = (m.meter, m.frequency_hz)
            if at not in found or (found[at].finding.trust == "unknown" and m.trust != "unknown"):
                found[at] = MeterSaid(item.key, m)
    return tuple(found[at] for at in sorted(found)), tuple(behind)


def _newness(session: Item) -> tuple[str, str]:
    return session.body["measured_on"], session.changed_at


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


def history_work(ledger: Ledger, works: Works, piece: Item, notes: int) -> Work:
    """Return the work that finds what is known of a piece, its history.

    After a start it may take seconds; then what its tests say is remembered. One that is under way is joined: readings
    that came since are in the next.
    """
    title = f"What is known of {piece.key}"
    return _one_at_a_time(ledger, works, piece, Wanted(f"piece {notes}", title, partial(_history, ledger, piece.key)))


def ladder_work(ledger: Ledger, works: Works, piece: Item, at_hz: float) -> Work:
    """Return the work that finds by which steps the loss of a piece came to be known; it lets all others go first."""
    title, job = f"How the belief in {piece.key} grew", partial(_ladder, ledger, piece.key, at_hz)
    return _one_at_a_time(ledger, works, piece, Wanted(f"ladder {at_hz:.0f}", title, job, aside=True))


class Wanted(NamedTuple):
    """What is to be found out of a piece, in words, and how."""

    what: str
    title: str
    job: Callable[[Tell], Any]
    aside: bool = False


class Known(NamedTuple):
    """What was found out, and the newest change of the ledger when that began."""

    newest: int
    found: Any


def _one_at_a_time(ledger: Ledger, works: Works, piece: Item, wanted: Wanted) -> Work:
    """Return the work under way, or the one done where nothing was changed since it began, else one begun now."""
    name = f"{wanted.what} {ledger.where}\n{piece.key} {piece.version} {today()}"
    newest = next((c.id for c in changes(ledger, most=1).changes), 0)
    known = works.named(name)
    if known is not None and known.done and (known.failed or known.answer().newest != newest):
        works.forget(known)
    back, job = f"/shelf/piece/{quote(piece.key)}", partial(_found, newest, wanted.job)
    return works.begin(name, wanted.title, back, job, aside=wanted.aside)


def _found(newest: int, job: Callable[[Tell], Any], tell: Tell) -> Known:
    return Known(newest, job(tell))


def _history(ledger: Ledger, tag: str, tell: Tell) -> PieceHistory:
    return history_of(ledger, tag, progress=tell)


def _ladder(ledger: Ledger, tag: str, at_hz: float, tell: Tell) -> tuple[Rung, ...]:
    """Return the rungs as rows; none for a piece of unknown type that nobody measured."""
    _, rungs = ladder_of(ledger, tag, at_hz, progress=tell)
    scale = scale_of(end for rung in rungs for end in rung.believed)
    return tuple(_rung(rung, scale) for rung in rungs)


def _rung(rung: charted.Rung, scale: Scale) -> Rung:
    alone = "" if rung.alone is None else _said(rung.alone)
    return Rung(rung.what, rung.on, rung.sheet, alone, _said(rung.believed), bar(scale, *rung.believed))


def _said(ends: charted.Interval) -> str:
    low, middle, high = ends
    return interval(middle, low, high)
