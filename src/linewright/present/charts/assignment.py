"""Who gets which piece: runs down the page, lengths across it, each section a bar, the loss at the right."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from linewright.core.formatting import frequency, metres, plain, quantity
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, together
from linewright.core.nouns.choice import Fed, Shared
from linewright.present.charts.frame import LETTER_PX, KeyEntry, Sample, framed, in_manner, key, layer, told, wrapped
from linewright.present.charts.strips import Rows, across, down, headed, length_axis, room_for, words
from linewright.present.charts.theme import LIGHT, Palette, Spec

ROW_PX: Final = 56
NAME_PX: Final = 4
LOSS_PX: Final = 112
BAR_PX: Final = 9
"""Half the height of a bar."""
_ABOUT = mark(
    "Which piece goes to which run: pieces as bars on a scale of lengths, what is bought dashed, the loss beside it."
)


@in_manner
def assignment_chart(
    shared: Shared,
    lengths_m: Mapping[str, float] | None = None,
    *,
    width_px: int = 660,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return who gets which piece, one row a run, with its key.

    Parameters
    ----------
    shared : Shared
        The sharing-out.
    lengths_m : mapping, optional
        Length of each piece by its tag. Without it the pieces joined in one run are drawn as one bar, undivided.
    width_px : int
        Width of the whole figure.

    Returns
    -------
    dict
        A Vega-Lite specification. The upright beside a bar is where the route ends; what lies beyond is left in coils.

    >>> spec = assignment_chart(Shared((), (), 0.0, 0.0, 0.0, ""))
    >>> spec["vconcat"][1]["title"]["text"]
    ['Who gets which piece']
    """
    inner = width_px - 20
    height = ROW_PX * len(shared.fed)
    rows = [_sections(fed, (i + 0.62) * ROW_PX, lengths_m or {}) for i, fed in enumerate(shared.fed)]
    top_m = max([1.0, *(fed.route_m + fed.spare_m for fed in shared.fed)])
    room_px = room_for((text for fed in shared.fed for text in _losses(fed)), LOSS_PX)
    for row in (row for some in rows for row in some):
        row["word"] = _fitted(told(row["name"]), (row["to_m"] - row["from_m"]) / (1.02 * top_m) * (inner - room_px) - 6)
    axis = length_axis(0.0, 1.02 * top_m, 5)
    x, y = across("middle_m", (0.0, 1.02 * top_m), (NAME_PX, inner - room_px), axis), down(height)
    panel: Spec = {
        "title": headed(say("Who gets which piece"), _subtitle(shared), inner),
        "width": inner,
        "height": height,
        "layer": [
            *_bars([row for some in rows for row in some], x, y),
            *_routes(shared, x, y),
            *_words(shared, rows, y, (inner, room_px)),
        ],
    }
    return framed({"vconcat": [_key(shared, inner), panel]}, say(_ABOUT), palette)


def _subtitle(shared: Shared) -> str:
    gap = quantity(plain(shared.gap_db, 2), "dB")
    proved = say("proved best") if shared.gap_db < 1e-3 else say("at most {gap} from the best", gap=gap)
    price = together([plain(shared.price, 2), shared.currency])
    left = say("left on the shelf: {pieces}", pieces=", ".join(shared.left_over)) if shared.left_over else ""
    paid = say("to pay {price}", price=price) if shared.price else ""
    lost = say("{loss} weighted dB, {proved}", loss=plain(shared.weighted_loss_db, 2), proved=proved)
    return together([lost, paid, left], "; ")


def _sections(fed: Fed, y_px: float, lengths_m: Mapping[str, float]) -> Rows:
    """Return the bars of one run from the radio on: pieces as they are named, what is bought, what is missing."""
    bought_m = fed.bought.length_m if fed.bought else 0.0
    parts: list[tuple[str, str, float]] = []
    if fed.pieces and all(tag in lengths_m for tag in fed.pieces):
        parts = [("piece", tag, lengths_m[tag]) for tag in fed.pieces]
    elif fed.pieces:
        parts = [("piece", " + ".join(fed.pieces), fed.route_m + fed.spare_m - fed.short_m - bought_m)]
    if fed.bought:
        parts.append(("bought", say("buy {line}", line=fed.bought.line), bought_m))
    if fed.short_m > 0:
        parts.append(("short", say("not bridged"), fed.short_m))
    rows: Rows = []
    at_m = 0.0
    for kind, name, long_m in parts:
        rows.append(_bar(kind, name, at_m, at_m + long_m, y_px))
        at_m += long_m
    return rows


def _bar(kind: str, name: str, from_m: float, to_m: float, y_px: float) -> dict[str, Any]:
    return {
        "kind": kind, "name": name, "from_m": from_m, "to_m": to_m, "middle_m": (from_m + to_m) / 2,
        "y_px": y_px, "top_px": y_px - BAR_PX, "foot_px": y_px + BAR_PX,
        "said": together([name, metres(to_m - from_m)], ", "),
    }  # fmt: skip


def _bars(rows: Rows, x: Spec, y: Spec) -> list[Spec]:
    """Draw the bars, each outlined, with as much of its name as it has room for."""
    place = {
        "x": {**x, "field": "from_m"}, "x2": {"field": "to_m"}, "y": {**y, "field": "top_px"},
        "y2": {"field": "foot_px"}, "tooltip": [{"field": "said", "title": say("section")}],
    }  # fmt: skip
    kinds = {kind: [row for row in rows if row["kind"] == kind] for kind in ("piece", "bought", "short")}
    named = [row for row in rows if row["word"] and row["kind"] != "short"]
    text = {"x": x, "y": y, "text": {"field": "word"}}
    return [
        layer("rect", "belief-band", kinds["piece"], place),
        layer("rect", "alone-bar", kinds["piece"], place, filled=False),
        layer("rect", "spec-line", kinds["bought"], place, filled=False),
        layer("rule", "over-bar", kinds["short"], {**{k: place[k] for k in ("x", "x2", "tooltip")}, "y": y}),
        layer("text", "word", named, text, align="center", baseline="middle"),
    ]


def _fitted(name: str, room_px: float) -> str:
    """Return a name that fits, cut short where it must be, or nothing where not even three letters fit."""
    letters = int(room_px / LETTER_PX)
    if len(name) <= letters:
        return name
    return f"{name[: letters - 1]}…" if letters >= 3 else ""


def _routes(shared: Shared, x: Spec, y: Spec) -> list[Spec]:
    """Draw where each route ends."""
    rows = [
        {"at_m": fed.route_m, "top_px": (i + 0.62) * ROW_PX - 14, "foot_px": (i + 0.62) * ROW_PX + 14}
        for i, fed in enumerate(shared.fed)
    ]
    ends = {"x": {**x, "field": "at_m"}, "y": {**y, "field": "top_px"}, "y2": {"field": "foot_px"}}
    return [layer("rule", "base", rows, ends, strokeWidth=2)]


def _words(shared: Shared, bars: list[Rows], y: Spec, sizes_px: tuple[float, float]) -> list[Spec]:
    """Write each run's name over its bars, and its losses at the right."""
    width_px, room_px = sizes_px
    rows: Rows = []
    for i, fed in enumerate(shared.fed):
        worst, lines = _losses(fed)
        route = together([fed.run, metres(fed.route_m)], ", ")
        heading = together([route, _left(fed), _unread(bars[i])], "; ")
        name = wrapped(heading, width_px, most=1)[0]
        rows.append({"name": name, "loss": worst, "more": lines, "y_px": (i + 0.22) * ROW_PX})
    low = [{**row, "y_px": row["y_px"] + 0.40 * ROW_PX} for row in rows]
    at_px = width_px - room_px + 14
    return [
        words("word", rows, "name", NAME_PX, y),
        words("word", [row for row in low if row["loss"]], "loss", at_px, y),
        words("small", [{**row, "y_px": row["y_px"] + 15} for row in low if row["more"]], "more", at_px, y),
    ]


def _left(fed: Fed) -> str:
    """Return what is left in coils or not bridged, in words."""
    if fed.short_m > 0:
        return say("short by {length}", length=metres(fed.short_m))
    return say("{length} in coils", length=metres(fed.spare_m)) if fed.spare_m >= 0.05 else ""


def _unread(bars: Rows) -> str:
    """Return the names of the sections of a run where a bar has no room for its own."""
    sections = [bar for bar in bars if bar["kind"] != "short"]
    cut = any(bar["word"] != told(bar["name"]) for bar in sections)
    return together((bar["name"] for bar in sections), ", ") if cut else ""


def _losses(fed: Fed) -> tuple[str, str]:
    """Return what a run loses where it loses most, and between what it then most likely lies."""
    if not fed.losses:
        return say("not fed"), ""
    worst = max(fed.losses, key=lambda loss: loss.loss_db)
    lost = quantity(plain(worst.loss_db, 2), "dB")
    reach = say("{low} to {high}", low=plain(worst.loss_db_low, 2), high=plain(worst.loss_db_high, 2))
    return together([lost, frequency(float(f"{worst.frequency_hz:.4g}"))], ", "), quantity(reach, "dB")


def _key(shared: Shared, width_px: float) -> Spec:
    entries = [
        KeyEntry(say("a piece on hand"), (Sample("band", "belief-band", 6, 6),)),
        KeyEntry(say("where the route ends"), (Sample("bar", "base", 8, 8),)),
    ]
    if any(fed.bought for fed in shared.fed):
        entries.append(KeyEntry(say("to buy"), (Sample("span", "spec-line", 5), Sample("span", "spec-line", -5))))
    if any(fed.short_m > 0 for fed in shared.fed):
        entries.append(KeyEntry(say("not bridged"), (Sample("span", "over-bar"),)))
    return key([*entries, KeyEntry(say("at the right: most lost, with 95 % interval"), ())], width_px)
