"""Prior and data apart: what the type claims, what the readings alone say, what is believed, band by band."""

from __future__ import annotations

from math import exp
from typing import Final

from linewright.core.formatting import frequency, interval, quantity, signed
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say
from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.core.nouns.bench_result import BenchResult, LossFinding
from linewright.present.charts.frame import KeyEntry, Sample, columns_of, framed, in_manner, in_order, key
from linewright.present.charts.loss import described, losses_of, piece_of
from linewright.present.charts.strips import (
    GAP_PX,
    Rows,
    across,
    clipped,
    columns_in,
    down,
    headed,
    points,
    ratio_ticks,
    room_for,
    upright,
    whiskers,
    words,
)
from linewright.present.charts.theme import LIGHT, Palette, Spec

LANE_PX: Final = 11
BAND_PX: Final = 46
NAME_PX: Final = 70
WORDS_PX: Final = 68
WIDEST: Final = (0.25, 4.0)
LANES: Final = {"claimed": 0.0, "alone": 1.0, "believed": 2.0}
_ABOUT = mark(
    "What the type claims, what the readings alone say and what is believed, as multiples of what the type claims."
)


def _base_db(loss: LossFinding) -> float:
    """Return the loss that counts as 1: the catalogue's, or the believed one where there is no type."""
    return max(loss.catalogue_db if loss.catalogue_db is not None else loss.loss_db, 1e-6)


def _intervals(loss: LossFinding, piece: Piece | None) -> dict[str, tuple[float, float, float]]:
    """Return middle, low and high of each lane, dB. The catalogue's interval is the spread of its published tables."""
    found = {"believed": (loss.loss_db, loss.loss_db_low, loss.loss_db_high)}
    alone = (loss.without_catalogue_db, loss.without_catalogue_db_low, loss.without_catalogue_db_high)
    if None not in alone:
        found["alone"] = alone  # type: ignore[assignment]
    if loss.catalogue_db is not None:
        below, above = piece.line.law.doubt(loss.frequency_hz) if piece and piece.line else (0.0, 0.0)
        found["claimed"] = (loss.catalogue_db, loss.catalogue_db * exp(-below), loss.catalogue_db * exp(above))
    return found


def _rows(losses: list[LossFinding], piece: Piece | None, domain: tuple[float, float]) -> Rows:
    rows = []
    for i, loss in enumerate(losses):
        for lane, (middle, low_db, high_db) in _intervals(loss, piece).items():
            base, said = _base_db(loss), interval(middle, low_db, high_db)
            low, high = clipped(low_db / base, high_db / base, domain)
            rows.append(
                {
                    "lane": lane,
                    "name": frequency(loss.frequency_hz),
                    "said": said,
                    "middle": min(max(middle / base, domain[0]), domain[1]),
                    "low": low,
                    "high": high,
                    "y_px": i * BAND_PX + 12 + LANES[lane] * LANE_PX,
                }
            )
    return rows


def _domain(result: BenchResult) -> tuple[float, float]:
    ends = [
        v / _base_db(loss)
        for loss in result.losses
        for v in (loss.loss_db_low, loss.loss_db_high, loss.without_catalogue_db)
        if v and v > 0
    ]
    far_down, far_up = min([0.66, *ends]), max([1.5, *ends])
    return max(WIDEST[0], 0.9 * far_down), min(WIDEST[1], 1.1 * far_up)


def _pulled(loss: LossFinding) -> str:
    pull = loss.catalogue_pull_db
    if pull is None:
        return ""
    return say("unmoved") if abs(pull) < 0.005 else quantity(signed(pull, 2), "dB")


def _heading(piece: str, noun: Piece | None, width_px: float) -> Spec:
    return headed(piece, described(noun, noun.length_m if noun else None), width_px)


def _drawn(rows: Rows, x: Spec, y: Spec) -> list[Spec]:
    """Return the lanes: what is claimed, read and believed, each in a style and a shape of its own."""
    lanes = {lane: [row for row in rows if row["lane"] == lane] for lane in LANES}
    return [
        whiskers("spec-bar", lanes["claimed"], x, y),
        points("spec-point", lanes["claimed"], x, y, shape="diamond"),
        whiskers("alone-bar", lanes["alone"], x, y),
        points("alone-point", lanes["alone"], x, y),
        whiskers("belief-bar", lanes["believed"], x, y),
        points("belief-dot", lanes["believed"], x, y),
    ]


def pull_panel(result: BenchResult, piece: str, sheet: BenchSheet | None = None, *, width_px: int = 300) -> Spec:
    """Return one panel: one piece, three lanes a band. A part of a figure; ``pull_chart`` frames it."""
    losses, noun = losses_of(result, piece), piece_of(sheet, piece)
    domain, height = _domain(result), BAND_PX * max(1, len(losses))
    known = any(loss.catalogue_db is not None for loss in losses)
    title = say("times what the type claims") if known else say("times what is believed")
    axis = {"values": ratio_ticks(*domain), "format": "~g", "title": title}
    room_px = room_for((_pulled(loss) for loss in losses), WORDS_PX)
    x, y = across("middle", domain, (NAME_PX, width_px - room_px), axis, log=True), down(height)
    names = [
        {"y_px": i * BAND_PX + 12 + LANE_PX, "name": frequency(loss.frequency_hz), "pull": _pulled(loss)}
        for i, loss in enumerate(losses)
    ]
    layers = [
        upright("base", 1.0, x, height),
        *_drawn(_rows(losses, noun, domain), x, y),
        words("word", names, "name", NAME_PX - 10, y, right=True),
        words("small", names, "pull", width_px - room_px + 12, y),
    ]
    return {"title": _heading(piece, noun, width_px), "width": width_px, "height": height, "layer": layers}


def _key(width_px: float) -> Spec:
    claimed = (Sample("span", "spec-bar"), Sample("point", "spec-point", shape="diamond"))
    return key(
        [
            KeyEntry(say("claimed by the type, with its spread"), claimed),
            KeyEntry(say("the readings alone"), (Sample("span", "alone-bar"), Sample("point", "alone-point"))),
            KeyEntry(say("believed: both together"), (Sample("span", "belief-bar"), Sample("point", "belief-dot"))),
            KeyEntry(say("{change}: moved so far by the catalogue", change=quantity(signed(0.1, 1), "dB")), ()),
        ],
        width_px,
    )


@in_manner
def pull_chart(
    result: BenchResult,
    sheet: BenchSheet | None = None,
    *,
    width_px: int = 660,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return prior and data apart, one panel a piece, with its key.

    Parameters
    ----------
    result : BenchResult
        What the bench said.
    sheet : BenchSheet, optional
        The sheet it came from; it carries the types and the spread of their published tables.
    width_px : int
        Width of the whole figure; below 520 px the panels stand in one column.

    Returns
    -------
    dict
        A Vega-Lite specification. Losses are drawn as multiples of the type's, so all bands compare; a piece of
        unknown type is drawn against what is believed of it. Intervals beyond 0.25 or 4 run out of the drawing.
    """
    pieces = in_order(loss.piece for loss in result.losses)
    columns, inner = columns_in(width_px, len(pieces))
    panels = [pull_panel(result, piece, sheet, width_px=inner) for piece in pieces]
    body: Spec = {"vconcat": [_key(width_px - 20), *([columns_of(panels, columns, GAP_PX)] if panels else [])]}
    return framed(body, say(_ABOUT), palette)
