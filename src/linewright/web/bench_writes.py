"""Readings as they arrive from pages: kept once whoever sends them how often, and never over what was not seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from linewright.errors import InputError
from linewright.ledger import readings
from linewright.ledger.store import Ledger
from linewright.model.ledger import ConflictError, KeptReading
from linewright.web.bench_rows import TOKEN, Slot, trails
from linewright.workflows.shelf import By, add_reading, correct_reading

MOST_TRIES = 50


@dataclass(frozen=True, slots=True)
class Heard:
    """What a page sends of one line: what was typed, and what the page had seen there."""

    slot: str
    typed: str
    was: str

    @property
    def seen(self) -> tuple[int, int, int]:
        """Number and version of the reading the page had seen, 0 for none, and the attempt."""
        parts = self.was.split(".")
        if len(parts) != 3 or not all(p.isdigit() and len(p) < 9 for p in parts):
            raise InputError("what the page had seen", f"must be three numbers; got {self.was!r}")
        number, version, attempt = (int(p) for p in parts)
        return number, version, attempt


@dataclass(frozen=True, slots=True)
class Clash:
    """Two values for one line: the one typed here, the one that stands; ``was`` writes over that one knowingly."""

    slot: str
    label: str
    mine: str
    theirs: str
    was: str


def record_all(
    ledger: Ledger, session: str, slots: Mapping[str, Slot], heard: Sequence[Heard], by: By
) -> tuple[tuple[Clash, ...], dict[str, str]]:
    """Keep what was typed, line by line, in the order of the sheet.

    Returns
    -------
    clashes : tuple of Clash
        Lines that somebody else changed meanwhile; they stay as they are.
    problems : dict
        What is wrong with a line, by line; nothing of it was kept.
    """
    clashes, problems = [], {}
    for one in heard:
        slot = slots.get(one.slot)
        if slot is None:
            problems[one.slot] = "This line is no longer on the sheet. Load the page again."
            continue
        if one.typed == slot.typed and (slot.kept is not None or not one.typed):
            continue
        try:
            clash = _record(ledger, session, slot, one, by)
        except InputError as cause:
            problems[one.slot] = str(cause)
        else:
            clashes += [clash] if clash else []
    return tuple(clashes), problems


def would_change(slots: Mapping[str, Slot], heard: Sequence[Heard]) -> list[tuple[int, Mapping[str, str] | None]]:
    """Return what keeping what was typed would change: the number of a reading, 0 for a new one, and its cells."""
    changes: list[tuple[int, Mapping[str, str] | None]] = []
    for one in heard:
        slot = slots.get(one.slot)
        if slot is None or one.was != slot.was or one.typed == slot.typed:
            continue
        number, _, _ = one.seen
        changes.append((number, slot.cells(one.typed) if one.typed else None))
    return [(number, cells) for number, cells in changes if number or cells]


def _record(ledger: Ledger, session: str, slot: Slot, heard: Heard, by: By) -> Clash | None:
    number, version, attempt = heard.seen
    if not number:
        return _add(ledger, session, slot, heard.typed, attempt, by) if heard.typed else None
    cells = slot.cells(heard.typed) if heard.typed else None
    try:
        correct_reading(ledger, session, number, cells, expect=version, by=by)
    except ConflictError as cause:
        theirs = KeptReading(session, number, cause.version, "", None, cause.theirs)
        return _clash(slot, heard.typed, theirs)
    return None


def _add(ledger: Ledger, session: str, slot: Slot, typed: str, attempt: int, by: By) -> Clash | None:
    """Keep a new reading under the line's own token; where another came first, say both."""
    for more in range(attempt, attempt + MOST_TRIES):
        token = f"{TOKEN}:{slot.id}:{more}"
        try:
            add_reading(ledger, session, _fresh(slot).cells(typed), token=token, by=by)
        except InputError as cause:
            if cause.argument != "token":
                raise
            standing = _called(ledger, session, token)
            if standing is None or standing.cells is not None:
                return _clash(slot, typed, standing) if standing else None
            continue
        standing = _called(ledger, session, token)
        if standing is None or standing.cells is not None:
            return None
    raise InputError("reading", "was withdrawn here too often", cure="Add a line of its own for it.")


def _fresh(slot: Slot) -> Slot:
    return Slot(slot.id, slot.meter, slot.frequency, slot.path, slot.label)


def _called(ledger: Ledger, session: str, token: str) -> KeptReading | None:
    """Return how the reading that was sent under a token stands now."""
    with ledger.reads() as snapshot:
        known = trails(readings.all_of(snapshot, [session]))
    return next((t.standing for t in known if t.token == token), None)


def _clash(slot: Slot, mine: str, theirs: KeptReading) -> Clash | None:
    now = Slot(slot.id, slot.meter, slot.frequency, slot.path, slot.label, theirs if theirs.cells else None)
    if now.typed == mine:
        return None
    was = f"{theirs.number}.{theirs.version}.0"
    name = f"{slot.meter}, {slot.frequency}, {slot.label}"
    return Clash(slot.id, name, mine, now.typed, was)
