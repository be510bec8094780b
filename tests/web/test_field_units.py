"""What people write into fields that show their unit is understood, and what cannot be meant is refused by name."""

from __future__ import annotations

import pytest

from linewright.catalogue.bands import band
from linewright.core.errors import InputError
from linewright.core.quantities import frequency_range_hz, length_m
from linewright.web.field_units import USUAL_HZ, frequencies_written, range_with_unit, with_unit


@pytest.mark.parametrize(
    "text",
    ["20m, 6m, 2m", "14.2, 50.1, 144.3", "14,2; 50,1; 144,3", "14.2,50.1,144.3", "14.2 MHz, 50100 kHz and 2 m",
     "2 m\n6 m\n20 m", "14,2 MHz, 50,1 MHz, 144,3 MHz", "20m,6m,2m"],
)  # fmt: skip
def test_bands_and_bare_numbers_are_frequencies(text):
    assert frequencies_written(text) == (14.2e6, 50.1e6, 144.3e6)


def test_one_frequency_with_a_decimal_comma_is_one():
    assert frequencies_written("14,2") == (14.2e6,)


@pytest.mark.parametrize("text", ["20 yards", "two metres", "14.2, half", "0", "5e12"])
def test_what_is_no_frequency_is_named(text):
    with pytest.raises(InputError) as refused:
        frequencies_written(text)
    assert text.rpartition(", ")[2] in str(refused.value)


RANGES = {
    "140-450": (140e6, 450e6), "1.8–60 MHz": (1.8e6, 60e6), "1,8 bis 30": (1.8e6, 30e6),
    "100 kHz to 30 MHz": (1e5, 3e7),
}  # fmt: skip


@pytest.mark.parametrize(("text", "hertz"), RANGES.items())
def test_a_range_takes_the_unit_of_its_field(text, hertz):
    assert frequency_range_hz(range_with_unit(text)) == hertz


def test_a_length_takes_the_unit_of_its_field():
    assert length_m(with_unit("20", "m")) == 20
    assert length_m(with_unit("20", "ft")) == pytest.approx(6.096)
    assert length_m(with_unit("24 ft", "m")) == pytest.approx(7.3152)


def test_a_band_is_keyed_where_every_region_that_has_it_may():
    edges = {"80 m": (3.5e6, 3.8e6), "40 m": (7.0e6, 7.2e6), "160 m": (1.81e6, 2e6), "6 m": (50e6, 52e6),
             "2 m": (144e6, 146e6), "70 cm": (430e6, 440e6)}  # fmt: skip
    for name, hertz in USUAL_HZ.items():
        low, high = edges.get(name, (band(name).low_hz, band(name).high_hz))
        assert low < hertz < high
