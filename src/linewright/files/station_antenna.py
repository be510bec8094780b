"""The shape of an antenna by a few lengths, for the fields about it; it stands beside its SWR, impedance or sweep."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, Final

from linewright.core import quantities
from linewright.core.errors import Culprit, InputError, gathered
from linewright.core.messages import say
from linewright.core.nouns.station import Antenna
from linewright.core.nouns.wire_antenna import Beam, Dipole, EndFed, Loop, Vertical, WireAntenna, structure
from linewright.files import fields
from linewright.files.curve import Inline
from linewright.files.station_fields import share, written_ohms
from linewright.files.tables import SourceText, TomlTable

KINDS: Final = ("dipole", "doublet", "inverted v", "end-fed", "vertical", "loop", "beam")
SHAPE_KEYS: Final = (
    "kind", "length", "height", "end_height", "feed", "counterpoise", "base", "radials", "radial_length", "top", "coil",
    "diameter", "elements", "driven", "wire", "loss",
)  # fmt: skip
"""Keys that speak of the shape; none of them means anything without ``kind``."""
MAX_M: Final = 1000.0
MAX_LOSS_OHM: Final = 1000.0


def shape(entry: Inline, frequencies_hz: tuple[float, ...]) -> tuple[WireAntenna | None, float | None]:
    """Return the shape of an antenna and the loss in series with its feed; None where the table has no ``kind``.

    Problems are noted. A shape is refused that cannot be solved on one of the run's frequencies.
    """
    if "kind" not in entry.content:
        stray = next((key for key in SHAPE_KEYS if key in entry.content), None)
        if stray is not None:
            cure = say('Add kind = "dipole", or another of {kinds}.', kinds=", ".join(KINDS))
            entry.fail(InputError(f"{entry.label} {stray}", say("means nothing without kind"), cure=cure))
        return None, None
    kind = entry.take("kind", lambda value, name: fields.one_of(_lower(value), name, KINDS))
    loss_ohm = entry.take("loss", loss_ohms, None)
    readers: dict[str, Callable[[Inline], WireAntenna | None]] = {
        "dipole": _dipole, "doublet": _dipole, "inverted v": _inverted_v, "end-fed": _end_fed, "vertical": _vertical,
        "loop": _loop, "beam": _beam,
    }  # fmt: skip
    if kind not in readers:
        for key in SHAPE_KEYS:
            entry.take(key, lambda value, _: value, None)
        return None, None
    antenna = readers[kind](entry)
    if antenna is None or entry.bad:
        return None, None
    for frequency_hz in frequencies_hz:
        try:
            structure(antenna, frequency_hz)
        except InputError as error:
            entry.fail(InputError(f"{entry.label} {error.argument}", error.rule, cure=error.cure))
            return None, None
    return antenna, loss_ohm


def _dipole(entry: Inline) -> Dipole | None:
    length, height = entry.take("length", _length), entry.take("height", _length)
    feed, wire = entry.take("feed", _feed, 0.5), entry.take("wire", _thickness, 0.002)
    return None if entry.bad else Dipole(length, height, None, feed, wire)


def _inverted_v(entry: Inline) -> Dipole | None:
    length, height, end = (entry.take(key, _length) for key in ("length", "height", "end_height"))
    feed, wire = entry.take("feed", _feed, 0.5), entry.take("wire", _thickness, 0.002)
    return None if entry.bad else Dipole(length, height, end, feed, wire)


def _end_fed(entry: Inline) -> EndFed | None:
    length, height, counterpoise = (entry.take(key, _length) for key in ("length", "height", "counterpoise"))
    end, wire = entry.take("end_height", _length, None), entry.take("wire", _thickness, 0.002)
    return None if entry.bad else EndFed(length, height, counterpoise, end, wire)


def _vertical(entry: Inline) -> Vertical | None:
    length = entry.take("length", _length)
    base = entry.take("base", _length_or_none, 0.0)
    radials, radial = entry.take("radials", fields.whole, 0), entry.take("radial_length", _length, 0.0)
    top, coil = entry.take("top", _length, 0.0), entry.take("coil", _length, 0.0)
    wire = entry.take("wire", _thickness, 0.002)
    if not entry.bad and base > 0.0 and not (radials >= 2 and radial > 0.0):
        cure = say('Add radials = 4 and radial_length = "5 m", or leave base out where it stands on the ground.')
        entry.fail(InputError(f"{entry.label} base", say("needs two radials or more to stand on"), cure=cure))
    if not entry.bad and base == 0.0 and (radials or radial):
        cure = say('What the ground takes is a loss in series with the feed: loss = "10 ohm".')
        entry.fail(InputError(f"{entry.label} radials", say("count only under a raised base"), cure=cure))
    return None if entry.bad else Vertical(length, base, radials, radial, top, coil, wire)


def _loop(entry: Inline) -> Loop | None:
    diameter, height = entry.take("diameter", _length), entry.take("height", _length)
    wire = entry.take("wire", _thickness, 0.022)
    if not entry.bad and not height > diameter / 2.0:
        entry.fail(
            InputError(f"{entry.label} height", say("must keep the loop above ground; it is that of its centre"))
        )
    return None if entry.bad else Loop(diameter, height, wire)


def _beam(entry: Inline) -> Beam | None:
    elements, height = entry.take("elements", _elements), entry.take("height", _length)
    wire = entry.take("wire", _thickness, 0.02)
    driven = entry.take("driven", fields.whole, min(2, len(elements or ())) or 1)
    return None if entry.bad else Beam(elements, height, driven, wire)


_PAIR = re.compile(r"\s*([\d.,]+\s*[a-z\"']+)\s+([\d.,]+\s*[a-z\"']+)\s*", re.IGNORECASE)
"""Two lengths side by side, "3.8 m 9.96 m"."""


def _elements(value: Any, name: str) -> tuple[tuple[float, float], ...]:
    example = say('Write [["0 m", "10.4 m"], ["3.8 m", "9.96 m"], ...]: place on the boom, length.')
    if isinstance(value, str):
        example = say("Write 0 m 10.4 m; 3.8 m 9.96 m; ...: place on the boom, length.")
        pairs = [(_PAIR.fullmatch(pair), pair.strip()) for pair in value.split(";") if pair.strip()]
        value = [list(match.groups()) if match else pair for match, pair in pairs] or value
    if not isinstance(value, list) or not 1 <= len(value) <= 30:
        raise InputError(name, say("must be a list of 1 to 30 elements; got {value}", value=repr(value)), cure=example)
    found: list[tuple[float, float]] = []
    for i, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(
                name,
                say("must be pairs of place and length; element {number} is {pair}", number=i, pair=repr(pair)),
                cure=example,
            )
        place = _length_or_none(pair[0], f"{name}, place of element {i}")
        if found and place <= found[-1][0]:
            raise InputError(
                name,
                say("must rise along the boom; element {number} is {pair}", number=i, pair=repr(pair)),
                cure=example,
            )
        found.append((place, _length(pair[1], f"{name}, length of element {i}")))
    return tuple(found)


def _lower(value: Any) -> Any:
    return " ".join(value.lower().split()) if isinstance(value, str) else value


def _length(value: Any, name: str) -> float:
    found = quantities.length_m(value, name)
    if not 0.01 <= found <= MAX_M:
        raise InputError(
            name,
            say("must lie between 1 cm and 1 km; got {value}", value=repr(value)),
            cure=say("Check the unit: 10 m?"),
        )
    return found


def _length_or_none(value: Any, name: str) -> float:
    """Return a length that may be zero, "0 m"."""
    zero = isinstance(value, str) and value.strip().split(" ")[0] in ("0", "0.0") and len(value.split()) == 2
    return 0.0 if zero else _length(value, name)


def _thickness(value: Any, name: str) -> float:
    found = quantities.length_m(value, name)
    if not 1e-4 <= found <= 0.5:
        raise InputError(
            name,
            say("must lie between 0.1 and 500 mm; got {value}", value=repr(value)),
            cure=say("It is a diameter: 2 mm?"),
        )
    return found


def _feed(value: Any, name: str) -> float:
    found = share(value, name)
    if not 0.02 <= found <= 0.98:
        cure = say("A wire fed at its end is end-fed.")
        raise InputError(
            name, say("must lie between 2 and 98 % of the length; got {value}", value=repr(value)), cure=cure
        )
    return found


def loss_ohms(value: Any, name: str) -> float:
    """Return a loss resistance, "0.03 ohm"; it may be zero."""
    found = written_ohms(value, name)
    if not 0.0 <= found <= MAX_LOSS_OHM:
        raise InputError(
            name,
            say(
                "must lie between 0 and {max_loss_ohm} ohm; got {value}",
                max_loss_ohm=format(MAX_LOSS_OHM, "g"),
                value=repr(value),
            ),
        )
    return found


def written_antenna(text: str, name: str, frequencies_hz: tuple[float, ...]) -> Antenna:
    """Return an antenna of a kind and a few lengths in one line.

    >>> written_antenna("doublet, length 27 m, height 10 m, loss 5 ohm", "antenna", (3.65e6,)).loss_ohm
    5.0

    Raises
    ------
    InputError
        If it cannot be read, or not be solved on one of the frequencies.
    """
    kind, *clauses = (clause.strip() for clause in text.split(","))
    content: dict[str, Any] = {"kind": kind}
    for clause in clauses:
        words = clause.replace("_", " ").split() or [""]
        long_first = sorted(SHAPE_KEYS, key=len, reverse=True)
        key = next((k for k in long_first if words[: k.count("_") + 1] == k.split("_")), words[0])
        content[key] = " ".join(words[key.count("_") + 1 :])
    return antenna_of(content, name, frequencies_hz)


def antenna_of(content: Mapping[str, Any], name: str, frequencies_hz: tuple[float, ...]) -> Antenna:
    """Return an antenna of a kind and a few lengths by the keys of a station file.

    Raises
    ------
    InputError
        As ``written_antenna``.
    """
    counted = {key: int(value) if isinstance(value, str) and value.isdecimal() else value
               for key, value in content.items()}  # fmt: skip
    source = SourceText(name, "")
    entry = Inline(TomlTable(source, "", {}), name, counted, None)
    form, loss_ohm = shape(entry, frequencies_hz)
    entry.close()
    if source.problems:
        raise gathered([problem.at(Culprit()) for problem in source.problems])
    return Antenna(shape=form, loss_ohm=loss_ohm)
