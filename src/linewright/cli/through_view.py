"""The answer of ``linewright through`` on a terminal."""

from __future__ import annotations

from linewright.cli.layout import bold, items, page, paragraph
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.evidence.through.words import swr_interval, swr_words
from linewright.model.through import Estimate, ThroughResult
from linewright.units.writing import frequency, interval, places_for, plain

MOST_ROWS = 21
"""A longer curve is shown at so many evenly spaced points; all are in the JSON."""


def through_view(result: ThroughResult, *, explain: bool = False) -> str:
    """Return what stands behind a line, for a terminal."""
    head = [bold(f"{result.seen} seen through {result.line}")]
    parts = [head, paragraph(result.verdict), _figures(result), _curve(result), items(result.remarks)]
    if explain:
        parts.append(workings_view(result.workings))
    return page(parts)


def _figures(r: ThroughResult) -> list[str]:
    table = Table(("", "at the radio", "at the antenna (95 %)"), "lll")
    at = "" if r.frequency_hz is None else f" at {frequency(r.frequency_hz)}"
    table.add(f"SWR{at}", swr_words(r.radio_swr), swr_cell(r.antenna_swr))
    table.add("return loss", "", _db(r.antenna_return_loss_db))
    for name, part in (("resistance", r.antenna_resistance_ohm), ("reactance", r.antenna_reactance_ohm)):
        if part.value is not None:
            table.add(name, "", _interval(part, "ohm"))
    if r.best_swr.value is not None:
        table.add("best SWR", "", swr_cell(r.best_swr))
    for name, part in (
        ("resonance", r.resonance_hz), ("no reactance", r.zero_reactance_hz), ("width at SWR 2", r.bandwidth_hz),
    ):  # fmt: skip
        if part.value:
            table.add(name, "", _megahertz(part))
    return table.lines()


def _curve(r: ThroughResult) -> list[str]:
    every = max(1, -(-len(r.curve) // MOST_ROWS))
    table = Table(("", "at the radio", "at the antenna (95 %)", "plain formula", "most the radio can show"), "lrllr")
    for point in r.curve[::every]:
        table.add(
            frequency(round(point.frequency_hz, -1)),
            swr_words(point.radio_swr),
            swr_cell(point.antenna_swr),
            "impossible" if point.plain_swr is None else swr_words(point.plain_swr),
            swr_words(point.highest_swr_at_radio),
        )
    return table.lines()


def swr_cell(swr: Estimate) -> str:
    """Write an SWR with its interval; far ends are not told.

    >>> swr_cell(Estimate(1.7, 1.4, 2.3)), swr_cell(Estimate(None, 4.8, float("inf")))
    ('1.70 (1.40 to 2.3)', '4.8 or more')
    """
    if swr.value is None and swr.low is not None:
        return f"{swr_words(swr.low)} or more"
    return swr_interval(swr)


def _interval(e: Estimate, unit: str) -> str:
    if e.value is None or e.low is None or e.high is None:
        return "cannot be told"
    return interval(e.value, e.low, e.high, unit)


def _db(e: Estimate) -> str:
    """Write a return loss; one of a match so good that nobody can tell has no upper end."""
    if e.value is None or e.low is None or e.high is None:
        return "cannot be told"
    if e.high > 40.0:
        places = places_for(e.low, min(e.value, 40.0))
        return f"{plain(e.low, places)} dB or more"
    return interval(e.value, e.low, e.high)


def _megahertz(e: Estimate) -> str:
    if e.value is None or e.low is None or e.high is None:
        return "cannot be told"
    places = min(3, places_for(e.low / 1e6, e.high / 1e6) + 1)
    value, low, high = (plain(f / 1e6, places) for f in (e.value, e.low, e.high))
    return f"{value} MHz ({low} to {high})"
