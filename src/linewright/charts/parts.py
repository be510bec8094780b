"""Parts every chart is put together from: a frame, a layer, a key, text that fits."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from linewright.charts.theme import LIGHT, Palette, Spec, config
from linewright.charts.told import all_told, number_locale, told
from linewright.units.writing import digits

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
    """Return how each band is named on an axis: whole megahertz as amateurs say them, unless two would read alike.

    >>> band_labels([3.6e6, 14.2e6, 144.3e6])
    {3600000.0: '3.6', 14200000.0: '14', 144300000.0: '144'}
    >>> band_labels([144.1e6, 144.9e6])
    {144100000.0: '144.1', 144900000.0: '144.9'}
    """
    known = bands(frequencies_hz)
    short = {f: digits(int(f / 1e6)) if f >= 5e6 else digits(f / 1e6, 2) for f in known}
    alike = {f for f in known if sum(name == short[f] for name in short.values()) > 1}
    return {f: digits(f / 1e6, 7) if f in alike else short[f] for f in known}


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
