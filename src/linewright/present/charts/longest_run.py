"""How long each line may be on each band within the limit: a panel a line, a row a band."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from linewright.core.formatting import digits, frequency, metres, quantity
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import EITHER, listed, mark, say
from linewright.core.nouns.choice import Choice, LongestRun
from linewright.present.charts.frame import (
    KeyEntry,
    Sample,
    bands,
    columns_of,
    framed,
    in_manner,
    in_order,
    key,
    length_unit,
    metres_per_unit,
)
from linewright.present.charts.strips import (
    GAP_PX,
    across,
    columns_in,
    down,
    headed,
    length_labels,
    points,
    upright,
    whiskers,
    words,
)
from linewright.present.charts.theme import LIGHT, Palette, Spec

ROW_PX: Final = 20
NAME_PX: Final = 74
WORDS_PX: Final = 62
SPAN: Final = 12.0
"""Lengths are drawn from a twelfth of the run asked for to twelve times it; the words still give the figure beyond."""
MARKS: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)
_ABOUT = mark(
    "Longest run of each line on each band within the loss limit, with 95 % interval; the run asked for upright."
)


@in_manner
def longest_run_chart(
    choice: Choice,
    lines: Sequence[str] | None = None,
    *,
    width_px: int = 660,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return the longest run of every line on every band, one panel a line, with its key.

    Parameters
    ----------
    choice : Choice
        What was answered.
    lines : sequence of str, optional
        The lines to draw; all, if not stated.
    width_px : int
        Width of the whole figure; below 520 px the panels stand in one column.

    Returns
    -------
    dict
        A Vega-Lite specification; lengths stand on a logarithmic scale, alike in every panel.
    """
    drawn = [line for line in in_order(x.line for x in choice.longest) if lines is None or line in lines]
    columns, inner = columns_in(width_px, len(drawn))
    panels = [_panel(choice, line, inner) for line in drawn]
    body: Spec = {"vconcat": [_key(width_px - 20), *([columns_of(panels, columns, GAP_PX)] if panels else [])]}
    return framed(body, say(_ABOUT), palette)


def _panel(choice: Choice, line: str, width_px: int) -> Spec:
    everywhere = bands(x.frequency_hz for x in choice.longest)
    found = {x.frequency_hz: x for x in choice.longest if x.line == line}
    limits = in_order(quantity(digits(x.limit_db), "dB") for x in found.values())
    domain, height = _domain(choice), ROW_PX * len(everywhere)
    rows = [_row(found.get(f), f, (i + 0.5) * ROW_PX, choice.length_m) for i, f in enumerate(everywhere)]
    marks_m = [m * metres_per_unit() for m in MARKS]
    axis = {
        "values": [m for m in marks_m if domain[0] <= m <= domain[1]], "labelExpr": length_labels(),
        "title": length_unit(),
    }  # fmt: skip
    x, y = across("middle", domain, (NAME_PX, width_px - WORDS_PX), axis, log=True), down(height)
    layers = [upright("base", choice.length_m, x, height)]
    for reaches, bar, dot in ((True, "belief-bar", "belief-dot"), (False, "over-bar", "none-mark")):
        some = [row for row in rows if row["reaches"] is reaches and _lies(row, domain)]
        layers += [whiskers(bar, [_cut(row, domain) for row in some], x, y), points(dot, some, x, y)]
    layers += [
        words("word", rows, "name", NAME_PX - 12, y, right=True),
        words("word", rows, "word", width_px - WORDS_PX + 10, y),
    ]
    return {"title": headed(line, say("within {limits}", limits=listed(limits, EITHER)), width_px), "width": width_px,
            "height": height, "layer": layers}  # fmt: skip


def _row(found: LongestRun | None, band_hz: float, y_px: float, asked_m: float) -> dict[str, Any]:
    row: dict[str, Any] = {
        "name": frequency(band_hz),
        "y_px": y_px,
        "reaches": None,
        "word": say("not known"),
        "said": "",
    }
    if found is None:
        return row
    said = say(
        "{length}, {low} to {high}", length=metres(found.length_m), low=metres(found.length_m_low),
        high=metres(found.length_m_high),
    )  # fmt: skip
    word = metres(float(f"{found.length_m:.3g}"))
    return row | {
        "reaches": found.length_m >= asked_m, "middle": found.length_m, "low": found.length_m_low,
        "high": found.length_m_high, "word": word if found.length_m > 0 else say("none"), "said": said,
    }  # fmt: skip


def _domain(choice: Choice) -> tuple[float, float]:
    """Return the lengths drawn: those there are and the run asked for, no further off than ``SPAN`` times it."""
    asked = max(choice.length_m, 0.1)
    ends = [m for x in choice.longest for m in (x.length_m_low, x.length_m_high) if m > 0]
    return max(asked / SPAN, 0.9 * min([asked / 2, *ends])), min(asked * SPAN, 1.1 * max([asked * 2, *ends]))


def _lies(row: dict[str, Any], domain: tuple[float, float]) -> bool:
    return bool(domain[0] <= row["middle"] <= domain[1])


def _cut(row: dict[str, Any], domain: tuple[float, float]) -> dict[str, Any]:
    return {**row, "low": max(row["low"], domain[0]), "high": min(row["high"], domain[1])}


def _key(width_px: float) -> Spec:
    entries = [
        KeyEntry(say("reaches, with 95 % interval"), (Sample("span", "belief-bar"), Sample("point", "belief-dot"))),
        KeyEntry(say("too short on average"), (Sample("span", "over-bar"), Sample("point", "none-mark"))),
        KeyEntry(say("the run asked for"), (Sample("bar", "base", 8, 8),)),
    ]
    return key(entries, width_px)
