"""What a line costs against what it loses: the choices worth making, numbered, with their names beneath."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from linewright.core.formatting import metres, plain, quantity
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, together
from linewright.core.nouns.choice import Choice, Option
from linewright.present.charts.frame import KeyEntry, Sample, constant, framed, in_manner, key, layer, wrapped
from linewright.present.charts.strips import Rows, down, headed, words
from linewright.present.charts.theme import LIGHT, Palette, Spec

AXIS_PX: Final = 32
HEIGHT_PX: Final = 220
LINE_PX: Final = 34
NEXT_PX: Final = 14
"""Between two lines of one choice."""
NUMBER_PX: Final = 16
DIGIT_PX: Final = 7.5
POINT_PX: Final = 5
"""From the middle of a point to its rim."""
NEVER, SURELY = 0.02, 0.98
"""What is less probable than this, or more, 48 draws cannot tell."""
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
        "layer": _layers(rows, now, choice.currency, inner),
    }  # fmt: skip
    body: Spec = {"vconcat": [_key(rows, inner), panel, *([_list(rows, inner)] if rows else [])]}
    return framed(body, say(_ABOUT), palette)


def _row(number: int, option: Option, choice: Choice) -> dict[str, Any]:
    price = option.price or 0.0
    named = ((say("cheapest that meets"), choice.cheapest), (say("cautious"), choice.cautious))
    marks = [word for word, one in named if one is not None and one.name == option.name]
    figures = together([
        together([plain(price, 0), choice.currency]), quantity(plain(option.loss_db, 2), "dB"),
        _likely(option.p_meets),
    ], ", ")  # fmt: skip
    return {
        "number": str(number), "name": option.name, "price": price, "loss_db": option.loss_db,
        "loss_db_90": option.loss_db_90, "reception_db": option.reception_loss_db, "meets": option.meets,
        "said": together([figures, *marks], "; "),
    }  # fmt: skip


def _likely(p: float) -> str:
    sign = ">" if p > SURELY else "<" if p < NEVER else "="
    return together(["p", sign, plain(min(max(p, NEVER), SURELY), 2)])


def _ends(rows: Rows, now: Rows) -> tuple[float, float]:
    """Return where the axes of price and loss end."""
    dearest = max([1.0, *(row["price"] for row in rows)])
    top = max([*(max(row["loss_db_90"], row["reception_db"] or 0.0) for row in rows), *(r["loss_db"] for r in now)])
    return 1.1 * dearest, 1.1 * top


def _scales(rows: Rows, now: Rows, currency: str) -> tuple[Spec, Spec]:
    dearest, top = _ends(rows, now)
    price_axis = {
        "title": constant(currency) or say("price"), "titleAnchor": "end", "tickCount": 6, "labelOverlap": "greedy",
        "labelFlush": False, "format": "~r",
    }  # fmt: skip
    loss_axis = {
        "title": "dB", "tickCount": 5, "titleAngle": 0, "titleAlign": "right", "titleAnchor": "end", "titleX": -8,
        "titleY": -9,
    }  # fmt: skip
    x_scale = {"type": "sqrt", "domain": [0, dearest], "nice": False}
    y_scale = {"domain": [0, top], "nice": False}
    return (
        {"field": "price", "type": "quantitative", "scale": x_scale, "axis": price_axis},
        {"field": "loss_db", "type": "quantitative", "scale": y_scale, "axis": loss_axis},
    )


def _layers(rows: Rows, now: Rows, currency: str, inner: float) -> list[Spec]:
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
        layer(
            "text", "word", _numbers(rows, _ends(rows, now), inner), {"x": x, "y": y, "text": {"field": "number"}},
            align="right", dx=-POINT_PX, dy=2 * POINT_PX, fontWeight="bold",
        ),
    ]  # fmt: skip


def _numbers(rows: Rows, ends: tuple[float, float], inner: float) -> Rows:
    """Return the numbers left below their points; where there is no room for each, one range for several."""
    dearest, top = ends
    x_px = [inner * (row["price"] / dearest) ** 0.5 for row in rows]
    y_px = [HEIGHT_PX * (1.0 - row["loss_db"] / top) for row in rows]
    groups: list[tuple[int, int]] = []
    for i in range(len(rows)):
        first = i
        while groups and _crowded(groups[-1], (first, i), x_px, y_px):
            first = groups.pop()[0]
        groups.append((first, i))
    return [
        {"number": _range(first, last), "price": rows[first]["price"], "loss_db": rows[last]["loss_db"]}
        for first, last in groups
    ]


def _range(first: int, last: int) -> str:
    return f"{first + 1}" if first == last else f"{first + 1}–{last + 1}"


def _crowded(left: tuple[int, int], right: tuple[int, int], x_px: Sequence[float], y_px: Sequence[float]) -> bool:
    """Return whether the number of one group would lie on the number or the last point of the group before it."""
    begins = x_px[right[0]] - POINT_PX - DIGIT_PX * len(_range(*right))
    beside = begins > x_px[left[1]] + POINT_PX
    under = y_px[right[1]] - y_px[left[1]] > NUMBER_PX
    return not (beside or under)


def _list(rows: Rows, width_px: float) -> Spec:
    """Return the names of the choices by their numbers, each over its figures."""
    letters = width_px - NUMBER_PX - 6
    numbers: Rows = []
    names: Rows = []
    figures: Rows = []
    y_px = 0.3 * LINE_PX
    for row in rows:
        numbers.append({**row, "y_px": y_px})
        lines = [(names, line) for line in wrapped(row["name"], letters, most=2)]
        lines += [(figures, line) for line in wrapped(row["said"], letters, most=2)]
        for found, line in lines:
            found.append({**row, "line": line, "y_px": y_px})
            y_px += NEXT_PX
        y_px += LINE_PX - 2 * NEXT_PX
    y = down(y_px)
    layers = [
        words("word", numbers, "number", NUMBER_PX, y, right=True),
        words("word", names, "line", NUMBER_PX + 8, y),
        words("small", figures, "line", NUMBER_PX + 8, y),
    ]
    return {"width": width_px, "height": y_px, "layer": layers}


def _key(rows: Rows, width_px: float) -> Spec:
    up = (Sample("bar", "alone-bar", 9, 0),)
    entries = [KeyEntry(say("keeps every limit; up to the 90th percentile"), (*up, Sample("point", "belief-dot")))]
    if any(not row["meets"] for row in rows):
        entries.append(KeyEntry(say("breaks a limit"), (Sample("point", "none-mark"),)))
    if any(row["reception_db"] is not None for row in rows):
        entries.append(KeyEntry(say("lost on reception"), (Sample("point", "alone-point"),)))
    entries.append(KeyEntry(say("nothing cheaper loses less"), (Sample("span", "spec-line"),)))
    return key([*entries, KeyEntry(say("p: how probably every limit of loss is kept"), ())], width_px)
