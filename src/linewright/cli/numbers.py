"""Figures as they stand in the terminal: decimals follow the interval, and a figure stays what the library gave."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.units.writing import frequency

MOST = 1e6
"""A figure larger than this says that something is wrong; it stands in powers of ten."""


def with_interval(value: float, low: float, high: float, unit: str = "dB") -> str:
    """Write a value with its interval; a narrow interval earns two decimals.

    >>> with_interval(3.7123, 3.2, 4.2), with_interval(0.412, 0.38, 0.44)
    ('3.7 dB (3.2 to 4.2)', '0.41 dB (0.38 to 0.44)')
    """
    places = places_for(low, high)
    tail = f" {unit}" if unit else ""
    return f"{plain(value, places)}{tail} ({plain(low, places)} to {plain(high, places)})"


def places_for(low: float, high: float) -> int:
    """Return the decimals an interval earns: two figures of a narrow one, tenths of a wide one.

    >>> places_for(0.011, 0.015), places_for(0.56, 0.65), places_for(3.2, 4.2), places_for(40.0, 55.0)
    (3, 2, 1, 0)
    """
    reach = high - low
    return next((places for places, most in ((3, 0.04), (2, 0.4), (1, 10.0)) if reach < most), 0)


def plain(value: float, places: int) -> str:
    """Write a number, never "-0.0".

    >>> plain(-0.04, 1), plain(2.25, 2)
    ('0.0', '2.25')
    """
    if abs(value) >= MOST:
        return f"{value:.3g}"
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def percent(fraction: float) -> str:
    """Write a share; small ones keep a figure.

    >>> percent(0.62187), percent(0.0042), percent(1e-9)
    ('62 %', '0.4 %', 'under 0.1 %')
    """
    share = 100.0 * fraction
    if share < 0.1:
        return "under 0.1 %"
    return f"{share:.0f} %" if share >= 9.5 else f"{share:.1f} %"


def chance(probability: float) -> str:
    """Write a probability; nothing is certain.

    >>> chance(0.9999), chance(0.85), chance(0.001)
    ('over 99 %', '85 %', 'under 1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


def signed(value: float, places: int) -> str:
    """Write a change with its sign; none when it rounds to nothing.

    >>> signed(0.013, 2), signed(-0.5, 2), signed(-0.001, 2)
    ('+0.01', '-0.50', '0.00')
    """
    text = plain(value, places)
    return f"+{text}" if value > 0 and float(text) else text


def frequencies(hertz: Sequence[float]) -> str:
    """Write frequencies in a row; a unit they share stands once.

    >>> frequencies([14.2e6, 144.3e6]), frequencies([136e3, 1.9e6])
    ('14.2, 144.3 MHz', '136 kHz, 1.9 MHz')
    """
    said = [frequency(f) for f in hertz]
    units = {text.partition(" ")[2] for text in said}
    if len(units) == 1:
        said = [*(text.partition(" ")[0] for text in said[:-1]), said[-1]]
    return ", ".join(said)
