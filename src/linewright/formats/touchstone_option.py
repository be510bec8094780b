"""The option line of a Touchstone file: what the numbers after it are."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from linewright.errors import InputError

UNITS = {"hz": ("Hz", 1.0), "khz": ("kHz", 1e3), "mhz": ("MHz", 1e6), "ghz": ("GHz", 1e9)}
PARAMETERS = "syzhg"
LAYOUTS = ("db", "ma", "ri")
EXAMPLE = "# GHz S RI R 50"
_COMPLEX = re.compile(r"[-+0-9.e]+j?|\(?[-+0-9.e]+[-+][0-9.e]*j\)?")


@dataclass(frozen=True, slots=True)
class OptionLine:
    """Unit (lower case), parameter (one letter), layout of a pair (db, ma, ri) and the reference of each port in ohms.

    The defaults are the standard's (Touchstone 1.1, option line): GHz, S, MA, R 50.
    """

    unit: str = "ghz"
    parameter: str = "s"
    layout: str = "ma"
    reference_ohm: tuple[complex, ...] = (50 + 0j,)

    @property
    def hertz(self) -> float:
        """How many hertz the unit is."""
        return UNITS[self.unit][1]


def option_line(text: str) -> OptionLine:
    """Read an option line; case and order do not matter, and a bare # stands for the defaults.

    Raises
    ------
    InputError
        If a word means nothing, stands twice, or a reference is not an impedance with a positive real part.

    >>> option_line("#  hz  s  db  r  75")
    OptionLine(unit='hz', parameter='s', layout='db', reference_ohm=((75+0j),))
    """
    found: dict[str, str] = {}
    words = text.partition("!")[0].strip().removeprefix("#").lower().split()
    ohms: tuple[complex, ...] = ()
    for i, word in enumerate(words):
        if word == "r":
            ohms = tuple(_ohms(w) for w in _after_r(words[i + 1 :], found))
            break
        _keep(found, word)
    return OptionLine(**found, reference_ohm=ohms or (50 + 0j,))


def written_ohms(impedance: complex) -> str:
    """Write a reference so that it reads back the same: 50.0, or (10.0+5.0j), which the standard does not know."""
    real, imaginary = float(impedance.real), float(impedance.imag)
    return repr(real) if imaginary == 0 else f"({real!r}{imaginary:+}j)"


def _keep(found: dict[str, str], word: str) -> None:
    kind = "unit" if word in UNITS else "layout" if word in LAYOUTS else "parameter"
    if kind == "parameter" and word not in tuple(PARAMETERS):
        raise InputError("option line", f"has a word that means nothing: {word[:40]!r}", cure=f"Write it as {EXAMPLE}.")
    if kind in found:
        raise InputError("option line", f"says its {kind} twice: {found[kind]} and {word}", cure="Drop one.")
    found[kind] = word


def _after_r(words: list[str], found: dict[str, str]) -> list[str]:
    """Return the words that are references; those after them are options again, as their order is free."""
    count = next((i for i, w in enumerate(words) if not _COMPLEX.fullmatch(w)), len(words))
    if count == 0:
        raise InputError("option line", "has an R without a number after it", cure="Write R 50, say.")
    for word in words[count:]:
        _keep(found, word)
    return words[:count]


def _ohms(word: str) -> complex:
    try:
        value = complex(word)
    except ValueError:
        raise InputError(
            "option line", f"has a reference that is no number: {word[:40]!r}", cure="Write R 50, say."
        ) from None
    return sound_reference(value, word)


def sound_reference(value: complex, word: str) -> complex:
    """Return a reference impedance if it is one: finite, its real part above 0."""
    if not (math.isfinite(value.real) and math.isfinite(value.imag) and 0 < value.real <= 1e9):
        raise InputError(
            "reference", f"must be an impedance above 0 ohm; got {word[:40]}", cure="Write R 50 if the system is 50 Ω."
        )
    return value
