"""Words and figures the pages share; they read as the commands write them."""

from __future__ import annotations

from linewright.model.plan import BandFinding
from linewright.model.what_if import Difference

MOST = 1e6
"""A figure larger than this says that something is wrong; it stands in powers of ten."""
NONE = "no longer planned", "not planned before"


def plain(value: float, places: int) -> str:
    """Write a number, never "-0.0".

    >>> plain(-0.04, 1), plain(2.25, 2)
    ('0.0', '2.25')
    """
    if abs(value) >= MOST:
        return f"{value:.3g}"
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def places_for(low: float, high: float) -> int:
    """Return the decimals an interval earns: two figures of a narrow one, tenths of a wide one.

    >>> places_for(0.011, 0.015), places_for(0.56, 0.65), places_for(3.2, 4.2), places_for(40.0, 55.0)
    (3, 2, 1, 0)
    """
    reach = high - low
    return next((places for places, most in ((3, 0.04), (2, 0.4), (1, 10.0)) if reach < most), 0)


def with_interval(value: float, low: float, high: float, unit: str = "dB") -> str:
    """Write a value with its interval; a narrow interval earns two decimals.

    >>> with_interval(3.7123, 3.2, 4.2), with_interval(0.412, 0.38, 0.44)
    ('3.7 dB (3.2 to 4.2)', '0.41 dB (0.38 to 0.44)')
    """
    places = places_for(low, high)
    tail = f" {unit}" if unit else ""
    return f"{plain(value, places)}{tail} ({plain(low, places)} to {plain(high, places)})"


def signed(value: float, places: int) -> str:
    """Write a change with its sign; none when it rounds to nothing.

    >>> signed(0.013, 2), signed(-0.5, 2), signed(-0.001, 2)
    ('+0.01', '-0.50', '0.00')
    """
    text = plain(value, places)
    return f"+{text}" if value > 0 and float(text) else text


def chance(probability: float) -> str:
    """Write a probability; nothing is certain.

    >>> chance(0.9999), chance(0.85), chance(0.001)
    ('over 99 %', '85 %', 'under 1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


def share(fraction: float) -> str:
    """Write a share; small ones keep a figure.

    >>> share(0.62187), share(0.0042), share(1e-9)
    ('62 %', '0.4 %', 'under 0.1 %')
    """
    percent = 100.0 * fraction
    if percent < 0.1:
        return "under 0.1 %"
    return f"{percent:.0f} %" if percent >= 9.5 else f"{percent:.1f} %"


def swr(value: float) -> str:
    """Write an SWR.

    >>> swr(1.346), swr(47.7)
    ('1.35', '48')
    """
    return f"{value:.2f}" if value < 10 else f"{value:.0f}"


def watts(x: BandFinding) -> tuple[str, str]:
    """Return the power at the antenna and its interval in brackets, empty where that says nothing more."""
    low, high = x.power_at_antenna_w_low, x.power_at_antenna_w_high
    places = places_for(low, high)
    if x.power_at_antenna_w >= 10.0:
        places = max(0, places - 1)
    ends = plain(low, places), plain(high, places)
    reach = "" if ends[0] == ends[1] else f" ({ends[0]} to {ends[1]})"
    return f"{plain(x.power_at_antenna_w, places)} W", reach


def arrival(x: BandFinding) -> str:
    """Return what reaches the antenna, as a sentence: "25 W of 50 W reach the antenna (23 to 27)."."""
    arrives, reach = watts(x)
    return f"{arrives} of {x.power_w:.4g} W reach the antenna{reach}."


def changed_words(d: Difference) -> str:
    """Return what a change does at one frequency, after what arrives was said."""
    if d.after is None or d.before is None or d.delivered_ratio is None:
        return f"It is {NONE[0]}." if d.after is None else f"It was {NONE[1]}."
    same_radio = d.after.power_w == d.before.power_w
    as_if = f", as if the radio had given {d.before.power_w * d.delivered_ratio:.3g} W" if same_radio else ""
    return f"{_share(d.delivered_ratio, as_if)}{_heard(d.signal_to_noise_db)}"


def _share(ratio: float, as_if: str) -> str:
    if abs(ratio - 1.0) < 0.005:
        return "That is as much as before."
    if ratio >= 2.0:
        return f"That is {ratio:.1f} times as much as before{as_if}."
    return f"That is {100 * abs(ratio - 1.0):.0f} % {'more' if ratio > 1 else 'less'} than before{as_if}."


def _heard(change_db: float | None) -> str:
    if change_db is None:
        return ""
    if abs(change_db) < 0.05:
        return " Reception stays as it is."
    return f" Signals stand {abs(change_db):.1f} dB {'higher' if change_db > 0 else 'lower'} over the noise."
