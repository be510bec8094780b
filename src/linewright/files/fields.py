"""Single fields of a file: what each may hold. Every reader takes the value and the name to complain under."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from linewright.catalogue import line_type
from linewright.core import quantities
from linewright.core.errors import InputError, UnitError
from linewright.core.messages import say
from linewright.core.nouns.line import LineType

# Single fields of a file: what each may hold. Every reader takes the value and the name to complain under

Word = TypeVar("Word", bound=str)
LEAST_HZ, MOST_HZ = 1e4, 1e11
MOST_M = 1e5
LONGEST_NAME = 200
CONTROL = re.compile("[\0-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
"""What no keyboard types: control characters, and those that turn the direction of writing round."""


def control_character(text: str) -> str:
    r"""Return what is wrong with a text that holds a control character, "" if none is in it.

    >>> control_character("desk\x07 meter"), control_character("blue 7")
    ('must hold no control character; U+0007 is its character 5', '')
    """
    found = CONTROL.search(text)
    if not found:
        return ""
    sign = f"U+{ord(found[0]):04X}"
    return say("must hold no control character; {sign} is its character {number}", sign=sign, number=found.start() + 1)


def text(value: Any, name: str) -> str:
    """Return a name or note: printable, not empty, spaces at the ends dropped."""
    if not isinstance(value, str):
        raise InputError(
            name, say("must be text; got {value}", value=repr(value)), cure=say('Write it in quotes, as "blue 7".')
        )
    if wrong := control_character(value):
        raise InputError(name, wrong, cure=say("Take it out, or type the text anew."))
    found = " ".join(value.split())
    if not found or not found.isprintable():
        raise InputError(name, say("must be text one can read; got {value}", value=repr(value)))
    if len(found) > LONGEST_NAME:
        raise InputError(
            name, say("must be at most {most} characters long; got {value}", most=LONGEST_NAME, value=len(found))
        )
    return found


def tag(value: Any, name: str) -> str:
    """Return the tag of a piece or attenuator: text that can stand in a path."""
    found = text(value, name)
    if found.lower() == "reference" or "+" in found:
        raise InputError(
            name,
            say("must not be 'reference' or hold a plus sign; got {value}", value=repr(found)),
            cure=say("Paths use both: choose another tag."),
        )
    return found


def number(value: Any, name: str) -> float:
    """Return a plain finite number."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(name, say("must be a number; got {value}", value=repr(value)))
    try:
        found = float(value)
    except OverflowError:
        found = math.inf
    if not math.isfinite(found):
        raise InputError(name, say("must be a finite number; got {value}", value=repr(value)))
    return found


def written_number(value: Any, name: str) -> float:
    """Return a number written as text, "4.3" or "4,3"; more than one separator is refused."""
    if not isinstance(value, str):
        return number(value, name)
    plain = value.strip()
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", plain):
        both = f"{plain.replace(',', '.')} or {plain.replace(',', '')}"
        raise InputError(
            name,
            say("may mean {both}; got {value}", both=both, value=repr(value)),
            cure=say("Write it with a point, or without a comma."),
        )
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    try:
        found = float(plain) if "_" not in plain else math.nan
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise InputError(
            name, say("must be a finite number; got {value}", value=repr(value)), cure=say("Write it as 4.3.")
        )
    return found


def whole(value: Any, name: str) -> int:
    """Return a whole number from 0 to 50."""
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 50:
        raise InputError(name, say("must be a whole number from 0 to 50; got {value}", value=repr(value)))
    return value


def swr(value: Any, name: str) -> float:
    """Return an SWR, from 1 to 100."""
    found = written_number(value, name)
    if not 1.0 <= found <= 100.0:
        raise InputError(
            name,
            say("must be at least 1 and at most 100; got {value}", value=format(found, "g")),
            cure=say("An SWR of 1 is a perfect match."),
        )
    return found


def frequency(value: Any, name: str) -> float:
    """Return a written frequency in hertz, from 10 kHz to 100 GHz."""
    found = quantities.frequency_hz(value, name)
    if not LEAST_HZ <= found <= MOST_HZ:
        raise InputError(
            name,
            say("must lie between 10 kHz and 100 GHz; got {value}", value=repr(value)),
            cure=say("Check the unit: 144 MHz?"),
        )
    return found


def length(value: Any, name: str) -> float:
    """Return a written length in metres, at most 100 km."""
    found = quantities.length_m(value, name)
    if not 1e-3 <= found <= MOST_M:
        raise InputError(
            name,
            say("must lie between 1 mm and 100 km; got {value}", value=repr(value)),
            cure=say("Check the unit: 7.2 m?"),
        )
    return found


def source_power(value: Any, name: str) -> float:
    """Return a written power in watts, above zero and at most 1 MW."""
    found = quantities.power_w(value, name)
    if not 0.0 < found <= 1e6:
        raise InputError(
            name,
            say("must be above zero and at most 1 MW; got {value}", value=repr(value)),
            cure=say("Check the unit: 10 W?"),
        )
    return found


def loss(value: Any, name: str) -> float:
    """Return a written loss in dB, from 0 to 200."""
    found = quantities.loss_ratio_db(value, name)
    if found > 200.0:
        raise InputError(name, say("must be at most 200 dB; got {value}", value=repr(value)))
    return found


def above_zero(value: float, given: Any, name: str) -> float:
    """Return a value that must be above zero."""
    if value <= 0.0:
        raise InputError(name, say("must be above zero; got {value}", value=repr(given)))
    return value


def one_of(value: Any, name: str, known: Iterable[Word]) -> Word:
    """Return one of a few words."""
    words = list(known)
    found = next((w for w in words if w == value), None)
    if found is None:
        raise InputError(
            name,
            say("must be one of {known}; got {value}", known=", ".join(words), value=repr(value)),
            cure=nearest(value, words),
        )
    return found


def nearest(value: Any, known: Iterable[str]) -> str:
    """Return a cure that names the nearest known word, or the empty string."""
    from difflib import get_close_matches

    close = get_close_matches(str(value), list(known), n=1, cutoff=0.5)
    return say('Did you mean "{name}"?', name=close[0]) if close else ""


def bare(value: Any, name: str, example: str) -> UnitError:
    """Return the error for a number that should carry a unit."""
    return UnitError(
        name,
        say("needs a unit; got the bare number {value}", value=repr(value)),
        cure=say('Write it as "{example}".', example=example),
    )


# Names of line types in a file: a person's own types before the catalogue's


def line_reader(own: Sequence[LineType]) -> Callable[[Any, str], LineType]:
    """Return a reader of line types, a person's own before the catalogue's."""

    def read(value: Any, name: str) -> LineType:
        try:
            return line_type(text(value, name), own)
        except InputError as error:
            raise type(error)(name, error.rule, cure=error.cure) from error

    return read
