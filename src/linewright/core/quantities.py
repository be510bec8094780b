"""Quantities as people write them: "7.2 m", "24 ft", "144 MHz", "500 mW", "37 dBm", "3.0 dB".

A bare number is refused with the unit named: a length without a unit has cost people whole drums of cable.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from math import inf, log, log10, pi
from typing import Final

from linewright.core.errors import InputError, UnitError
from linewright.core.messages import say

# Decibels and the ratios behind them


def delivered_fraction(loss_db: float) -> float:
    """Return the share of power that arrives through a loss.

    ``10^(-loss_db / 10)``. A loss of 1 dB lets about 80 % through, 3 dB half, 6 dB a quarter.

    >>> round(delivered_fraction(3.0103), 4)
    0.5
    """
    return float(10.0 ** (-loss_db / 10.0))


def loss_db(power_in_w: float, power_out_w: float) -> float:
    """Return the loss in dB between two powers in watts.

    Raises
    ------
    InputError
        If a power is zero or less: such a reading has no ratio.

    >>> round(loss_db(100.0, 79.4), 2)
    1.0
    """
    if power_in_w <= 0 or power_out_w <= 0:
        raise InputError(
            "power", say("must be above zero to form a ratio; got {value} W", value=str(min(power_in_w, power_out_w)))
        )
    return 10.0 * log10(power_in_w / power_out_w)


def dbm(power_w: float) -> float:
    """Return a power in watts as dBm (0 dBm is one milliwatt); minus infinity for no power.

    >>> dbm(10.0)
    40.0
    """
    return 10.0 * log10(power_w) + 30.0 if power_w > 0 else -inf


def watts(power_dbm: float) -> float:
    """Return a power in dBm as watts.

    >>> watts(37.0)  # doctest: +ELLIPSIS
    5.01...
    """
    return float(10.0 ** ((power_dbm - 30.0) / 10.0))


def reflection_from_swr(swr: float) -> float:
    """Return the magnitude of the reflection coefficient, ``(S - 1)/(S + 1)``.

    >>> reflection_from_swr(1.5)
    0.2
    """
    if not swr >= 1.0:
        raise InputError(
            "swr",
            say("must be at least 1; got {value}", value=format(swr, "g")),
            cure=say("An SWR of 1 is a perfect match."),
        )
    return (swr - 1.0) / (swr + 1.0) if swr != inf else 1.0


# Constants, each with its source

SPEED_OF_LIGHT_M_PER_S: Final = 299_792_458.0
"""Exact, by the definition of the metre (BIPM, The International System of Units, 9th edition, section 2.2)."""

VACUUM_PERMEABILITY_H_PER_M: Final = 1.256_637_062_12e-6
"""CODATA 2018 recommended value."""

VACUUM_IMPEDANCE_OHM: Final = VACUUM_PERMEABILITY_H_PER_M * SPEED_OF_LIGHT_M_PER_S

DB_PER_NEPER: Final = 20.0 / log(10.0)
"""One neper in decibels, 8.686 (ISO 80000-3:2006, item C-3)."""

METRE_PER_FOOT: Final = 0.3048
"""Exact (international foot, 1959)."""

ANNEALED_COPPER_CONDUCTIVITY_S_PER_M: Final = 5.8e7
"""International Annealed Copper Standard at 20 degrees Celsius (IEC 60028, 1925)."""

NOISE_REFERENCE_KELVIN: Final = 290.0
"""T0, to which noise figures refer (ITU-R P.372, section 2; IEEE definition of noise figure)."""

TWO_PI: Final = 2.0 * pi

# Quantities as people write them: "7.2 m", "24 ft", "144 MHz", "500 mW", "37 dBm", "3.0 dB"

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
        raise UnitError(
            name,
            say("needs a number with its unit; got {value} {text}", value=what, text=repr(text)),
            cure=say('Write it as "{example}".', example=example),
        )
    match = _QUANTITY.match(text)
    if match is None:
        raise UnitError(
            name,
            say("is not a number with a unit; got {value}", value=repr(text)),
            cure=say('Write it as "{example}".', example=example),
        )
    number, unit = match.groups()
    if unit is None:
        raise UnitError(
            name,
            say("needs a unit; got the bare number {value}", value=repr(text)),
            cure=say('Write it as "{example}".', example=example),
        )
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", number):
        both = f"{number.replace(',', '.')} or {number.replace(',', '')}"
        raise InputError(
            name,
            say("may mean {both}; got {value}", both=both, value=repr(text)),
            cure=say("Write it with a point, or without a comma."),
        )
    value = float(number.replace(",", "."))
    if not math.isfinite(value):
        raise InputError(name, say("must be finite; got {value}", value=repr(text)))
    return value, unit.strip()


def _scaled(text: object, name: str, units: Mapping[str, float], example: str) -> float:
    value, unit = _split(text, name, example)
    factor = units.get(unit.lower())
    if factor is None:
        known = ", ".join(units)
        raise UnitError(
            name,
            say("has the unit {unit}, which is none of {known}", unit=repr(unit), known=known),
            cure=say('Write it as "{example}".', example=example),
        )
    return value * factor


def length_m(text: object, name: str = "length") -> float:
    """Return a written length in metres; it must be above zero.

    >>> length_m("24 ft")
    7.3152
    """
    value = round(_scaled(text, name, LENGTH_M, "7.2 m"), 9)
    if value <= 0:
        raise InputError(name, say("must be above zero; got {value}", value=repr(text)))
    return value


def frequency_hz(text: object, name: str = "frequency") -> float:
    """Return a written frequency in hertz; it must be above zero.

    >>> frequency_hz("14.2 MHz")
    14200000.0
    """
    value = round(_scaled(text, name, FREQUENCY_HZ, "144 MHz"), 3)
    if value <= 0:
        raise InputError(name, say("must be above zero; got {value}", value=repr(text)))
    return value


def power_w(text: object, name: str = "power") -> float:
    """Return a written power in watts ("5 W", "500 mW", "37 dBm"); zero is allowed, less is not.

    >>> power_w("500 mW")
    0.5
    """
    value, unit = _split(text, name, "5 W")
    if unit.lower() == "dbm":
        if value > 100:
            raise InputError(name, say("is not a power anyone has; got {value}", value=repr(text)))
        return watts(value)
    result = _scaled(text, name, POWER_W, "5 W")
    if result < 0:
        raise InputError(name, say("must not be negative; got {value}", value=repr(text)))
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
            name,
            say("must not be negative; got {value}", value=repr(text)),
            cure=say("A loss is written as a positive number of dB."),
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
        raise UnitError(
            name,
            say("is not a frequency range; got {value}", value=repr(text)),
            cure=say('Write it as "{example}".', example=example),
        )
    if re.fullmatch(_NUMBER, parts[0]):
        parts[0] += " " + _split(parts[1], name, example)[1]
    low, high = frequency_hz(parts[0], name), frequency_hz(parts[1], name)
    if not low < high:
        raise InputError(name, say("must rise from low to high; got {value}", value=repr(text)))
    return low, high
