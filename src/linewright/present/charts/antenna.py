"""The antenna's SWR behind a line, with its band, over what the radio shows and the most it can ever show."""

from __future__ import annotations

from linewright.core.formatting import frequency, swr
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say
from linewright.core.nouns.through import Estimate, ThroughResult
from linewright.present.charts.frame import KeyEntry, Sample, framed, in_manner, key, layer, wrapped
from linewright.present.charts.theme import LIGHT, Palette, Spec

AXIS_PX = 32
HEIGHT_PX = 260
LEAST_TOP, MOST_TOP = 3.0, 10.0
MARKS = (1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)
WIDTH_SWR = 2.0
_ABOUT = mark(
    "SWR against frequency: at the antenna with its 95 % band, at the radio, and the most the radio can ever show."
)
Rows = list[dict[str, float | str]]


@in_manner
def antenna_chart(
    result: ThroughResult, *, width_px: int = 660, palette: Palette = LIGHT, manner: Manner = ENGLISH
) -> Spec:
    """Return the antenna's curve behind the line, with its key.

    Parameters
    ----------
    result : ThroughResult
        With a curve.
    width_px : int
        Width of the whole figure.

    Returns
    -------
    dict
        A Vega-Lite specification; SWR stands on a logarithmic scale from 1 to 10 at most, the rest is cut off.
    """
    inner = width_px - 20 - AXIS_PX
    rows = _rows(result)
    top = _top(result)
    x, y = _x(rows), _y(top)
    panel: Spec = {
        "title": {
            "text": wrapped(say("{seen} seen through", seen=result.seen), inner, letter_px=7.6),
            "subtitle": wrapped(result.line, inner, most=2),
        },
        "width": inner,
        "height": HEIGHT_PX,
        "layer": [*_limits(rows, x, y), *_curves(rows, x, y), *_resonance(result, top, x, y)],
    }
    return framed({"vconcat": [_key(inner), panel]}, say(_ABOUT), palette)


def _key(width_px: float) -> Spec:
    antenna = (Sample("band", "belief-band", 6, 6), Sample("span", "belief-line"))
    return key(
        [
            KeyEntry(say("at the antenna, with 95 % band"), antenna),
            KeyEntry(say("at the radio"), (Sample("span", "spec-line"),)),
            KeyEntry(say("the most the radio can ever show"), (Sample("span", "limit-rule"),)),
        ],
        width_px,
    )


def _rows(result: ThroughResult) -> Rows:
    return [
        {
            "mhz": p.frequency_hz / 1e6,
            "radio": p.radio_swr,
            "antenna": _end(p.antenna_swr.value),
            "low": _end(p.antenna_swr.low),
            "high": _end(p.antenna_swr.high),
            "most": _end(p.highest_swr_at_radio),
            "said": say(
                "{frequency}: {swr} at the antenna",
                frequency=frequency(p.frequency_hz),
                swr=swr(_end(p.antenna_swr.value)),
            ),
        }
        for p in result.curve
    ]


def _end(value: float | None) -> float:
    """Return a value that can be drawn: what is infinite or cannot be told lies far above the figure."""
    return 1e3 if value is None or value > 1e3 else value


def _top(result: ThroughResult) -> float:
    highest = max((_end(p.antenna_swr.value) for p in result.curve), default=LEAST_TOP)
    return min(MOST_TOP, max(LEAST_TOP, 1.15 * highest))


def _x(rows: Rows) -> Spec:
    ends = [float(row["mhz"]) for row in (rows[0], rows[-1])] if rows else [1.0, 2.0]
    axis = {"title": "MHz", "titleAnchor": "end", "labelOverlap": "greedy", "labelFlush": True, "tickCount": 6}
    return {
        "field": "mhz",
        "type": "quantitative",
        "scale": {"domain": ends, "nice": False, "zero": False},
        "axis": axis,
    }


def _y(top: float) -> Spec:
    axis = {
        "title": say("SWR"), "values": [m for m in MARKS if m <= top], "titleAngle": 0, "titleAlign": "right",
        "titleAnchor": "end", "titleX": -8, "titleY": -9, "format": ".2~f",
    }  # fmt: skip
    scale = {"type": "log", "domain": [1.0, top], "nice": False}
    return {"field": "antenna", "type": "quantitative", "scale": scale, "axis": axis}


def _limits(rows: Rows, x: Spec, y: Spec) -> list[Spec]:
    half: Rows = [{"swr": WIDTH_SWR}]
    return [
        layer("rule", "hair", half, {"y": {**y, "field": "swr"}}),
        layer("line", "limit-rule", rows, {"x": x, "y": {**y, "field": "most"}}, clip=True),
    ]


def _curves(rows: Rows, x: Spec, y: Spec) -> list[Spec]:
    band = {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}
    tip = [{"field": "said", "title": say("at")}]
    return [
        layer("area", "belief-band", rows, band, clip=True),
        layer("line", "belief-line", rows, {"x": x, "y": y, "tooltip": tip}, clip=True),
        layer("line", "spec-line", rows, {"x": x, "y": {**y, "field": "radio"}}, clip=True),
    ]


def _resonance(result: ThroughResult, top: float, x: Spec, y: Spec) -> list[Spec]:
    """Draw where the antenna resonates, with its interval, along the foot of the figure."""
    f: Estimate = result.resonance_hz
    if f.value is None or f.low is None or f.high is None:
        return []
    foot = top**0.04
    row: Rows = [{"mhz": f.value / 1e6, "from": f.low / 1e6, "to": f.high / 1e6, "swr": foot, "note": say("resonance")}]
    at = {"y": {**y, "field": "swr"}}
    return [
        layer("rule", "belief-bar", row, {**at, "x": {**x, "field": "from"}, "x2": {"field": "to"}}, clip=True),
        layer("text", "small", row, {**at, "x": x, "text": {"field": "note"}}, dy=-9),
    ]
