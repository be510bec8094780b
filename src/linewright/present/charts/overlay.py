"""Curves drawn over each other: SWR, return loss or loss of several sweeps on one pair of axes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from linewright.core.formatting import frequency, plain, quantity
from linewright.core.formatting import swr as swr_words
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say
from linewright.present.charts.frame import KeyEntry, Sample, framed, in_manner, key, layer, wrapped
from linewright.present.charts.theme import LIGHT, Palette, Spec

AXIS_PX, HEIGHT_PX = 36, 260
STYLES = ("series-1", "series-2", "series-3", "series-4", "series-5", "series-6")
MARKS = (1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)
LEAST_TOP, MOST_TOP = 3.0, 10.0
MOST_POINTS = 400
ABOUT = mark("Curves of several sweeps over each other, against frequency; each has a dash of its own.")
Drawn = Literal["swr", "return loss", "loss"]


@dataclass(frozen=True, slots=True)
class OverlaidCurve:
    """One curve: its name, its frequencies in hertz, its values as an SWR or in dB."""

    name: str
    frequency_hz: Sequence[float]
    values: Sequence[float]


@in_manner
def overlay_chart(
    curves: Sequence[OverlaidCurve], what: Drawn, *, title: str = "", width_px: int = 660, palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:  # fmt: skip
    """Return curves over each other, with their key.

    Parameters
    ----------
    curves : sequence of Curve
        One to six; of a longer sweep evenly spaced points are drawn.
    what : str
        "swr" on a logarithmic scale from 1 to 10 at most; "return loss" and "loss" in dB.
    width_px : int
        Width of the whole figure.

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    inner = width_px - 20 - AXIS_PX
    chosen = [_thinned(c) for c in curves[: len(STYLES)]]
    x, y = _x(chosen), _y(chosen, what)
    layers = [_drawn(c, style, what, x, y) for c, style in zip(chosen, STYLES, strict=False)]
    entries = [KeyEntry(c.name, (Sample("span", style),)) for c, style in zip(chosen, STYLES, strict=False)]
    hair = [layer("rule", "hair", [{"value": 2.0}], {"y": y})] if what == "swr" else []
    plot: Spec = {"width": inner, "height": HEIGHT_PX, "layer": [*hair, *layers]}
    if title:
        plot["title"] = {"text": wrapped(title, inner, letter_px=7.6)}
    return framed({"vconcat": [key(entries, inner), plot]}, say(ABOUT), palette)


def _thinned(c: OverlaidCurve) -> OverlaidCurve:
    step = max(1, -(-len(c.frequency_hz) // MOST_POINTS))
    return OverlaidCurve(c.name, c.frequency_hz[::step], c.values[::step])


def _drawn(c: OverlaidCurve, style: str, what: Drawn, x: Spec, y: Spec) -> Spec:
    rows = [
        {"mhz": float(f) / 1e6, "value": min(float(v), 1e3), "said": _said(c.name, float(f), float(v), what)}
        for f, v in zip(c.frequency_hz, c.values, strict=True)
    ]
    tip = [{"field": "said", "title": say("at")}]
    return layer("line", style, rows, {"x": x, "y": y, "tooltip": tip}, clip=True)


def _said(name: str, f: float, value: float, what: Drawn) -> str:
    figure = say("SWR {swr}", swr=swr_words(value)) if what == "swr" else quantity(plain(value, 2), "dB")
    return say("{name}, {frequency}: {figure}", name=name, frequency=frequency(f), figure=figure)


def _x(curves: Sequence[OverlaidCurve]) -> Spec:
    ends = [min(c.frequency_hz[0] for c in curves) / 1e6, max(c.frequency_hz[-1] for c in curves) / 1e6]
    axis = {"title": "MHz", "titleAnchor": "end", "labelOverlap": "greedy", "labelFlush": True, "tickCount": 6}
    scale = {"domain": ends, "nice": False, "zero": False}
    return {"field": "mhz", "type": "quantitative", "scale": scale, "axis": axis}


def _y(curves: Sequence[OverlaidCurve], what: Drawn) -> Spec:
    highest = max(max(min(v, 1e3) for v in c.values) for c in curves)
    least = min(min(c.values) for c in curves)
    axis: Spec = {"titleAngle": 0, "titleAlign": "right", "titleAnchor": "end", "titleX": -8, "titleY": -9}
    if what == "swr":
        top = min(MOST_TOP, max(LEAST_TOP, 1.1 * highest))
        axis |= {"title": say("SWR"), "values": [m for m in MARKS if m <= top], "format": ".2~f"}
        scale: Spec = {"type": "log", "domain": [1.0, top], "nice": False}
    else:
        axis |= {"title": "dB", "tickCount": 5}
        bottom = min(least, 0.0)
        ends = [bottom, max(1.08 * highest, bottom + 0.1)]
        scale = {"domain": ends[::-1] if what == "return loss" else ends, "nice": False, "zero": False}
    return {"field": "value", "type": "quantitative", "scale": scale, "axis": axis}
