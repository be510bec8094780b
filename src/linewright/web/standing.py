"""How shelf and meters stand: shown at once as they were remembered, while newer readings are judged aside."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from linewright.ledger.store import Ledger
from linewright.model.ledger import Item
from linewright.model.result import MeterFinding
from linewright.model.shelf import Shelf
from linewright.web.judged import Judged
from linewright.web.long_work import PATIENCE_S, Tell, Work, Works
from linewright.workflows.shelf import all_kept, glance_at_shelf, list_shelf

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
