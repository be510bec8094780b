"""The line drawn as it lies: a band from radio to antenna, as wide as the power still on its way.

Shapes stand in a box of 1000 by 100 that is stretched to the paper; words stand beside it in per cent of the width, so
they keep their size on a phone. Where parts lie and what power is left on the way is that of the charts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain, pairwise

from linewright.core.formatting import frequency, plain
from linewright.core.nouns.plan import BandFinding, PartFinding
from linewright.present.charts.flow import Left, edges, left_along, returned
from linewright.present.compose.plan_words import watts

WIDE, DEEP = 1000.0, 100.0
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
class DrawnRow:
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
class RunDrawing:
    """The whole drawing; ``left_out`` counts frequencies that are not drawn."""

    places: tuple[Place, ...]
    rows: tuple[DrawnRow, ...]
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


def draw(bands: Sequence[BandFinding], before: Sequence[BandFinding] = ()) -> RunDrawing:
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
    parts = shown[0].parts if shown else ()
    places = edges(parts)
    room = TALL_PX if len(shown) < 3 else LOW_PX
    rows = tuple(_row(x, places, most, HEAD_PX + i * room, then.get(x.frequency_hz)) for i, x in enumerate(shown))
    return RunDrawing(
        _places(parts, places), rows, HEAD_PX + room * len(rows), room - ABOVE_PX - BELOW_PX, len(bands) - len(shown)
    )


def _places(parts: Sequence[PartFinding], ends: Sequence[float]) -> tuple[Place, ...]:
    found = []
    for i, (part, (a, b)) in enumerate(zip(parts, pairwise(ends), strict=False), start=1):
        room = int((b - a) * WIDE / LETTER) - 2
        short = part.name if len(part.name) <= room else f"{part.name[: room - 1].rstrip()}…" if room > 7 else ""
        left, width = round(100 * a, 2), round(100 * (b - a), 2)
        found.append(Place(i, part.name, left, width, round(left + width / 2, 2), short))
    return tuple(found)


def _row(x: BandFinding, places: Sequence[float], most: float, y: int, before_w: float | None) -> DrawnRow:
    scale = DEEP / most
    left = left_along(x, places)
    along = list(chain.from_iterable(left))
    low, high = _line(along, [p.low_w for p in along], scale), _line(along, [p.high_w for p in along], scale)
    arrives, reach = watts(x)
    return DrawnRow(
        y, frequency(x.frequency_hz), f"{arrives} of {x.power_w:.4g} W {reach}".strip(),
        _closed(low), _between(low, high), _text(_middle(along, scale)), _heat(x, left, scale), _back(x, places),
        None if before_w is None or abs(before_w - x.power_at_antenna_w) < 5e-3 * x.power_w else scale * before_w,
        _notes(x, places, scale),
    )  # fmt: skip


def _line(along: Sequence[Left], watts_left: Sequence[float], scale: float) -> list[tuple[float, float]]:
    return [(WIDE * p.place, min(DEEP, scale * power)) for p, power in zip(along, watts_left, strict=True)]


def _middle(along: Sequence[Left], scale: float) -> list[tuple[float, float]]:
    return _line(along, [p.power_w for p in along], scale)


def _heat(x: BandFinding, left: Sequence[Sequence[Left]], scale: float) -> tuple[str, ...]:
    """Return what each part turns to heat: between what is left of the power and what came in."""
    return tuple(
        _text([*_middle(own, scale), (WIDE * own[-1].place, min(DEEP, scale * part.power_in_w))])
        for part, own in zip(x.parts, left, strict=False)
    )


def _back(x: BandFinding, places: Sequence[float]) -> str:
    """Return the wave that comes back, as wide as its share of the wave that goes out; it stands on its foot."""
    points = [(WIDE * place, DEEP * (1.0 - back)) for place, back in zip(places, returned(x), strict=True)]
    return _text([*points, (WIDE, DEEP), (0.0, DEEP)])


def _notes(x: BandFinding, places: Sequence[float], scale: float) -> tuple[Note, ...]:
    found = []
    for part, (a, b) in zip(x.parts, pairwise(places), strict=False):
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
