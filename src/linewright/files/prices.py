"""A person's own prices: what a line costs by the metre, and other things each.

CSV: ``line,price,currency[,connector_price][,outdoors][,note]``. A price is written with what it is for: "1.85/m",
"1.10/ft", "95 each". ``line`` is a type of the catalogue or of the person's own; bought each are a "masthead
preamplifier" and "radio moved", what it costs to move the radio.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from linewright.catalogue import line_type
from linewright.catalogue.connectors import connector
from linewright.core.errors import InputError, UnitError, UnknownNameError, gathered
from linewright.core.messages import say
from linewright.core.nouns.choice import Offer, Prices, Wishes
from linewright.core.nouns.line import LineType
from linewright.core.quantities import METRE_PER_FOOT
from linewright.files import fields, station_fields
from linewright.files.curve import Inline, inline
from linewright.files.own_lines import impedance_ohm
from linewright.files.tables import SourceText, TomlTable, csv_rows, read_text

# A person's own prices: what a line costs by the metre, and other things each

PREAMPLIFIER, MOVED = "masthead preamplifier", "radio moved"
EACH = (PREAMPLIFIER, MOVED)
_PRICE = re.compile(r"^([\d.,]+)\s*(?:/\s*|per\s+)?(m|ft|each)$", re.IGNORECASE)
_YES = {"yes": True, "no": False}


def price_of(text: str, name: str) -> tuple[float, str]:
    """Return a written price and what it is for: per metre ("m"), or "each".

    >>> price_of("1.85/m", "price"), price_of("95 each", "price")
    ((1.85, 'm'), (95.0, 'each'))
    >>> round(price_of("1.10/ft", "price")[0], 4)
    3.6089
    """
    match = _PRICE.match(text.strip())
    if match is None:
        cure = say('Write it as "1.85/m", "1.10/ft" or "95 each".')
        raise UnitError(name, say("must say what it is for; got {value}", value=repr(text)), cure=cure)
    money, unit = amount(match[1], name), match[2].lower()
    return (money / METRE_PER_FOOT, "m") if unit == "ft" else (money, unit)


def amount(text: str, name: str) -> float:
    """Return a sum of money: 0 or more."""
    found = fields.written_number(text, name)
    if not (math.isfinite(found) and 0.0 <= found <= 1e9):
        raise InputError(name, say("must be 0 or more; got {value}", value=repr(text)))
    return found


def read_prices(path: Path | str, own: Sequence[LineType] = ()) -> Prices:
    """Return the prices of a CSV file.

    Parameters
    ----------
    path : Path or str
        The file.
    own : sequence of LineType
        The person's own line types; they go before the catalogue's.

    Returns
    -------
    Prices
        Offers, prices per metre in one currency.

    Raises
    ------
    InputError
        With file, row and cure; several problems are gathered in one ``SheetError``.

    >>> from linewright.verbs.examples import demo_file
    >>> read_prices(demo_file("harbour-ridge-prices.csv")).offers[0].price_per_m
    0.7
    """
    return read_prices_text(read_text(Path(path), "prices"), own, str(path))


def read_prices_text(text: str, own: Sequence[LineType] = (), name: str = "prices") -> Prices:
    r"""Return the prices of a text. A line nobody knows is left out and spoken of: a price list holds many things.

    >>> read_prices_text("line,price,currency\nRG-213/U,2.10/m,EUR").offers[0].price_per_m
    2.1
    """
    source = SourceText(name, text)
    offers: dict[str, Offer] = {}
    each: dict[str, float] = {}
    currencies: dict[str, int] = {}
    remarks: list[str] = []
    for row, cells in csv_rows(source, ("line", "price", "currency"), ("connector_price", "outdoors", "note")):
        try:
            currency = fields.text(cells["currency"], "currency").upper()
            _one_currency(currencies, currency, row)
            what = fields.text(cells["line"], "line")
            if what.lower() in EACH:
                _put(each, what.lower(), _each(cells["price"], what))
                continue
            offer = _offer(cells, what, currency, own)
            _put(offers, offer.line.designator, offer)
        except UnknownNameError as error:
            remarks.append(f"Row {row} of {name} is left out: {error}")
        except InputError as error:
            source.note(error, row)
    if not offers and not each and not source.problems:
        left = f" {remarks[0]}" if remarks else ""
        source.note(
            InputError("prices", say("holds no price that can be used.{left}", left=left), cure=say("Add a row."))
        )
    if source.problems:
        raise gathered(source.problems)
    return Prices(tuple(offers.values()), each, next(iter(currencies), ""), tuple(remarks))


def _one_currency(seen: dict[str, int], currency: str, row: int) -> None:
    seen.setdefault(currency, row)
    if len(seen) > 1:
        first, at = next(iter(seen.items()))
        seen.pop(currency)
        rule = say(
            "must be one for all prices; got {value} here and {first} in row {at}", value=currency, first=first, at=at
        )
        raise InputError("currency", rule, cure=say("Convert them by hand: no rate of exchange is known here."))


def _put(into: dict[str, object] | dict[str, Offer] | dict[str, float], name: str, value: object) -> None:
    if name in into:
        raise InputError(
            "line", say("must stand once; {name} stands twice", name=name), cure=say("Keep the offer you would take.")
        )
    into[name] = value  # type: ignore[assignment]


def _each(price: str, what: str) -> float:
    money, unit = price_of(price, "price")
    if unit != "each":
        raise UnitError(
            "price",
            say("must be each for a {what}; got {value}", what=what, value=repr(price)),
            cure=say('Write it as "95 each".'),
        )
    return money


def _offer(cells: dict[str, str], what: str, currency: str, own: Sequence[LineType]) -> Offer:
    line = line_type(what, own)
    money, unit = price_of(cells["price"], "price")
    if unit == "each":
        raise UnitError(
            "price",
            say("must be by length for a line; got {value}", value=repr(cells["price"])),
            cure=say('Write it as "1.85/m".'),
        )
    connector = amount(cells["connector_price"], "connector_price") if "connector_price" in cells else 0.0
    said = cells.get("outdoors", "").lower()
    if said not in ("", *_YES):
        raise InputError(
            "outdoors",
            say("must be yes or no; got {value}", value=repr(said)),
            cure=say("Leave it empty if nobody says."),
        )
    return Offer(line, money, connector, currency, cells.get("note", ""), _YES.get(said))


# What a run asks of its line: ``route``, ``weight`` and the table ``[run.choose]`` of a station file, to wishes

_KG_PER = {"kg/m": 1.0, "g/m": 1e-3, "kg/km": 1e-3, "kg/100m": 1e-2, "lb/ft": 0.45359237 / METRE_PER_FOOT}
_MASS = re.compile(r"^\s*([\d.,]+)\s*([a-z]+\s*/\s*\d*\s*[a-z]+)\s*$", re.IGNORECASE)
ANY = "any"


def wishes_of(table: TomlTable) -> Wishes:
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
        raise InputError(
            name,
            say("must lie between 0 and 1000; got {value}", value=repr(value)),
            cure=say("1 is usual; 2 counts double."),
        )
    return found


def money(value: Any, name: str) -> float:
    """Return a budget: a number, 0 or more, in the currency of the prices."""
    found = fields.written_number(value, name)
    if not 0.0 <= found <= 1e9:
        raise InputError(name, say("must be 0 or more; got {value}", value=repr(value)))
    return found


def margin(value: Any, name: str) -> float:
    """Return how many times its load a rating must be, at least 1."""
    found = fields.written_number(value, name)
    if not 1.0 <= found <= 100.0:
        raise InputError(
            name,
            say("must lie between 1 and 100; got {value}", value=repr(value)),
            cure=say("2 is a rating of twice the load."),
        )
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
        raise UnitError(
            name,
            say("needs a mass per length in {known}; got {value}", known=known, value=repr(value)),
            cure=say('Write it as "160 g/m".'),
        )
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
        raise InputError(name, say("must be true or false; got {value}", value=repr(value)))
    return value
