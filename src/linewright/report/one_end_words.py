"""What is said of readings with one end in hand, as the terminal and the pages share it."""

from __future__ import annotations

from linewright.model.one_end import OneEndCheck
from linewright.units.said import mark, say
from linewright.units.writing import digits, places_for, plain, quantity

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
