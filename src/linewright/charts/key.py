"""The key of a chart, drawn as a strip of its own so that it wraps on a narrow page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from linewright.charts.parts import LETTER_PX, layer, wrapped
from linewright.charts.theme import Spec, shape_of
from linewright.charts.told import told
from linewright.units.said import say

SAMPLE_PX: Final = 30
LINE_PX: Final = 20
MORE_PX: Final = 13
"""From one line of an entry's words to the next."""
WORDS_PX: Final = 7
"""From a sample to its words."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One mark of a sample: a span along it, a band, an upright bar or a point; ``up`` and ``down`` in pixels."""

    kind: Literal["span", "band", "bar", "point"]
    style: str
    up: float = 0.0
    down: float = 0.0
    shape: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a key: what is drawn, and its words."""

    words: str
    samples: tuple[Sample, ...]


@dataclass(frozen=True, slots=True)
class _Placed:
    """An entry with the place of its sample, and its words broken to the room they have."""

    entry: Entry
    x: float
    y: float
    lines: list[str]


def _placed(entries: Sequence[Entry], width_px: float) -> tuple[list[_Placed], float]:
    """Return the entries in as many even columns as the longest of them allows, and the height they take."""
    room = SAMPLE_PX + 20 + LETTER_PX * max(len(told(entry.words)) for entry in entries)
    columns = max(1, int(width_px // room))
    each = -(-len(entries) // columns)
    placed, high = [], 0.0
    for first in range(0, len(entries), each):
        y = 0.0
        for entry in entries[first : first + each]:
            lines = wrapped(entry.words, width_px / columns - SAMPLE_PX - WORDS_PX)
            placed.append(_Placed(entry, (first // each) * width_px / columns, y + LINE_PX / 2, lines))
            y += LINE_PX + MORE_PX * (len(lines) - 1)
        high = max(high, y)
    return placed, high


def _scaled(field: str, end: float, *, down: bool = False) -> Spec:
    domain = [end, 0] if down else [0, end]
    return {"field": field, "type": "quantitative", "axis": None, "scale": {"domain": domain, "nice": False}}


def _drawn(sample: Sample, at: tuple[float, float], width_px: float, height_px: float) -> Spec:
    x, y = at
    middle = x + SAMPLE_PX / 2
    row: dict[str, Any] = {"x": x, "x2": x + SAMPLE_PX, "y": y - sample.up, "y2": y + sample.down}
    across, along = _scaled("x", width_px), _scaled("y", height_px, down=True)
    if sample.kind in ("bar", "point"):
        row |= {"x": middle}
    encoding: Spec = {"x": across, "y": along}
    if sample.kind in ("span", "band"):
        encoding["x2"] = {"field": "x2"}
    if sample.kind in ("bar", "band"):
        encoding["y2"] = {"field": "y2"}
    mark = {"span": "rule", "bar": "rule", "band": "rect", "point": "point"}[sample.kind]
    return layer(mark, sample.style, [row], encoding, **({"shape": sample.shape} if sample.shape else {}))


def key(entries: Sequence[Entry], width_px: float) -> Spec:
    """Return the key as a view of its own, as wide as the figure and as high as its words need."""
    placed, height = _placed(entries, width_px)
    samples = [_drawn(sample, (at.x, at.y), width_px, height) for at in placed for sample in at.entry.samples]
    words = [
        {"x": at.x + SAMPLE_PX, "y": at.y + i * MORE_PX, "words": line}
        for at in placed
        for i, line in enumerate(at.lines)
    ]
    text = {"x": _scaled("x", width_px), "y": _scaled("y", height, down=True), "text": {"field": "words"}}
    said = layer("text", "small", words, text, align="left", baseline="middle", dx=WORDS_PX)
    return {"width": width_px, "height": height, "layer": [*samples, said]}


def loss_key(meters: Sequence[str], width_px: float) -> Spec:
    """Return the key of the loss chart."""
    hands = [
        Entry(
            say("by hand, {meter}", meter=m),
            (Sample("bar", "hand-bar", 7, 7), Sample("point", "hand-point", shape=shape_of(i))),
        )
        for i, m in enumerate(meters)
    ]
    doubted = Entry(
        say("hollow: reading or meter doubted"), (Sample("bar", "doubt-bar", 7, 7), Sample("point", "doubt-point"))
    )
    believed = (Sample("band", "belief-band", 6, 6), Sample("span", "belief-line"), Sample("point", "belief-mark"))
    edges = (Sample("span", "spec-line"), Sample("span", "spec-edge", up=5), Sample("span", "spec-edge", up=-5))
    return key(
        [
            Entry(say("believed, with 95 % ribbon"), believed),
            Entry(say("as the type specifies, with its spread"), edges),
            Entry(say("the most a use can bear"), (Sample("span", "limit-rule"),)),
            *hands,
            *([doubted] if meters else []),
        ],
        width_px,
    )
