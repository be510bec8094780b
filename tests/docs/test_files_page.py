"""The page on file formats names every key of a choice and every column of a price list, and no other."""

from __future__ import annotations

import re

import pytest

from demo.tool import ROOT
from linewright.core.errors import InputError
from linewright.files.prices import read_prices_text
from linewright.files.station import read_station_text

PAGE = (ROOT / "docs" / "reference" / "files.md").read_text(encoding="utf-8")
STATION = """
[[run]]
name = "two-metre beam"
frequencies = ["144.3 MHz"]
power = "50 W"
route = "20 m"
chain = [{{line = "RG-213/U", length = "20 m"}}]
antenna = {{swr = 1.4}}
[run.choose]
{wishes}
"""
WISHES = {
    "replace": '["RG-213/U"]', "tail": '"3 m"', "limit": '"1 dB"', "sure": "0.9", "max_diameter": '"11 mm"',
    "max_mass": '"160 g/m"', "bend_radius": '"60 mm"', "voltage_margin": "2", "heat_margin": "2", "budget": "120",
    "impedance": '"any"', "outdoors": "true", "connector": '"N"', "shorter": '"12 m"', "moved": '"5 m"',
    "preamplifier": '{gain = "18 dB", noise_figure = "0.8 dB"}',
}  # fmt: skip
PRICES = {
    "line": "RG-213/U", "price": "1.85/m", "currency": "EUR", "connector_price": "4.00", "outdoors": "yes",
    "note": "second-hand",
}  # fmt: skip


def named_under(heading):
    """The keys of the table under a heading."""
    part = PAGE.partition(f"## {heading}\n")[2].partition("\n## ")[0]
    cells = re.findall(r"^\| (`.*?) \|", part, re.MULTILINE)
    return {key for cell in cells for key in re.findall(r"`(\w+)`", cell)}


def station(wishes):
    text = STATION.format(wishes="\n".join(f"{key} = {value}" for key, value in wishes.items()))
    return read_station_text(text, {})


def test_the_page_names_the_wishes_that_are_read():
    assert named_under("What a run asks of a line") == set(WISHES)
    assert station(WISHES).runs[0].wishes.budget == 120


@pytest.mark.parametrize("key", ["max_weight", "prices"])
def test_a_wish_that_is_not_on_the_page_is_refused(key):
    with pytest.raises(InputError, match=key):
        station({key: "1"})


def test_the_page_names_the_columns_of_a_price_list_that_are_read():
    assert named_under("Prices") == set(PRICES)
    offer = read_prices_text(f"{','.join(PRICES)}\n{','.join(PRICES.values())}\n").offers[0]
    assert offer.price_per_m == 1.85


def test_a_column_that_is_not_on_the_page_is_refused():
    with pytest.raises(InputError, match="colour"):
        read_prices_text("line,price,currency,colour\nRG-213/U,1.85/m,EUR,black\n")
