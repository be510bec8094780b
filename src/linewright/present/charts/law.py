"""The law a sweep found: loss against frequency on a square-root axis, beside what the claimed type should lose."""

from __future__ import annotations

from typing import Any

import numpy as np

from linewright.core.formatting import frequency, interval, plain, quantity
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say
from linewright.core.nouns.sweep import SweepFinding, SweepLaw
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
AXIS_PX, HEIGHT_PX, STEPS = 32, 220, 60
AT = [{"field": "band", "title": say("at")}]
ABOUT = mark("Loss of the whole line in decibels against frequency, square-root axis: the law found, and its type's.")


@in_manner
def law_chart(found: SweepFinding, *, width_px: int = 660, palette: Palette = LIGHT, manner: Manner = ENGLISH) -> Spec:
    """Return the law a sweep found with its 95 % ribbon, over the frequencies it was swept at.

    Parameters
    ----------
    found : SweepFinding
        With a law.
    width_px : int
        Width of the whole figure.

    Returns
    -------
    dict
        A Vega-Lite specification. The type's own law is drawn where a type is claimed and the length is known.
    """
    assert found.law is not None
    inner = width_px - 20 - AXIS_PX
    low, high = found.law.valid_hz
    hertz = np.array(between([low, high], (np.linspace(np.sqrt(low), np.sqrt(high), STEPS) ** 2).tolist()))
    believed, typical = _believed(found.law, hertz), _typical(found, hertz)
    marks = [x.frequency_hz for x in found.losses if low <= x.frequency_hz <= high]
    x, y = _x(high, marks), _y(1.08 * max(row["high"] for row in (*believed, *typical)))
    plot = {
        "width": inner, "height": HEIGHT_PX,
        "layer": [*_type_layers(typical, x, y), *_belief_layers(found, believed, x, y)],
    }  # fmt: skip
    entries = [
        KeyEntry(
            say("found, with its 95 % interval"), (Sample("band", "belief-band", 6, 6), Sample("span", "belief-line"))
        )
    ]
    if typical and found.line:
        entries.append(KeyEntry(say("{line} as published", line=found.line.designator), (Sample("span", "spec-line"),)))
    return framed({"vconcat": [key(entries, inner), plot]}, say(ABOUT), palette)


def _believed(law: SweepLaw, hertz: np.ndarray[Any, Any]) -> Rows:
    mhz = hertz / 1e6
    loss = law.draws @ np.stack([np.ones_like(mhz), np.sqrt(mhz), mhz])
    low, middle, high = np.quantile(loss, [0.025, 0.5, 0.975], axis=0)
    return _rows(hertz, low, middle, high)


def _typical(found: SweepFinding, hertz: np.ndarray[Any, Any]) -> Rows:
    if found.line is None or found.length_m is None:
        return []
    law, length = found.line.law, found.length_m.value
    low, high = law.interval_db_per_m(hertz)
    rows = _rows(hertz, length * low, length * np.asarray(law.db_per_m(hertz)), length * high)
    return [{**row, "type": say("{line} as published", line=found.line.designator)} for row in rows]


def _rows(hertz: np.ndarray[Any, Any], *losses: np.ndarray[Any, Any]) -> Rows:
    return [
        {
            "frequency_hz": float(f), "low": round(float(a), 5), "loss_db": round(float(b), 5),
            "high": round(float(c), 5), "band": frequency(float(f)), "said": interval(float(b), float(a), float(c)),
        }
        for f, a, b, c in zip(hertz, *losses, strict=True)
    ]  # fmt: skip


def _x(top_hz: float, marks_hz: list[float]) -> Spec:
    axis = {
        "values": marks_hz, "labelExpr": looked_up(band_labels(marks_hz)), "labelOverlap": "greedy",
        "labelSeparation": 4, "labelFlush": False, "title": "MHz", "titleAnchor": "end",
    }  # fmt: skip
    scale = {"type": "sqrt", "domain": [0, top_hz], "nice": False, "zero": True}
    return {"field": "frequency_hz", "type": "quantitative", "scale": scale, "axis": axis}


def _y(top_db: float) -> Spec:
    axis = {"title": "dB", "tickCount": 5, "titleAngle": 0, "titleAlign": "right", "titleAnchor": "end",
            "titleX": -8, "titleY": -9}  # fmt: skip
    scale = {"domain": [0, max(top_db, 0.01)], "nice": False, "zero": True}
    return {"field": "loss_db", "type": "quantitative", "scale": scale, "axis": axis}


def _belief_layers(found: SweepFinding, rows: Rows, x: Spec, y: Spec) -> list[Spec]:
    points: Rows = [
        {
            "frequency_hz": b.frequency_hz, "loss_db": b.matched_loss_db.value,
            "said": say("{loss} at {frequency}", loss=quantity(plain(b.matched_loss_db.value, 2), "dB"),
                        frequency=frequency(b.frequency_hz)),
        }
        for b in found.losses
        if b.frequency_hz <= x["scale"]["domain"][1]
    ]  # fmt: skip
    ribbon = {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}
    tip = [{"field": "said", "title": say("loss")}]
    return [
        layer("area", "belief-band", rows, ribbon, clip=True),
        layer("line", "belief-line", rows, {"x": x, "y": y, "tooltip": [*AT, *tip]}, clip=True),
        layer("point", "belief-dot", points, {"x": x, "y": y, "tooltip": tip}),
    ]


def _type_layers(rows: Rows, x: Spec, y: Spec) -> list[Spec]:
    if not rows:
        return []
    edges = [
        layer("line", "spec-edge", rows, {"x": x, "y": {**y, "field": side}}, clip=True) for side in ("low", "high")
    ]
    tip = [{"field": "type", "title": say("type")}, *AT, {"field": "said", "title": say("loss")}]
    return [*edges, layer("line", "spec-line", rows, {"x": x, "y": y, "tooltip": tip}, clip=True)]
