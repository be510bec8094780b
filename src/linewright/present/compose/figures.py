"""The charts of reports: each laid out in the manner asked for, in the inks of white paper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from linewright.core.errors import InputError
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import say
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.plan import Budget
from linewright.core.nouns.rules import Rules
from linewright.core.nouns.shelf import PieceHistory
from linewright.core.nouns.station import Run
from linewright.link.exposure import emitter_of
from linewright.link.in_force import limits_in_force
from linewright.link.zone import zone_about
from linewright.present.charts import frame as key
from linewright.present.charts.exposure import exposure_chart, exposure_key
from linewright.present.charts.flow import flow_chart, flow_key
from linewright.present.charts.frame import framed, in_manner
from linewright.present.charts.ladder import LadderStep, ladder_chart
from linewright.present.charts.loss import HEIGHT_PX, loss_panel
from linewright.present.charts.piece import piece_chart, years_chart
from linewright.present.charts.reception import reception_chart, reception_key
from linewright.present.charts.theme import PRINT, Spec
from linewright.present.charts.trust import trust_panel
from linewright.present.charts.zone import zone_chart
from linewright.present.document import Draw

PANEL_PX = 300
"""Width of one panel's axes: two stand abreast on paper, one on a phone."""
THREE, THIRD_PX, THIRD_HIGH_PX = 3, 170, 150
"""Width and height of a panel's axes where three stand abreast on paper."""
HALF_PX = 340
"""Width of a whole figure that stands beside another."""
WHOLE_PX = 600
"""Width of a drawing that takes the page."""
LOW_PX = 110
"""Height of axes that need not show much."""
LETTER_BANDS, LETTER_PX = 3, 30
"""Bands of a run that a letter draws, and how high each is."""


@in_manner
def loss_key(meters: Sequence[str], *, manner: Manner = ENGLISH) -> Spec:
    """Return the key of the drawings of loss."""
    return framed(key.loss_key(meters, WHOLE_PX, THREE), "", PRINT)


def abreast(panels: int) -> int:
    """Return how many drawings of loss stand abreast: three, unless two leave no gap or there are fewer.

    >>> [abreast(n) for n in (1, 2, 3, 4, 5)]
    [2, 2, 3, 2, 3]
    """
    return 2 if panels in (1, 2, 4) else 3


@in_manner
def loss(
    result: BenchResult, sheet: BenchSheet, tag: str, *, abreast: int = 2, manner: Manner = ENGLISH
) -> Spec:  # fmt: skip
    """Return the loss of one piece against frequency."""
    wide, high = (PANEL_PX, HEIGHT_PX) if abreast < THREE else (THIRD_PX, THIRD_HIGH_PX)
    return framed(loss_panel(result, tag, sheet, width_px=wide, height_px=high), "", PRINT)


@in_manner
def trust(result: BenchResult, sheet: BenchSheet, meter: str, *, manner: Manner = ENGLISH) -> Spec:
    """Return how far to believe one meter, by band."""
    return framed(trust_panel(result, meter, sheet, width_px=PANEL_PX), "", PRINT)


def piece(noun: Piece, belief: Belief, *, manner: Manner = ENGLISH) -> Spec:
    """Return the believed loss of a piece against frequency."""
    return piece_chart(noun, belief, width_px=WHOLE_PX, height_px=LOW_PX, palette=PRINT, manner=manner)


def ladder(tag: str, rungs: Sequence[LadderStep], frequency_hz: float, *, manner: Manner = ENGLISH) -> Spec:
    """Return the evidence of a piece in time order: what each test says alone, and the belief after it."""
    return ladder_chart(tag, rungs, frequency_hz, width_px=WHOLE_PX, palette=PRINT, manner=manner)


def years(history: PieceHistory, *, manner: Manner = ENGLISH) -> Spec:
    """Return the loss of a piece over the years, and its drift."""
    return years_chart(history, width_px=WHOLE_PX, height_px=LOW_PX, palette=PRINT, manner=manner)


@in_manner
def key_of_reception(*, manner: Manner = ENGLISH) -> Spec:
    """Return the key of the drawings of reception."""
    return framed(reception_key(WHOLE_PX), "", PRINT)


@in_manner
def key_of_exposure(*, manner: Manner = ENGLISH) -> Spec:
    """Return the key of the drawings of distances."""
    return framed(exposure_key(WHOLE_PX, 2), "", PRINT)


@in_manner
def key_of_flow(*, manner: Manner = ENGLISH) -> Spec:
    """Return the key of the drawings of power on its way."""
    return framed(flow_key(WHOLE_PX - 20, THREE), "", PRINT)


def reception(budget: Budget, *, manner: Manner = ENGLISH) -> Spec:
    """Return what a run takes from reception, by band."""
    return reception_chart(budget, width_px=HALF_PX, keyed=False, palette=PRINT, manner=manner)


def exposure(budget: Budget, *, manner: Manner = ENGLISH) -> Spec:
    """Return how far to keep away from the antenna of a run, by limit and band."""
    return exposure_chart(budget, width_px=HALF_PX, keyed=False, palette=PRINT, manner=manner)


def flow(budget: Budget, *, manner: Manner = ENGLISH) -> Spec:
    """Return the power of a run from radio to antenna."""
    return flow_chart(budget, width_px=WHOLE_PX, keyed=False, palette=PRINT, manner=manner)


def brief_flow(budget: Budget, *, most: int = LETTER_BANDS, manner: Manner = ENGLISH) -> Spec:
    """Return the power of a run on the bands that lose most, low enough for a letter."""
    return flow_chart(
        budget,
        width_px=WHOLE_PX,
        most=most,
        deep_px=LETTER_PX,
        keyed=False,
        named=False,
        palette=PRINT,
        manner=manner,
    )


def zone_of(run: Run, budget: Budget, rules: Rules) -> Draw | None:
    """Return what draws the zone to keep clear on the frequency where it reaches farthest; found when it is drawn.

    None where the antenna's lengths are not known, or a limit reaches farther than is told.
    """
    solved = [x for x in budget.bands if x.exposure and all(e.distance_m_high is not None for e in x.exposure)]
    if run.antenna.shape is None or not solved:
        return None
    band = max(solved, key=lambda x: max(e.distance_m_high or 0.0 for e in x.exposure))
    limits = limits_in_force(run.exposure.standards, rules, band.frequency_hz)
    public = [limit for limit in limits if limit.who == "public"]

    def draw(**look: Any) -> Spec:
        emitter = emitter_of(run, band.frequency_hz, band.power_at_antenna_w, band.power_at_antenna_w_high)
        found = zone_about(emitter, public or limits)
        if found is None:
            raise InputError("zone", "reaches farther than can be drawn", cure="Look at the distances instead.")
        title = say("{run}, limits for the public", run=run.name) if public else run.name
        return zone_chart(found, title, frequency_hz=band.frequency_hz, **look)

    return draw


def zone(draw: Draw, *, manner: Manner = ENGLISH) -> Spec:
    """Return the zone to keep clear around an antenna, as ``zone_of`` draws it."""
    return draw(width_px=WHOLE_PX, palette=PRINT, manner=manner)
