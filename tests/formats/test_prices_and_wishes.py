"""Prices and wishes are read as meant, or refused with row and cure."""

import pytest

from linewright.core.errors import InputError, SheetError, UnitError
from linewright.files.prices import read_prices_text
from linewright.files.station import read_station_text

RUN = """
[[run]]
name = "beam"
frequencies = ["144.3 MHz"]
power = "50 W"
route = "20 m"
antenna = {swr = 1.5}
"""


def prices(*rows):
    return read_prices_text("\n".join(("line,price,currency,connector_price,outdoors", *rows)))


def test_a_price_by_the_foot_is_one_by_the_metre():
    (offer,) = prices("RG-213/U,0.3048/ft,eur,4.00,yes").offers
    assert (offer.price_per_m, offer.connector_price, offer.currency, offer.outdoors) == (
        pytest.approx(1.0),
        4.0,
        "EUR",
        True,
    )


def test_items_bought_singly_are_listed_separately():
    found = prices("masthead preamplifier,95 each,EUR,,")
    assert found.each == {"masthead preamplifier": 95.0}


def test_a_line_nobody_knows_is_spoken_of_and_the_rest_goes_on():
    found = prices("RG-213/U,2/m,EUR,,", "garden hose,1/m,EUR,,")
    assert [o.line.designator for o in found.offers] == ["RG-213/U"]
    assert "Row 3" in found.remarks[0]
    assert "garden hose" in found.remarks[0]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("RG-213/U,2,EUR,,", "must say what it is for"),
        ("RG-213/U,2 each,EUR,,", "must be by length"),
        ("RG-213/U,-2/m,EUR,,", "must say what it is for"),
        ("RG-213/U,2/m,EUR,,perhaps", "must be yes or no"),
        ("masthead preamplifier,95/m,EUR,,", "must be each"),
    ],
)
def test_a_price_that_cannot_be_read_names_its_row(row, said):
    with pytest.raises(InputError, match=said) as caught:
        prices(row)
    assert caught.value.where.row == 2


def test_two_currencies_are_refused_with_the_row_of_either():
    with pytest.raises(InputError, match="USD here and EUR in row 2") as caught:
        prices("RG-213/U,2/m,EUR,,", "RG-58C/U,1/m,USD,,")
    assert caught.value.where.row == 3


def test_a_line_priced_twice_is_refused():
    with pytest.raises(InputError, match="stands twice"):
        prices("RG-213/U,2/m,EUR,,", "rg213,3/m,EUR,,")


def test_a_run_states_its_route_and_no_chain():
    (run,) = read_station_text(RUN, {}).runs
    assert (run.wishes.route_m, run.wishes.weight, run.chain) == (20.0, 1.0, ())


def test_wishes_are_read_in_si():
    text = RUN + '[run.choose]\nmax_mass = "0.1 lb/ft"\nmax_diameter = "11 mm"\nlimit = [["144 MHz", "2 dB"]]\n'
    wishes = read_station_text(text, {}).runs[0].wishes
    assert wishes.most_kg_per_m == pytest.approx(0.1488, abs=1e-4)
    assert wishes.most_diameter_m == pytest.approx(0.011)
    assert wishes.limit_db == ((144e6, 2.0),)


@pytest.mark.parametrize("line", ['max_mass = "160"', "tail = 3", "voltage_margin = 0.5", 'sure = "120 %"', "tial = 3"])
def test_a_wish_that_cannot_be_read_is_refused(line):
    with pytest.raises((UnitError, SheetError, InputError), match="run 1 choose"):
        read_station_text(f"{RUN}[run.choose]\n{line}\n", {})
