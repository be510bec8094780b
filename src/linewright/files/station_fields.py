"""Single fields of a station file: gains, temperatures, shares, ratios, angles, curves over frequency."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from linewright.core import quantities
from linewright.core.errors import InputError, UnitError
from linewright.core.messages import say
from linewright.core.nouns.station import Curve
from linewright.files import fields

DBI_OVER_DBD: float = 2.15
"""Gain of a half-wave dipole in free space, dBi: C. A. Balanis, Antenna Theory, 4th ed., section 4.6 (1.643)."""
ABSOLUTE_ZERO_CELSIUS = -273.15
_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
Read = Callable[[Any, str], float]
_PLAIN = r"[0-9]+(?:\.[0-9]*)?"


def _with_unit(value: Any, name: str, units: str, example: str) -> tuple[float, str]:
    match = re.fullmatch(rf"\s*({_NUMBER})\s*({units})\s*", value, re.IGNORECASE) if isinstance(value, str) else None
    if match is None:
        raise UnitError(
            name,
            say("needs a number with its unit; got {value}", value=repr(value)),
            cure=say('Write it as "{example}".', example=example),
        )
    return fields.written_number(match[1], name), match[2].lower()


def gain_dbi(value: Any, name: str) -> float:
    """Return a written antenna gain in dBi.

    >>> gain_dbi("8.85 dBd", "gain")
    11.0
    """
    found, unit = _with_unit(value, name, "dBi|dBd", "11 dBi")
    found = round(found + (DBI_OVER_DBD if unit == "dbd" else 0.0), 9)
    if not -60.0 <= found <= 60.0:
        raise InputError(name, say("must lie between -60 and 60 dBi; got {value}", value=repr(value)))
    return found


def amplifier_db(value: Any, name: str) -> float:
    """Return a written gain of an amplifier, dB, from -20 to 60."""
    found = quantities.ratio_db(value, name)
    if not -20.0 <= found <= 60.0:
        raise InputError(name, say("must lie between -20 and 60 dB; got {value}", value=repr(value)))
    return found


def noise_figure(value: Any, name: str) -> float:
    """Return a written noise figure, dB, from 0 to 60: a receiver below 0 dB would give noise back."""
    found = quantities.ratio_db(value, name)
    if not 0.0 <= found <= 60.0:
        raise InputError(name, say("must lie between 0 and 60 dB; got {value}", value=repr(value)))
    return found


def celsius(value: Any, name: str, least: float = -100.0) -> float:
    """Return a written temperature in degrees Celsius, from -100 to 300.

    >>> round(celsius("95 °F", "temperature"), 6)
    35.0
    """
    found, unit = _with_unit(value, name, "°?C|°?F|K", "35 °C")
    if unit.endswith("f"):
        found = (found - 32.0) / 1.8
    if unit == "k":
        found += ABSOLUTE_ZERO_CELSIUS
    if not least <= found <= 300.0:
        raise InputError(
            name, say("must lie between {least} and 300 °C; got {value}", least=format(least, "g"), value=repr(value))
        )
    return found


def part_celsius(value: Any, name: str) -> float:
    """Return a written temperature of a part itself, degrees Celsius: it may be cooled.

    >>> round(part_celsius("77 K", "temperature"), 2)
    -196.15
    """
    return celsius(value, name, -270.0)


def kelvin(value: Any, name: str) -> float:
    """Return a written noise temperature in kelvins."""
    found, _ = _with_unit(value, name, "K", "150 K")
    if not 0.0 <= found <= 1e9:
        raise InputError(name, say("must lie between 0 and 1e9 K; got {value}", value=repr(value)))
    return found


def elevation_deg(value: Any, name: str) -> float:
    """Return a written elevation above the horizon, from 0 to 90 degrees.

    >>> elevation_deg("30 deg", "elevation"), elevation_deg("5°", "elevation")
    (30.0, 5.0)
    """
    found, _ = _with_unit(value, name, "deg|°", "30 deg")
    if not 0.0 <= found <= 90.0:
        raise InputError(name, say("must lie between 0 and 90 degrees; got {value}", value=repr(value)))
    return found


def part_of(value: Any, name: str) -> float:
    """Return what part of all that an antenna hears comes from the ground: nothing to all, a number or percent.

    >>> part_of("10 %", "ground"), part_of(0, "ground")
    (0.1, 0.0)
    """
    percent = isinstance(value, str) and value.rstrip().endswith("%")
    found = fields.written_number(value.rstrip()[:-1], name) / 100.0 if percent else fields.number(value, name)
    if not 0.0 <= found <= 1.0:
        cure = say(
            "Half for an antenna that looks level, 10 to 20 % for a dish or a beam that looks up (common practice)."
        )
        raise InputError(name, say("must be from 0 to 1; got {value}", value=repr(value)), cure=cure)
    return found


def voltage(value: Any, name: str) -> float:
    """Return a written voltage in volts, above zero.

    >>> voltage("1.5 kV", "voltage")
    1500.0
    """
    found, unit = _with_unit(value, name, "kV|V", "600 V")
    return fields.above_zero(found * (1e3 if unit == "kv" else 1.0), value, name)


def share(value: Any, name: str) -> float:
    """Return a share between nothing and all, as a number or in percent.

    >>> share("40 %", "duty"), share(0.4, "duty")
    (0.4, 0.4)
    """
    percent = isinstance(value, str) and value.rstrip().endswith("%")
    found = fields.written_number(value.rstrip()[:-1], name) / 100.0 if percent else fields.number(value, name)
    if not 0.0 < found <= 1.0:
        raise InputError(
            name, say("must be above 0 and at most 1; got {value}", value=repr(value)), cure=say('Write 0.4 or "40 %".')
        )
    return found


def ratio(value: Any, name: str) -> float:
    """Return an impedance ratio, antenna side to radio side.

    >>> ratio("4:1", "transformer"), ratio("1:4", "transformer")
    (4.0, 0.25)
    """
    match = re.fullmatch(rf"\s*({_NUMBER})\s*:\s*({_NUMBER})\s*", value) if isinstance(value, str) else None
    if match is None:
        raise InputError(
            name,
            say("must be a ratio; got {value}", value=repr(value)),
            cure=say('Write antenna side to radio side: "4:1".'),
        )
    up, down = (fields.written_number(part, name) for part in match.groups())
    if not (up > 0 and down > 0 and 0.01 <= up / down <= 100):
        raise InputError(name, say("must lie between 1:100 and 100:1; got {value}", value=repr(value)))
    return up / down


WAVES = {"quarter": 0.25, "half": 0.5, "full": 1.0, "whole": 1.0, "eighth": 0.125}
COUNTS = {"one": 1, "two": 2, "three": 3, "five": 5, "seven": 7}
_WAVES = re.compile(
    r"(?:(?P<count>[a-z]+|\d+) )?(?P<wave>quarter|half|full|whole|eighth) waves?|"
    r"(?P<top>\d+)/(?P<bottom>\d+) waves?|(?P<some>\d*\.?\d+) waves?"
)


def cut_deg(value: Any, name: str) -> float:
    """Return the electrical length a line is to be cut to, in degrees.

    >>> cut_deg("half wave", "cut"), cut_deg("90 deg", "cut"), cut_deg("three quarter waves", "cut")
    (180.0, 90.0, 270.0)
    >>> cut_deg("5/4 wave", "cut"), cut_deg("0.7 waves", "cut")
    (450.0, 252.0)
    """
    found = _waves(value)
    if found is None:
        try:
            found, _ = _with_unit(value, name, "deg|degrees|°", "90 deg")
        except UnitError as error:
            raise UnitError(
                name,
                say("must be an electrical length; got {value}", value=repr(value)),
                cure=say('Write "half wave", "3/4 wave" or "90 deg".'),
            ) from error
    if not 0.0 < found <= 36000.0:
        raise InputError(name, say("must lie between 0 and 36000 degrees; got {value}", value=repr(value)))
    return round(found, 9)


def _waves(value: Any) -> float | None:
    """Return a length told in waves, in degrees; None where it is told otherwise."""
    match = _WAVES.fullmatch(" ".join(value.lower().replace("-", " ").split())) if isinstance(value, str) else None
    if match is None:
        return None
    if match["some"]:
        return 360.0 * float(match["some"])
    if match["top"]:
        return 360.0 * int(match["top"]) / int(match["bottom"]) if int(match["bottom"]) else 0.0
    count = match["count"] or "1"
    many = int(count) if count.isdigit() else COUNTS.get(count)
    return None if many is None else 360.0 * many * WAVES[match["wave"]]


def quality(value: Any, name: str) -> float:
    """Return the Q of a coil or capacitor, from 1 to 100 000."""
    found = fields.written_number(value, name)
    if not 1.0 <= found <= 1e5:
        raise InputError(name, say("must lie between 1 and 100000; got {value}", value=repr(value)))
    return found


def impedance(value: Any, name: str) -> complex:
    """Return a written impedance in ohms; its resistance must be above zero.

    >>> impedance("38-12j", "impedance"), impedance("50 + j25 ohm", "impedance"), impedance("200", "impedance")
    ((38-12j), (50+25j), (200+0j))
    """
    text = re.sub(r"\s|ohms?$|Ω$", "", value.lower()).replace(",", ".") if isinstance(value, str) else ""
    text = re.sub(r"j([\d.]+)$", r"\1j", text)
    if not re.fullmatch(rf"{_PLAIN}(?:[+-]{_PLAIN}j)?", text):
        raise InputError(
            name,
            say("must be a complex impedance; got {value}", value=repr(value)),
            cure=say('Write it as "38-12j", in ohms.'),
        )
    found = complex(text)
    if not 0.0 < found.real <= 1e6 or abs(found.imag) > 1e6:
        raise InputError(
            name, say("must have a resistance above zero, and at most a megohm; got {value}", value=repr(value))
        )
    return found


def written_ohms(value: Any, name: str) -> float:
    """Return a written resistance in ohms, whatever its size."""
    return _with_unit(value, name, "ohms?|Ω", "50 ohm")[0]


def resistance(value: Any, name: str) -> float:
    """Return a written resistance, "50 ohm"."""
    found = written_ohms(value, name)
    if not 1.0 <= found <= 10000.0:
        raise InputError(name, say("must lie between 1 and 10000 ohm; got {value}", value=repr(value)))
    return found


def pairs(value: Any, name: str) -> int:
    """Return how many pairs of connectors there are, from 1 to 50."""
    return int(fields.above_zero(fields.whole(value, name), value, name))


def ways(value: Any, name: str) -> int:
    """Return how many branches a splitter has, from 2 to 16."""
    found = fields.whole(value, name)
    if not 2 <= found <= 16:
        raise InputError(name, say("must be a whole number from 2 to 16; got {value}", value=repr(value)))
    return found


def points(value: Any, name: str, read: Callable[[Any, str], Any]) -> tuple[tuple[float, Any], ...]:
    """Return pairs of (frequency, value), their frequencies rising, as ``read`` has the values."""
    if not isinstance(value, list) or not value:
        raise InputError(
            name,
            say("must be a list of points; got {value}", value=repr(value)),
            cure=say('Write [["14.2 MHz", ...], ...].'),
        )
    found: list[tuple[float, Any]] = []
    for i, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(
                name, say("must be pairs of frequency and value; point {number} is {pair}", number=i, pair=repr(pair))
            )
        at = fields.frequency(pair[0], f"{name}, frequency of point {i}")
        if found and at <= found[-1][0]:
            raise InputError(
                name,
                say("must rise in frequency from point to point; point {number} is {pair}", number=i, pair=repr(pair)),
            )
        found.append((at, read(pair[1], f"{name}, value of point {i}")))
    return tuple(found)


def curve(read: Read) -> Callable[[Any, str], Curve]:
    """Return a reader of one value for all frequencies, or of a list of [frequency, value]."""

    def reader(value: Any, name: str) -> Curve:
        return points(value, name, read) if isinstance(value, list) else ((0.0, read(value, name)),)

    return reader


def one_or_more(read: Read) -> Callable[[Any, str], tuple[float, ...]]:
    """Return a reader of one value or a list of them."""

    def reader(value: Any, name: str) -> tuple[float, ...]:
        values = value if isinstance(value, list) else [value]
        return tuple(read(v, name) for v in values)

    return reader


def texts(value: Any, name: str) -> tuple[str, ...]:
    """Return one text or a list of them."""
    return tuple(fields.text(v, name) for v in (value if isinstance(value, list) else [value]))
