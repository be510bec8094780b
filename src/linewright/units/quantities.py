"""Quantities as people write them: "7.2 m", "24 ft", "144 MHz", "500 mW", "37 dBm", "3.0 dB".

A bare number is refused with the unit named: a length without a unit has cost people whole drums of cable.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Final

from linewright.errors import InputError, UnitError
from linewright.units.constants import METRE_PER_FOOT
from linewright.units.decibels import watts

_NUMBER: Final = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_QUANTITY: Final = re.compile(rf"^\s*({_NUMBER})\s*([^\d\s].*?)?\s*$")

LENGTH_M: Final[Mapping[str, float]] = {
    "m": 1.0, "cm": 0.01, "mm": 0.001, "km": 1000.0,
    "ft": METRE_PER_FOOT, "foot": METRE_PER_FOOT, "feet": METRE_PER_FOOT, "'": METRE_PER_FOOT,
    "in": METRE_PER_FOOT / 12, "inch": METRE_PER_FOOT / 12, '"': METRE_PER_FOOT / 12, "yd": 3 * METRE_PER_FOOT,
}  # fmt: skip
FREQUENCY_HZ: Final[Mapping[str, float]] = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
POWER_W: Final[Mapping[str, float]] = {"uw": 1e-6, "µw": 1e-6, "mw": 1e-3, "w": 1.0, "kw": 1e3}
RATIO_DB: Final[Mapping[str, float]] = {"db": 1.0}


def _split(text: object, name: str, example: str) -> tuple[float, str]:
    if not isinstance(text, str):
        what = "the bare number" if isinstance(text, (int, float)) and not isinstance(text, bool) else "instead"
        raise UnitError(name, f"needs a number with its unit; got {what} {text!r}", cure=f'Write it as "{example}".')
    match = _QUANTITY.match(text)
    if match is None:
        raise UnitError(name, f"is not a number with a unit; got {text!r}", cure=f'Write it as "{example}".')
    number, unit = match.groups()
    if unit is None:
        raise UnitError(name, f"needs a unit; got the bare number {text!r}", cure=f'Write it as "{example}".')
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", number):
        both = f"{number.replace(',', '.')} or {number.replace(',', '')}"
        raise InputError(name, f"may mean {both}; got {text!r}", cure="Write it with a point, or without a comma.")
    value = float(number.replace(",", "."))
    if not math.isfinite(value):
        raise InputError(name, f"must be finite; got {text!r}")
    return value, unit.strip()


def _scaled(text: object, name: str, units: Mapping[str, float], example: str) -> float:
    value, unit = _split(text, name, example)
    factor = units.get(unit.lower())
    if factor is None:
        known = ", ".join(units)
        raise UnitError(name, f"has the unit {unit!r}, which is none of {known}", cure=f'Write it as "{example}".')
    return value * factor


def length_m(text: object, name: str = "length") -> float:
    """Return a written length in metres; it must be above zero.

    >>> length_m("24 ft")
    7.3152
    """
    value = round(_scaled(text, name, LENGTH_M, "7.2 m"), 9)
    if value <= 0:
        raise InputError(name, f"must be above zero; got {text!r}")
    return value


def frequency_hz(text: object, name: str = "frequency") -> float:
    """Return a written frequency in hertz; it must be above zero.

    >>> frequency_hz("14.2 MHz")
    14200000.0
    """
    value = round(_scaled(text, name, FREQUENCY_HZ, "144 MHz"), 3)
    if value <= 0:
        raise InputError(name, f"must be above zero; got {text!r}")
    return value


def power_w(text: object, name: str = "power") -> float:
    """Return a written power in watts ("5 W", "500 mW", "37 dBm"); zero is allowed, less is not.

    >>> power_w("500 mW")
    0.5
    """
    value, unit = _split(text, name, "5 W")
    if unit.lower() == "dbm":
        if value > 100:
            raise InputError(name, f"is not a power anyone has; got {text!r}")
        return watts(value)
    result = _scaled(text, name, POWER_W, "5 W")
    if result < 0:
        raise InputError(name, f"must not be negative; got {text!r}")
    return result


def ratio_db(text: object, name: str = "loss") -> float:
    """Return a written level difference in decibels.

    >>> ratio_db("3.0 dB")
    3.0
    """
    return _scaled(text, name, RATIO_DB, "3.0 dB")


def loss_ratio_db(text: object, name: str = "loss") -> float:
    """Return a written loss in decibels: positive for anything passive, so less than zero is refused."""
    value = ratio_db(text, name)
    if value < 0:
        raise InputError(
            name, f"must not be negative; got {text!r}", cure="A loss is written as a positive number of dB."
        )
    return value


def frequency_range_hz(text: object, name: str = "rated") -> tuple[float, float]:
    """Return a written frequency range as (low, high) in hertz.

    >>> frequency_range_hz("1.8 MHz to 60 MHz")
    (1800000.0, 60000000.0)
    >>> frequency_range_hz("100-470 MHz")
    (100000000.0, 470000000.0)
    """
    example = "1.8 MHz to 60 MHz"
    parts = re.split(r"\s+to\s+|\s*[-–…]\s*", text.strip()) if isinstance(text, str) else []
    if len(parts) != 2:
        raise UnitError(name, f"is not a frequency range; got {text!r}", cure=f'Write it as "{example}".')
    if re.fullmatch(_NUMBER, parts[0]):
        parts[0] += " " + _split(parts[1], name, example)[1]
    low, high = frequency_hz(parts[0], name), frequency_hz(parts[1], name)
    if not low < high:
        raise InputError(name, f"must rise from low to high; got {text!r}")
    return low, high
