"""The antenna behind a line, and a line with one end in hand, as their pages show them; words as the commands'."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from linewright.model.one_end import OneEndCheck, OneEndLoss, OneEndResult
from linewright.model.result import Working
from linewright.model.through import ThroughResult
from linewright.report import one_end_words as one_end
from linewright.report import through_words as words
from linewright.units.writing import chance, frequency, interval, percent, plain
from linewright.web.drawn import Bar, bar
from linewright.web.inline import Chart, chart


@dataclass(frozen=True, slots=True)
class SeenThrough:
    """What stands behind a line; ``flat`` is empty where the curve is not too flat to be true."""

    title: str
    verdict: str
    figures: tuple[tuple[str, str, str], ...]
    curve: tuple[tuple[str, str, str, str, str], ...]
    charts: tuple[Chart, ...]
    flat: str
    alternatives: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class OneEndLine:
    """The loss at one frequency."""

    frequency: str
    loss: str
    bar: Bar
    by_hand: str
    arrives: str
    should: str
    times: str


@dataclass(frozen=True, slots=True)
class OneEndTold:
    """What a line with one end in hand loses."""

    verdict: str
    losses: tuple[OneEndLine, ...]
    known: bool
    readings: tuple[tuple[str, str, str, str, str, bool], ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    workings: tuple[Working, ...]


def seen_through(r: ThroughResult) -> SeenThrough:
    """Return what stands behind a line, as its page shows it."""
    warned = r.flat_warning
    flat = warned is not None and bool(warned.is_flat)
    return SeenThrough(
        words.title(r), r.verdict, tuple(words.figures(r)), tuple(words.curve(r)), tuple(_charts(r)),
        warned.why if flat and warned else "", warned.alternatives if flat and warned else (),
        tuple(said for said in r.remarks if not (flat and warned and warned.why in said)), r.workings,
    )  # fmt: skip


def _charts(r: ThroughResult) -> Iterator[Chart]:
    from linewright.charts.antenna import antenna_chart

    if len(r.curve) > 1:
        about = "SWR against frequency at the antenna with its 95 % band, and at the radio; the table has the figures."
        yield chart(lambda width: antenna_chart(r, width_px=width), about)


def one_end_told(result: OneEndResult) -> OneEndTold:
    """Return what a test with one end in hand says, as its page shows it."""
    top = max((x.loss_db_high for x in result.losses), default=1.0)
    known = any(x.catalogue_db is not None for x in result.losses)
    return OneEndTold(
        f"{result.verdict[:1].upper()}{result.verdict[1:]}: {result.why}",
        tuple(_loss(x, top) for x in result.losses), known, tuple(_reading(c) for c in result.readings),
        result.remarks, result.cautions, result.workings,
    )  # fmt: skip


def _loss(x: OneEndLoss, top: float) -> OneEndLine:
    should = times = ""
    if x.catalogue_db is not None and x.ratio is not None and x.ratio_low is not None and x.ratio_high is not None:
        should = f"{plain(x.catalogue_db, 2)} dB"
        times = interval(x.ratio, x.ratio_low, x.ratio_high, "")
    return OneEndLine(
        frequency(x.frequency_hz), interval(x.loss_db, x.loss_db_low, x.loss_db_high),
        bar(x.loss_db, x.loss_db_low, x.loss_db_high, top),
        "" if x.by_hand_db is None else f"{plain(x.by_hand_db, 2)} dB", percent(x.delivered_fraction), should, times,
    )  # fmt: skip


def _reading(c: OneEndCheck) -> tuple[str, str, str, str, str, bool]:
    read = f"{one_end.NAME[c.quantity]} {one_end.read(c)}"
    doubted = c.p_wrong > one_end.DOUBT
    wrong = f"{chance(c.p_wrong)}{f': {c.why}' if doubted else ''}" if c.checked else "not checked by others"
    return f"far end {c.far_end}", frequency(c.frequency_hz), read, one_end.expected(c), wrong, doubted
