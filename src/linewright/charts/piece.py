"""The loss of a piece on the shelf against frequency: what all its evidence together lets one believe."""

from __future__ import annotations

import numpy as np

from linewright.charts.loss import loss_chart
from linewright.charts.theme import LIGHT, Palette, Spec
from linewright.evidence.findings import catalogue_db
from linewright.evidence.priors import DEFAULT
from linewright.model.belief import Belief
from linewright.model.bench import BenchSheet, Piece
from linewright.model.result import BenchResult, LossFinding, Prediction
from linewright.units.manner import ENGLISH, Manner

SHOWN_HZ = (14.2e6, 50.1e6, 144.3e6, 432.1e6)
DRAWN = 24
"""Points the ribbon is drawn through."""


def interval_at(belief: Belief, frequency_hz: float) -> tuple[float, float, float]:
    """Return the low end, the middle and the high end of the 95 % interval of a loss, dB."""
    low, middle, high = (float(v) for v in np.quantile(belief.loss_db(frequency_hz), [0.025, 0.5, 0.975]))
    return low, middle, high


def piece_chart(
    piece: Piece, belief: Belief, *, width_px: int = 660, palette: Palette = LIGHT, manner: Manner = ENGLISH
) -> Spec:
    """Return the believed loss of a piece against frequency, beside what its type specifies.

    Parameters
    ----------
    piece : Piece
        Which piece; its type's law is drawn where it has one.
    belief : Belief
        What is believed of it.
    width_px : int
        Width of the whole figure.

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    grid_hz = np.linspace(np.sqrt(1.8e6), np.sqrt(SHOWN_HZ[-1]), DRAWN) ** 2
    result = BenchResult(
        title=piece.tag,
        losses=tuple(_loss(piece, belief, f) for f in SHOWN_HZ),
        pieces=(),
        readings=(),
        meters=(),
        predictions=tuple(_prediction(piece, belief, float(f)) for f in grid_hz),
        next=(),
        cautions=(),
    )
    sheet = BenchSheet(piece.tag, (), (piece,), ())
    return loss_chart(result, sheet, width_px=width_px, palette=palette, manner=manner)


def _prediction(piece: Piece, belief: Belief, frequency_hz: float) -> Prediction:
    low, middle, high = interval_at(belief, frequency_hz)
    return Prediction(piece.tag, frequency_hz, middle, low, high)


def _loss(piece: Piece, belief: Belief, frequency_hz: float) -> LossFinding:
    low, middle, high = interval_at(belief, frequency_hz)
    return LossFinding(
        piece=piece.tag,
        frequency_hz=frequency_hz,
        loss_db=middle,
        loss_db_low=low,
        loss_db_high=high,
        delivered_fraction=float(10 ** (-middle / 10)),
        catalogue_db=catalogue_db(piece, frequency_hz, DEFAULT) if piece.line else None,
        ratio=None,
        ratio_low=None,
        ratio_high=None,
        p_worse_1_1=None,
        p_worse_1_25=None,
    )
