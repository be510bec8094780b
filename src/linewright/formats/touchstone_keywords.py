"""The keywords of version 2: what may stand after each."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from linewright.errors import InputError
from linewright.formats.touchstone_option import sound_reference

MOST_PORTS = 32
VERSIONS = ("2.0", "2.1")
ORDERS = ("21_12", "12_21")
FORMATS = ("full", "lower", "upper")
STRAY = ("end information", "noise data", "end")
"""Keywords that close or follow something, so none of them stands in a header of its own."""


@dataclass(slots=True)
class Told:
    """What keywords say; ``matrix`` is full, lower or upper, ``order`` the order of a two-port."""

    ports: int | None = None
    points: int | None = None
    noise_points: int | None = None
    reference_ohm: tuple[complex, ...] = ()
    matrix: str = "full"
    order: str = "21_12"


def _version(_: Told, rest: str) -> None:
    _one_of("[Version]", rest, VERSIONS)


def _ports(told: Told, rest: str) -> None:
    told.ports = _count("[Number of Ports]", rest)


def _points(told: Told, rest: str) -> None:
    told.points = _count("[Number of Frequencies]", rest)


def _noise_points(told: Told, rest: str) -> None:
    told.noise_points = _count("[Number of Noise Frequencies]", rest)


def _order(told: Told, rest: str) -> None:
    told.order = _one_of("[Two-Port Data Order]", rest, ORDERS)


def _matrix(told: Told, rest: str) -> None:
    told.matrix = _one_of("[Matrix Format]", rest, FORMATS)


def _mixed(_: Told, rest: str) -> None:
    words = rest.lower().split()
    if words != [f"s{k + 1}" for k in range(len(words))]:
        cure = "Save the file again with single-ended parameters."
        raise InputError("[Mixed-Mode Order]", "speaks of pairs of ports, which are not read", cure=cure)


def _reference(told: Told, rest: str) -> None:
    words = rest.split()
    try:
        told.reference_ohm = tuple(sound_reference(complex(float(w)), w) for w in words[: MOST_PORTS + 1])
    except ValueError as cause:
        if isinstance(cause, InputError):
            raise
        raise InputError("[Reference]", "must be one number per port", cure="Write them in ohms.") from None
    if not words:
        raise InputError("[Reference]", "must be one number per port", cure="Write them in ohms.")


def _count(what: str, rest: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}", rest, re.ASCII) or int(rest) < 1:
        raise InputError(what, f"must be a whole number above 0; got {rest[:20]!r}", cure="Write the count alone.")
    return int(rest)


def _one_of(what: str, rest: str, known: tuple[str, ...]) -> str:
    if rest.lower() not in known:
        raise InputError(what, f"must be {' or '.join(known)}; got {rest[:20]!r}")
    return rest.lower()


VALUES: dict[str, Callable[[Told, str], None]] = {
    "version": _version,
    "number of ports": _ports,
    "two-port data order": _order,
    "number of frequencies": _points,
    "number of noise frequencies": _noise_points,
    "reference": _reference,
    "matrix format": _matrix,
    "mixed-mode order": _mixed,
}
KEYWORDS = (*VALUES, "begin information", "network data", *STRAY)
