"""A reading sheet in the order that controls drift: reference, pieces, reference again; per meter and frequency."""

from __future__ import annotations

import hashlib
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.messages import mark, say
from linewright.core.nouns.bench import BenchSheet, Meter
from linewright.core.nouns.bench_result import SCALE_UNIT
from linewright.core.nouns.ledger import Body, ConflictError, KeptReading
from linewright.core.quantities import frequency_hz
from linewright.store.ledger import Ledger
from linewright.store.standing import kept_now
from linewright.verbs.blank_sheet import paths_to_read
from linewright.verbs.shelf import By, add_reading, correct_reading

# A reading sheet in the order that controls drift: reference, pieces, reference again; per meter and frequency

REFERENCE = mark("reference")
TOKEN, PLAN = "sheet", "plan"
MOST_ALIKE = 20
"""Lines of one meter, band and path that a sheet tells apart."""
Place = tuple[str, float, str]
"""Meter, frequency in hertz, path."""
Wish = tuple[str, float, str, int]
"""A place, and how many lines of it are wanted on the sheet besides what was planned."""


Order = Literal["fewest", "middle", "bands"]
ORDERS: tuple[Order, ...] = ("fewest", "middle", "bands")
"""In which order a bench is read: what is put in changes last, and the reference comes first and last; the same with
the reference in the middle as well; or band by band, each meter from reference to reference."""


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """What a session means to read: frequencies as written, paths besides the single pieces, in which order.

    ``out`` are paths that nobody can or will read.
    """

    frequencies: tuple[str, ...] = ()
    joined: tuple[str, ...] = ()
    order: Order = "fewest"
    out: tuple[str, ...] = ()

    def text(self) -> str:
        """Return it in words, as the note that keeps it.

        >>> SheetPlan(("14.2 MHz", "50.1 MHz"), ("blue 7+blue 18",)).text()
        'To read: 14.2 MHz, 50.1 MHz; through blue 7+blue 18'
        """
        through = f"; through {', '.join(self.joined)}" if self.joined else ""
        return f"To read: {', '.join(self.frequencies)}{through}"

    def data(self) -> dict[str, dict[str, Any]]:
        """Return it as what the note keeps beside its words."""
        kept: dict[str, Any] = {"frequencies": list(self.frequencies), "joined": list(self.joined)}
        if self.order != ORDERS[0]:
            kept["order"] = self.order
        if self.out:
            kept["out"] = list(self.out)
        return {PLAN: kept}


def plan_in(notes: Sequence[Body]) -> SheetPlan:
    """Return the newest plan among notes, oldest first.

    >>> plan_in([SheetPlan(("14.2 MHz",)).data(), {"text": "To read: the manual"}]).frequencies
    ('14.2 MHz',)
    """
    return next((plan for note in reversed(notes) if (plan := _plan_of(note)) is not None), SheetPlan())


def _plan_of(note: Body) -> SheetPlan | None:
    kept = note.get(PLAN)
    if not isinstance(kept, Mapping):
        return _old_plan(str(note.get("text", "")))
    written = {name: kept.get(name) for name in ("frequencies", "joined", "out")}
    told = {name: tuple(map(str, names)) if isinstance(names, list) else () for name, names in written.items()}
    order = next((o for o in ORDERS if o == kept.get("order")), ORDERS[0])
    return SheetPlan(told["frequencies"], told["joined"], order, told["out"])


OLD_PLAN = re.compile(r"To read: (?P<frequencies>[^;]+?)(?:; through (?P<joined>.+))?")


def _old_plan(text: str) -> SheetPlan | None:
    """Return a plan that was kept in the words of its note alone, as all were once; None for any other note.

    >>> _old_plan("To read: 14.2 MHz; through blue 7+blue 18").joined
    ('blue 7+blue 18',)
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
    return SheetPlan(frequencies, listed(found["joined"] or ""))


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
        """The name of the next reading here: the same from every tab, so that none is stored twice."""
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
    sheet: BenchSheet, plan: SheetPlan, rows: Sequence[KeptReading], also: Sequence[Wish] = ()
) -> tuple[SheetBand, ...]:
    """Return the sheet of a session: its planned lines, filled with what was read, and whatever else was read.

    Read band by band, every other band runs the other way round, so that what drifts, drifts over all pieces alike.
    ``also`` are places somebody wants to read besides.
    """
    known = trails(rows)
    written = _frequencies(plan, known, also)
    filled = _Filled(known)
    found = []
    for i, (hertz, text) in enumerate(sorted(written.items())):
        turned = plan.order == "bands" and bool(plan.frequencies) and i % 2 == 1
        brackets = tuple(_brackets(sheet, plan, (hertz, text), filled, (also, turned)))
        found.append(SheetBand(hertz, text, brackets))
    return tuple(found)


def _frequencies(plan: SheetPlan, known: Sequence[Trail], also: Sequence[Wish]) -> dict[float, str]:
    texts = [*plan.frequencies, *(t.standing.cells["frequency"] for t in known if t.standing.cells)]
    found = {frequency_hz(text): frequency(frequency_hz(text)) for text in texts}
    return found | {hertz: frequency(hertz) for _, hertz, _, _ in also}


def _brackets(
    sheet: BenchSheet,
    plan: SheetPlan,
    band: tuple[float, str],
    filled: _Filled,
    order: tuple[Sequence[Wish], bool],
) -> Iterator[Bracket]:
    (hertz, text), (also, turned) = band, order
    for meter in sheet.meters:
        extra = {p: many for m, f, p, many in also if (m, f) == (meter.name, hertz)}
        paths = _paths(sheet, plan, tuple(extra), turned=turned)
        slots = list(filled.slots((meter.name, hertz), text, paths, extra))
        outside = meter.in_rated_band(hertz) is False and not extra
        unit = SCALE_UNIT[meter.scale] or say("scale")
        yield Bracket(meter.name, unit, meter.scale, _rated(meter), outside, tuple(slots))


def _paths(sheet: BenchSheet, plan: SheetPlan, extra: Sequence[str], *, turned: bool) -> list[str]:
    """Return what one meter is read through on one band, the reference first and last."""
    singles = [p.tag for p in sheet.pieces]
    pads = [a.tag for a in sheet.attenuators]
    named = dict.fromkeys([*singles, *plan.joined, *pads, *(p for p in extra if p != REFERENCE)])
    read = [path for path in named if path not in plan.out]
    order = paths_to_read([(path,) for path in read], turned=turned)
    found = [path[0] if path else REFERENCE for path in order]
    if plan.order == "middle" and len(read) > 1:
        found.insert(1 + (len(read) + 1) // 2, REFERENCE)
    return found


# The same lines as they are read at the bench: one insertion after the other


@dataclass(frozen=True, slots=True)
class MeterColumn:
    """One meter on one band."""

    meter: str
    frequency: str
    unit: str
    negative: bool
    outside: bool
    first: bool


@dataclass(frozen=True, slots=True)
class ReadingStep:
    """One reading of an insertion: its line, its column, and whether the meter is changed for it."""

    slot: Slot
    column: MeterColumn
    number: int
    change: bool


@dataclass(frozen=True, slots=True)
class Insertion:
    """What is put in once and read on some meters and bands.

    ``cells`` are its steps by column, None where nothing is read; ``turned`` where the meters are read from the last
    to the first, so that none is changed when the next piece goes in.
    """

    number: int
    path: str
    label: str
    cells: tuple[ReadingStep | None, ...]
    turned: bool
    only: str = ""

    @property
    def steps(self) -> tuple[ReadingStep, ...]:
        """Its readings in the order they are taken."""
        return tuple(sorted((c for c in self.cells if c), key=lambda c: c.number))

    @property
    def read(self) -> int:
        """How many of them are there."""
        return sum(c.slot.kept is not None for c in self.cells if c)


def columns_of(bands: Sequence[SheetBand]) -> tuple[MeterColumn, ...]:
    """Return the columns of a session's table: meters across, each with its bands; what is folded has none."""
    meters = dict.fromkeys(b.meter for band in bands for b in band.brackets)
    found = []
    for meter in meters:
        mine = [(band, b) for band in bands for b in band.brackets if b.meter == meter and not b.folded]
        for i, (band, b) in enumerate(mine):
            found.append(MeterColumn(meter, band.frequency, b.unit, b.negative, b.outside, first=i == 0))
    return tuple(found)


def insertions_of(bands: Sequence[SheetBand], order: Order = "fewest") -> tuple[Insertion, ...]:
    """Return the lines of a session's sheet insertion by insertion, in the order they are read.

    The order "bands" goes through the whole sheet on one band before the next, as ``bands`` are; the others change
    what is put in as seldom as can be, and the meter only within an insertion.
    """
    columns = columns_of(bands)
    if order == "bands":
        groups = [(band.frequency, _by_insertion([band])) for band in bands]
    else:
        groups = [("", _by_insertion(bands))]
    found: list[Insertion] = []
    number, meter = 0, ""
    for only, rows in groups:
        for label, mine in rows:
            at = [i for i, c in enumerate(columns) if (c.meter, c.frequency) in mine]
            if not at:
                continue
            path = mine[columns[at[0]].meter, columns[at[0]].frequency].path
            turned = bool(meter) and columns[at[-1]].meter == meter != columns[at[0]].meter
            cells: list[ReadingStep | None] = [None] * len(columns)
            for i in reversed(at) if turned else at:
                number += 1
                slot = mine[columns[i].meter, columns[i].frequency]
                cells[i] = ReadingStep(slot, columns[i], number, columns[i].meter != meter)
                meter = columns[i].meter
            found.append(Insertion(len(found) + 1, path, label, tuple(cells), turned, only))
    return tuple(found)


def _by_insertion(bands: Sequence[SheetBand]) -> list[tuple[str, dict[tuple[str, str], Slot]]]:
    """Return each insertion's lines by meter and band, in the order of the sheet; what fits none comes before the end.

    A meter's next band runs the other way round on the sheet; here all follow the first.
    """
    found: dict[str, dict[tuple[str, str], Slot]] = {}
    place: dict[str, float] = {}
    for band in bands:
        for bracket in band.brackets:
            if bracket.folded:
                continue
            seen: dict[str, int] = defaultdict(int)
            for slot in bracket.slots:
                seen[slot.path] += 1
                label = f"{slot.path}#{seen[slot.path]}"
                found.setdefault(label, {})[bracket.meter, band.frequency] = slot
    shapes = [[s.path for s in b.slots] for band in bands for b in band.brackets if not b.folded]
    once = [[p for i, p in enumerate(paths) if p == REFERENCE or p not in paths[:i]] for paths in shapes]
    longest = max(once, key=len, default=[])
    counted: dict[str, int] = defaultdict(int)
    for i, path in enumerate(longest):
        counted[path] += 1
        place[f"{path}#{counted[path]}"] = i
    late = len(longest) - 1.5  # a repeated reading, before the last reference
    order = sorted(found, key=lambda label: place.get(label, late))
    return [(next(iter(found[label].values())).label, found[label]) for label in order]


def plug_changes(steps: Iterable[ReadingStep]) -> int:
    """Return how often something is unplugged when readings are taken in an order: another piece, or another meter.

    >>> plug_changes([])
    0
    """
    count, last = 0, ("", "")
    for step in steps:
        now = (step.slot.path, step.slot.meter)
        if last[1]:
            count += (now[0] != last[0]) + (now[1] != last[1])
        last = now
    return count


def _rated(meter: Meter) -> str:
    if meter.rated_hz is None:
        return ""
    low, high = map(frequency, meter.rated_hz)
    return say("rated {low} to {high}", low=low, high=high)


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

    def slots(
        self, at: tuple[str, float], text: str, paths: Sequence[str], wanted: Mapping[str, int]
    ) -> Iterator[Slot]:
        """Yield the lines of one meter on one band; what does not fit a planned line gets one of its own.

        ``wanted`` is how many lines there are to be of a path at least.
        """
        meter, hertz = at
        seen: dict[str, int] = defaultdict(int)
        own = dict.fromkeys(p for m, f, p in self._loose if (m, f) == (meter, hertz) and p not in paths)
        for path in [*paths[:-1], *own, paths[-1]]:
            yield self._slot((meter, hertz, path), text, seen[path])
            seen[path] += 1
        for path, nth in seen.items():
            more = nth
            while (
                self._loose[meter, hertz, path]
                or slot_id(meter, hertz, path, more) in self._by_slot
                or more < wanted.get(path, 0)
            ):
                yield self._slot((meter, hertz, path), text, more)
                more += 1

    def _slot(self, place: Place, text: str, nth: int) -> Slot:
        key = slot_id(*place, nth)
        mine = self._by_slot.get(key, [])
        standing = next((t.standing for t in mine if t.standing.cells is not None), None)
        if standing is None and self._loose[place]:
            standing = self._loose[place].pop(0)
        name = say(REFERENCE) if place[2] == REFERENCE else place[2]
        label = say("{path} again", path=name) if nth else name
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
LOOKED_AT = "looked at again: the same"
"""The note of a repeat that confirms a reading."""


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
            raise InputError("what the page had seen", say("must be three numbers; got {value}", value=repr(self.was)))
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


def read_again(ledger: Ledger, session: str, slot: Slot, nth: int, by: By) -> None:
    """Keep that a reading was looked at again and is the same: a repeat of it on a line of its own.

    Parameters
    ----------
    ledger : Ledger
        An open ledger.
    session : str
        Which session.
    slot : Slot
        The line of the reading.
    nth : int
        How many lines there are of its meter, band and path.
    by : By
        On whose word.

    Raises
    ------
    InputError
        If nothing stands on the line.
    """
    if slot.kept is None or not slot.kept.cells:
        raise InputError("reading", say("is not there any more"), cure=say("Load the page again."))
    told = {name: cell for name, cell in slot.kept.cells.items() if name != "step"}
    line = slot_id(*_place(told), nth)
    add_reading(ledger, session, told | {"note": LOOKED_AT}, token=f"{TOKEN}:{line}:0", by=by)


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
    raise InputError("reading", say("was withdrawn here too often"), cure=say("Add a line of its own for it."))


def _fresh(slot: Slot) -> Slot:
    return Slot(slot.id, slot.meter, slot.frequency, slot.path, slot.label)


def _called(ledger: Ledger, session: str, token: str) -> KeptReading | None:
    """Return how the reading that was sent under a token stands now."""
    return next((t.standing for t in trails(kept_now(ledger).rows(session)) if t.token == token), None)


def _clash(slot: Slot, mine: str, theirs: KeptReading) -> Clash | None:
    now = Slot(slot.id, slot.meter, slot.frequency, slot.path, slot.label, theirs if theirs.cells else None)
    if now.typed == mine:
        return None
    was = f"{theirs.number}.{theirs.version}.0"
    name = f"{slot.meter}, {slot.frequency}, {slot.label}"
    return Clash(slot.id, name, mine, now.typed, was)
