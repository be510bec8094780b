"""The key of the loss chart, drawn as a strip of its own so that it wraps on a narrow page."""

from __future__ import annotations

from typing import Any

from linewright.charts.parts import LETTER_PX, layer
from linewright.charts.theme import METER_SHAPES, Spec

SAMPLE_PX = 30
LINE_PX = 20
Entry = dict[str, Any]


def _entries(meters: list[str]) -> list[Entry]:
    shapes = {meter: METER_SHAPES[i % len(METER_SHAPES)] for i, meter in enumerate(meters)}
    return [
        {"kind": "belief", "words": "believed, with 95 % ribbon"},
        {"kind": "spec", "words": "as the type specifies, with its spread"},
        {"kind": "limit", "words": "the most a use can bear"},
        *({"kind": "hand", "words": f"by hand, {meter}", "shape": shape} for meter, shape in shapes.items()),
        *([{"kind": "doubt", "words": "hollow: reading or meter doubted", "shape": "circle"}] if meters else []),
    ]


def _placed(entries: list[Entry], width_px: float) -> list[Entry]:
    """Return the entries with their places, in as many even columns as the longest of them allows."""
    room = SAMPLE_PX + 20 + LETTER_PX * max(len(entry["words"]) for entry in entries)
    columns = max(1, int(width_px // room))
    lines = -(-len(entries) // columns)
    placed = []
    for i, entry in enumerate(entries):
        x = (i // lines) * width_px / columns
        place = {"x": x, "x2": x + SAMPLE_PX, "mid": x + SAMPLE_PX / 2, "y": (i % lines) * LINE_PX}
        placed.append({**entry, **place})
    return placed


def _at(field: str, scale: float, channel: str = "quantitative") -> Spec:
    return {"field": field, "type": channel, "axis": None, "scale": {"domain": [0, scale], "nice": False}}


def loss_key(meters: list[str], width_px: int) -> Spec:
    """Return the key as a view of its own, as wide as the figure and as high as its words need."""
    rows = _placed(_entries(meters), width_px)
    lines = 1 + max(int(row["y"] / LINE_PX) for row in rows)
    height = lines * LINE_PX
    x, mid, end = _at("x", width_px), _at("mid", width_px), {"field": "x2"}
    y: Spec = {**_at("y", height), "scale": {"domain": [height - LINE_PX / 2, -LINE_PX / 2], "nice": False}}

    def some(kind: str, *, up: float = 0.0) -> list[Entry]:
        return [{**row, "y": row["y"] - up, "below": row["y"] + up} for row in rows if row["kind"] == kind]

    span = {"x": x, "x2": end, "y": y}
    shape = {"field": "shape", "scale": None}
    point = {"x": mid, "y": y, "shape": shape}
    bar = {"x": mid, "y": y, "y2": {"field": "below"}}
    return {
        "width": width_px,
        "height": height,
        "layer": [
            layer("rect", "belief-band", some("belief", up=6), {**span, "y2": {"field": "below"}}),
            layer("rule", "belief-line", some("belief"), span),
            layer("point", "belief-mark", some("belief"), {"x": mid, "y": y}),
            layer("rule", "spec-line", some("spec"), span),
            layer("rule", "spec-edge", some("spec", up=5), span),
            layer("rule", "spec-edge", some("spec", up=-5), span),
            layer("rule", "limit-rule", some("limit"), span),
            layer("rule", "hand-bar", some("hand", up=7), bar),
            layer("point", "hand-point", some("hand"), point),
            layer("rule", "doubt-bar", some("doubt", up=7), bar),
            layer("point", "doubt-point", some("doubt"), point),
            layer("text", "small", rows, {"x": {**end, "type": "quantitative"}, "y": y, "text": {"field": "words"}},
                  align="left", baseline="middle", dx=7),
        ],
    }
