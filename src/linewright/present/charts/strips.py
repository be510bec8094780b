"""Strips: rows of points with intervals, each row with its name at the left and its words at the right.

Everything lies inside the view, so nothing is cut off on a narrow page. Places down the page are in pixels.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from math import ceil, floor, log10
from typing import Any, Final

from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.present.charts.frame import LETTER_PX, layer, length_unit, metres_per_unit, told, wrapped
from linewright.present.charts.theme import Spec

# Strips: rows of points with intervals, each row with its name at the left and its words at the right

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


# An interval drawn beside its figure: a small bar on a scale that a whole table shares, as SVG text

WIDE, DEEP = 160.0, 18.0
LEAST = 2.0
"""No bar is shorter: an interval that is very narrow can still be seen."""


@dataclass(frozen=True, slots=True)
class Scale:
    """The values at the left and right end of every bar of a table."""

    low: float
    high: float

    def at(self, value: float) -> float:
        """Return where a value lies, kept within the drawing."""
        reach = (self.high - self.low) or 1.0
        return min(max((value - self.low) / reach, 0.0), 1.0) * (WIDE - 4.0) + 2.0


def scale_of(values: Iterable[float]) -> Scale:
    """Return a scale from 0 to a round number that holds every value.

    >>> scale_of([0.4, 3.7]), scale_of([])
    (Scale(low=0.0, high=4.0), Scale(low=0.0, high=1.0))
    """
    finite = [v for v in values if math.isfinite(v)]
    top, bottom = max(finite, default=0.0), min(finite, default=0.0)
    return Scale(-_round_up(-bottom) if bottom < 0 else 0.0, _round_up(top) if top > 0 else 1.0)


def _round_up(value: float) -> float:
    unit = 10.0 ** math.floor(math.log10(value))
    return next(m * unit for m in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if m * unit >= value * 0.999)


def bar(
    scale: Scale, low: float, middle: float, high: float, *, new: float | None = None, doubted: bool = False
) -> str:
    """Return an interval as a small drawing; its words stand beside it, so it is hidden from readers aloud.

    Parameters
    ----------
    scale : Scale
        The scale of the table.
    low, middle, high : float
        The interval and its middle.
    new : float, optional
        What is compared with: a tick.
    doubted : bool
        Drawn hollow.

    >>> bar(Scale(0, 4), 1.0, 2.0, 3.0)[:40]
    '<svg class="bar" viewBox="0 0 160 18" pr'
    """
    left, right = scale.at(low), scale.at(high)
    width = max(right - left, LEAST)
    kind = "held doubted" if doubted else "held"
    tick = "" if new is None else f'<path class="new" d="M{scale.at(new):.1f} 1V17"/>'
    return (
        f'<svg class="bar" viewBox="0 0 {WIDE:.0f} {DEEP:.0f}" preserveAspectRatio="none" aria-hidden="true">'
        f'<path class="base" d="M2 {DEEP / 2:.0f}H{WIDE - 2:.0f}"/>'
        f'<rect class="{kind}" x="{left:.1f}" y="5" width="{width:.1f}" height="8"/>'
        f'<path class="mid" d="M{scale.at(middle):.1f} 3V15"/>{tick}</svg>'
    )


def reach(low: float, high: float, read: float, *, doubted: bool = False) -> str:
    """Return where a reading lies against the interval that is expected of it: a bar, and a stroke or a ring.

    The scale is the drawing's own: it holds both. Its words stand beside it, so it is hidden from readers aloud.

    Parameters
    ----------
    low, high : float
        The interval.
    read : float
        The reading.
    doubted : bool
        Drawn as a ring.

    >>> reach(5.0, 6.0, 5.5).count("<line"), "<circle" in reach(5.0, 6.0, 9.0, doubted=True)
    (1, True)
    """
    least, most = min(low, read), max(high, read)
    scale = Scale(least - 0.12 * (most - least), most + 0.12 * (most - least))
    left, right, at = (100 * scale.at(value) / WIDE for value in (low, high, read))
    mark = f'<line x1="{at:.0f}%" x2="{at:.0f}%" y2="12"/>'
    if doubted:
        mark = f'<circle cx="{at:.0f}%" cy="6" r="3.5"/>'
    # A page holds dozens: shares of its own width, and no more words than the drawing needs.
    width = max(right - left, 100 * LEAST / WIDE)
    return f'<svg class="reach-drawn" aria-hidden="true"><rect x="{left:.0f}%" width="{width:.0f}%"/>{mark}</svg>'
