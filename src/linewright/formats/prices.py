"""A person's own prices: what a line costs by the metre, and other things each.

CSV: ``line,price,currency[,connector_price][,outdoors][,note]``. A price is written with what it is for: "1.85/m",
"1.10/ft", "95 each". ``line`` is a type of the catalogue or of the person's own; bought each are a "masthead
preamplifier" and "radio moved", what it costs to move the radio.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from pathlib import Path

from linewright.catalogue import line_type
from linewright.errors import InputError, UnitError, UnknownNameError, gathered
from linewright.formats import fields
from linewright.formats.csv_rows import csv_rows
from linewright.formats.tables import Source
from linewright.formats.texts import read_text
from linewright.model.choose import Prices
from linewright.model.line import LineType
from linewright.model.share import Offer
from linewright.units.constants import METRE_PER_FOOT

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
        cure = 'Write it as "1.85/m", "1.10/ft" or "95 each".'
        raise UnitError(name, f"must say what it is for; got {text!r}", cure=cure)
    money, unit = amount(match[1], name), match[2].lower()
    return (money / METRE_PER_FOOT, "m") if unit == "ft" else (money, unit)


def amount(text: str, name: str) -> float:
    """Return a sum of money: 0 or more."""
    found = fields.written_number(text, name)
    if not (math.isfinite(found) and 0.0 <= found <= 1e9):
        raise InputError(name, f"must be 0 or more; got {text!r}")
    return found


def read_prices(path: Path | str, own: Sequence[LineType] = ()) -> Prices:
    """Return the prices of a CSV file.

    Parameters
    ----------
    path : Path or str
    own : sequence of LineType
        The person's own line types; they go before the catalogue's.

    Raises
    ------
    InputError
        With file, row and cure; several problems are gathered in one ``SheetError``.
    """
    return read_prices_text(read_text(Path(path), "prices"), own, str(path))


def read_prices_text(text: str, own: Sequence[LineType] = (), name: str = "prices") -> Prices:
    r"""Return the prices of a text. A line nobody knows is left out and spoken of: a price list holds many things.

    >>> read_prices_text("line,price,currency\nRG-213/U,2.10/m,EUR").offers[0].price_per_m
    2.1
    """
    source = Source(name, text)
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
        source.note(InputError("prices", f"holds no price that can be used.{left}", cure="Add a row."))
    if source.problems:
        raise gathered(source.problems)
    return Prices(tuple(offers.values()), each, next(iter(currencies), ""), tuple(remarks))


def _one_currency(seen: dict[str, int], currency: str, row: int) -> None:
    seen.setdefault(currency, row)
    if len(seen) > 1:
        first, at = next(iter(seen.items()))
        seen.pop(currency)
        rule = f"must be one for all prices; got {currency} here and {first} in row {at}"
        raise InputError("currency", rule, cure="Convert them by hand: no rate of exchange is known here.")


def _put(into: dict[str, object] | dict[str, Offer] | dict[str, float], name: str, value: object) -> None:
    if name in into:
        raise InputError("line", f"must stand once; {name} stands twice", cure="Keep the offer you would take.")
    into[name] = value  # type: ignore[assignment]


def _each(price: str, what: str) -> float:
    money, unit = price_of(price, "price")
    if unit != "each":
        raise UnitError("price", f"must be each for a {what}; got {price!r}", cure='Write it as "95 each".')
    return money


def _offer(cells: dict[str, str], what: str, currency: str, own: Sequence[LineType]) -> Offer:
    line = line_type(what, own)
    money, unit = price_of(cells["price"], "price")
    if unit == "each":
        raise UnitError("price", f"must be by length for a line; got {cells['price']!r}", cure='Write it as "1.85/m".')
    connector = amount(cells["connector_price"], "connector_price") if "connector_price" in cells else 0.0
    said = cells.get("outdoors", "").lower()
    if said not in ("", *_YES):
        raise InputError("outdoors", f"must be yes or no; got {said!r}", cure="Leave it empty if nobody says.")
    return Offer(line, money, connector, currency, cells.get("note", ""), _YES.get(said))
