"""The evidence ladder of a piece: the catalogue at the top, then each test in time order, the belief after each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from linewright.core.formatting import frequency, interval
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say, together
from linewright.present.charts.frame import KeyEntry, Sample, framed, in_manner, key, wrapped
from linewright.present.charts.strips import Rows, across, down, headed, points, room_for, whiskers, words
from linewright.present.charts.theme import LIGHT, Palette, Spec

Interval = tuple[float, float, float]
"""Low end, middle and high end, dB."""

NAME_PX: Final = 17
LANE_PX: Final = 14
RUNG_PX: Final = NAME_PX + 2 * LANE_PX + 12
_ABOUT: Final = mark("The evidence of a piece in time order: what each test says alone, and what is believed after it.")


@dataclass(frozen=True, slots=True)
class LadderStep:
    """One step of the ladder: what was heard and when, what is believed after it, what it says alone (dB).

    ``sheet`` is the key of the bench sheet it comes from, empty for anything else.
    """

    what: str
    on: str
    believed: Interval
    alone: Interval | None = None
    sheet: str = ""


@in_manner
def ladder_chart(
    title: str,
    rungs: Sequence[LadderStep],
    frequency_hz: float,
    *,
    width_px: int = 660,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return how knowledge of a piece grew, a rung a piece of evidence, with its key.

    Parameters
    ----------
    title : str
        The piece.
    rungs : sequence of Rung
        What is known before any test first, then each test, oldest first.
    frequency_hz : float
        Where the loss is looked at.
    width_px : int
        Width of the whole figure.
    palette : Palette
        The inks.
    manner : Manner
        How its words and figures are written.

    Returns
    -------
    dict
        A Vega-Lite specification. All rungs share one scale of decibels, from zero.

    >>> spec = ladder_chart("blue 7", [LadderStep("catalogue", "", (1.0, 2.0, 3.0))], 144.3e6)
    >>> spec["vconcat"][1]["title"]["subtitle"]
    ['loss at 144.3 MHz']
    """
    inner = width_px - 20
    rows = [row for i, rung in enumerate(rungs) for row in _rows(rung, i * RUNG_PX)]
    room_px = room_for(row["word"] for row in rows)
    height = RUNG_PX * max(1, len(rungs)) - 6
    panel: Spec = {
        "title": headed(title, say("loss at {frequency}", frequency=frequency(frequency_hz)), inner),
        "width": inner,
        "height": height,
        "layer": _layers(rungs, rows, height, (inner, room_px)),
    }
    return framed({"vconcat": [_key(inner, bool(rungs)), panel]}, say(_ABOUT), palette)


def _rows(rung: LadderStep, top_px: float) -> Rows:
    """Return the lanes of a rung: what it says alone, and under it what is believed after it."""
    lanes: list[tuple[str, Interval, float]] = [("believed", rung.believed, top_px + NAME_PX + 1.5 * LANE_PX)]
    if rung.alone is not None:
        lanes.insert(0, ("alone", rung.alone, top_px + NAME_PX + 0.5 * LANE_PX))
    return [_row(rung, lane, ends, y_px) for lane, ends, y_px in lanes]


def _row(rung: LadderStep, lane: str, ends: Interval, y_px: float) -> dict[str, Any]:
    low, middle, high = ends
    said = interval(middle, low, high)
    drawn = {"low": low, "middle": middle, "high": high}
    return {"lane": lane, "name": rung.what, "word": said, "said": said, "y_px": y_px, **drawn}


def _layers(rungs: Sequence[LadderStep], rows: Rows, height: float, sizes: tuple[float, float]) -> list[Spec]:
    width_px, room_px = sizes
    top_db = 1.06 * max([0.1, *(row["high"] for row in rows)])
    axis = {"title": "dB", "tickCount": 5}
    x, y = across("middle", (0.0, top_db), (4, width_px - room_px), axis), down(height)
    heads = [
        {"words": wrapped(together([rung.on, rung.what], "  "), width_px, most=1)[0], "y_px": i * RUNG_PX + NAME_PX / 2}
        for i, rung in enumerate(rungs)
    ]
    believed = [row for row in rows if row["lane"] == "believed"]
    alone = [row for row in rows if row["lane"] == "alone"]
    return [
        whiskers("alone-bar", alone, x, y),
        points("alone-point", alone, x, y),
        whiskers("belief-bar", believed, x, y),
        points("belief-dot", believed, x, y),
        words("word", heads, "words", 0, y),
        words("word", rows, "word", width_px - room_px + 10, y),
    ]


def _key(width_px: float, known: bool) -> Spec:
    if not known:
        return key([KeyEntry(say("Nothing is known of this piece yet."), ())], width_px)
    entries = [
        KeyEntry(say("that test alone"), (Sample("span", "alone-bar"), Sample("point", "alone-point"))),
        KeyEntry(say("believed after it"), (Sample("span", "belief-bar"), Sample("point", "belief-dot"))),
    ]
    return key(entries, width_px)
