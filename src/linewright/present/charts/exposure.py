"""How far to keep away from an antenna: a panel a limit, a row a band, one lane each for the public and at work."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from linewright.catalogue.cautions import cautions
from linewright.core.formatting import frequency, reach
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, together
from linewright.core.nouns.exposure import ExposureFinding
from linewright.core.nouns.plan import Budget
from linewright.present.charts.frame import (
    KeyEntry,
    Sample,
    bands,
    columns_of,
    framed,
    in_manner,
    in_order,
    key,
    wrapped,
)
from linewright.present.charts.strips import (
    GAP_PX,
    Rows,
    across,
    columns_in,
    down,
    headed,
    length_axis,
    points,
    room_for,
    whiskers,
    words,
)
from linewright.present.charts.theme import LIGHT, Palette, Spec

LANE_PX: Final = 17
BAND_PX: Final = 2 * LANE_PX + 10
NAME_PX: Final = 74
LEAST_PX: Final = 140
"""No scale is narrower where panels stand abreast."""
TICK_PX: Final = 40
LEAST_TOP_M: Final = 0.5
STYLES: Final = {"public": ("belief-bar", "belief-dot"), "occupational": ("alone-bar", "alone-point")}
"""Lanes from the top, with the style of each."""
CAUTION_LINES: Final = 8
"""A caution is never cut short."""
_ABOUT: Final = mark("How far to keep away from the antenna, by band and limit: an estimate.")


@in_manner
def exposure_chart(
    budget: Budget,
    *,
    width_px: int = 660,
    keyed: bool = True,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return the compliance distances of a run, one panel a limit, with its key and its caution.

    Parameters
    ----------
    budget : Budget
        A run as planned; bands without a known gain or a limit are left out.
    width_px : int
        Width of the whole figure; below 520 px the panels stand in one column.
    keyed : bool
        Whether key and caution stand over it; else they stand elsewhere, the key by ``exposure_key``.
    palette : Palette
        The inks.
    manner : Manner
        How its words and figures are written.

    Returns
    -------
    dict
        A Vega-Lite specification. Distances in metres or feet, from zero, on one scale in all panels. A distance that
        would lie inside the near field, where the far-field formula does not hold, has no mark: words say so.
    """
    known = [(x.frequency_hz, e) for x in budget.bands for e in x.exposure]
    limits = in_order(e.limit for _, e in known)
    words_px = room_for(_said(e) for _, e in known)
    columns, inner = columns_in(width_px, len(limits), least_px=NAME_PX + LEAST_PX + words_px)
    panels = [_panel(limit, known, inner) for limit in limits]
    entries = [*(_samples(known) if keyed else []), *_lacking(known)]
    body: Spec = {
        "title": {
            "text": wrapped(say("How far to keep away, {run}", run=budget.run), width_px - 20, letter_px=7.6),
            "subtitle": wrapped(together(cautions("exposure")) if keyed else "", width_px - 20, most=CAUTION_LINES),
        },
        "vconcat": [
            *([key(entries, width_px - 20)] if entries else []),
            *([columns_of(panels, columns, GAP_PX)] if panels else []),
        ],
    }
    return framed(body, say(_ABOUT), palette)


def _panel(limit: str, known: Sequence[tuple[float, ExposureFinding]], width_px: int) -> Spec:
    everywhere = bands(f for f, _ in known)
    own = [(f, e) for f, e in known if e.limit == limit]
    rows = [_row(e, f, everywhere.index(f) * BAND_PX) for f, e in own]
    height = BAND_PX * len(everywhere)
    top_m = 1.06 * max([LEAST_TOP_M, *(e.distance_m_high for _, e in known if e.distance_m_high is not None)])
    room_px = room_for(row["word"] for row in rows)
    ticks = max(2, int((width_px - room_px - NAME_PX) / TICK_PX))
    x = across("middle", (0.0, top_m), (NAME_PX, width_px - room_px), length_axis(0.0, top_m, min(ticks, 6)))
    y = down(height)
    names = [{"y_px": (i + 0.5) * BAND_PX - 5, "name": frequency(f)} for i, f in enumerate(everywhere)]
    layers = [
        *(
            one
            for who, styles in STYLES.items()
            for one in _lane([r for r in rows if r["who"] == who and "middle" in r], styles, x, y)
        ),
        words("word", names, "name", NAME_PX - 12, y, right=True),
        words("word", rows, "word", width_px - room_px + 10, y),
    ]
    return {"title": headed(limit, "", width_px), "width": width_px, "height": height, "layer": layers}


def _lane(rows: Rows, styles: tuple[str, str], x: Spec, y: Spec) -> list[Spec]:
    return [whiskers(styles[0], rows, x, y), points(styles[1], rows, x, y)]


def _row(e: ExposureFinding, frequency_hz: float, top_px: float) -> dict[str, Any]:
    lane = list(STYLES).index(e.who) if e.who in STYLES else len(STYLES) - 1
    said = _said(e)
    row = {"who": e.who, "y_px": top_px + (lane + 0.5) * LANE_PX, "name": frequency(frequency_hz), "word": said}
    if e.distance_m is None:
        return row
    return {**row, "said": said, "low": 0.0, "high": e.distance_m_high, "middle": e.distance_m}


def _said(e: ExposureFinding) -> str:
    if e.distance_m is None or e.distance_m_high is None:
        return say("no figure")
    return reach(e.distance_m if e.distance_m_low is None else e.distance_m_low, e.distance_m_high)


def _samples(known: Sequence[tuple[float, ExposureFinding]]) -> list[KeyEntry]:
    if not known:
        return [KeyEntry(say("Nothing can be said: no limit that was asked for holds here."), ())]
    return list(_ENTRIES) if any(e.distance_m is not None for _, e in known) else []


_ENTRIES: Final = (
    KeyEntry(say("the public"), (Sample("span", "belief-bar"), Sample("point", "belief-dot"))),
    KeyEntry(say("at work, trained and aware"), (Sample("span", "alone-bar"), Sample("point", "alone-point"))),
    KeyEntry(say("dot: with the power that is believed; bar: with the upper end of its interval (95 %)"), ()),
)


def exposure_key(width_px: float, abreast: int = 1) -> Spec:
    """Return the key of drawings of distances to keep, a view of its own."""
    return key(_ENTRIES, width_px, abreast)


def _lacking(known: Sequence[tuple[float, ExposureFinding]]) -> list[KeyEntry]:
    """Return what is needed where there is no figure."""
    lacking = [
        KeyEntry(
            say("no figure: inside the near field the formula does not hold; what is needed: {needs}", needs=n), ()
        )
        for n in in_order(e.needs for _, e in known if e.distance_m is None and e.in_near_field)
    ]
    return lacking + [
        KeyEntry(say("no figure; what is needed: {needs}", needs=n), ())
        for n in in_order(e.needs for _, e in known if e.distance_m is None and not e.in_near_field)
    ]
