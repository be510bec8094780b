"""Readings to observations in decibels. A block is one meter at one frequency; equal codes of a path are merged."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from math import inf, isfinite, log, log10

import numpy as np

from linewright.core.arrays import median
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.bench import BenchSheet, KnownBottom, Meter, Reading
from linewright.core.nouns.line import LineType

# From a meter's own scale to decibels and back

DB_PER_RELATIVE = 10.0 / log(10.0)
"""4.343: decibels of a small relative change of power."""


def _card_logs(meter: Meter) -> tuple[np.ndarray, np.ndarray]:
    points = [(np.log(s), np.log(p)) for s, p in meter.card if s > 0 and p > 0]
    scale, power = (np.array(column) for column in zip(*points, strict=True)) if points else (np.zeros(1), np.zeros(1))
    return scale, power


def _follow(x: float, along: np.ndarray, up: np.ndarray) -> float:
    """Interpolate straight between points, and carry the end slopes on beyond them."""
    if len(along) == 1:
        return float(up[0] + x - along[0])
    i = int(np.clip(np.searchsorted(along, x) - 1, 0, len(along) - 2))
    return float(up[i] + (x - along[i]) * (up[i + 1] - up[i]) / (along[i + 1] - along[i]))


def level_db(meter: Meter, value: float) -> float:
    """Return what the meter shows as a level in dB (dBW for a scale of power); minus infinity for nothing at all.

    A conversion card is followed straight on log-log paper between its points, which is exact wherever the scale is a
    power law of the power, as detectors are piecewise.

    >>> round(level_db(Meter("m", "card", card=((0, 0), (50, 3.2), (100, 12.8))), 25), 4)  # 0.8 W
    -0.9691
    """
    if meter.scale == "loss":
        return -value
    if meter.scale in ("dBm", "dB"):
        return value - (30.0 if meter.scale == "dBm" else 0.0)
    if value <= 0:
        return -inf
    if meter.scale == "card":
        return float(DB_PER_RELATIVE * _follow(float(np.log(value)), *_card_logs(meter)))
    if meter.scale == "volts":
        return 20.0 * log10(value)
    return 10.0 * log10(value) - (30.0 if meter.scale == "milliwatts" else 0.0)


def shown(meter: Meter, level: float) -> float:
    """Return what the meter shows at a level in dB: the inverse of ``level_db``.

    >>> round(shown(Meter("m", "milliwatts"), -3.0103), 1)
    500.0
    """
    if meter.scale == "loss":
        return -level
    if meter.scale in ("dBm", "dB"):
        return level + (30.0 if meter.scale == "dBm" else 0.0)
    if meter.scale == "card":
        scale, power = _card_logs(meter)
        return float(np.exp(_follow(level / DB_PER_RELATIVE, power, scale)))
    if meter.scale == "volts":
        return float(10.0 ** (level / 20.0))
    return float(10.0 ** ((level + (30.0 if meter.scale == "milliwatts" else 0.0)) / 10.0))


def _decimals(value: float) -> int:
    text = f"{value:.6f}".rstrip("0")
    return len(text.split(".")[1]) if "." in text else 0


def guessed_division(readings: list[Reading]) -> float:
    """Return the finest step a meter's readings are written in: the division when nobody stated one."""
    finite = [r.reading for r in readings if isfinite(r.reading)]
    return float(10.0 ** -min(3, max((_decimals(v) for v in finite), default=0)))


def span(reading: Reading, division: float) -> tuple[float, float]:
    """Return the interval, in the meter's own scale, that the reading stands for."""
    low = reading.low if reading.low is not None else reading.reading - division / 2
    high = reading.high if reading.high is not None else reading.reading + division / 2
    return low, high


# Readings to observations in decibels. A block is one meter at one frequency; equal codes of a path are merged

Path = tuple[str, ...]
BESIDE = mark("SWR beside the power")
"""The method of losses told by an SWR that was read beside the power, through the reference and through a piece."""
DEAD_DIVISION = 0.5
"""How much wider a reading at the bottom of the scale is taken to be: detectors and pointers wake up late."""
STUCK = 4.0
"""A meter is stuck when it shows one value where the cables in line should have moved it this many steps."""
FARTHEST_DB = 60.0
"""A reading further than this from the middle of its block is written down wrong; how far off it is tells nothing."""
LONGEST_WAIT = 4.0
"""Rows of other blocks that lie between two readings of one block count as steps of time, up to this many."""


@dataclass(slots=True)
class Observation:
    """Readings of one path in one block that showed the same code.

    ``level_db`` is what was shown; ``middle_db`` the middle, in dB, of the interval the code stands for: on a coarse
    scale that lies lower, since the interval reaches further down than up.
    ``unsure_db`` is how unsure the bottom of the scale is beyond what any meter's is.
    """

    path: Path
    level_db: float
    middle_db: float
    width_db: float
    upper_db: float
    time: float
    rows: list[int]
    swr: float | None
    zero_effect_db: float
    code: float
    bottom: bool = False
    unsure_db: float = 0.0


@dataclass(slots=True)
class Block:
    """One meter at one frequency. ``dead`` says why nothing can be learned from it, empty if something can."""

    meter: Meter
    frequency_hz: float
    observations: list[Observation] = field(default_factory=list)
    dead: str = ""

    @property
    def in_band(self) -> bool:
        """Whether the meter is used where it was rated; a meter of no stated band is not trusted to be."""
        return bool(self.meter.in_rated_band(self.frequency_hz))

    @property
    def direct(self) -> bool:
        """Whether it tells losses by itself, as a test from one end does: no reference, no detector to bend."""
        return self.meter.scale == "loss"

    @property
    def name(self) -> str:
        """Its meter's name; that of a test from one end is a method, which every language has a word for."""
        return say(self.meter.name) if self.direct else self.meter.name

    @property
    def references(self) -> list[Observation]:
        """The reference readings."""
        return [o for o in self.observations if not o.path]


def _observe(
    meter: Meter, reading: Reading, division: float, index: int, time: float, wakes: KnownBottom | None = None
) -> Observation:
    low, high = span(reading, division)
    if meter.scale in ("dBm", "dB", "loss"):
        shown = level_db(meter, reading.reading)
        return Observation(
            reading.path,
            shown,
            (level_db(meter, low) + level_db(meter, high)) / 2,
            high - low,
            inf,
            time,
            [index],
            reading.swr,
            0.0,
            reading.reading,
        )
    lower = level_db(meter, low)
    bottom = reading.reading <= 0 or not isfinite(lower)
    if bottom and reading.high is None:
        high += division * DEAD_DIVISION
    upper = level_db(meter, high)
    shown = level_db(meter, reading.reading)
    if bottom:
        unsure = wakes.sd_db if wakes is not None and reading.high is None else 0.0
        upper = wakes.level_db if wakes is not None and reading.high is None else upper
        return Observation(
            reading.path, shown, upper, inf, upper, time, [index], reading.swr, 0.0, reading.reading, True, unsure
        )
    slope = (upper - shown) / max((high - reading.reading) / reading.reading, 1e-9)
    effect = min(slope, 2.5 * DB_PER_RELATIVE) * division / reading.reading
    return Observation(
        reading.path,
        shown,
        (lower + upper) / 2,
        upper - lower,
        upper,
        time,
        [index],
        reading.swr,
        effect,
        reading.reading,
    )


def _merge(observations: list[Observation]) -> list[Observation]:
    """Merge equal codes of one path: repeating a coarse reading does not sharpen it."""
    merged: dict[tuple[object, ...], Observation] = {}
    for o in observations:
        key = (o.path, o.code, o.width_db, o.upper_db, o.swr)
        if key not in merged:
            merged[key] = o
            continue
        held = merged[key]
        n = len(held.rows)
        held.time = (held.time * n + o.time) / (n + 1)
        held.rows = held.rows + o.rows
    return list(merged.values())


TOO_MUCH_DB = 30.0
"""A reference further above the stated power than this is another unit or a slip: nothing can be held against it."""


def _should_move_db(sheet: BenchSheet, block: Block) -> float:
    """Return the largest loss that the claimed types put in line, dB."""
    new = {p.tag: p.length_m * float(p.line.law.db_per_m(block.frequency_hz)) if p.line else 0.0 for p in sheet.pieces}
    return max(sum(new.get(tag, 0.0) for tag in o.path) for o in block.observations)


def _why_dead(sheet: BenchSheet, block: Block) -> str:
    shown = [o for o in block.observations if not o.bottom]
    if not shown:
        return say("it shows nothing at all here")
    if block.references and all(o.bottom for o in block.references):
        return say("it shows nothing even through the reference")
    if block.meter.scale in ("watts", "milliwatts", "dBm") and sheet.source.power_w and block.references:
        given = 10.0 * log10(sheet.source.power_w)
        if min(o.level_db for o in block.references) > given + TOO_MUCH_DB:
            return say("it shows far more power than the source gives")
    codes, paths = {o.code for o in block.observations}, {o.path for o in block.observations}
    step = max(o.width_db for o in shown)
    if len(paths) >= 3 and len(codes) == 1 and _should_move_db(sheet, block) > STUCK * step:
        return say("it shows the same, whatever is in line")
    return ""


def _times(readings: list[tuple[int, Reading]]) -> list[float]:
    """Return the time of each reading in steps: as given, or else its position in the sheet."""
    times, now, last = [], 0.0, None
    for index, reading in readings:
        now += 0.0 if last is None else min(float(index - last), LONGEST_WAIT)
        last = index
        times.append(now if reading.step is None else float(reading.step))
    return times


def _within_reach(block: Block) -> None:
    """Bring readings that no path can have caused nearer, so that one of them does not drown the rest."""
    shown = [o for o in block.observations if not o.bottom]
    if block.direct or not shown:
        return
    middle = float(median([o.level_db for o in shown]))
    for o in shown:
        o.middle_db = min(max(o.middle_db, middle - FARTHEST_DB), middle + FARTHEST_DB)


def blocks_of(sheet: BenchSheet) -> list[Block]:
    """Return the sheet's blocks in the order they first appear, dead ones among them."""
    grouped: dict[tuple[str, float], list[tuple[int, Reading]]] = defaultdict(list)
    for index, reading in enumerate(sheet.readings):
        grouped[reading.meter, reading.frequency_hz].append((index, reading))
    written: dict[str, list[Reading]] = defaultdict(list)
    for reading in sheet.readings:
        written[reading.meter].append(reading)
    divisions = {
        m.name: m.division if m.division is not None else guessed_division(written[m.name]) for m in sheet.meters
    }
    blocks = []
    meters = {m.name: m for m in sheet.meters}
    for (name, frequency_hz), readings in grouped.items():
        block = Block(meters[name], float(frequency_hz))
        wakes = next((k for k in sheet.known_bottoms if k.meter == name and k.covers(frequency_hz)), None)
        seen = [
            _observe(block.meter, reading, divisions[name], index, time, wakes)
            for (index, reading), time in zip(readings, _times(readings), strict=True)
        ]
        block.observations = _merge(seen)
        _within_reach(block)
        block.dead = _why_dead(sheet, block)
        blocks.append(block)
    return blocks


def rising(block: Block) -> list[tuple[Path, float]]:
    """Return the paths through which the meter shows more than through the reference, and by how much (dB)."""
    if not block.references or block.dead:
        return []
    base = float(np.mean([o.level_db for o in block.references if not o.bottom]))
    room = max(o.width_db for o in block.references if not o.bottom)
    paths = {o.path: o for o in block.observations if o.path and not o.bottom}
    return [(p, o.level_db - base) for p, o in paths.items() if o.level_db - base > 0.15 + (room + o.width_db) / 2]


# Pieces of one stock are one cable: a piece of unknown type takes the type its stock is known by


def typed_by_stock(sheet: BenchSheet) -> tuple[BenchSheet, tuple[str, ...]]:
    """Return the sheet with types filled in from the stocks, and what should be said of it."""
    known: dict[str, dict[str, LineType]] = {}
    for p in sheet.pieces:
        if p.line is not None:
            known.setdefault(p.stock_name, {})[p.line.designator] = p.line
    said = [
        say_many(
            "The pieces of {stock} are stated as {count} type ({types}), but one stock is one cable: check the "
            "printing or the stock.",
            "The pieces of {stock} are stated as {count} types ({types}), but one stock is one cable: check the "
            "printing or the stock.",
            len(types),
            stock=stock,
            types=together(types, ", "),
        )
        for stock, types in known.items()
        if len(types) > 1
    ]
    pieces = []
    for p in sheet.pieces:
        types = known.get(p.stock_name, {})
        if p.line is None and len(types) == 1:
            line = next(iter(types.values()))
            said.append(
                say("{piece} is taken to be {line}, like the rest of {stock}.",
                    piece=p.tag, line=line.designator, stock=p.stock_name)
            )  # fmt: skip
            pieces.append(replace(p, line=line))
        else:
            pieces.append(p)
    return replace(sheet, pieces=tuple(pieces)), tuple(said)
