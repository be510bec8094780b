"""Parts every chart is put together from: a frame, a layer, a key, text that fits."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextvars import ContextVar
from functools import wraps
from typing import Any, Final, Literal, ParamSpec

from linewright.core.formatting import digits
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, FEET_PER_METRE, Manner
from linewright.core.messages import say, written
from linewright.present.charts.theme import LIGHT, Palette, Spec, config, shape_of

# The manner a chart is written in: known while it is laid out, since words take the room they need

P = ParamSpec("P")

_MANNER: Final[ContextVar[Manner]] = ContextVar("manner of the chart being laid out", default=ENGLISH)


def in_manner(make: Callable[P, Spec]) -> Callable[P, Spec]:
    """Return a maker of charts that lays them out in the manner it is asked for by ``manner=``."""

    @wraps(make)
    def made(*args: P.args, **asked: P.kwargs) -> Spec:
        manner = asked.get("manner", ENGLISH)
        before = _MANNER.set(manner if isinstance(manner, Manner) else ENGLISH)
        try:
            return make(*args, **asked)
        finally:
            _MANNER.reset(before)

    return made


def told(text: str) -> str:
    """Return a text as the chart being laid out writes it, a plain string."""
    return str(written(text, _MANNER.get()))


def all_told(part: Any) -> Any:
    """Return a part of a specification with every text in it written."""
    if isinstance(part, dict):
        return {name: all_told(inner) for name, inner in part.items()}
    if isinstance(part, (list, tuple)):
        return [all_told(inner) for inner in part]
    return told(part) if isinstance(part, str) else part


def number_locale() -> Spec:
    """Return how the axes of the chart being laid out write numbers (a d3-format locale), as an entry of a config.

    >>> number_locale()
    {}
    """
    if _MANNER.get().decimal == ".":
        return {}
    return {"locale": {"number": {"decimal": ",", "thousands": "\u00a0", "grouping": [3], "currency": ["", ""]}}}


def metres_per_unit() -> float:
    """Return how many metres the unit has that lengths stand in."""
    return 1.0 if _MANNER.get().lengths == "m" else 1.0 / FEET_PER_METRE


def length_unit() -> str:
    """Return the sign of the unit that lengths stand in."""
    return _MANNER.get().lengths


# Parts every chart is put together from: a frame, a layer, a key, text that fits

SCHEMA: Final = "https://vega.github.io/schema/vega-lite/v6.json"
LETTER_PX: Final = 6.1
"""Mean advance of a letter at 11 px in the house font, rounded up."""

SCRIPT_NAMES: Final = frozenset({
    "constructor", "toString", "toLocaleString", "valueOf", "hasOwnProperty", "isPrototypeOf", "propertyIsEnumerable",
    "__proto__", "__defineGetter__", "__defineSetter__", "__lookupGetter__", "__lookupSetter__",
})  # fmt: skip
"""What every JavaScript object has. The converter takes such a constant for a signal and draws nothing."""

Row = Mapping[str, Any]


def framed(body: Spec, description: str, palette: Palette = LIGHT) -> Spec:
    """Return a whole specification: the schema, words for those who cannot see it, the look and the body."""
    look = config(palette) | number_locale()
    return {"$schema": SCHEMA, "description": told(description), "config": look, **all_told(body)}


def layer(mark: str, style: str, rows: Iterable[Row], encoding: Spec, **properties: object) -> Spec:
    """Return one layer: a mark in a named style over its own rows."""
    return {
        "data": {"values": [dict(row) for row in rows]},
        "mark": {"type": mark, "style": style, **properties},
        "encoding": encoding,
    }


def wrapped(text: str, width_px: float, letter_px: float = LETTER_PX, most: int = 3) -> list[str]:
    """Return a text broken into lines that fit a width; what does not fit in ``most`` lines ends in an ellipsis.

    >>> wrapped("the long grey one from the old mast", 100)
    ['the long grey', 'one from the old', 'mast']
    """
    lines = textwrap.wrap(
        _unbroken(told(text)),
        max(4, int(width_px / letter_px)),
        max_lines=most,
        placeholder="…",
        break_on_hyphens=False,
    )
    return [constant(line) for line in lines] or [""]


def constant(text: str) -> str:
    """Return a text as it may stand in a specification outside the data; a space at its end is not seen.

    >>> constant("blue 7"), constant("constructor")
    ('blue 7', 'constructor ')
    """
    return f"{text} " if text in SCRIPT_NAMES else text


def _unbroken(text: str) -> str:
    """Return a text whose short brackets, an interval say, are not broken over two lines."""
    return re.sub(r"\([^()]{1,24}\)", lambda found: found[0].replace(" ", "\u00a0"), text)


def bands(values: Iterable[float]) -> list[float]:
    """Return the different frequencies, rising."""
    return sorted(set(values))


def in_order(names: Iterable[str]) -> list[str]:
    """Return the different names in the order they first stand."""
    return list(dict.fromkeys(names))


def band_labels(frequencies_hz: Iterable[float]) -> dict[float, str]:
    """Return the label of each band on an axis: whole megahertz, as amateurs say, unless two labels would be the same.

    >>> band_labels([3.6e6, 14.2e6, 144.3e6])
    {3600000.0: '3.6', 14200000.0: '14', 144300000.0: '144'}
    >>> band_labels([144.1e6, 144.9e6])
    {144100000.0: '144.1', 144900000.0: '144.9'}
    """
    known = bands(frequencies_hz)
    short = {f: digits(int(f / 1e6)) if f >= 5e6 else digits(f / 1e6, 2) for f in known}
    alike = {f for f in known if sum(name == short[f] for name in short.values()) > 1}
    return {f: digits(f / 1e6, 7) if f in alike else short[f] for f in known}


def between(ends: Sequence[float], spaced: Iterable[float]) -> list[float]:
    """Return places along a line that are read well: its ends, and between them what is spaced there, in three digits.

    >>> between([1.84, 3.65], [1.84, 2.4431, 3.0467, 3.65])
    [1.84, 2.44, 3.05, 3.65]
    """
    low, high = (float(end) for end in ends)
    inner = {float(f"{x:.3g}") for x in spaced}
    return [low, *sorted(x for x in inner if low < x < high), high]


def looked_up(labels: Mapping[float, str]) -> str:
    """Return an axis label expression that reads a value's label off a table."""
    entries = ", ".join(f"'{value:.17g}': {quoted(label)}" for value, label in labels.items())
    return f"{{{entries}}}[format(datum.value, '.17~g')]" if entries else "''"


def quoted(text: str) -> str:
    """Return a text, written, as a literal of the expressions that label an axis."""
    return json.dumps(told(text), ensure_ascii=False)


def columns_of(panels: Sequence[Spec], columns: int, gap_px: int) -> Spec:
    """Return panels laid in columns by their plotting areas, so axes line up whatever their labels."""
    headed = max((len(panel["title"]["text"]) + len(panel["title"]["subtitle"]) for panel in panels), default=2)
    return {
        "concat": list(panels),
        "columns": columns,
        "align": "all",
        "bounds": "flush",
        "spacing": {"column": gap_px, "row": 72 + 15 * headed},
    }


# The key of a chart, drawn as a strip of its own so that it wraps on a narrow page

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
class KeyEntry:
    """One line of a key: what is drawn, and its words."""

    words: str
    samples: tuple[Sample, ...]


@dataclass(frozen=True, slots=True)
class _Placed:
    """An entry with the place of its sample, and its words broken to the room they have."""

    entry: KeyEntry
    x: float
    y: float
    lines: list[str]


def _placed(entries: Sequence[KeyEntry], width_px: float, abreast: int) -> tuple[list[_Placed], float]:
    """Return the entries in as many even columns as the longest of them allows, and the height they take.

    Of fewer columns than ``abreast`` there are so many, with their words broken.
    """
    room = SAMPLE_PX + 20 + LETTER_PX * max(len(told(entry.words)) for entry in entries)
    columns = max(1, abreast, int(width_px // room))
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


def key(entries: Sequence[KeyEntry], width_px: float, abreast: int = 1) -> Spec:
    """Return the key as a view of its own, as wide as the figure and as high as its words need."""
    placed, height = _placed(entries, width_px, abreast)
    samples = [_drawn(sample, (at.x, at.y), width_px, height) for at in placed for sample in at.entry.samples]
    words = [
        {"x": at.x + SAMPLE_PX, "y": at.y + i * MORE_PX, "words": line}
        for at in placed
        for i, line in enumerate(at.lines)
    ]
    text = {"x": _scaled("x", width_px), "y": _scaled("y", height, down=True), "text": {"field": "words"}}
    said = layer("text", "small", words, text, align="left", baseline="middle", dx=WORDS_PX)
    return {"width": width_px, "height": height, "layer": [*samples, said]}


def loss_key(meters: Sequence[str], width_px: float, abreast: int = 1) -> Spec:
    """Return the key of the loss chart."""
    hands = [
        KeyEntry(
            say("by hand, {meter}", meter=m),
            (Sample("bar", "hand-bar", 7, 7), Sample("point", "hand-point", shape=shape_of(i))),
        )
        for i, m in enumerate(meters)
    ]
    doubted = KeyEntry(
        say("hollow: reading or meter doubted"), (Sample("bar", "doubt-bar", 7, 7), Sample("point", "doubt-point"))
    )
    believed = (Sample("band", "belief-band", 6, 6), Sample("span", "belief-line"), Sample("point", "belief-mark"))
    edges = (Sample("span", "spec-line"), Sample("span", "spec-edge", up=5), Sample("span", "spec-edge", up=-5))
    return key(
        [
            KeyEntry(say("believed, with 95 % ribbon"), believed),
            KeyEntry(say("as the type specifies, with its spread"), edges),
            KeyEntry(say("the most a use can bear"), (Sample("span", "limit-rule"),)),
            *hands,
            *([doubted] if meters else []),
        ],
        width_px,
        abreast,
    )
