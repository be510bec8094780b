"""What the line costs in reception: signal-to-noise lost on each band, before a change and after it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from linewright.core.formatting import frequency, interval, plain, quantity
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, together
from linewright.core.nouns.plan import Budget, ReceptionFinding
from linewright.present.charts.frame import KeyEntry, Sample, bands, framed, in_manner, key
from linewright.present.charts.strips import Rows, across, down, headed, points, room_for, upright, whiskers, words
from linewright.present.charts.theme import LIGHT, Palette, Spec

LANE_PX: Final = 17
PAD_PX: Final = 8
NAME_PX: Final = 74
LEAST_TOP_DB: Final = 1.0
NOTHING_DB: Final = 0.1
"""What surely lies below is not told in figures."""
STYLES: Final = {"now": ("belief-bar", "belief-dot"), "before": ("alone-bar", "alone-point")}
_ABOUT: Final = mark("Signal-to-noise lost between antenna and receiver by band, with 95 % interval.")


@in_manner
def reception_chart(
    budget: Budget,
    before: Budget | None = None,
    *,
    width_px: int = 660,
    keyed: bool = True,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return what a run takes from reception, a row a band, with its key.

    Parameters
    ----------
    budget : Budget
        A run as planned.
    before : Budget, optional
        The same run before a change; its figures stand in a lane beneath.
    width_px : int
        Width of the whole figure.
    keyed : bool
        Whether the key stands over it; else it is drawn elsewhere, by ``reception_key``.
    palette : Palette
        The inks.
    manner : Manner
        How its words and figures are written.

    Returns
    -------
    dict
        A Vega-Lite specification. The loss is against a lossless line into the same receiver, dB, from zero.
    """
    inner = width_px - 20
    lanes = {"now": _heard(budget), **({"before": _heard(before)} if before else {})}
    everywhere = bands(f for lane in lanes.values() for f in lane)
    band_px = len(lanes) * LANE_PX + PAD_PX
    rows = [
        _row(lane, f, lanes[lane][f], everywhere.index(f) * band_px + (i + 0.5) * LANE_PX)
        for i, lane in enumerate(lanes)
        for f in sorted(lanes[lane])
    ]
    panel = _panel(rows, [(f, (i + 0.5) * band_px - PAD_PX / 2) for i, f in enumerate(everywhere)], inner)
    title = headed(say("Lost on reception, {run}", run=budget.run), say("signal-to-noise, dB"), inner)
    over = [reception_key(inner, list(lanes), bool(rows))] if keyed else []
    return framed({"vconcat": [*over, {"title": title, **panel}]}, say(_ABOUT), palette)


def _heard(budget: Budget) -> dict[float, ReceptionFinding]:
    return {x.frequency_hz: x.reception for x in budget.bands if x.reception is not None}


def _row(lane: str, frequency_hz: float, heard: ReceptionFinding, y_px: float) -> dict[str, Any]:
    low, high = heard.reception_loss_db_low, heard.reception_loss_db_high
    said = interval(heard.reception_loss_db, low, high)
    if high < NOTHING_DB:
        said = say("under {limit}", limit=quantity(plain(NOTHING_DB, 1), "dB"))
    lost = {"middle": heard.reception_loss_db, "low": low, "high": high}
    return {"lane": lane, "name": frequency(frequency_hz), "y_px": y_px, "word": said, "said": said, **lost}


def _panel(rows: Rows, names: Sequence[tuple[float, float]], width_px: float) -> Spec:
    height = max([LANE_PX, *(y + LANE_PX for _, y in names)])
    low_db = min([0.0, *(row["low"] for row in rows)])
    top_db = 1.06 * max([LEAST_TOP_DB, *(row["high"] for row in rows)])
    room_px = room_for(row["word"] for row in rows)
    axis = {"title": "dB", "tickCount": 5}
    x, y = across("middle", (low_db, top_db), (NAME_PX, width_px - room_px), axis), down(height)
    named = [{"name": frequency(f), "y_px": at} for f, at in names]
    layers = [upright("base", 0.0, x, height)]
    for lane, (bar, dot) in STYLES.items():
        some = [row for row in rows if row["lane"] == lane]
        layers += [whiskers(bar, some, x, y), points(dot, some, x, y)]
    layers += [
        words("word", named, "name", NAME_PX - 12, y, right=True),
        words("word", rows, "word", width_px - room_px + 10, y),
    ]
    return {"width": width_px, "height": height, "layer": layers}


def reception_key(width_px: float, lanes: Sequence[str] = ("now",), known: bool = True) -> Spec:
    """Return the key of drawings of what is lost on reception, a view of its own."""
    if not known:
        return key([KeyEntry(say("No figures for reception here."), ())], width_px)
    texts = {"now": say("as planned"), "before": say("before the change")}
    entries = [
        KeyEntry(together([texts[lane], say("with 95 % interval")], ", "), (Sample("span", bar), Sample("point", dot)))
        for lane, (bar, dot) in STYLES.items()
        if lane in lanes
    ]
    return key(entries, width_px)
