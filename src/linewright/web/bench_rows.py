"""A reading sheet in the order that controls drift: reference, pieces, reference again; per meter and frequency."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from linewright.model.bench import BenchSheet, Meter
from linewright.model.ledger import KeptReading
from linewright.model.scale import SCALE_UNIT
from linewright.units.quantities import frequency_hz
from linewright.units.writing import frequency
from linewright.workflows.reading_order import paths_to_read

REFERENCE = "reference"
TOKEN = "sheet"
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
        """Return it as the note that keeps it.

        >>> Plan(("14.2 MHz", "50.1 MHz"), ("blue 7+blue 18",)).text()
        'To read: 14.2 MHz, 50.1 MHz; through blue 7+blue 18'
        """
        through = f"; through {', '.join(self.joined)}" if self.joined else ""
        return f"To read: {', '.join(self.frequencies)}{through}"


def plan_in(notes: Sequence[str]) -> Plan:
    """Return the newest plan among notes, oldest first.

    >>> plan_in(["windy", "To read: 14.2 MHz; through blue 7+blue 18"])
    Plan(frequencies=('14.2 MHz',), joined=('blue 7+blue 18',))
    """
    said = [n.removeprefix("To read:") for n in notes if n.startswith("To read:")]
    if not said:
        return Plan()
    frequencies, _, joined = said[-1].partition("; through ")
    return Plan(listed(frequencies), listed(joined))


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
class Band:
    """All meters on one band."""

    frequency_hz: float
    frequency: str
    brackets: tuple[Bracket, ...]


def bands_of(
    sheet: BenchSheet, plan: Plan, rows: Sequence[KeptReading], also: Sequence[Place] = ()
) -> tuple[Band, ...]:
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
        found.append(Band(hertz, text, brackets))
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
