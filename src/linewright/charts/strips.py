"""Strips: rows of points with intervals, each row with its name at the left and its words at the right.

Everything lies inside the view, so nothing is cut off on a narrow page. Places down the page are in pixels.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor, log10
from typing import Any, Final

from linewright.charts.parts import LETTER_PX, layer, wrapped
from linewright.charts.theme import Spec
from linewright.charts.told import length_unit, metres_per_unit, told
from linewright.units.said import say

Rows = list[dict[str, Any]]

GAP_PX: Final = 34
"""Between two panels that stand side by side."""
TWO_COLUMNS_PX: Final = 520
"""From this width on panels stand two abreast."""
TICKS: Final = (0.25, 0.33, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 4.0)


def columns_in(width_px: int, panels: int, least_px: float = 0.0) -> tuple[int, int]:
    """Return how many panels stand abreast in a figure, none narrower than ``least_px``, and how wide each is.

    >>> columns_in(660, 3), columns_in(360, 3), columns_in(660, 3, least_px=310)
    ((2, 303), (1, 340), (1, 640))
    """
    abreast = width_px >= max(TWO_COLUMNS_PX, 20 + GAP_PX + 2 * least_px)
    columns = 2 if abreast and panels > 1 else 1
    return columns, int((width_px - 20 - GAP_PX * (columns - 1)) / columns)


def ratio_ticks(low: float, high: float) -> list[float]:
    """Return round multiples between two ratios, the same distance apart on either side of 1."""
    return [tick for tick in TICKS if low <= tick <= high]


def even_ticks(low: float, high: float) -> list[float]:
    """Return a handful of round values between two bounds, zero among them when they surround it."""
    rough = (high - low) / 4
    power = 10.0 ** floor(log10(rough))
    step = next(s for s in (power, 2 * power, 5 * power, 10 * power) if s >= rough)
    return [round(i * step, 10) for i in range(ceil(low / step), floor(high / step) + 1)]


def length_axis(low_m: float, high_m: float, ticks: int) -> Spec:
    """Return an axis of lengths that are given in metres, marked in the unit of the chart being laid out."""
    unit_m = metres_per_unit()
    if unit_m == 1.0:
        return {"title": length_unit(), "tickCount": ticks}
    values = [tick * unit_m for tick in even_ticks(low_m / unit_m, high_m / unit_m)]
    return {"title": length_unit(), "values": values, "labelExpr": length_labels()}


def length_labels() -> str:
    """Return the expression that labels an axis of metres in the unit of the chart being laid out."""
    return f"format(round(1e6 * datum.value / {metres_per_unit():.17g}) / 1e6, '~r')"


def across(
    field: str, domain: tuple[float, float], room: tuple[float, float], axis: Spec, *, log: bool = False
) -> Spec:
    """Return the horizontal scale of a strip: values of ``domain`` between two pixel places."""
    scale: Spec = {"domain": list(domain), "range": list(room), "nice": False}
    scale |= {"type": "log"} if log else {"zero": False}
    plain: Spec = {"tickSize": 4, "titleAnchor": "end", "labelOverlap": "greedy", "labelFlush": False, **axis}
    return {"field": field, "type": "quantitative", "scale": scale, "axis": plain}


def down(height_px: float, field: str = "y_px") -> Spec:
    """Return the vertical scale of a strip: pixels from the top."""
    return {"field": field, "type": "quantitative", "axis": None, "scale": {"domain": [height_px, 0], "nice": False}}


def whiskers(style: str, rows: Iterable[dict[str, Any]], x: Spec, y: Spec) -> Spec:
    """Return the intervals of some rows as bars from ``low`` to ``high``."""
    return layer("rule", style, rows, {"x": {**x, "field": "low"}, "x2": {"field": "high"}, "y": y})


def points(style: str, rows: Iterable[dict[str, Any]], x: Spec, y: Spec, **mark: object) -> Spec:
    """Return the middles of some rows; ``said`` shows when one is pointed at."""
    tip = [{"field": "name", "title": say("at")}, {"field": "said", "title": say("says")}]
    return layer("point", style, rows, {"x": {**x, "field": "middle"}, "y": y, "tooltip": tip}, **mark)


def upright(style: str, value: float, x: Spec, height_px: float) -> Spec:
    """Return an upright rule at a value, the whole height of the strip."""
    ends = {"y": {"value": 0}, "y2": {"value": height_px}}
    return layer("rule", style, [{"at": value}], {"x": {**x, "field": "at"}, **ends})


def words(style: str, rows: Iterable[dict[str, Any]], field: str, x_px: float, y: Spec, *, right: bool = False) -> Spec:
    """Return a text of each row, from ``x_px`` on or, when ``right``, up to it."""
    place = {"x": {"value": x_px}, "y": y, "text": {"field": field}}
    return layer("text", style, rows, place, align="right" if right else "left", baseline="middle")


def room_for(texts: Iterable[str], least_px: float = 0.0) -> float:
    """Return the room at the right of a strip that its words take, their distance from the scale included."""
    return max(least_px, 16 + LETTER_PX * max((len(told(text)) for text in texts), default=0))


def clipped(low: float, high: float, domain: tuple[float, float]) -> tuple[float, float]:
    """Return an interval cut to what is drawn."""
    return min(max(low, domain[0]), domain[1]), max(min(high, domain[1]), domain[0])


def headed(title: str, subtitle: str, width_px: float) -> Spec:
    """Return a panel's title, broken to fit its width."""
    return {"text": wrapped(title, width_px, letter_px=7.6), "subtitle": wrapped(subtitle, width_px, most=2)}
