"""What a line costs against what it loses: the choices worth making, numbered, with their names beneath."""

from __future__ import annotations

from typing import Any, Final

from linewright.charts.key import Entry, Sample, key
from linewright.charts.parts import framed, layer, wrapped
from linewright.charts.strips import Rows, down, headed, words
from linewright.charts.theme import LIGHT, Palette, Spec
from linewright.charts.told import in_manner
from linewright.model.choose import Choice, Option
from linewright.units.manner import ENGLISH, Manner
from linewright.units.said import mark, say, together
from linewright.units.writing import metres, plain, quantity

AXIS_PX: Final = 32
HEIGHT_PX: Final = 220
LINE_PX: Final = 34
NUMBER_PX: Final = 16
_ABOUT = mark(
    "Price against mean loss of the choices worth making: expected, to the 90th percentile, and on reception."
)


@in_manner
def trade_off_chart(choice: Choice, *, width_px: int = 660, palette: Palette = LIGHT, manner: Manner = ENGLISH) -> Spec:
    """Return the trade-off of price against loss, each choice numbered, with its name in a list beneath.

    Parameters
    ----------
    choice : Choice
        What was answered.
    width_px : int
        Width of the whole figure.

    Returns
    -------
    dict
        A Vega-Lite specification. Price stands on a square-root scale from nothing, loss in dB is the mean over the
        bands; a choice without a price is not drawn.
    """
    inner = width_px - 20 - AXIS_PX
    rows = [_row(i, option, choice) for i, option in enumerate(choice.trade_off, 1)]
    now = [{"price": 0.0, "loss_db": choice.as_it_is.loss_db, "word": say("as it is")}]
    panel: Spec = {
        "title": headed(
            say("Price against loss, {run}", run=choice.run),
            say("{length}; mean over its bands", length=metres(choice.length_m)),
            inner,
        ),
        "width": inner,
        "height": HEIGHT_PX,
        "layer": _layers(rows, now, choice.currency),
    }  # fmt: skip
    body: Spec = {"vconcat": [_key(rows, inner), panel, *([_list(rows, inner)] if rows else [])]}
    return framed(body, say(_ABOUT), palette)


def _row(number: int, option: Option, choice: Choice) -> dict[str, Any]:
    price = option.price or 0.0
    named = ((say("cheapest that meets"), choice.cheapest), (say("cautious"), choice.cautious))
    marks = [word for word, one in named if one is not None and one.name == option.name]
    figures = together([
        together([plain(price, 0), choice.currency]), quantity(plain(option.loss_db, 2), "dB"),
        together(["p =", plain(option.p_meets, 2)]),
    ], ", ")  # fmt: skip
    return {
        "number": str(number), "name": option.name, "price": price, "loss_db": option.loss_db,
        "loss_db_90": option.loss_db_90, "reception_db": option.reception_loss_db, "meets": option.meets,
        "said": together([figures, *marks], "; "),
    }  # fmt: skip


def _scales(rows: Rows, now: Rows, currency: str) -> tuple[Spec, Spec]:
    dearest = max([1.0, *(row["price"] for row in rows)])
    top = max([*(max(row["loss_db_90"], row["reception_db"] or 0.0) for row in rows), *(r["loss_db"] for r in now)])
    price_axis = {
        "title": currency or say("price"), "titleAnchor": "end", "tickCount": 6, "labelOverlap": "greedy",
        "labelFlush": False, "format": "~r",
    }  # fmt: skip
    loss_axis = {
        "title": "dB", "tickCount": 5, "titleAngle": 0, "titleAlign": "right", "titleAnchor": "end", "titleX": -8,
        "titleY": -9,
    }  # fmt: skip
    x_scale = {"type": "sqrt", "domain": [0, 1.1 * dearest], "nice": False}
    y_scale = {"domain": [0, 1.1 * top], "nice": False}
    return (
        {"field": "price", "type": "quantitative", "scale": x_scale, "axis": price_axis},
        {"field": "loss_db", "type": "quantitative", "scale": y_scale, "axis": loss_axis},
    )


def _layers(rows: Rows, now: Rows, currency: str) -> list[Spec]:
    x, y = _scales(rows, now, currency)
    tip = [{"field": "name", "title": say("choice")}, {"field": "said", "title": say("says")}]
    at = {"x": x, "y": y, "tooltip": tip}
    heard = [row for row in rows if row["reception_db"] is not None]
    stairs = [layer("line", "spec-line", rows, {"x": x, "y": y}, interpolate="step-after")] if len(rows) > 1 else []
    return [
        layer("rule", "hair", now, {"y": y}),
        layer("text", "small", now, {"y": y, "x": {"value": "width"}, "text": {"field": "word"}}, align="right", dy=-7),
        *stairs,
        layer("rule", "alone-bar", rows, {"x": x, "y": y, "y2": {"field": "loss_db_90"}}),
        layer("point", "alone-point", heard, {"x": x, "y": {**y, "field": "reception_db"}, "tooltip": tip}),
        layer("point", "belief-dot", [row for row in rows if row["meets"]], at),
        layer("point", "none-mark", [row for row in rows if not row["meets"]], at),
        layer("text", "word", rows, {"x": x, "y": y, "text": {"field": "number"}}, dx=-9, dy=10, fontWeight="bold"),
    ]


def _list(rows: Rows, width_px: float) -> Spec:
    """Return the names of the choices by their numbers, each over its figures."""
    height = LINE_PX * len(rows)
    letters = width_px - NUMBER_PX - 6
    lines = [
        {**row, "word": wrapped(row["name"], letters, most=1)[0], "y_px": (i + 0.3) * LINE_PX}
        for i, row in enumerate(rows)
    ]
    under = [{**row, "said": wrapped(row["said"], letters, most=1)[0], "y_px": row["y_px"] + 14} for row in lines]
    y = down(height)
    layers = [
        words("word", lines, "number", NUMBER_PX, y, right=True),
        words("word", lines, "word", NUMBER_PX + 8, y),
        words("small", under, "said", NUMBER_PX + 8, y),
    ]
    return {"width": width_px, "height": height, "layer": layers}


def _key(rows: Rows, width_px: float) -> Spec:
    up = (Sample("bar", "alone-bar", 9, 0),)
    entries = [Entry(say("keeps every limit; up to the 90th percentile"), (*up, Sample("point", "belief-dot")))]
    if any(not row["meets"] for row in rows):
        entries.append(Entry(say("breaks a limit"), (Sample("point", "none-mark"),)))
    if any(row["reception_db"] is not None for row in rows):
        entries.append(Entry(say("lost on reception"), (Sample("point", "alone-point"),)))
    entries.append(Entry(say("nothing cheaper loses less"), (Sample("span", "spec-line"),)))
    return key([*entries, Entry(say("p: how probably every limit of loss is kept"), ())], width_px)
