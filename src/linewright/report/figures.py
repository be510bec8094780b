"""The charts of reports: each laid out in the manner asked for, in the inks of white paper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from linewright.charts import key, strips
from linewright.charts.flow import flow_chart
from linewright.charts.loss import loss_panel
from linewright.charts.parts import framed
from linewright.charts.piece import piece_chart
from linewright.charts.theme import PRINT, Spec
from linewright.charts.told import in_manner, told
from linewright.charts.trust import trust_panel
from linewright.model.belief import Belief
from linewright.model.bench import BenchSheet, Piece
from linewright.model.plan import Budget
from linewright.model.result import BenchResult
from linewright.report.piece_tables import Step
from linewright.units.manner import ENGLISH, Manner
from linewright.units.said import say
from linewright.units.writing import interval

STEP_PX, ALONE_PX, NAME_PX, WORDS_PX, MOST = 34, 12, 180, 150, 28
"""A step of a ladder: its height, how far below the belief its own test stands, room for its name and its figures."""
PANEL_PX = 300
"""Width of one panel: two stand abreast on paper, one on a phone."""
WHOLE_PX = 600
"""Width of a drawing that takes the page."""


@in_manner
def loss_key(meters: Sequence[str], *, manner: Manner = ENGLISH) -> Spec:
    """Return the key of the drawings of loss."""
    return framed(key.loss_key(meters, PANEL_PX), "", PRINT)


@in_manner
def loss(result: BenchResult, sheet: BenchSheet, tag: str, *, manner: Manner = ENGLISH) -> Spec:
    """Return the loss of one piece against frequency."""
    return framed(loss_panel(result, tag, sheet, width_px=PANEL_PX), "", PRINT)


@in_manner
def trust(result: BenchResult, sheet: BenchSheet, meter: str, *, manner: Manner = ENGLISH) -> Spec:
    """Return how far to believe one meter, by band."""
    return framed(trust_panel(result, meter, sheet, width_px=PANEL_PX), "", PRINT)


def piece(noun: Piece, belief: Belief, *, manner: Manner = ENGLISH) -> Spec:
    """Return the believed loss of a piece against frequency."""
    return piece_chart(noun, belief, width_px=WHOLE_PX, palette=PRINT, manner=manner)


@in_manner
def ladder(steps: Sequence[Step], *, manner: Manner = ENGLISH) -> Spec:
    """Return the evidence of a piece in time order: what each step says alone, and the belief after it."""
    rows = [_rung(step, i) for i, step in enumerate(steps)]
    height, room = STEP_PX * len(rows), (NAME_PX, WHOLE_PX - WORDS_PX)
    ends = [v for step in steps for v in (*step.believed, *(step.alone or ()))]
    domain = (0.0, 1.05 * max(ends))
    x, y = strips.across("middle", domain, room, {"title": "dB", "tickCount": 6}), strips.down(height)
    alone = [{**row, **row["alone"], "y_px": row["y_px"] + ALONE_PX} for row in rows if row["alone"]]
    layers = [
        strips.whiskers("belief-bar", rows, x, y),
        strips.points("belief-dot", rows, x, y),
        strips.whiskers("alone-bar", alone, x, y),
        strips.points("alone-point", alone, x, y),
        strips.words("word", rows, "name", NAME_PX - 12, y, right=True),
        strips.words("word", rows, "said", WHOLE_PX - WORDS_PX + 10, y),
    ]
    entries = [
        key.Entry(say("believed after it, 95 %"), _sample("belief-bar", "belief-dot")),
        key.Entry(say("this test alone, 95 %"), _sample("alone-bar", "alone-point")),
    ]
    drawn = {"width": WHOLE_PX, "height": height, "layer": layers}
    return framed({"vconcat": [key.key(entries, WHOLE_PX), drawn]}, "", PRINT)


def _sample(bar: str, point: str) -> tuple[key.Sample, ...]:
    return key.Sample("span", bar), key.Sample("point", point)


def _rung(step: Step, i: int) -> dict[str, Any]:
    low, middle, high = step.believed
    alone = dict(zip(("low", "middle", "high"), step.alone, strict=True)) if step.alone else {}
    said = told(interval(middle, low, high))
    name = step.on or cut(told(step.what))
    return {"y_px": (i + 0.4) * STEP_PX, "low": low, "middle": middle, "high": high, "alone": alone, "name": name,
            "said": said}  # fmt: skip


def cut(name: str) -> str:
    """Return a name as long as its room at the left of a strip.

    >>> cut("the catalogue's RG-58C/U"), len(cut("x" * 80))
    ("the catalogue's RG-58C/U", 28)
    """
    return name if len(name) <= MOST else f"{name[: MOST - 1]}…"


def flow(budget: Budget, *, manner: Manner = ENGLISH) -> Spec:
    """Return the power of a run from radio to antenna."""
    return flow_chart(budget, width_px=WHOLE_PX, palette=PRINT, manner=manner)
