"""Numbers as a person writes them: significant figures follow the interval, units spaced."""

from __future__ import annotations

import math


def decimals_for(width: float, most: int = 3) -> int:
    """Return how many decimals a number deserves whose interval is ``width`` wide.

    Two figures of the width: an interval of 0.4 earns two decimals, one of 3 earns one.

    >>> decimals_for(0.4), decimals_for(3.0), decimals_for(40.0)
    (2, 1, 0)
    """
    if not math.isfinite(width) or width <= 0:
        return most
    return min(most, max(0, 1 - math.floor(math.log10(width))))


def frequency(frequency_hz: float) -> str:
    """Write a frequency: "14.2 MHz", "1.296 GHz" stays "1296 MHz" as amateurs say it.

    >>> frequency(14.2e6), frequency(1296e6), frequency(136e3)
    ('14.2 MHz', '1296 MHz', '136 kHz')
    """
    if frequency_hz < 1e6:
        return f"{frequency_hz / 1e3:.6g} kHz"
    return f"{frequency_hz / 1e6:.7g} MHz"


def interval(value: float, low: float, high: float, unit: str = "dB") -> str:
    """Write a value with its interval in the house manner.

    >>> interval(3.7123, 3.2, 4.2)
    '3.7 dB (3.2 to 4.2)'
    """
    places = max(1, decimals_for(high - low) - 1) if unit == "dB" else decimals_for(high - low)
    return f"{value:.{places}f} {unit} ({low:.{places}f} to {high:.{places}f})"


def metres(length_m: float) -> str:
    """Write a length in metres without needless zeros.

    >>> metres(7.2)
    '7.2 m'
    """
    return f"{length_m:.4g} m"
