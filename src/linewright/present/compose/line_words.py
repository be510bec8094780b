"""What is said of an antenna behind its line: figures and rows that the terminal and the pages share."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.core.formatting import digits, frequency, interval, places_for, plain, quantity
from linewright.core.messages import mark, say
from linewright.core.nouns.one_end import OneEndCheck
from linewright.core.nouns.through import CurvePoint, Estimate, ThroughResult
from linewright.inference.load.words import swr_words

# What is said of an antenna behind its line: figures and rows that the terminal and the pages share

MATCHED_DB = 40.0
"""A return loss beyond this is a match so good that nobody can tell it from a perfect one."""
MOST_ROWS = 21
"""A longer curve is shown at so many evenly spaced points."""


def title(r: ThroughResult) -> str:
    """Return what was seen through what."""
    return say("{seen} seen through {line}", seen=r.seen, line=r.line)


def swr_interval(found: Estimate) -> str:
    """Return an SWR with its interval; far ends are not told.

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


def figures(r: ThroughResult) -> Iterator[tuple[str, str, str]]:
    """Yield each figure: its name, what was seen at the radio, and what stands at the antenna."""
    at = r.frequency_hz
    name = say("SWR") if at is None else say("SWR at {frequency}", frequency=frequency(at))
    yield name, swr_words(r.radio_swr), swr_interval(r.antenna_swr)
    yield say("return loss"), "", return_loss(r.antenna_return_loss_db)
    for name, part in ((say("resistance"), r.antenna_resistance_ohm), (say("reactance"), r.antenna_reactance_ohm)):
        if part.value is not None:
            yield name, "", ohms(part)
    if r.best_swr.value is not None:
        yield say("best SWR"), "", swr_interval(r.best_swr)
    for name, part in (
        (say("resonance"), r.resonance_hz),
        (say("no reactance"), r.zero_reactance_hz),
        (say("width at SWR 2"), r.bandwidth_hz),
    ):
        if part.value:
            yield name, "", megahertz(part)


def curve(r: ThroughResult) -> Iterator[tuple[str, str, str, str, str]]:
    """Yield rows of a curve: frequency, SWR at the radio, at the antenna, by the plain formula, the most possible."""
    yield from map(_row, curve_points(r))


def curve_points(r: ThroughResult) -> tuple[CurvePoint, ...]:
    """Return the points of a curve that have a row: all of a short one, evenly spaced ones of a long one."""
    return r.curve[:: max(1, -(-len(r.curve) // MOST_ROWS))]


def _row(p: CurvePoint) -> tuple[str, str, str, str, str]:
    unmended = say("impossible") if p.plain_swr is None else swr_words(p.plain_swr)
    at = frequency(round(p.frequency_hz, -1))
    return at, swr_words(p.radio_swr), swr_interval(p.antenna_swr), unmended, swr_words(p.highest_swr_at_radio)


# What is said of readings with one end in hand, as the terminal and the pages share it

UNIT = {"swr": "", "return_loss_db": "dB", "resistance_ohm": "Ω"}
NAME = {"swr": mark("SWR"), "return_loss_db": mark("return loss"), "resistance_ohm": mark("resistance")}
DOUBT = 0.8
"""From which chance of being misread a reading is doubted aloud."""


def read(c: OneEndCheck) -> str:
    """Return what was read, with its unit: "over 20"."""
    value = _with_unit(digits(c.value), c)
    if c.bound == "is":
        return value
    return say("over {value}", value=value) if c.bound == "above" else say("under {value}", value=value)


def expected(c: OneEndCheck) -> str:
    """Return what the rest lets one expect of a reading, with its interval."""
    if c.expected is None or c.expected_low is None or c.expected_high is None:
        return say("cannot tell")
    if float("inf") in (c.expected_low, c.expected, c.expected_high):
        return say("over {value}", value=_with_unit(plain(c.expected_low, 1), c))
    places = min(places_for(c.expected_low, c.expected_high), 2)
    low, high = plain(c.expected_low, places), plain(c.expected_high, places)
    value = _with_unit(plain(c.expected, places), c)
    return say("{value} ({low} to {high})", value=value, low=low, high=high)


def _with_unit(number: str, c: OneEndCheck) -> str:
    return quantity(number, UNIT[c.quantity]) if UNIT[c.quantity] else number
