"""What a run asks of its line: ``route``, ``weight`` and the table ``[run.choose]`` of a station file, to wishes.

::

    [[run]]
    name = "two-metre beam"
    route = "23 m"                      # how far it reaches, for sharing out the shelf
    weight = 2
    [run.choose]
    replace = ["black 20", "rotator tail"]
    tail = "3 m"
    limit = "1 dB"                      # or [["144.3 MHz", "1 dB"], ["432.1 MHz", "2 dB"]]
    max_diameter = "11 mm"
    budget = 120
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from linewright.catalogue.connectors import connector
from linewright.errors import InputError, UnitError, UnknownNameError, gathered
from linewright.formats import fields, station_fields
from linewright.formats.inline import Inline, inline
from linewright.formats.own_lines import impedance_ohm
from linewright.formats.tables import Table
from linewright.model.choose import Wishes
from linewright.units.constants import METRE_PER_FOOT

_KG_PER = {"kg/m": 1.0, "g/m": 1e-3, "kg/km": 1e-3, "kg/100m": 1e-2, "lb/ft": 0.45359237 / METRE_PER_FOOT}
_MASS = re.compile(r"^\s*([\d.,]+)\s*([a-z]+\s*/\s*\d*\s*[a-z]+)\s*$", re.IGNORECASE)
ANY = "any"


def wishes_of(table: Table) -> Wishes:
    """Return what a run asks of its line; problems are noted."""
    route_m = table.take("route", fields.length, None)
    weight = table.take("weight", weight_of, 1.0)
    entry = inline(table, "choose")
    return replace(Wishes() if entry is None else _wishes(entry), route_m=route_m, weight=weight)


def _wishes(entry: Inline) -> Wishes:
    usual = Wishes()
    ohm: dict[str, Any] = entry.take("impedance", impedance, {})
    found: dict[str, Any] = {
        wish: entry.take(name, read, getattr(usual, wish)) for name, (wish, read) in _readers().items()
    }
    found |= {"preamplifier": _preamplifier(entry), **(ohm or {})}
    entry.close()
    return usual if entry.bad else Wishes(**found)


def _readers() -> dict[str, tuple[str, Callable[[Any, str], Any]]]:
    """Return the plain wishes by their names in a file: the name in ``Wishes``, and what reads it."""
    return {
        "replace": ("replace", station_fields.texts),
        "tail": ("tail_m", fields.length),
        "limit": ("limit_db", limit),
        "sure": ("sure", station_fields.share),
        "max_diameter": ("most_diameter_m", fields.length),
        "max_mass": ("most_kg_per_m", mass_kg_per_m),
        "bend_radius": ("bend_radius_m", fields.length),
        "voltage_margin": ("voltage_margin", margin),
        "heat_margin": ("heat_margin", margin),
        "budget": ("budget", money),
        "outdoors": ("outdoors", _yes_or_no),
        "connector": ("connector", family),
        "shorter": ("shorter_m", fields.length),
        "moved": ("moved_m", fields.length),
    }


def wishes_asked(given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is asked of a line by the names of ``Wishes``; ``given`` has the names of ``[run.choose]``.

    Names that say nothing of it, and those given as None, are passed over.

    Raises
    ------
    InputError
        With everything that cannot be read.

    >>> wishes_asked({"tail": "3 m", "impedance": "any", "run": "beam", "budget": None})
    {'tail_m': 3.0, 'any_impedance': True}
    """
    readers, found, wrong = _readers(), dict[str, Any](), list[InputError]()
    for name, value in given.items():
        try:
            if value is None:
                continue
            if name in readers:
                wish, read = readers[name]
                found[wish] = read(value, name)
            elif name == "impedance":
                found |= impedance(value, name)
            elif name == "preamplifier":
                found[name] = amplifier(value)
        except InputError as error:
            wrong.append(error)
    if wrong:
        raise gathered(wrong)
    return found


def amplifier(given: Mapping[str, Any]) -> tuple[float, float]:
    """Return the gain and the noise figure of a preamplifier, in decibels."""
    gain_db = station_fields.amplifier_db(given["gain"], "preamplifier gain")
    return gain_db, station_fields.noise_figure(given["noise_figure"], "preamplifier noise_figure")


def _preamplifier(entry: Inline) -> tuple[float, float] | None:
    one = inline(entry, "preamplifier")
    if one is None:
        return None
    gain_db = one.take("gain", station_fields.amplifier_db)
    figure_db = one.take("noise_figure", station_fields.noise_figure)
    one.close()
    return None if one.bad else (gain_db, figure_db)


limit: Callable[[Any, str], tuple[tuple[float, float], ...]] = station_fields.curve(fields.loss)
"""Reads the most a run may lose: one loss for all frequencies, or a list of [frequency, loss]."""


def weight_of(value: Any, name: str) -> float:
    """Return how much a run counts: a number from 0 to 1000."""
    found = fields.number(value, name)
    if not 0.0 <= found <= 1000.0:
        raise InputError(name, f"must lie between 0 and 1000; got {value!r}", cure="1 is usual; 2 counts double.")
    return found


def money(value: Any, name: str) -> float:
    """Return a budget: a number, 0 or more, in the currency of the prices."""
    found = fields.written_number(value, name)
    if not 0.0 <= found <= 1e9:
        raise InputError(name, f"must be 0 or more; got {value!r}")
    return found


def margin(value: Any, name: str) -> float:
    """Return how many times its load a rating must be, at least 1."""
    found = fields.written_number(value, name)
    if not 1.0 <= found <= 100.0:
        raise InputError(name, f"must lie between 1 and 100; got {value!r}", cure="2 is a rating of twice the load.")
    return found


def mass_kg_per_m(value: Any, name: str) -> float:
    """Return a written mass per length in kg/m.

    >>> mass_kg_per_m("160 g/m", "max_mass")
    0.16
    """
    match = _MASS.match(value) if isinstance(value, str) else None
    unit = re.sub(r"\s", "", match[2]).lower() if match else ""
    if match is None or unit not in _KG_PER:
        known = ", ".join(_KG_PER)
        raise UnitError(name, f"needs a mass per length in {known}; got {value!r}", cure='Write it as "160 g/m".')
    return fields.above_zero(fields.written_number(match[1], name) * _KG_PER[unit], value, name)


def impedance(value: Any, name: str) -> dict[str, Any]:
    """Return which impedance the line must have: "50 ohm", "75 ohm", or "any"."""
    if isinstance(value, str) and value.strip().lower() == ANY:
        return {"any_impedance": True}
    return {"impedance_ohm": impedance_ohm(value, name)}


def family(value: Any, name: str) -> str:
    """Return a connector family by its name in the catalogue."""
    try:
        return connector(fields.text(value, name)).name
    except UnknownNameError as error:
        raise UnknownNameError(name, error.rule, cure=error.cure) from error


def _yes_or_no(value: Any, name: str) -> bool:
    if not isinstance(value, bool):
        raise InputError(name, f"must be true or false; got {value!r}")
    return value
