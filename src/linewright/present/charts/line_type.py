"""A line type's law on double logarithmic paper: what it should lose, the 95 % interval, and every published point."""

from __future__ import annotations

from typing import Any

import numpy as np

from linewright.core.formatting import frequency, interval, plain, quantity
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say
from linewright.core.nouns.line import LineType
from linewright.present.charts.frame import (
    KeyEntry,
    Sample,
    band_labels,
    between,
    framed,
    in_manner,
    key,
    layer,
    looked_up,
)
from linewright.present.charts.theme import LIGHT, Palette, Spec

Rows = list[dict[str, Any]]
AXIS_PX, HEIGHT_PX, STEPS = 40, 260, 80
LOW_HZ, HIGH_HZ = 1e6, 3e9
MARKS_HZ = [1.8e6, 3.6e6, 7.1e6, 14.2e6, 28.5e6, 50e6, 144e6, 432e6, 1296e6]
ABOUT = mark("Loss of 100 m in decibels against frequency, both axes logarithmic: law, interval, published points.")


@in_manner
def line_chart(kind: LineType, *, width_px: int = 660, palette: Palette = LIGHT, manner: Manner = ENGLISH) -> Spec:
    """Return a type's law from 1 MHz to 3 GHz with its 95 % interval, and its points.

    Parameters
    ----------
    kind : LineType
        A type of the catalogue, or a person's own.
    width_px : int
        Width of the whole figure.
    """
    inner = width_px - 20 - AXIS_PX
    hertz = np.array(between([LOW_HZ, HIGH_HZ], np.geomspace(LOW_HZ, HIGH_HZ, STEPS).tolist()))
    low, high = kind.law.interval_db_per_m(hertz)
    rows: Rows = [
        {
            "frequency_hz": float(f), "low": 100 * float(a), "loss_db": 100 * float(b), "high": 100 * float(c),
            "band": frequency(float(f)), "said": interval(100 * float(b), 100 * float(a), 100 * float(c)),
        }
        for f, a, b, c in zip(hertz, low, kind.law.db_per_m(hertz), high, strict=True)
    ]  # fmt: skip
    read, other = _points(kind, read=True), _points(kind, read=False)
    ends = [v for row in rows for v in (row["low"], row["high"])] + [p["loss_db"] for p in (*read, *other)]
    x, y = _x(), _y(min(ends), max(ends))
    ribbon = {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}
    at = [{"field": "band", "title": say("at")}]
    tip = [{"field": "said", "title": say("loss")}]
    plot = {
        "width": inner, "height": HEIGHT_PX,
        "layer": [
            layer("area", "belief-band", rows, ribbon, clip=True),
            layer("line", "belief-line", rows, {"x": x, "y": y, "tooltip": [*at, *tip]}, clip=True),
            layer("point", "hand-point", other, {"x": x, "y": y, "tooltip": tip}),
            layer("point", "belief-dot", read, {"x": x, "y": y, "tooltip": tip}),
        ],
    }  # fmt: skip
    entries = [
        KeyEntry(
            say("law, with its 95 % interval"), (Sample("band", "belief-band", 6, 6), Sample("span", "belief-line"))
        ),
        KeyEntry(say("published, read"), (Sample("point", "belief-dot"),)),
        KeyEntry(say("from memory, typical of a class, or a maximum"), (Sample("point", "hand-point"),)),
    ]
    return framed({"vconcat": [key(entries, inner), plot]}, say(ABOUT), palette)


def _points(kind: LineType, *, read: bool) -> Rows:
    return [
        {
            "frequency_hz": p.frequency_hz, "loss_db": 100 * p.attenuation_db_per_m,
            "said": say("{loss} at {frequency}", loss=quantity(plain(100 * p.attenuation_db_per_m, 2), "dB"),
                        frequency=frequency(p.frequency_hz)),
        }
        for p in kind.points
        if p.kind != "set aside" and LOW_HZ <= p.frequency_hz <= HIGH_HZ
        and (p.provenance.grade in ("read", "person") and p.kind != "max") == read
    ]  # fmt: skip


def _x() -> Spec:
    axis = {"values": MARKS_HZ, "labelExpr": looked_up(band_labels(MARKS_HZ)), "labelOverlap": "greedy",
            "labelSeparation": 4, "title": "MHz", "titleAnchor": "end"}  # fmt: skip
    scale = {"type": "log", "domain": [LOW_HZ, HIGH_HZ], "nice": False}
    return {"field": "frequency_hz", "type": "quantitative", "scale": scale, "axis": axis}


def _y(low: float, high: float) -> Spec:
    axis = {"title": "dB / 100 m", "tickCount": 6, "titleAngle": 0, "titleAlign": "left", "titleAnchor": "end",
            "titleX": -8, "titleY": -9}  # fmt: skip
    scale = {"type": "log", "domain": [0.9 * low, 1.1 * high], "nice": False}
    return {"field": "loss_db", "type": "quantitative", "scale": scale, "axis": axis}
