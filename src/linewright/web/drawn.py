"""The line drawn as it lies: a band from radio to antenna, as wide as the power still on its way.

Shapes stand in a box of 1000 by 100 that is stretched to the paper; words stand beside it in per cent of the width, so
they keep their size on a phone. Between the ends the interval grows as those of the parts do (root of the sum of
squares, in dB), scaled so that at the antenna it is the plan's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from linewright.model.plan import BandFinding, PartFinding
from linewright.report.plan_words import watts
from linewright.units.writing import frequency, plain

WIDE, DEEP = 1000.0, 100.0
LEAST_SHARE = 0.075
"""No part is narrower: a finger finds it on a phone."""
STEPS = 8
NOTED_DB = 0.3
"""A loss from here on has its decibels written at the band."""
LETTER = 9.0
"""Room a letter of a name takes, of the box's width."""
HEAD_PX, TALL_PX, LOW_PX = 40, 150, 116
"""Room for the names of parts; for a row where there are one or two; where there are more."""
ABOVE_PX, BELOW_PX = 34, 14
"""Room in a row over the band (words, what comes back) and under it."""
MOST_ROWS = 8


@dataclass(frozen=True, slots=True)
class Place:
    """Where a part lies along the drawing, in per cent of its width, and what is written over it."""

    number: int
    name: str
    left: float
    width: float
    middle: float
    short: str


@dataclass(frozen=True, slots=True)
class Note:
    """Decibels written on a part, at ``y`` per cent of the band's height; ``roomy``: they have room on a phone too."""

    x: float
    y: int
    words: str
    roomy: bool


@dataclass(frozen=True, slots=True)
class Row:
    """One frequency: its words, and its shapes as points of polygons."""

    y: int
    frequency: str
    arrives: str
    sure: str
    perhaps: str
    edge: str
    heat: tuple[str, ...]
    back: str
    before_y: float | None
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """The whole drawing; ``left_out`` counts frequencies that are not drawn."""

    places: tuple[Place, ...]
    rows: tuple[Row, ...]
    height: int
    band_height: int
    left_out: int


@dataclass(frozen=True, slots=True)
class Bar:
    """An interval drawn beside its figure, in per cent of the room it has."""

    low: float
    width: float
    value: float


def bar(value: float, low: float, high: float, top: float) -> Bar:
    """Return an interval as a bar on a scale from zero to ``top``.

    >>> bar(50.0, 25.0, 75.0, 100.0)
    Bar(low=25.0, width=50.0, value=50.0)
    """
    scale = 100.0 / top if top > 0 else 0.0
    ends = [round(min(100.0, max(0.0, scale * end)), 2) for end in (low, high)]
    return Bar(ends[0], round(max(1.0, ends[1] - ends[0]), 2), round(min(100.0, scale * value), 2))


def draw(bands: Sequence[BandFinding], before: Sequence[BandFinding] = ()) -> Drawn:
    """Return the drawing of a run, a band a frequency, all on one scale of watts.

    Parameters
    ----------
    bands : sequence of BandFinding
        The run as planned.
    before : sequence of BandFinding
        The run without its changes; what arrived then is marked at the antenna's end.
    """
    gravest = sorted(range(len(bands)), key=lambda i: -bands[i].total_loss_db)[:MOST_ROWS]
    shown = [bands[i] for i in sorted(gravest)]
    then = {x.frequency_hz: x.power_at_antenna_w for x in before}
    most = max([x.power_w for x in (*shown, *before)], default=1.0)
    edges = _edges(shown[0].parts if shown else ())
    room = TALL_PX if len(shown) < 3 else LOW_PX
    rows = tuple(_row(x, edges, most, HEAD_PX + i * room, then.get(x.frequency_hz)) for i, x in enumerate(shown))
    places = _places(shown[0].parts if shown else (), edges)
    return Drawn(places, rows, HEAD_PX + room * len(rows), room - ABOVE_PX - BELOW_PX, len(bands) - len(shown))


def _edges(parts: Sequence[PartFinding]) -> list[float]:
    """Return where parts begin and end, 0 to 1: lines as long as they are, other parts as narrow as may be."""
    if not parts:
        return [0.0, 1.0]
    least = min(LEAST_SHARE, 0.9 / len(parts))
    lengths = [p.length_m or 0.0 for p in parts]
    free = 1.0 - least * len(parts)
    whole = sum(lengths)
    shares = [least + free * (x / whole if whole else 1.0 / len(parts)) for x in lengths]
    out = [0.0]
    for share in shares:
        out.append(out[-1] + share)
    return [*out[:-1], 1.0]


def _places(parts: Sequence[PartFinding], edges: Sequence[float]) -> tuple[Place, ...]:
    found = []
    for i, (part, (a, b)) in enumerate(zip(parts, pairwise(edges), strict=False), start=1):
        room = int((b - a) * WIDE / LETTER) - 2
        short = part.name if len(part.name) <= room else f"{part.name[: room - 1].rstrip()}…" if room > 7 else ""
        left, width = round(100 * a, 2), round(100 * (b - a), 2)
        found.append(Place(i, part.name, left, width, round(left + width / 2, 2), short))
    return tuple(found)


def _row(x: BandFinding, edges: Sequence[float], most: float, y: int, before_w: float | None) -> Row:
    scale = DEEP / most
    along = _along(x, edges)
    low = _line(along, 1, scale)
    high, middle = _line(along, 2, scale), _line(along, 0, scale)
    arrives, reach = watts(x)
    return Row(
        y, frequency(x.frequency_hz), f"{arrives} of {x.power_w:.4g} W {reach}".strip(),
        _closed(low), _between(low, high), _text(middle), _heat(x, edges, scale), _back(x, edges),
        None if before_w is None or abs(before_w - x.power_at_antenna_w) < 5e-3 * x.power_w else scale * before_w,
        _notes(x, edges, scale),
    )  # fmt: skip


def _along(x: BandFinding, edges: Sequence[float]) -> list[tuple[float, float, float, float]]:
    """Return (place, power, least, most) along the run: within a part power falls by equal decibels."""
    reach = _reach(x)
    out = []
    for i, part in enumerate(x.parts):
        a, b = edges[i], edges[i + 1]
        for step in range(STEPS + 1):
            t = step / STEPS
            power = part.power_in_w * (part.power_out_w / part.power_in_w) ** t if part.power_in_w > 0 else 0.0
            down, up = (r0 + t * (r1 - r0) for r0, r1 in zip(reach[i], reach[i + 1], strict=True))
            out.append((a + t * (b - a), power, power * 10 ** (-down / 10), power * 10 ** (up / 10)))
    return out or [(0.0, x.power_w, x.power_w, x.power_w), (1.0, x.power_at_antenna_w, *_ends(x))]


def _ends(x: BandFinding) -> tuple[float, float]:
    return x.power_at_antenna_w_low, x.power_at_antenna_w_high


def _reach(x: BandFinding) -> list[tuple[float, float]]:
    """Return how far power may lie below and above at each joint, dB."""
    squares = [0.0]
    for part in x.parts:
        squares.append(squares[-1] + (part.loss_db_high - part.loss_db_low) ** 2)
    down = max(0.0, x.total_loss_db_high - x.total_loss_db)
    up = max(0.0, x.total_loss_db - x.total_loss_db_low)
    whole = squares[-1] or 1.0
    return [(down * (s / whole) ** 0.5, up * (s / whole) ** 0.5) for s in squares]


def _line(along: Sequence[tuple[float, float, float, float]], which: int, scale: float) -> list[tuple[float, float]]:
    return [(WIDE * place[0], min(DEEP, scale * place[1 + which])) for place in along]


def _heat(x: BandFinding, edges: Sequence[float], scale: float) -> tuple[str, ...]:
    """Return what each part turns to heat: between what is left of the power and what came in."""
    along = _along(x, edges)
    out = []
    for i, part in enumerate(x.parts):
        own = along[i * (STEPS + 1) : (i + 1) * (STEPS + 1)]
        foot = min(DEEP, scale * part.power_in_w)
        points = [*_line(own, 0, scale), (WIDE * edges[i + 1], foot)]
        out.append(_text(points))
    return tuple(out)


def _back(x: BandFinding, edges: Sequence[float]) -> str:
    """Return the wave that comes back, as wide as its share of the wave that goes out; it stands on its foot."""
    ends = [_returned(x.swr_at_antenna)] * (1 if x.parts else 2)
    seen = [_returned(part.swr_in or 1.0) for part in x.parts] + ends
    points = [(WIDE * place, DEEP * (1.0 - back)) for place, back in zip(edges, seen, strict=True)]
    return _text([*points, (WIDE, DEEP), (0.0, DEEP)])


def _returned(swr: float) -> float:
    """Return the share of a wave's power that an SWR sends back."""
    from linewright.physics.mismatch import reflection_from_swr

    return float(reflection_from_swr(max(1.0, swr)) ** 2)


def _notes(x: BandFinding, edges: Sequence[float], scale: float) -> tuple[Note, ...]:
    found = []
    for part, (a, b) in zip(x.parts, pairwise(edges), strict=False):
        if part.loss_db >= NOTED_DB:
            y = round(0.5 * min(DEEP, scale * part.power_out_w))
            found.append(Note(round(50 * (a + b), 2), y, f"{plain(part.loss_db, 1)} dB", b - a >= 0.15))
    return tuple(found)


def _closed(line: Sequence[tuple[float, float]]) -> str:
    return _text([*line, (WIDE, 0.0), (0.0, 0.0)])


def _between(low: Sequence[tuple[float, float]], high: Sequence[tuple[float, float]]) -> str:
    return _text([*low, *reversed(high)])


def _text(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.2f}" for x, y in points)
