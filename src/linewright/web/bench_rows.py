"""A reading sheet in the order that controls drift: reference, pieces, reference again; per meter and frequency."""

from __future__ import annotations

import hashlib
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.nouns.bench import BenchSheet, Meter
from linewright.core.nouns.bench_result import SCALE_UNIT
from linewright.core.nouns.ledger import Body, ConflictError, KeptReading
from linewright.core.quantities import frequency_hz
from linewright.store import items as readings
from linewright.store.ledger import Ledger
from linewright.verbs.blank_sheet import paths_to_read
from linewright.verbs.shelf import By, add_reading, correct_reading

# A reading sheet in the order that controls drift: reference, pieces, reference again; per meter and frequency

REFERENCE = "reference"
TOKEN, PLAN = "sheet", "plan"
MOST_ALIKE = 20
"""Lines of one meter, band and path that a sheet tells apart."""
Place = tuple[str, float, str]
"""Meter, frequency in hertz, path."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What a session means to read: frequencies as written, and paths besides the single pieces."""

    frequencies: tuple[str, ...] = ()
    joined: tuple[str, ...] = ()

    def text(self) -> str:
        """Return it in words, as the note that keeps it.

        >>> Plan(("14.2 MHz", "50.1 MHz"), ("blue 7+blue 18",)).text()
        'To read: 14.2 MHz, 50.1 MHz; through blue 7+blue 18'
        """
        through = f"; through {', '.join(self.joined)}" if self.joined else ""
        return f"To read: {', '.join(self.frequencies)}{through}"

    def data(self) -> dict[str, dict[str, list[str]]]:
        """Return it as what the note keeps beside its words."""
        return {PLAN: {"frequencies": list(self.frequencies), "joined": list(self.joined)}}


def plan_in(notes: Sequence[Body]) -> Plan:
    """Return the newest plan among notes, oldest first.

    >>> plan_in([Plan(("14.2 MHz",)).data(), {"text": "To read: the manual"}])
    Plan(frequencies=('14.2 MHz',), joined=())
    """
    return next((plan for note in reversed(notes) if (plan := _plan_of(note)) is not None), Plan())


def _plan_of(note: Body) -> Plan | None:
    kept = note.get(PLAN)
    if not isinstance(kept, Mapping):
        return _old_plan(str(note.get("text", "")))
    written = (kept.get(name) for name in ("frequencies", "joined"))
    return Plan(*(tuple(map(str, names)) if isinstance(names, list) else () for names in written))


OLD_PLAN = re.compile(r"To read: (?P<frequencies>[^;]+?)(?:; through (?P<joined>.+))?")


def _old_plan(text: str) -> Plan | None:
    """Return a plan that was kept in the words of its note alone, as all were once; None for any other note.

    >>> _old_plan("To read: 14.2 MHz; through blue 7+blue 18")
    Plan(frequencies=('14.2 MHz',), joined=('blue 7+blue 18',))
    >>> _old_plan("To read: the manual") is None
    True
    """
    found = OLD_PLAN.fullmatch(text)
    if found is None:
        return None
    frequencies = listed(found["frequencies"])
    try:
        for written in frequencies:
            frequency_hz(written, "frequency")
    except InputError:
        return None
    return Plan(frequencies, listed(found["joined"] or ""))


def listed(text: str) -> tuple[str, ...]:
    """Return what a person wrote with commas or semicolons between; decimal commas stay.

    >>> listed("14,2 MHz, 50.1 MHz; 144.3 MHz"), listed("")
    (('14,2 MHz', '50.1 MHz', '144.3 MHz'), ())
    """
    parts = [p.strip() for p in text.replace(";", ", ").replace("\n", ", ").split(", ")]
    return tuple(dict.fromkeys(p for p in parts if p))


@dataclass(frozen=True, slots=True)
class Trail:
    """One reading through its versions: what called it first, and what stands; ``standing`` has no cells once gone."""

    token: str | None
    standing: KeptReading


def trails(rows: Sequence[KeptReading]) -> list[Trail]:
    """Return the readings of one session from all rows ever written, in order."""
    first: dict[int, KeptReading] = {}
    last: dict[int, KeptReading] = {}
    for row in sorted(rows, key=lambda r: (r.number, r.version)):
        first.setdefault(row.number, row)
        last[row.number] = row
    return [Trail(first[n].token, last[n]) for n in first]


@dataclass(frozen=True, slots=True)
class Slot:
    """One line of the sheet: where a reading goes, and the reading once it is there.

    ``attempt`` counts readings that stood here and were withdrawn: it makes the token of the next one new.
    """

    id: str
    meter: str
    frequency: str
    path: str
    label: str
    kept: KeptReading | None = None
    attempt: int = 0

    @property
    def token(self) -> str:
        """What the next reading here is called: the same from every tab, so that none is kept twice."""
        return f"{TOKEN}:{self.id}:{self.attempt}"

    @property
    def typed(self) -> str:
        """The reading as a person types it; "<20" for a needle below the first mark."""
        cells = self.kept.cells if self.kept else None
        if not cells:
            return ""
        below = cells["reading"] == "0" and cells.get("low") == "0" and "high" in cells
        return f"<{cells['high']}" if below else cells["reading"]

    @property
    def was(self) -> str:
        """What a page has seen here: number, version and attempt."""
        return f"{self.kept.number}.{self.kept.version}.0" if self.kept else f"0.0.{self.attempt}"

    def cells(self, typed: str) -> dict[str, str]:
        """Return the cells of a typed reading, kept or new; a note that stood there stays."""
        told = dict(self.kept.cells) if self.kept and self.kept.cells else {}
        told = {k: v for k, v in told.items() if k not in ("reading", "low", "high")}
        told |= {"meter": self.meter, "frequency": self.frequency, "path": self.path}
        if typed.startswith("<"):
            return told | {"reading": "0", "low": "0", "high": typed[1:].strip()}
        return told | {"reading": typed}


@dataclass(frozen=True, slots=True)
class Bracket:
    """One meter on one band: its readings between a reference and the same reference again."""

    meter: str
    unit: str
    scale: str
    rated: str
    outside: bool
    slots: tuple[Slot, ...]

    @property
    def folded(self) -> bool:
        """Whether it stays folded: nobody promised this meter here, and nothing was read."""
        return self.outside and not any(s.kept for s in self.slots)

    @property
    def negative(self) -> bool:
        """Whether readings may lie below zero."""
        return self.scale in ("dBm", "dB")


@dataclass(frozen=True, slots=True)
class SheetBand:
    """All meters on one band."""

    frequency_hz: float
    frequency: str
    brackets: tuple[Bracket, ...]


def bands_of(
    sheet: BenchSheet, plan: Plan, rows: Sequence[KeptReading], also: Sequence[Place] = ()
) -> tuple[SheetBand, ...]:
    """Return the sheet of a session: its planned lines, filled with what was read, and whatever else was read.

    A meter's next band runs the other way round, so that what drifts, drifts over all pieces alike. ``also`` are
    places somebody wants to read besides.
    """
    known = trails(rows)
    written = _frequencies(plan, known, also)
    filled = _Filled(known)
    turned = dict.fromkeys((m.name for m in sheet.meters), False)
    found = []
    for hertz, text in sorted(written.items()):
        brackets = tuple(_brackets(sheet, plan, (hertz, text), filled, (also, turned)))
        turned |= {b.meter: not turned[b.meter] for b in brackets if plan.frequencies and not b.folded}
        found.append(SheetBand(hertz, text, brackets))
    return tuple(found)


def _frequencies(plan: Plan, known: Sequence[Trail], also: Sequence[Place]) -> dict[float, str]:
    texts = [*plan.frequencies, *(t.standing.cells["frequency"] for t in known if t.standing.cells)]
    found = {frequency_hz(text): frequency(frequency_hz(text)) for text in texts}
    return found | {hertz: frequency(hertz) for _, hertz, _ in also}


def _brackets(
    sheet: BenchSheet,
    plan: Plan,
    band: tuple[float, str],
    filled: _Filled,
    order: tuple[Sequence[Place], Mapping[str, bool]],
) -> Iterator[Bracket]:
    (hertz, text), (also, turned) = band, order
    for meter in sheet.meters:
        extra = [p for m, f, p in also if (m, f) == (meter.name, hertz)]
        paths = _paths(sheet, plan, extra, turned=turned[meter.name])
        slots = list(filled.slots(meter.name, hertz, text, paths))
        outside = meter.in_rated_band(hertz) is False and not extra
        unit = SCALE_UNIT[meter.scale] or "scale"
        yield Bracket(meter.name, unit, meter.scale, _rated(meter), outside, tuple(slots))


def _paths(sheet: BenchSheet, plan: Plan, extra: Sequence[str], *, turned: bool) -> list[str]:
    """Return what one meter is read through on one band, the reference first and last."""
    singles = [p.tag for p in sheet.pieces]
    pads = [a.tag for a in sheet.attenuators]
    named = dict.fromkeys([*singles, *plan.joined, *pads, *(p for p in extra if p != REFERENCE)])
    order = paths_to_read([(path,) for path in named], turned=turned)
    return [path[0] if path else REFERENCE for path in order]


def _rated(meter: Meter) -> str:
    return "" if meter.rated_hz is None else f"rated {frequency(meter.rated_hz[0])} to {frequency(meter.rated_hz[1])}"


class _Filled:
    """Readings by where they belong: those that know their line, and those that only know their path."""

    def __init__(self, known: Sequence[Trail]) -> None:
        self._by_slot: dict[str, list[Trail]] = defaultdict(list)
        self._loose: dict[Place, list[KeptReading]] = defaultdict(list)
        for trail in known:
            slot = _slot_of(trail.token)
            cells = trail.standing.cells
            if slot is not None and (cells is None or _is_of(slot, cells)):
                self._by_slot[slot].append(trail)
            elif cells is not None:
                self._loose[_place(cells)].append(trail.standing)

    def slots(self, meter: str, hertz: float, text: str, paths: Sequence[str]) -> Iterator[Slot]:
        """Yield the lines of one meter on one band; what does not fit a planned line gets one of its own."""
        seen: dict[str, int] = defaultdict(int)
        own = dict.fromkeys(p for m, f, p in self._loose if (m, f) == (meter, hertz) and p not in paths)
        for path in [*paths[:-1], *own, paths[-1]]:
            yield self._slot((meter, hertz, path), text, seen[path])
            seen[path] += 1
        for path, nth in seen.items():
            more = nth
            while self._loose[meter, hertz, path] or slot_id(meter, hertz, path, more) in self._by_slot:
                yield self._slot((meter, hertz, path), text, more)
                more += 1

    def _slot(self, place: Place, text: str, nth: int) -> Slot:
        key = slot_id(*place, nth)
        mine = self._by_slot.get(key, [])
        standing = next((t.standing for t in mine if t.standing.cells is not None), None)
        if standing is None and self._loose[place]:
            standing = self._loose[place].pop(0)
        label = f"{place[2]} again" if nth else place[2]
        return Slot(key, place[0], text, place[2], label, standing, len(mine))


@lru_cache(maxsize=10_000)
def slot_id(meter: str, hertz: float, path: str, nth: int) -> str:
    """Return what a line of the sheet is called: the same for everyone who reads the same thing."""
    return "r" + hashlib.sha256(f"{meter}\n{hertz:.0f}\n{path}\n{nth}".encode()).hexdigest()[:12]


def _slot_of(token: str | None) -> str | None:
    kind, _, rest = (token or "").partition(":")
    return rest.partition(":")[0] if kind == TOKEN else None


def _is_of(slot: str, cells: Mapping[str, str]) -> bool:
    """Return whether a reading still stands where its line is: its meter, band or path may have been corrected."""
    return any(slot == slot_id(*_place(cells), nth) for nth in range(MOST_ALIKE))


def _place(cells: Mapping[str, str]) -> Place:
    path = "+".join(" ".join(t.split()) for t in cells["path"].split("+"))
    return cells["meter"], _hertz(cells["frequency"]), REFERENCE if path.lower() == REFERENCE else path


@lru_cache(maxsize=1000)
def _hertz(text: str) -> float:
    return frequency_hz(text)


# Readings as they arrive from pages: kept once whoever sends them how often, and never over what was not seen

MOST_TRIES = 50


@dataclass(frozen=True, slots=True)
class PostedReading:
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
    ledger: Ledger, session: str, slots: Mapping[str, Slot], heard: Sequence[PostedReading], by: By
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


def would_change(
    slots: Mapping[str, Slot], heard: Sequence[PostedReading]
) -> list[tuple[int, Mapping[str, str] | None]]:
    """Return what keeping what was typed would change: the number of a reading, 0 for a new one, and its cells."""
    changes: list[tuple[int, Mapping[str, str] | None]] = []
    for one in heard:
        slot = slots.get(one.slot)
        if slot is None or one.was != slot.was or one.typed == slot.typed:
            continue
        number, _, _ = one.seen
        changes.append((number, slot.cells(one.typed) if one.typed else None))
    return [(number, cells) for number, cells in changes if number or cells]


def _record(ledger: Ledger, session: str, slot: Slot, heard: PostedReading, by: By) -> Clash | None:
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
