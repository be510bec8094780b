"""Numbers as a person writes them: digits follow the interval, units are spaced, and a figure keeps what it was.

Every writer here returns a ``WrittenFigure``: a string in English that can write itself with a decimal comma, in feet
or in another language (``said.written``).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Concatenate, Literal, ParamSpec

from linewright.core.errors import UnknownNameError
from linewright.core.locale import ENGLISH, FEET_PER_METRE, LANGUAGES, Manner
from linewright.core.messages import Said, say, written
from linewright.core.quantities import NOISE_REFERENCE_KELVIN

P = ParamSpec("P")

MOST = 1e6
"""A figure larger than this says that something is wrong; it stands in powers of ten."""


def manner(language: str = "en", decimal: str | None = None, lengths: str = "m") -> Manner:
    """Return the manner for a language, with its own decimal mark unless another is asked for.

    Parameters
    ----------
    language : str
        "en" or "de".
    decimal : str, optional
        "point" or "comma"; the language's own when left out.
    lengths : str
        "m" or "ft".

    Raises
    ------
    UnknownNameError
        If one of them is not known; the message says what is.

    >>> manner("de")
    Manner(language='de', decimal=',', lengths='m')
    """
    marks: dict[str, Literal[".", ","]] = {"point": ".", "comma": ","}
    units: dict[str, Literal["m", "ft"]] = {"m": "m", "ft": "ft"}
    for argument, name, known in (
        ("language", language, LANGUAGES),
        ("decimal", decimal or "point", marks),
        ("lengths", lengths, units),
    ):
        if name not in known:
            raise UnknownNameError(
                argument, say("must be one of {known}; got {value}", known=", ".join(known), value=repr(name))
            )
    own = "point" if LANGUAGES[language] == "." else "comma"
    return Manner(language, marks[decimal or own], units[lengths])


class WrittenFigure(Said):
    """A number or a quantity, written by one rule in every manner."""

    rule: Callable[..., str]
    given: tuple[Any, ...]

    def write(self, manner: Manner) -> str:
        """Return the figure in a manner."""
        return self.rule(manner, *self.given)


def figure(rule: Callable[Concatenate[Manner, P], str], *given: P.args, **none: P.kwargs) -> str:
    """Return a figure that ``rule`` writes: a function of the module that takes a manner and what is given."""
    text = WrittenFigure(rule(ENGLISH, *given, **none))
    text.rule, text.given = rule, given
    return text


def decimals_for(width: float, most: int = 3) -> int:
    """Return the decimals that show two figures of ``width``, at most ``most``.

    >>> decimals_for(0.4), decimals_for(3.0), decimals_for(40.0)
    (2, 1, 0)
    """
    if not math.isfinite(width) or width <= 0:
        return most
    return min(most, max(0, 1 - math.floor(math.log10(width))))


def places_for(low: float, high: float) -> int:
    """Return the decimals an interval earns: two figures of a narrow one, tenths of a wide one.

    >>> places_for(0.011, 0.015), places_for(0.56, 0.65), places_for(3.2, 4.2), places_for(40.0, 55.0)
    (3, 2, 1, 0)
    """
    reach = high - low
    steps = ((6, 0.0004), (4, 0.004), (3, 0.04), (2, 0.4), (1, 10.0))
    return next((places for places, most in steps if reach < most), 0) if reach > 0 else 3


def _plain(manner: Manner, value: float, places: int) -> str:
    if abs(value) >= MOST:
        return manner.number(f"{value:.3g}")
    text = f"{value:.{places}f}"
    return manner.number(text.removeprefix("-") if float(text) == 0 else text)


def plain(value: float, places: int) -> str:
    """Write a number with so many decimals, never "-0.0".

    >>> plain(-0.04, 1), plain(2.25, 2), plain(4e7, 1)
    ('0.0', '2.25', '4e+07')
    """
    return figure(_plain, value, places)


def _digits(manner: Manner, value: float, figures: int) -> str:
    return manner.number(f"{value:.{figures}g}")


def digits(value: float, figures: int = 6) -> str:
    """Write a number with at most so many significant figures and no needless zeros.

    >>> digits(3.0), digits(0.123456789, 3)
    ('3', '0.123')
    """
    return figure(_digits, value, figures)


def _as_typed(manner: Manner, text: str) -> str:
    return manner.number(text)


def as_typed(text: str) -> str:
    """Write figures as somebody typed them, digit for digit, with the reader's decimal mark.

    >>> from linewright.core.messages import written
    >>> as_typed("0.2 W"), written(as_typed("0.2 W"), Manner(decimal=","))
    ('0.2 W', '0,2 W')
    """
    return figure(_as_typed, text)


def _signed(manner: Manner, value: float, places: int) -> str:
    text = _plain(manner, value, places)
    return f"+{text}" if value > 0 and text.strip("0.,") else text


def signed(value: float, places: int) -> str:
    """Write a change with its sign; none when it rounds to nothing.

    >>> signed(0.013, 2), signed(-0.5, 2), signed(-0.001, 2)
    ('+0.01', '-0.50', '0.00')
    """
    return figure(_signed, value, places)


def _spaced(unit: str) -> str:
    return f" {unit}" if unit else ""


def quantity(number: str, unit: str) -> str:
    """Write a figure with its unit, a space between.

    >>> quantity(digits(2.5), "dB")
    '2.5 dB'
    """
    return say("{number} {unit}", number=number, unit=unit)


def _interval(manner: Manner, value: float, low: float, high: float, unit: str) -> str:
    if low == value == high:
        return f"{_digits(manner, value, 6)}{_spaced(unit)}"
    places = places_for(low, high)
    middle, least, most = (_plain(manner, x, places) for x in (value, low, high))
    reach = manner.message("({low} to {high})").format(low=least, high=most)
    return f"{middle}{_spaced(unit)} {reach}"


def interval(value: float, low: float, high: float, unit: str = "dB") -> str:
    """Write a value with its interval in the house manner; a narrow interval earns two decimals, an exact value none.

    >>> interval(3.7123, 3.2, 4.2), interval(0.412, 0.38, 0.44), interval(1.5, 1.2, 1.9, "")
    ('3.7 dB (3.2 to 4.2)', '0.41 dB (0.38 to 0.44)', '1.5 (1.2 to 1.9)')
    >>> interval(100.0, 100.0, 100.0, "W")
    '100 W'
    """
    return figure(_interval, value, low, high, unit)


def _percent(manner: Manner, fraction: float) -> str:
    share = 100.0 * fraction
    if share < 0.1:
        return manner.message("under {limit}").format(limit=manner.number("0.1 %"))
    return manner.number(f"{share:.0f} %" if share >= 9.5 else f"{share:.1f} %")


def percent(fraction: float) -> str:
    """Write a share; small ones keep a figure.

    >>> percent(0.62187), percent(0.0042), percent(1e-9)
    ('62 %', '0.4 %', 'under 0.1 %')
    """
    return figure(_percent, fraction)


def _chance(manner: Manner, probability: float) -> str:
    if probability > 0.99:
        return manner.message("over {limit}").format(limit="99 %")
    if probability < 0.01:
        return manner.message("under {limit}").format(limit="1 %")
    return f"{100 * probability:.0f} %"


def chance(probability: float) -> str:
    """Write a probability; nothing is certain.

    >>> chance(0.9999), chance(0.85), chance(0.001)
    ('over 99 %', '85 %', 'under 1 %')
    """
    return figure(_chance, probability)


def _frequency(manner: Manner, frequency_hz: float) -> str:
    if frequency_hz < 1e6:
        return manner.number(f"{frequency_hz / 1e3:.6g} kHz")
    return manner.number(f"{frequency_hz / 1e6:.7g} MHz")


def frequency(frequency_hz: float) -> str:
    """Write a frequency: "14.2 MHz"; "1.296 GHz" stays "1296 MHz" as amateurs say it.

    >>> frequency(14.2e6), frequency(1296e6), frequency(136e3)
    ('14.2 MHz', '1296 MHz', '136 kHz')
    """
    return figure(_frequency, frequency_hz)


def near_frequency(frequency_hz: float) -> str:
    """Write a frequency that is told as the neighbourhood of something, to three digits.

    >>> near_frequency(256.6799e6)
    '257 MHz'
    """
    return frequency(float(f"{frequency_hz:.3g}"))


def _frequencies(manner: Manner, hertz: Sequence[float]) -> str:
    said = [_frequency(manner, f) for f in hertz]
    units = {text.partition(" ")[2] for text in said}
    if len(units) == 1:
        said = [*(text.partition(" ")[0] for text in said[:-1]), said[-1]]
    return ("; " if manner.decimal == "," else ", ").join(said)


def frequencies(hertz: Sequence[float]) -> str:
    """Write a list of frequencies; a common unit is written once.

    >>> frequencies([14.2e6, 144.3e6]), frequencies([136e3, 1.9e6])
    ('14.2, 144.3 MHz', '136 kHz, 1.9 MHz')
    """
    return figure(_frequencies, tuple(hertz))


TENTHS_FT = 100.0
"""Below so many feet tenths are written, for a foot is much of a jumper."""


def _metres(manner: Manner, length_m: float, figures: int) -> str:
    metric = f"{length_m:.{figures}g}"
    if manner.lengths != "ft":
        return manner.number(f"{metric} m")
    feet = length_m * FEET_PER_METRE
    decimals = max(len(metric.partition(".")[2]), 1 if feet < TENTHS_FT else 0)
    text = f"{feet:.{decimals}f}"
    return manner.number(f"{text.rstrip('0').rstrip('.') if '.' in text else text} ft")


PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


def prefixed(value: float, unit: str, least: float = 1e-12) -> str:
    """Write a quantity above zero with three figures and the prefix that suits it, none smaller than ``least``.

    >>> prefixed(5.477e-3, "V/m"), prefixed(2e-7, "V", least=1e-6), prefixed(1500.0, "W/m²")
    ('5.48 mV/m', '0.2 µV', '1.5 kW/m²')
    """
    size, prefix = next(
        ((size, name) for size, name in PREFIXES if value >= 0.9995 * size or size <= 1.001 * least), PREFIXES[-1]
    )
    return quantity(digits(value / size, 3), f"{prefix}{unit}")


def power(value_w: float, figures: int = 3) -> str:
    """Write a power with so many figures: from a kilowatt up with a prefix, below it in watts.

    >>> power(135951.0), power(0.874), power(1500.0)
    ('136 kW', '0.874 W', '1.5 kW')
    """
    return prefixed(value_w, "W") if value_w >= 999.5 else quantity(digits(value_w, figures), "W")


def away(distance_m: float) -> str:
    """Write how far away something is: from a kilometre up in kilometres.

    >>> away(10e3), away(3.5)
    ('10 km', '3.5 m')
    """
    return prefixed(distance_m, "m") if distance_m >= 999.5 else metres(distance_m)


def metres(length_m: float, figures: int = 4) -> str:
    """Write a length without needless zeros, in metres unless the reader asks for feet.

    Feet have as many decimals as the metres have, so that nobody reads more into them than was measured.

    >>> from linewright.core.messages import written
    >>> feet = Manner(lengths="ft")
    >>> metres(7.2), written(metres(7.2), feet), written(metres(25.1), feet), written(metres(7.3152), feet)
    ('7.2 m', '23.6 ft', '82.3 ft', '24 ft')
    """
    return figure(_metres, length_m, figures)


def _length(manner: Manner, length_m: float, places: int, low_m: float | None, high_m: float | None) -> str:
    per_metre, unit = (FEET_PER_METRE, "ft") if manner.lengths == "ft" else (1.0, "m")
    places = max(0, places - 1) if manner.lengths == "ft" else places
    said = f"{_plain(manner, length_m * per_metre, places)} {unit}"
    if low_m is None or high_m is None:
        return said
    low, high = (_plain(manner, x * per_metre, places) for x in (low_m, high_m))
    return f"{said} {manner.message('({low} to {high})').format(low=low, high=high)}"


def length(length_m: float, places: int, low_m: float | None = None, high_m: float | None = None) -> str:
    """Write a length with so many decimals, and its interval where one is given.

    In feet where the reader asks for it, with one decimal fewer: a foot is a third of a metre.

    >>> from linewright.core.messages import written
    >>> length(12.5, 2), length(12.5, 1, 12.2, 12.9), written(length(12.5, 2), Manner(lengths="ft"))
    ('12.50 m', '12.5 m (12.2 to 12.9)', '41.0 ft')
    """
    return figure(_length, length_m, places, low_m, high_m)


def _reach(manner: Manner, low_m: float, high_m: float) -> str:
    per_metre, unit = (FEET_PER_METRE, "ft") if manner.lengths == "ft" else (1.0, "m")
    places = 2 if high_m * per_metre < 10.0 else 1
    near, far = (_plain(manner, x * per_metre, places) for x in (low_m, high_m))
    said = near if near == far else manner.message("{low} to {high}").format(low=near, high=far)
    return f"{said} {unit}"


def reach(low_m: float, high_m: float) -> str:
    """Write from where to where a length lies: hundredths below ten metres, else tenths; in feet where asked for.

    >>> from linewright.core.messages import written
    >>> reach(3.32, 3.411), reach(12.0, 12.04), written(reach(3.32, 3.411), Manner(lengths="ft"))
    ('3.32 to 3.41 m', '12.0 m', '10.9 to 11.2 ft')
    """
    return figure(_reach, low_m, high_m)


def _fine(manner: Manner, length_m: float, low_m: float | None, high_m: float | None) -> str:
    large = max(abs(length_m), abs(high_m or 0.0)) >= 1.0
    inches, metric = ("ft", FEET_PER_METRE, 2) if large else ("in", 12.0 * FEET_PER_METRE, 2), ("m", 1.0, 3)
    unit, per_metre, places = inches if manner.lengths == "ft" else (metric if large else ("mm", 1e3, 0))
    if unit == "mm" and high_m is not None and low_m is not None and high_m - low_m < 0.004:
        places = 1
    said = f"{_plain(manner, length_m * per_metre, places)} {unit}"
    if low_m is None or high_m is None:
        return said
    low, high = (_plain(manner, x * per_metre, places) for x in (low_m, high_m))
    return f"{said} {manner.message('({low} to {high})').format(low=low, high=high)}"


def fine(length_m: float, low_m: float | None = None, high_m: float | None = None) -> str:
    """Write a length to cut to: millimetres below a metre, else metres with three decimals; inches and feet if asked.

    >>> from linewright.core.messages import written
    >>> fine(0.0473, 0.0441, 0.0504), fine(3.4121, 3.405, 3.419), written(fine(0.0473), Manner(lengths="ft"))
    ('47 mm (44 to 50)', '3.412 m (3.405 to 3.419)', '1.86 in')
    """
    return figure(_fine, length_m, low_m, high_m)


def _per_metre(manner: Manner, value_per_m: float, places: int, unit: str) -> str:
    if manner.lengths == "ft":
        return f"{_plain(manner, value_per_m / FEET_PER_METRE, places)} {unit}/ft"
    return f"{_plain(manner, value_per_m, places)} {unit}/m"


def per_metre(value_per_m: float, places: int, unit: str = "dB") -> str:
    """Write what belongs to a metre of line, or to a foot where the reader asks for feet.

    >>> from linewright.core.messages import written
    >>> per_metre(0.185, 3), written(per_metre(0.185, 3), Manner(lengths="ft")), per_metre(1.508, 1, "W")
    ('0.185 dB/m', '0.056 dB/ft', '1.5 W/m')
    """
    return figure(_per_metre, value_per_m, places, unit)


def _swr(manner: Manner, value: float) -> str:
    return manner.number(f"{value:.2f}" if value < 10 else f"{value:.0f}")


def swr(value: float) -> str:
    """Write an SWR.

    >>> swr(1.346), swr(47.7)
    ('1.35', '48')
    """
    return figure(_swr, value)


LOUD = 10.0
"""Noise so many times that of 290 K is written in decibels over it, as the trade does; fainter noise in kelvin."""


def is_loud(noise_kelvin: float) -> bool:
    """Return whether noise from outside is written in decibels over kT0, and all that stands in its row with it."""
    return noise_kelvin >= LOUD * NOISE_REFERENCE_KELVIN


def _noise(manner: Manner, noise_kelvin: float, low: float | None, high: float | None, loud: bool) -> str:
    unit = "dB" if loud else "K"
    said, *ends = (_noise_figure(manner, t, loud) for t in (noise_kelvin, low, high) if t is not None)
    if not ends or ends[0] == ends[1]:
        return f"{said} {unit}"
    return f"{said} {unit} {manner.message('({low} to {high})').format(low=ends[0], high=ends[1])}"


def _noise_figure(manner: Manner, noise_kelvin: float, loud: bool) -> str:
    if loud:
        return _plain(manner, 10.0 * math.log10(max(noise_kelvin, 1.0) / NOISE_REFERENCE_KELVIN), 1)
    return manner.number(f"{float(f'{noise_kelvin:.3g}'):.0f}")


def noise(noise_kelvin: float, low: float | None = None, high: float | None = None, *, loud: bool) -> str:
    """Write a noise temperature with its interval, all in one unit: decibels over kT0 where ``loud``, else kelvin.

    >>> noise(200.0, 180.0, 226.0, loud=False), noise(502e3, 78.3e3, 20.7e6, loud=True), noise(10119.0, loud=False)
    ('200 K (180 to 226)', '32.4 dB (24.3 to 48.5)', '10100 K')
    """
    return figure(_noise, noise_kelvin, low, high, loud)


def _capitalized(manner: Manner, text: str) -> str:
    said = written(text, manner)
    return said[:1].upper() + said[1:]


def capitalized(text: str) -> str:
    """Write a text with a capital at its head, as it begins a sentence.

    >>> capitalized(say("a step at {place}", place="3 m"))
    'A step at 3 m'
    """
    return figure(_capitalized, text)
