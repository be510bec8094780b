"""The antenna behind a line, and a line with one end in hand, as their pages show them; words as the commands'."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from linewright.model.one_end import OneEndCheck, OneEndLoss, OneEndResult
from linewright.model.result import Working
from linewright.model.through import Estimate, ThroughResult
from linewright.units.writing import chance, frequency, interval, percent, places_for, plain
from linewright.web.drawn import Bar, bar
from linewright.web.inline import Chart, chart

FAR, MOST_ROWS, DOUBT = 20.0, 21, 0.8
UNIT = {"swr": "", "return_loss_db": " dB", "resistance_ohm": " Ω"}
NAME = {"swr": "SWR", "return_loss_db": "return loss", "resistance_ohm": "resistance"}
BOUND = {"is": "", "above": "over ", "below": "under "}


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
    every = max(1, -(-len(r.curve) // MOST_ROWS))
    rows = tuple(
        (
            frequency(round(p.frequency_hz, -1)), swr(p.radio_swr), swr_cell(p.antenna_swr),
            "impossible" if p.plain_swr is None else swr(p.plain_swr), swr(p.highest_swr_at_radio),
        )
        for p in r.curve[::every]
    )  # fmt: skip
    warned = r.flat_warning
    flat = warned is not None and bool(warned.is_flat)
    return SeenThrough(
        f"{r.seen} seen through {r.line}", r.verdict, tuple(_figures(r)), rows, tuple(_charts(r)),
        warned.why if flat and warned else "", warned.alternatives if flat and warned else (),
        tuple(said for said in r.remarks if not (flat and warned and warned.why in said)), r.workings,
    )  # fmt: skip


def _charts(r: ThroughResult) -> Iterator[Chart]:
    from linewright.charts.antenna import antenna_chart

    if len(r.curve) > 1:
        about = "SWR against frequency at the antenna with its 95 % band, and at the radio; the table has the figures."
        yield chart(lambda width: antenna_chart(r, width_px=width), about)


def _figures(r: ThroughResult) -> Iterator[tuple[str, str, str]]:
    at = "" if r.frequency_hz is None else f" at {frequency(r.frequency_hz)}"
    yield f"SWR{at}", swr(r.radio_swr), swr_cell(r.antenna_swr)
    yield "return loss", "", _db(r.antenna_return_loss_db)
    for name, part in (("resistance", r.antenna_resistance_ohm), ("reactance", r.antenna_reactance_ohm)):
        if part.value is not None:
            yield name, "", _interval(part, "ohm")
    if r.best_swr.value is not None:
        yield "best SWR", "", swr_cell(r.best_swr)
    for name, part in (
        ("resonance", r.resonance_hz), ("no reactance", r.zero_reactance_hz), ("width at SWR 2", r.bandwidth_hz),
    ):  # fmt: skip
        if part.value:
            yield name, "", _megahertz(part)


def swr(value: float) -> str:
    """Write an SWR; what is far off is not told.

    >>> swr(1.3), swr(4.26), swr(47.0)
    ('1.30', '4.3', 'over 20')
    """
    return f"over {FAR:g}" if value > FAR else plain(value, 2 if value < 2 else 1)


def swr_cell(found: Estimate) -> str:
    """Write an SWR with its interval; far ends are not told.

    >>> swr_cell(Estimate(1.7, 1.4, 2.3)), swr_cell(Estimate(None, 4.8, float("inf")))
    ('1.70 (1.40 to 2.3)', '4.8 or more')
    """
    low = 1.0 if found.low is None else found.low
    if found.value is None:
        return f"{swr(low)} or more"
    return f"{swr(found.value)} ({swr(low)} to {swr(float('inf') if found.high is None else found.high)})"


def _interval(e: Estimate, unit: str) -> str:
    if e.value is None or e.low is None or e.high is None:
        return "cannot be told"
    return interval(e.value, e.low, e.high, unit)


def _db(e: Estimate) -> str:
    if e.value is None or e.low is None or e.high is None:
        return "cannot be told"
    if e.high > 40.0:
        return f"{plain(e.low, places_for(e.low, min(e.value, 40.0)))} dB or more"
    return interval(e.value, e.low, e.high)


def _megahertz(e: Estimate) -> str:
    if e.value is None or e.low is None or e.high is None:
        return "cannot be told"
    places = min(3, places_for(e.low / 1e6, e.high / 1e6) + 1)
    value, low, high = (plain(f / 1e6, places) for f in (e.value, e.low, e.high))
    return f"{value} MHz ({low} to {high})"


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
    read = f"{NAME[c.quantity]} {BOUND[c.bound]}{c.value:g}{UNIT[c.quantity]}"
    doubted = c.p_wrong > DOUBT
    wrong = f"{chance(c.p_wrong)}{f': {c.why}' if doubted else ''}" if c.checked else "not checked by others"
    return f"far end {c.far_end}", frequency(c.frequency_hz), read, _expected(c), wrong, doubted


def _expected(c: OneEndCheck) -> str:
    if c.expected is None or c.expected_low is None or c.expected_high is None:
        return "cannot tell"
    if float("inf") in (c.expected_low, c.expected, c.expected_high):
        return f"over {plain(c.expected_low, 1)}{UNIT[c.quantity]}"
    places = min(places_for(c.expected_low, c.expected_high), 2)
    ends = f"{plain(c.expected_low, places)} to {plain(c.expected_high, places)}"
    return f"{plain(c.expected, places)}{UNIT[c.quantity]} ({ends})"
