"""A run drawn as it lies, from radio to antenna: each part its own slice of the band of power.

A slice is a box of 100 by 100 that stretches: along it the way, across it the power. Covered is what is still on its
way, the lighter edge its 95 % interval, what stays free has turned to heat. The run's list is the drawing: on a desk
its slices stand in a row, on a phone one under the other, so each is made for both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from linewright.core.formatting import capitalized, figure, frequency, interval, plain, power, quantity, swr
from linewright.core.locale import Manner
from linewright.core.messages import say, written
from linewright.core.nouns.plan import BandFinding, PartFinding
from linewright.present.charts.flow import Left, left_along, returned
from linewright.present.compose.plan_words import watts

BOX = 100.0
SURE_DB = 0.005
"""An interval narrower than this is not worth showing."""
BIG_DB = 0.7
"""A part that loses more is drawn taller on a phone."""
LEAST, MOST_GROWN = 12, 30
"""Widths of slices in tenths; the classes of the style sheet have these names."""


@dataclass(frozen=True, slots=True)
class Slice:
    """One part at one frequency: its words, and its shapes lying (``h``) and standing (``v``).

    ``grown`` is how wide it lies, in tenths. ``measured`` is None where nothing measured nor stated stands behind it
    but the catalogue, False where it is as stated.
    """

    number: int
    name: str
    grown: int
    big: bool
    loss: str
    reach: str
    heat: str
    measured: bool | None
    way_h: str
    edge_h: str
    way_v: str
    edge_v: str
    back: str
    over: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnBand:
    """One frequency drawn whole, in words and slices; ``thin`` is the whole way in one small box."""

    frequency: str
    hertz: str
    arrives: str
    reach: str
    given: str
    lost: str
    back: str
    seen: str
    seen_reach: str
    slices: tuple[Slice, ...]
    thin_way: str
    thin_edge: str
    cuts: tuple[float, ...]
    before: str = ""
    before_at: float | None = None


@dataclass(frozen=True, slots=True)
class Bar:
    """An interval drawn beside its figure, in per cent of the room it has."""

    low: float
    width: float
    value: float


def bar(value: float, low: float, high: float, top: float) -> Bar:
    """Return an interval as a bar on a scale from zero to ``top``.

    >>> bar(50.0, 25.0, 75.0, 100.0)
    Bar(low=25.0, width=50.0, value=50.0)
    """
    scale = 100.0 / top if top > 0 else 0.0
    ends = [round(min(100.0, max(0.0, scale * end)), 2) for end in (low, high)]
    return Bar(ends[0], round(max(1.0, ends[1] - ends[0]), 2), round(min(100.0, scale * value), 2))


def drawn_band(x: BandFinding, before: BandFinding | None = None) -> DrawnBand:
    """Return one frequency of a run as a drawing.

    Parameters
    ----------
    x : BandFinding
        The run as planned there.
    before : BandFinding, optional
        The run without what is tried; what arrived then is marked at the antenna's end.
    """
    grown = _grown(x.parts)
    places = [0.0]
    for g in grown:
        places.append(places[-1] + g / (sum(grown) or 1))
    left = left_along(x, places if x.parts else [0.0, 1.0])
    back = returned(x)
    slices = tuple(_slice(x, i, g, left[i], back[i : i + 2]) for i, g in enumerate(grown))
    arrives, reach = watts(x)
    returning = x.power_w * float(back[0])
    along = [p for own in left for p in own]
    changed = before is not None and abs(before.power_at_antenna_w - x.power_at_antenna_w) > 5e-3 * x.power_w
    return DrawnBand(
        frequency(x.frequency_hz),
        f"{x.frequency_hz:.0f}",
        arrives,
        reach,
        power(x.power_w, 4),
        quantity(plain(x.total_loss_db, 2), "dB"),
        say("{power} W back", power=plain(returning, 1)) if returning >= 0.05 else "",
        swr(x.swr_at_radio),
        _swing(x),
        slices,
        *_curves(along, x.power_w)[:2],
        tuple(round(BOX * p, 2) for p in places[1:-1]),
        say("was {arrives} {reach}", arrives=watts(before)[0], reach=watts(before)[1]) if before and changed else "",
        round(BOX * min(1.0, before.power_at_antenna_w / x.power_w), 2) if before and changed else None,
    )


def _swing(x: BandFinding) -> str:
    low, high = x.swr_at_radio_low, x.swr_at_radio_high
    return say("({low} to {high})", low=swr(low), high=swr(high)) if high - low >= 0.1 else ""


def _grown(parts: Sequence[PartFinding]) -> list[int]:
    """Return how wide each part lies, in tenths: lines grow with their length, nothing hides."""
    whole = sum(p.length_m or 0.0 for p in parts) or 1.0
    return [LEAST + 2 * round((MOST_GROWN - LEAST) * (p.length_m or 0.0) / whole / 2) for p in parts]


def _reach(manner: Manner, value: float, low: float, high: float) -> str:
    """Return the interval of a loss in brackets, its decibels standing beside it."""
    return written(interval(value, low, high), manner).partition(" dB ")[2]


def _slice(x: BandFinding, i: int, grown: int, own: Sequence[Left], back: Sequence[float]) -> Slice:
    p = x.parts[i]
    sure = p.loss_db_high - p.loss_db_low < SURE_DB
    words = quantity(plain(p.loss_db, 2), "dB")
    reach = "" if sure else figure(_reach, p.loss_db, p.loss_db_low, p.loss_db_high)
    low = [100.0 * (1.0 - min(1.0, share)) for share in back]
    return Slice(
        i + 1,
        p.name,
        grown,
        p.loss_db >= BIG_DB,
        words,
        reach,
        quantity(plain(p.power_in_w - p.power_out_w, 1), "W"),
        _measured(p),
        *_curves(own, x.power_w),
        f"M0 100V{low[0]:.1f}L100 {low[1]:.1f}V100Z",
        p.beyond("known"),
    )


def _measured(p: PartFinding) -> bool | None:
    if p.kind == "line":
        return True if p.basis and "catalogue" not in p.basis else None
    return None if p.kind == "connector" else False


def _curves(along: Sequence[Left], power_w: float) -> tuple[str, str, str, str]:
    """Return what is left along a stretch as closed outlines: lying along it, low and high, and standing beside it."""
    a, b = along[0].place, along[-1].place
    scale = BOX / ((b - a) or 1.0)
    places = [f"{scale * (p.place - a):.1f}" for p in reversed(along)]
    ends = [
        [f"{BOX * min(1.0, w / power_w):.2f}" for w in left]
        for left in ([p.low_w for p in reversed(along)], [p.high_w for p in reversed(along)])
    ]
    lying = ["M0 0H100" + "".join(map("L{} {}".format, places, left)) + "Z" for left in ends]
    standing = ["M0 0V100" + "".join(map("L{} {}".format, left, places)) + "Z" for left in ends]
    return lying[0], lying[1], standing[0], standing[1]


def takes_most(x: BandFinding) -> str:
    """Return which part takes most on a band, in a sentence."""
    weakest = max(x.parts, key=lambda part: part.loss_db)
    loss, total = plain(weakest.loss_db, 2), plain(x.total_loss_db, 2)
    return say("{part} takes most: {loss} of {total} dB.", part=capitalized(weakest.name), loss=loss, total=total)
