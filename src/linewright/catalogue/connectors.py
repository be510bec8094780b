"""Connectors: the heat a mated pair makes, what it reflects, and what it bears. And other things put into a line."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewright.catalogue.names import key
from linewright.catalogue.tables import Row, rows, worded
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formulas.mismatch import section_loss_db
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.line import Figure, Grade, Provenance

ALIASES: Mapping[str, str] = {
    "PL-259": "UHF", "SO-239": "UHF", "PL-259/SO-239": "UHF", "type N": "N", "7/16": "7-16", "7-16 DIN": "7-16",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class LineSection:
    """A short lossless line that stands for an impedance step: impedance, and length in vacuum of the same delay."""

    impedance_ohm: float
    electrical_length_m: float


@dataclass(frozen=True, slots=True)
class Connector:
    """A connector family, per mated pair.

    ``heat_db`` is the heat loss at 1 MHz; it grows with √f. ``voltage_v`` is rms. ``line_section`` is the impedance
    step of a family without constant impedance, None for the others. ``figures`` holds every figure with its
    provenance, those above included.
    """

    name: str
    impedance_ohm: float
    heat_db: float
    max_hz: float
    voltage_v: float
    line_section: LineSection | None
    figures: Mapping[str, Figure]

    def heat_loss_db(self, frequency_hz: ArrayLike) -> NDArray[np.float64]:
        """Return the heat loss of a mated pair in dB, shaped as the frequency: ``heat_db √(f / 1 MHz)``."""
        f = np.asarray(frequency_hz, dtype=np.float64)
        if not np.all(np.isfinite(f) & (f >= 0)):
            raise InputError("frequency_hz", say("must be zero or more and finite"))
        return np.asarray(self.heat_db * np.sqrt(f / 1e6), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Fitting:
    """Something else put into a line (adapter, arrestor, relay): what is known of it, in words and figures."""

    name: str
    figures: Mapping[str, Figure]


def connectors() -> tuple[Connector, ...]:
    """Return every connector family.

    >>> [c.name for c in connectors()]
    ['N', 'BNC', 'TNC', 'SMA', 'UHF', '7-16', '4.3-10', 'F']
    """
    return tuple(_connector(name, figures) for name, figures in _gathered("connectors").items())


def connector(name: str) -> Connector:
    """Return a connector family by name; "PL-259" and "SO-239" are the two halves of UHF.

    Raises
    ------
    UnknownNameError
        If there is no such family; the message lists them.

    >>> connector("pl259").line_section
    LineSection(impedance_ohm=33.3, electrical_length_m=0.049)
    """
    wanted = key(str(name))
    for alias, meant in ALIASES.items():
        wanted = key(meant) if wanted == key(alias) else wanted
    for one in connectors():
        if key(one.name) == wanted:
            return one
    cure = say("Known: {value}.", value=", ".join(c.name for c in connectors()))
    raise UnknownNameError(
        "connector", say("must be a family the catalogue knows; got {value}", value=repr(name)), cure=cure
    )


def fittings() -> tuple[Fitting, ...]:
    """Return adapters, splices, arrestors, relays and the like.

    >>> fittings()[0].figures["loss"].value
    '0.03-0.1 dB below 500 MHz; adds one mated pair'
    """
    return tuple(Fitting(name, figures) for name, figures in _gathered("fittings").items())


def pair_loss_db(one: Connector, frequency_hz: ArrayLike, system_ohm: float = 50.0) -> NDArray[np.float64]:
    """Return what a mated pair takes between matched ends, dB: its heat, and what its impedance step reflects.

    A pair between unmatched ends takes more or less, as the reflections meet: put the section into the chain there.

    >>> float(pair_loss_db(connector("UHF"), 145e6).round(3)), float(pair_loss_db(connector("N"), 145e6).round(3))
    (0.033, 0.019)
    """
    heat = one.heat_loss_db(frequency_hz)
    step = one.line_section
    if step is None:
        return heat
    return heat + section_loss_db(frequency_hz, step.impedance_ohm, step.electrical_length_m, system_ohm)


@cache
def _gathered(name: str) -> dict[str, dict[str, Figure]]:
    found: dict[str, dict[str, Figure]] = {}
    for row in rows(name):
        found.setdefault(row["name"], {})[row["figure"]] = _figure(row)
    return found


def _figure(row: Row) -> Figure:
    known = Provenance(cast("Grade", row["grade"]), worded(row["source"]), row["note"])
    try:
        return Figure(float(row["value"]), known)
    except ValueError:
        return Figure(row["value"], known)


def _connector(name: str, figures: Mapping[str, Figure]) -> Connector:
    def number(figure: str) -> float:
        return float(figures[figure].value)

    step = "section_length_m" in figures
    return Connector(
        name=name,
        impedance_ohm=number("impedance_ohm"),
        heat_db=number("heat_db"),
        max_hz=number("max_hz"),
        voltage_v=number("voltage_v"),
        line_section=LineSection(number("impedance_ohm"), number("section_length_m")) if step else None,
        figures=figures,
    )
