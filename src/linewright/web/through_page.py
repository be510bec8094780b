"""The antenna behind a line, and a line with one end in hand: their documents' words, with figures that open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from linewright.core.nouns.bench_result import Key, Working
from linewright.core.nouns.one_end import OneEndLoss, OneEndResult
from linewright.core.nouns.through import ThroughResult
from linewright.inference.load.words import flat_remark, point_workings
from linewright.present.compose import one_end, through
from linewright.web.drawing import bar
from linewright.web.rendering import PageChart, chart
from linewright.web.workings import Opens, OpenTable, open_table

OF_FIGURE: dict[through.Figure, Key] = {
    "swr": ("antenna SWR",), "return loss": ("return loss",), "impedance": ("impedance",), "best swr": ("best SWR",),
    "width": ("width",),
}  # fmt: skip
"""The working that each figure opens to."""


@dataclass(frozen=True, slots=True)
class ThroughShown:
    """What stands behind a line; ``flat`` is empty where the curve is not too flat to be true."""

    verdict: str
    figures: OpenTable
    curve: OpenTable
    charts: tuple[PageChart, ...]
    flat: str
    alternatives: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class OneEndShown:
    """What a line with one end in hand loses."""

    verdict: str
    losses: OpenTable
    readings: OpenTable
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    workings: tuple[Working, ...]


def through_shown(r: ThroughResult) -> ThroughShown:
    """Return what stands behind a line, as its page shows it."""
    flat = r.flat_warning if r.flat_warning is not None and r.flat_warning.is_flat else None
    keys: list[tuple[Key, ...]] = [((), (), OF_FIGURE[of]) for of, *_ in through.named_figures(r)]
    return ThroughShown(
        r.verdict, open_table(through.figures(r), r.workings, keys), _curve(r),
        tuple(_charts(r)), flat.why if flat else "", flat.alternatives if flat else (), r.cautions,
        tuple(said for said in r.remarks if not (flat and said == flat_remark(r))), r.workings,
    )  # fmt: skip


def _curve(r: ThroughResult) -> OpenTable:
    """Return the curve; each point opens to workings of its own."""
    bare = open_table(through.curve(r), (), ())
    rows = []
    for row, point in zip(bare.rows, through.curve_points(r), strict=True):
        at, radio, *figures = row.cells
        worked = (Opens(f.words, (w,)) for f, w in zip(figures, point_workings(point), strict=True))
        rows.append(replace(row, cells=(at, radio, *worked)))
    return replace(bare, rows=tuple(rows))


def _charts(r: ThroughResult) -> Iterator[PageChart]:
    from linewright.present.charts.antenna import antenna_chart

    if len(r.curve) > 1:
        about = "SWR against frequency at the antenna with its 95 % band, and at the radio; the table has the figures."
        yield chart(lambda width: antenna_chart(r, width_px=width), about)


def one_end_shown(result: OneEndResult) -> OneEndShown:
    """Return what a test with one end in hand says, as its page shows it."""
    top = max((x.loss_db_high for x in result.losses), default=1.0)
    bars = [bar(x.loss_db, x.loss_db_low, x.loss_db_high, top) for x in result.losses]
    losses = [_of_loss(x) for x in result.losses]
    readings: list[tuple[Key, ...]] = [((), (), (), (), (), *[("reading", c.row)] * 2) for c in result.readings]
    return OneEndShown(
        one_end.verdict(result), open_table(one_end.losses(result), result.workings, losses, bars, drawn=1),
        open_table(one_end.readings(result), result.workings, readings),
        result.remarks, result.cautions, result.workings,
    )  # fmt: skip


def _of_loss(x: OneEndLoss) -> tuple[Key, ...]:
    kinds = ("loss", "mean by hand", "arrives", "should lose", "times")
    return (), *((kind, x.frequency_hz) for kind in kinds)
