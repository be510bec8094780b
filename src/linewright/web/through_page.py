"""The antenna behind a line, and a line with one end in hand, as their pages show them; words as the commands'."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from linewright.core.formatting import chance, frequency, interval, percent, plain
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.one_end import OneEndCheck, OneEndLoss, OneEndResult
from linewright.core.nouns.through import ThroughResult
from linewright.inference.load.words import point_workings
from linewright.present.compose import line_words as one_end
from linewright.present.compose import line_words as words
from linewright.web.drawing import Bar, bar
from linewright.web.rendering import Chart, chart
from linewright.web.workings import Opens, opens

OF_FIGURE = {
    "SWR": "SWR at the antenna", "return loss": "return loss at the antenna", "resistance": "antenna's impedance",
    "reactance": "antenna's impedance", "no reactance": "antenna's impedance", "best SWR": "best SWR",
    "resonance": "best SWR", "width at SWR 2": "width at SWR 2",
}  # fmt: skip
"""Figures by how their names begin, and how the working of each begins."""


@dataclass(frozen=True, slots=True)
class SeenThrough:
    """What stands behind a line; ``flat`` is empty where the curve is not too flat to be true."""

    title: str
    verdict: str
    figures: tuple[tuple[str, str, Opens], ...]
    curve: tuple[tuple[str, str, Opens, Opens, Opens], ...]
    charts: tuple[Chart, ...]
    flat: str
    alternatives: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class OneEndLine:
    """The loss at one frequency."""

    frequency: str
    loss: Opens
    bar: Bar
    by_hand: Opens
    arrives: Opens
    should: Opens
    times: Opens


@dataclass(frozen=True, slots=True)
class OneEndTold:
    """What a line with one end in hand loses."""

    verdict: str
    losses: tuple[OneEndLine, ...]
    known: bool
    readings: tuple[tuple[str, str, str, Opens, Opens, bool], ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    workings: tuple[Working, ...]


def seen_through(r: ThroughResult) -> SeenThrough:
    """Return what stands behind a line, as its page shows it."""
    warned = r.flat_warning
    flat = warned is not None and bool(warned.is_flat)
    return SeenThrough(
        words.title(r), r.verdict, tuple(_figures(r)), tuple(_curve(r)), tuple(_charts(r)),
        warned.why if flat and warned else "", warned.alternatives if flat and warned else (), r.cautions,
        tuple(said for said in r.remarks if not (flat and warned and warned.why in said)), r.workings,
    )  # fmt: skip


def _figures(r: ThroughResult) -> Iterator[tuple[str, str, Opens]]:
    for name, radio, antenna in words.figures(r):
        start = next((start for figure, start in OF_FIGURE.items() if name.startswith(figure)), "")
        yield name, radio, opens(antenna, r.workings, start) if start else Opens(antenna)


def _curve(r: ThroughResult) -> Iterator[tuple[str, str, Opens, Opens, Opens]]:
    for point, (at, radio, *seen) in zip(words.curve_points(r), words.curve(r), strict=True):
        worked = [(w,) for w in point_workings(point)]
        antenna, unmended, most = map(Opens, seen, worked)
        yield at, radio, antenna, unmended, most


def _charts(r: ThroughResult) -> Iterator[Chart]:
    from linewright.present.charts.antenna import antenna_chart

    if len(r.curve) > 1:
        about = "SWR against frequency at the antenna with its 95 % band, and at the radio; the table has the figures."
        yield chart(lambda width: antenna_chart(r, width_px=width), about)


def one_end_told(result: OneEndResult) -> OneEndTold:
    """Return what a test with one end in hand says, as its page shows it."""
    top = max((x.loss_db_high for x in result.losses), default=1.0)
    known = any(x.catalogue_db is not None for x in result.losses)
    return OneEndTold(
        f"{result.verdict[:1].upper()}{result.verdict[1:]}: {result.why}",
        tuple(_loss(x, top, result.workings) for x in result.losses), known,
        tuple(_reading(c, result.workings) for c in result.readings),
        result.remarks, result.cautions, result.workings,
    )  # fmt: skip


def _loss(x: OneEndLoss, top: float, worked: Sequence[Working]) -> OneEndLine:
    at, should, times = frequency(x.frequency_hz), "", ""
    if x.catalogue_db is not None and x.ratio is not None and x.ratio_low is not None and x.ratio_high is not None:
        should = f"{plain(x.catalogue_db, 2)} dB"
        times = interval(x.ratio, x.ratio_low, x.ratio_high, "")
    by_hand = "" if x.by_hand_db is None else f"{plain(x.by_hand_db, 2)} dB"
    return OneEndLine(
        at, opens(interval(x.loss_db, x.loss_db_low, x.loss_db_high), worked, f"loss at {at}"),
        bar(x.loss_db, x.loss_db_low, x.loss_db_high, top), opens(by_hand, worked, f"mean by hand at {at}"),
        opens(percent(x.delivered_fraction), worked, f"arrives at {at}"),
        opens(should, worked, f"should lose at {at}"), opens(times, worked, f"times that at {at}"),
    )  # fmt: skip


def _reading(c: OneEndCheck, worked: Sequence[Working]) -> tuple[str, str, str, Opens, Opens, bool]:
    read = f"{one_end.NAME[c.quantity]} {one_end.read(c)}"
    doubted = c.p_wrong > one_end.DOUBT
    wrong = f"{chance(c.p_wrong)}{f': {c.why}' if doubted else ''}" if c.checked else "not checked by others"
    expected, likely = (opens(said, worked, f"reading {c.row}") for said in (one_end.expected(c), wrong))
    return f"far end {c.far_end}", frequency(c.frequency_hz), read, expected, likely, doubted
