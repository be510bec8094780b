"""The antenna behind a line, as a document: its figures and its curve beside those at the radio."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from linewright.core.formatting import frequency, interval, places_for, plain, quantity
from linewright.core.messages import say
from linewright.core.nouns.through import CurvePoint, Estimate, ThroughResult
from linewright.present.compose.provenance import worked
from linewright.present.compose.through_words import swr_words
from linewright.present.document import Cautions, Column, Document, Paragraph, Table, points, section, sections, table

MATCHED_DB = 40.0
"""A return loss beyond this is a match so good that nobody can tell it from a perfect one."""
MOST_ROWS = 21
"""A longer curve is shown at so many evenly spaced points."""


def through_document(result: ThroughResult) -> Document:
    """Return what stands behind a line."""
    title = say("{seen} seen through {line}", seen=result.seen, line=result.line)
    return Document("through", title, sections=sections(
        section("", Paragraph(result.verdict)),
        section("", figures(result)),
        section("", curve(result)),
        section(say("Remarks"), points(result.remarks)),
        section(say("Cautions"), Cautions(result.cautions)),
        worked(result.workings),
    ))  # fmt: skip


def swr_interval(found: Estimate) -> str:
    """Return an SWR with its interval; of one beyond telling only its least.

    >>> swr_interval(Estimate(1.7, 1.4, 2.3)), swr_interval(Estimate(None, 4.8, float("inf")))
    ('1.70 (1.40 to 2.3)', '4.8 or more')
    """
    if found.value is None and found.low is not None:
        return say("{least} or more", least=swr_words(found.low))
    return say(
        "{value} ({low} to {high})", value=swr_words(found.value), low=swr_words(found.low), high=swr_words(found.high)
    )


def ohms(e: Estimate) -> str:
    """Return a resistance or reactance with its interval."""
    if e.value is None or e.low is None or e.high is None:
        return say("cannot be told")
    return interval(e.value, e.low, e.high, "ohm")


def return_loss(e: Estimate) -> str:
    """Return a return loss; one of a match so good that nobody can tell has no upper end."""
    if e.value is None or e.low is None or e.high is None:
        return say("cannot be told")
    if e.high > MATCHED_DB:
        places = places_for(e.low, min(e.value, MATCHED_DB))
        return say("{least} or more", least=quantity(plain(e.low, places), "dB"))
    return interval(e.value, e.low, e.high)


def megahertz(e: Estimate) -> str:
    """Return a frequency with its interval, both in megahertz."""
    if e.value is None or e.low is None or e.high is None:
        return say("cannot be told")
    places = min(3, places_for(e.low / 1e6, e.high / 1e6) + 1)
    value, low, high = (plain(f / 1e6, places) for f in (e.value, e.low, e.high))
    return say("{value} MHz ({low} to {high})", value=value, low=low, high=high)


def figures(r: ThroughResult) -> Table:
    """Return each figure: its name, what the radio shows, and what stands at the antenna."""
    columns = (Column(""), Column(say("at the radio")), Column(say("at the antenna (95 %)")))
    return table(columns, ((name, radio, antenna) for _, name, radio, antenna in named_figures(r)))


Figure = Literal["swr", "return loss", "impedance", "best swr", "width"]


def named_figures(r: ThroughResult) -> Iterator[tuple[Figure, str, str, str]]:
    """Yield each row of the figures, before it the working that tells of it."""
    at = r.frequency_hz
    name = say("SWR") if at is None else say("SWR at {frequency}", frequency=frequency(at))
    yield "swr", name, swr_words(r.radio_swr), swr_interval(r.antenna_swr)
    yield "return loss", say("return loss"), "", return_loss(r.antenna_return_loss_db)
    for name, part in ((say("resistance"), r.antenna_resistance_ohm), (say("reactance"), r.antenna_reactance_ohm)):
        if part.value is not None:
            yield "impedance", name, "", ohms(part)
    if r.best_swr.value is not None:
        yield "best swr", say("best SWR"), "", swr_interval(r.best_swr)
    if r.resonance_hz.value:
        yield "best swr", say("resonance"), "", megahertz(r.resonance_hz)
    if r.zero_reactance_hz.value:
        yield "impedance", say("no reactance"), "", megahertz(r.zero_reactance_hz)
    if r.bandwidth_hz.value:
        yield "width", say("width at SWR 2"), "", megahertz(r.bandwidth_hz)


def curve(r: ThroughResult) -> Table:
    """Return a curve: SWR at the radio, at the antenna, by the plain formula, and the most the radio can show."""
    columns = (
        Column(""), Column(say("at the radio"), "right"), Column(say("at the antenna (95 %)")),
        Column(say("plain formula")), Column(say("most the radio can show"), "right"),
    )  # fmt: skip
    return table(columns, map(_row, curve_points(r)))


def curve_points(r: ThroughResult) -> tuple[CurvePoint, ...]:
    """Return the points of a curve that have a row: all of a short one, evenly spaced ones of a long one."""
    return r.curve[:: max(1, -(-len(r.curve) // MOST_ROWS))]


def _row(p: CurvePoint) -> tuple[str, str, str, str, str]:
    unmended = say("impossible") if p.plain_swr is None else swr_words(p.plain_swr)
    at = frequency(round(p.frequency_hz, -1))
    return at, swr_words(p.radio_swr), swr_interval(p.antenna_swr), unmended, swr_words(p.highest_swr_at_radio)
