"""Power from radio to antenna: a band a frequency, as wide as the power still on its way, part by part."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

from linewright.core.formatting import frequencies, frequency, interval, plain, power, quantity
from linewright.core.formulas.mismatch import reflection_from_swr
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, together
from linewright.core.nouns.plan import BandFinding, Budget, PartFinding
from linewright.present.charts.frame import LETTER_PX, KeyEntry, Sample, framed, in_manner, key, layer, told, wrapped
from linewright.present.charts.strips import Rows, down, headed, words
from linewright.present.charts.theme import LIGHT, Palette, Spec

# The shapes of a flow: where parts lie along the drawing, and what power is left at each place of it

LEAST_SHARE = 0.075
"""No part is narrower, unless there are so many that all are."""
STEPS = 8


@dataclass(frozen=True, slots=True)
class Left:
    """The power left at a place of the run, W, with its 95 % interval."""

    place: float
    power_w: float
    low_w: float
    high_w: float


def edges(parts: Sequence[PartFinding]) -> list[float]:
    """Return where parts begin and end: lines as long as they are, other parts as narrow as may be."""
    if not parts:
        return [0.0, 1.0]
    least = min(LEAST_SHARE, 0.9 / len(parts))
    lengths = [p.length_m or 0.0 for p in parts]
    whole, free = sum(lengths), 1.0 - least * len(parts)
    places = [0.0]
    for length in lengths:
        places.append(places[-1] + least + free * (length / whole if whole else 1.0 / len(parts)))
    return [*places[:-1], 1.0]


def left_along(x: BandFinding, places: Sequence[float]) -> list[list[Left]]:
    """Return the power left along each part: within one it falls by equal decibels."""
    if not x.parts:
        ends = [(x.power_w,) * 3, (x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high)]
        return [[Left(place, *power) for place, power in zip((0.0, 1.0), ends, strict=True)]]
    reach = _reach_db(x)
    return [_along(part, places[i : i + 2], reach[i : i + 2]) for i, part in enumerate(x.parts)]


def _along(part: PartFinding, ends: Sequence[float], reach_db: Sequence[tuple[float, float]]) -> list[Left]:
    (a, b), ((down0, up0), (down1, up1)) = ends, reach_db
    ratio = part.power_out_w / part.power_in_w if part.power_in_w > 0 else 0.0
    found = []
    for step in range(STEPS + 1):
        t = step / STEPS
        power = part.power_in_w * ratio**t
        down, up = down0 + t * (down1 - down0), up0 + t * (up1 - up0)
        found.append(Left(a + t * (b - a), power, power * 10 ** (-down / 10), power * 10 ** (up / 10)))
    return found


def _reach_db(x: BandFinding) -> list[tuple[float, float]]:
    """Return how far power may lie below and above at each joint, dB."""
    squares = [0.0]
    for part in x.parts:
        squares.append(squares[-1] + (part.loss_db_high - part.loss_db_low) ** 2)
    down = max(0.0, x.total_loss_db_high - x.total_loss_db)
    up = max(0.0, x.total_loss_db - x.total_loss_db_low)
    whole = squares[-1] or 1.0
    return [(down * (s / whole) ** 0.5, up * (s / whole) ** 0.5) for s in squares]


def returned(x: BandFinding) -> list[float]:
    """Return at each joint the share of the wave that comes back, by the SWR seen there."""
    seen = [part.swr_in or 1.0 for part in x.parts] or [x.swr_at_radio]
    return [float(reflection_from_swr(max(1.0, swr)) ** 2) for swr in (*seen, x.swr_at_antenna)]


# Power from radio to antenna: a band a frequency, as wide as the power still on its way, part by part

MOST_ROWS: Final = 8
"""Bands drawn at most: those that lose most."""
HEAD_PX: Final = 18
BACK_PX: Final = 14
"""A wave that comes back whole is drawn so high."""
DEEP_PX: Final = 58
GAP_PX: Final = 20
NAMES_PX: Final = 18
NOTED_DB: Final = 0.1
"""A loss from here on has its decibels written at its part, where they have room."""
_ABOUT: Final = mark(
    "Power from radio to antenna: a band a frequency, as wide as the power still on its way. What turns to heat leaves "
    "downward; the wave that comes back stands on top."
)


@in_manner
def flow_chart(  # noqa: PLR0913 - how it is laid out
    budget: Budget,
    *,
    width_px: int = 660,
    most: int = MOST_ROWS,
    deep_px: int = DEEP_PX,
    keyed: bool = True,
    named: bool = True,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return where a run's power goes, a band a frequency from radio (left) to antenna (right), with its key.

    Parameters
    ----------
    budget : Budget
        A run as planned.
    width_px : int
        Width of the whole figure.
    most : int
        Bands drawn at most: those that lose most.
    deep_px : int
        Height of a band where no power is lost yet.
    keyed : bool
        Whether the key stands over it; else it is drawn elsewhere, by ``flow_key``.
    named : bool
        Whether the parts are listed beneath; else a table beside it has them by their numbers.
    palette : Palette
        The inks.
    manner : Manner
        How its words and figures are written.

    Returns
    -------
    dict
        A Vega-Lite specification. All bands share one scale of watts. Parts stand by number, in order; their names
        are listed beneath.

    >>> flow_chart(Budget("mast", ()))["vconcat"][1]["title"]["text"]
    ['Power from radio to antenna, mast']
    """
    inner = width_px - 20
    gravest = sorted(range(len(budget.bands)), key=lambda i: -budget.bands[i].total_loss_db)[:most]
    shown = [budget.bands[i] for i in sorted(gravest)]
    views = [*([flow_key(inner)] if keyed else []), _view(budget, shown, inner, deep_px)]
    if named and shown and shown[0].parts:
        views.append(_names(shown[0], inner))
    return framed({"vconcat": views, "spacing": 12}, say(_ABOUT), palette)


def _view(budget: Budget, shown: Sequence[BandFinding], width_px: int, deep_px: int) -> Spec:
    """Return the bands, one under the other, with the parts' numbers over them."""
    row_px = HEAD_PX + BACK_PX + deep_px + GAP_PX * deep_px / DEEP_PX
    height = NAMES_PX + row_px * max(1, len(shown))
    most_w = max((x.power_w for x in shown), default=1.0) or 1.0
    shapes: dict[str, Rows] = {name: [] for name in _SHAPES}
    texts: dict[str, Rows] = {"head": [], "note": [], "number": []}
    for i, x in enumerate(shown):
        top_px = NAMES_PX + i * row_px + HEAD_PX + BACK_PX
        scale = _Scale(width_px, deep_px / most_w, deep_px)
        _draw(x, shapes, top_px, scale)
        texts["head"].append(
            {"words": wrapped(_arrives(x), width_px, most=1)[0], "y_px": top_px - BACK_PX - HEAD_PX / 2}
        )
        texts["note"] += _notes(x, top_px, scale)
    places = edges(shown[0].parts) if shown and shown[0].parts else []
    texts["number"] = [
        {"words": str(i), "x_px": width_px * (a + b) / 2, "y_px": NAMES_PX / 2}
        for i, (a, b) in enumerate(pairwise(places), start=1)
    ]
    return {
        "title": headed(say("Power from radio to antenna, {run}", run=budget.run), _left_out(budget, shown), width_px),
        "width": width_px,
        "height": height,
        "layer": _layers(shapes, texts, width_px, height),
    }


_SHAPES: Final = {"heat": "heat", "sure": "power", "perhaps": "power-edge", "back": "back"}
"""Shapes that are areas, in the order they are drawn, by their style."""


def _layers(shapes: dict[str, Rows], texts: dict[str, Rows], width_px: int, height: float) -> list[Spec]:
    x, y = _across(width_px), down(height)
    area = {"x": x, "y": y, "y2": {"field": "foot_px"}, "detail": {"field": "shape"}}
    tip = {"tooltip": [{"field": "said", "title": told(say("part"))}]}
    middles = [{**row, "y_px": row["middle_px"]} for row in shapes["perhaps"]]
    joints = [row for row in shapes["sure"] if row["joint"]]
    centred = {"x": x, "y": y, "text": {"field": "words"}}
    return [
        *(
            layer("area", style, shapes[name], area | (tip if name == "heat" else {}))
            for name, style in _SHAPES.items()
        ),
        layer("rule", "joint", joints, {"x": x, "y": y, "y2": {"field": "foot_px"}}),
        layer("line", "belief-line", middles, {"x": x, "y": y, "detail": {"field": "shape"}}, strokeWidth=1.6),
        words("word", texts["head"], "words", 0, y),
        layer("text", "small", texts["number"], centred, align="center", baseline="middle", fontWeight="bold"),
        layer("text", "word", texts["note"], centred, align="center", baseline="middle"),
    ]


def _across(width_px: float) -> Spec:
    scale = {"domain": [0, width_px], "nice": False}
    return {"field": "x_px", "type": "quantitative", "axis": None, "scale": scale}


@dataclass(frozen=True, slots=True)
class _Scale:
    """Pixels of the whole width, of a watt, and of the most power."""

    wide_px: float
    px_per_w: float
    deep_px: float

    def deep(self, power_w: float) -> float:
        """Return how high a power is drawn."""
        return min(self.deep_px, self.px_per_w * power_w)


def _draw(x: BandFinding, shapes: dict[str, Rows], top_px: float, scale: _Scale) -> None:
    """Add the shapes of one frequency: places across in pixels, power down from ``top_px``."""
    places = edges(x.parts)
    names = [
        say("{part}: {loss}", part=p.name, loss=interval(p.loss_db, p.loss_db_low, p.loss_db_high)) for p in x.parts
    ] or [""]

    for i, along in enumerate(left_along(x, places)):
        whole = top_px + scale.deep(along[0].power_w)
        for at in along:
            row = {"x_px": scale.wide_px * at.place, "shape": f"{x.frequency_hz}"}
            low, middle, high = (top_px + scale.deep(w) for w in (at.low_w, at.power_w, at.high_w))
            heat = {"shape": f"{x.frequency_hz} {i}", "said": names[i], "y_px": middle, "foot_px": whole}
            shapes["heat"].append(row | heat)
            shapes["sure"].append({**row, "y_px": top_px, "foot_px": low, "joint": i > 0 and at is along[0]})
            shapes["perhaps"].append({**row, "y_px": low, "foot_px": high, "middle_px": middle})
    shapes["back"] += [
        {
            "x_px": scale.wide_px * place,
            "y_px": top_px - BACK_PX * back,
            "foot_px": top_px,
            "shape": f"{x.frequency_hz}",
        }
        for place, back in zip(places, returned(x), strict=True)
    ]


def _notes(x: BandFinding, top_px: float, scale: _Scale) -> list[dict[str, Any]]:
    """Return the decibels of each part where they have room, in the middle of the power that leaves it."""
    found = []
    for part, (a, b) in zip(x.parts, pairwise(edges(x.parts)), strict=False):
        said = told(quantity(plain(part.loss_db, 1), "dB"))
        deep_px = scale.deep(part.power_out_w)
        if part.loss_db >= NOTED_DB and LETTER_PX * len(said) < scale.wide_px * (b - a) and deep_px > 12:
            found.append({"words": said, "x_px": scale.wide_px * (a + b) / 2, "y_px": top_px + deep_px / 2})
    return found


def _arrives(x: BandFinding) -> str:
    arrives = interval(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, "W")
    return say(
        "{frequency}: {arrives} of {given} arrive",
        frequency=frequency(x.frequency_hz), arrives=arrives, given=power(x.power_w, 4),
    )  # fmt: skip


def _left_out(budget: Budget, shown: Sequence[BandFinding]) -> str:
    rest = [x.frequency_hz for x in budget.bands if x not in shown]
    if not rest:
        return say("all bands on one scale of watts")
    return say("all bands on one scale of watts; not drawn: {frequencies}", frequencies=frequencies(rest))


def flow_key(width_px: float, abreast: int = 1) -> Spec:
    """Return the key of drawings of power on its way, a view of its own."""
    power = (Sample("band", "power", 6, 0), Sample("band", "power-edge", 0, 4), Sample("span", "belief-line"))
    entries = [
        KeyEntry(say("power still on its way, lighter: 95 % interval"), power),
        KeyEntry(say("turned to heat"), (Sample("band", "heat", 5, 5),)),
        KeyEntry(say("share of the wave that comes back"), (Sample("band", "back", 2, 2),)),
    ]
    return key(entries, width_px, abreast)


def _names(x: BandFinding, width_px: float) -> Spec:
    """Return the names of the parts by number, in as many columns as the longest allows."""
    return key([KeyEntry(together([str(i), part.name], ": "), ()) for i, part in enumerate(x.parts, start=1)], width_px)
