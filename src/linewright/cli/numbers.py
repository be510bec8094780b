"""Figures as they stand in the terminal: decimals follow the interval, and a figure stays what the library gave."""

from __future__ import annotations

from linewright.units.writing import decimals_for


def with_interval(value: float, low: float, high: float, unit: str = "dB") -> str:
    """Write a value with its interval; a narrow interval earns two decimals.

    >>> with_interval(3.7123, 3.2, 4.2), with_interval(0.412, 0.38, 0.44)
    ('3.7 dB (3.2 to 4.2)', '0.41 dB (0.38 to 0.44)')
    """
    places = places_for(low, high)
    return f"{plain(value, places)} {unit} ({plain(low, places)} to {plain(high, places)})"


def places_for(low: float, high: float) -> int:
    """Return the decimals an interval earns: one, or two where one would hide it."""
    return min(2, max(1, decimals_for(high - low, 3) - 1))


def plain(value: float, places: int) -> str:
    """Write a number, never "-0.0".

    >>> plain(-0.04, 1), plain(2.25, 2)
    ('0.0', '2.25')
    """
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
