"""What a person writes into a field that shows its unit: a bare number takes that unit, a band's name its frequency."""

from __future__ import annotations

import re

from linewright.catalogue.bands import bands
from linewright.catalogue.names import key
from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.messages import say
from linewright.files import fields

NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
BARE = re.compile(rf"\s*({NUMBER})\s*")
DASH = re.compile(r"\s*(?:\bto\b|\bbis\b|\.\.\.?|[-–—…])\s*", re.IGNORECASE)
BETWEEN = re.compile(r"[;\n]|,(?=\s)|(?<=[A-Za-zµ]),|\s+and\s+|\s+und\s+")
USUAL_HZ = {
    "160 m": 1.85e6, "80 m": 3.65e6, "60 m": 5.357e6, "40 m": 7.1e6, "30 m": 10.12e6, "20 m": 14.2e6, "17 m": 18.12e6,
    "15 m": 21.2e6, "12 m": 24.94e6, "10 m": 28.5e6, "6 m": 50.1e6, "4 m": 70.2e6, "2 m": 144.3e6, "1.25 m": 222.1e6,
    "70 cm": 432.1e6, "33 cm": 903.1e6, "23 cm": 1296.2e6,
}  # fmt: skip
"""Where a carrier is keyed in a band unless somebody says otherwise: allocated in every region that has the band."""
STEP_UNIT = {"watts": "W", "milliwatts": "mW", "dBm": "dB", "dB": "dB", "volts": "V", "card": ""}
"""The unit of the smallest step on a scale."""


def with_unit(text: str, unit: str) -> str:
    """Return what was written, with the field's unit behind a bare number; anything else stays.

    >>> with_unit("20", "m"), with_unit("24 ft", "m"), with_unit(" 0,1 ", "W"), with_unit("", "m")
    ('20 m', '24 ft', '0,1 W', '')
    """
    found = BARE.fullmatch(text)
    return f"{found[1]} {unit}" if found else text.strip()


def range_with_unit(text: str, unit: str = "MHz") -> str:
    """Return a written range with the field's unit where it has none.

    >>> range_with_unit("140-450"), range_with_unit("1,8 to 60"), range_with_unit("100 kHz to 30 MHz")
    ('140 MHz to 450 MHz', '1,8 MHz to 60 MHz', '100 kHz to 30 MHz')
    >>> range_with_unit("140-450 MHz"), range_with_unit("HF")
    ('140 MHz to 450 MHz', 'HF')
    """
    ends = DASH.split(text.strip())
    if len(ends) != 2 or not all(ends):
        return text.strip()
    high = with_unit(ends[1], unit)
    return f"{with_unit(ends[0], high.lstrip('+-.,0123456789eE ') or unit)} to {high}"


def frequency_written(text: str) -> float:
    """Return a frequency in hertz: with a unit, a bare number in megahertz, or the name of a band.

    Raises
    ------
    InputError
        If it is none of them.

    >>> frequency_written("14,2"), frequency_written("2m"), frequency_written("432 MHz")
    (14200000.0, 144300000.0, 432000000.0)
    """
    for name, hertz in USUAL_HZ.items():
        if key(name) == key(text):
            return hertz
    named = next((b for b in bands() if key(b.name) == key(text)), None)
    if named is not None:
        return (named.low_hz + named.high_hz) / 2
    return fields.frequency(with_unit(text, "MHz"), "frequency")


def frequencies_written(text: str) -> tuple[float, ...]:
    """Return written frequencies and bands in hertz, lowest first, each once.

    Raises
    ------
    InputError
        If one of them cannot be read; the message names it.

    >>> [hertz / 1e6 for hertz in frequencies_written("20m, 6m, 2m")]
    [14.2, 50.1, 144.3]
    >>> frequencies_written("14.2, 50.1, 144.3") == frequencies_written("14,2; 50,1; 144,3")
    True
    >>> frequencies_written("14.2,50.1,144.3 MHz")
    (14200000.0, 50100000.0, 144300000.0)
    """
    found = set()
    for part in parts_of(text):
        try:
            found.add(frequency_written(part))
        except InputError as cause:
            cure = say('Write frequencies in MHz or names of bands: "14.2, 50.1, 2 m".')
            raise InputError("frequencies", say("cannot hold {part}", part=repr(part)), cure=cure) from cause
    return tuple(sorted(found))


def parts_of(text: str) -> list[str]:
    """Return what stands between commas or semicolons; a comma may be a decimal mark.

    >>> parts_of("14,2; 50,1"), parts_of("14,2, 50,1"), parts_of("14.2,50.1"), parts_of("2 m: 50 W EIRP, 400 W power")
    (['14,2', '50,1'], ['14,2', '50,1'], ['14.2', '50.1'], ['2 m: 50 W EIRP', '400 W power'])
    """
    return [p.strip() for part in BETWEEN.split(text) for p in _unglued(part) if p.strip()]


def _unglued(part: str) -> list[str]:
    """Return the parts of "14.2,50.1": a comma beside points stands between numbers; "14,2" is one number."""
    return part.split(",") if "." in part or part.count(",") > 1 else [part]


def band_of(hertz: float) -> str:
    """Return the name of the band a frequency lies in, else the frequency.

    >>> band_of(50.1e6), str(band_of(45e6))
    ('6 m', '45 MHz')
    """
    return next((b.name for b in bands() if b.holds(hertz)), frequency(hertz))
