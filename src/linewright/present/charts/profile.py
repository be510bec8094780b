"""A line as its sweep shows it: impedance, or what comes back, along the metres, with every fault named."""

from __future__ import annotations

from typing import Any

import numpy as np

from linewright.core.formatting import decimals_for, length, metres, percent, plain, quantity
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.sweep import Fault, FaultFinding, Landmark, Profile
from linewright.present.charts.frame import LETTER_PX, framed, in_manner, layer, wrapped
from linewright.present.charts.strips import length_axis
from linewright.present.charts.theme import LIGHT, Palette, Spec

Rows = list[dict[str, Any]]

LANE_PX, HEIGHT_PX = 17, 200
LEAST_SPAN_OHM = 12.0
MOST_OHM = 200.0
AXIS_PX = 46

WORDS = {
    "pinch": mark("pinch or poor joint"), "gap": mark("gap or open braid"), "water": mark("water"),
    "section": mark("water or line"), "insert": mark("other line"), "step": mark("impedance step"),
    "bad joint": mark("bad joint"), "open": mark("open"), "short": mark("short"), "unclear": mark("unclear"),
}  # fmt: skip
ALONG = mark("Along the line")


@in_manner
def profile_chart(
    found: FaultFinding,
    title: str = ALONG,
    *,
    width_px: int = 660,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return the profile of a line with its faults and ends marked in words.

    Parameters
    ----------
    found : FaultFinding
        What the sweep shows along the line.
    title : str
        What stands over the picture.
    width_px : int
        Width of the whole figure.

    Returns
    -------
    dict
        A Vega-Lite specification: impedance in ohms where the sweep reaches down near zero, else the share of the wave
        that comes back in percent; distance in metres.
    """
    inner = width_px - 20 - AXIS_PX
    curve, y, what = _curve(found)
    span = float(found.profile.distance_m[-1]) or 1.0
    x = _x(span)
    marked = _marked(found, inner, span)
    lanes = 1 + max((row["lane"] for row in marked), default=0)
    strip = {"width": inner, "height": lanes * LANE_PX, "layer": _words(marked, {**x, "axis": None}, lanes)}
    tip = [{"field": "place", "title": say("at")}, {"field": "said", "title": what}]
    plot = {
        "width": inner,
        "height": HEIGHT_PX,
        "layer": [
            layer("rule", "hair", [r for r in marked if not r["fault"]], {"x": x}),
            layer("line", "belief-line", curve, {"x": x, "y": y, "tooltip": tip}, clip=True),
            *_crosses(found, x, y),
        ],
    }
    body: Spec = {
        "title": {
            "text": wrapped(say(ALONG) if title == ALONG else title, inner, letter_px=7.6),
            "subtitle": wrapped(_verdict(found), inner, most=2),
        },
        "vconcat": [strip, plot],
        "spacing": 4,
    }
    return framed(body, _about(what), palette)


def _about(what: str) -> str:
    return say("Along the line: {what}. Crosses with words are faults; thin upright lines are its ends.", what=what)


def _verdict(found: FaultFinding) -> str:
    many = len(found.faults)
    first = say_many("One fault.", "{count} faults.", many) if many else say("No fault.")
    cell = metres(float(f"{found.cell_m:.2g}"))
    return together([first, say("Two things less than {length} apart cannot be told apart.", length=cell)])


def _x(span: float) -> Spec:
    scale = {"domain": [0, span], "nice": False}
    return {"field": "distance_m", "type": "quantitative", "scale": scale,
            "axis": {"titleAnchor": "end", **length_axis(0.0, span, 8)}}  # fmt: skip


def _curve(found: FaultFinding) -> tuple[Rows, Spec, str]:
    """Return the curve's rows, its scale and what it is."""
    p = found.profile
    if p.impedance_ohm is None:
        rows = _rows(p, 100.0 * p.reflection, "percent")
        top = max(2.0, float(100.0 * _inside(found, p.reflection).max()))
        return (
            rows,
            _y("percent", (0.0, min(100.0, 1.15 * top)), say("% back")),
            say("the share of the wave that comes back"),
        )
    inner = _inside(found, p.impedance_ohm)
    low, high = float(inner.min()), min(MOST_OHM, float(inner.max()))
    pad = max(0.5 * (LEAST_SPAN_OHM - (high - low)), 0.1 * (high - low), 1.0)
    domain = (max(0.0, low - pad), high + pad)
    return _rows(p, p.impedance_ohm, "impedance_ohm"), _y("impedance_ohm", domain, say("ohm")), say("impedance in ohms")


def _inside(found: FaultFinding, values: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return the values on the line itself, its far end left out."""
    end = found.end_m or float(found.profile.distance_m[-1])
    kept = values[found.profile.distance_m < max(end - found.blind_m, 0.5 * end)]
    return kept if len(kept) else values


def _rows(p: Profile, values: np.ndarray[Any, Any], name: str) -> Rows:
    back = name == "percent"
    return [
        {
            "distance_m": round(float(d), 5), name: round(float(v), 4), "place": metres(float(d)),
            "said": say("{share} back", share=percent(float(v) / 100.0)) if back else quantity(plain(v, 1), say("ohm")),
        }
        for d, v in zip(p.distance_m, values, strict=True)
    ]  # fmt: skip


def _y(name: str, domain: tuple[float, float], unit: str) -> Spec:
    axis = {"title": unit, "tickCount": 5, "titleAngle": 0, "titleAlign": "right", "titleAnchor": "end",
            "titleX": -8, "titleY": -9}  # fmt: skip
    scale = {"domain": list(domain), "nice": False, "zero": False}
    return {"field": name, "type": "quantitative", "scale": scale, "axis": axis}


def _marked(found: FaultFinding, width_px: float, span: float) -> Rows:
    """Return faults and ends with their words, each in the lowest lane where it runs into no other."""
    rows: Rows = []
    taken: list[float] = []
    things: list[Fault | Landmark] = [
        *found.faults,
        *(m for m in found.landmarks if m.kind in ("connector", "far end")),
    ]
    for thing in sorted(things, key=lambda t: t.distance_m):
        fault = isinstance(thing, Fault)
        at = thing.distance_m / span * width_px
        words = wrapped(_said(thing), max(at, width_px - at) - 14, most=1)[0]
        long = LETTER_PX * len(words) + 14
        left = at - long if at + long > width_px else at
        lane = next((i for i, right in enumerate(taken) if right < left), len(taken))
        taken[lane:] = [left + long, *taken[lane + 1 :]]
        rows.append({"distance_m": thing.distance_m, "words": words, "lane": lane, "fault": fault, "end": left < at})
    return rows


def _said(thing: Fault | Landmark) -> str:
    if isinstance(thing, Landmark):
        if thing.kind == "connector":
            return say("near end")
        return say("far end {place}", place=metres(thing.distance_m))
    places = decimals_for(thing.high_m - thing.low_m)
    return together([say(WORDS[thing.kind]), length(thing.distance_m, places)])


def _words(rows: Rows, x: Spec, lanes: int) -> list[Spec]:
    """Return the words over the plot, faults in brick and ends quiet, each hung on its own place."""
    y = {
        "field": "lane",
        "type": "quantitative",
        "axis": None,
        "scale": {"domain": [-0.5, lanes - 0.5], "reverse": True},
    }
    out = []
    for fault, style in ((True, "limit-text"), (False, "aside")):
        for end in (False, True):
            some = [r for r in rows if r["fault"] is fault and r["end"] is end]
            side: dict[str, object] = {"align": "right", "dx": -2} if end else {"align": "left", "dx": 2}
            out.append(
                layer("text", style, some, {"x": x, "y": y, "text": {"field": "words"}}, baseline="middle", **side)
            )
    return out


def _crosses(found: FaultFinding, x: Spec, y: Spec) -> list[Spec]:
    """Return each fault as an upright line, its extent or interval along the line, and a cross on the curve."""
    p, name = found.profile, y["field"]
    curve = 100.0 * p.reflection if p.impedance_ohm is None else p.impedance_ohm
    low, high = y["scale"]["domain"]
    rows = [
        {
            "distance_m": f.distance_m,
            "low_m": f.low_m,
            "high_m": min(f.high_m + (f.length_m or 0.0), float(p.distance_m[-1])),
            name: float(np.clip(np.interp(f.distance_m, p.distance_m, curve), low, high)),
            "place": metres(f.distance_m),
            "said": together([say(WORDS[f.kind]), say("{share} back", share=percent(f.size))], ", "),
        }
        for f in found.faults
    ]
    reach = {"x": {**x, "field": "low_m"}, "x2": {"field": "high_m"}, "y": y}
    tip = [{"field": "place", "title": say("at")}, {"field": "said", "title": say("fault")}]
    return [
        layer("rule", "limit-rule", rows, {"x": x}),
        layer("rule", "over-bar", rows, reach),
        layer("point", "none-mark", rows, {"x": x, "y": y, "tooltip": tip}),
    ]
