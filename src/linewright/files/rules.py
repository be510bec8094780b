"""A file of one's own rules: limits of exposure (``[[limit]]`` tables) and what a licence allows (``[[licence]]``).

::

    [[limit]]
    name = "National 2019"
    who = "public"
    from = "100 kHz"
    to = "30 MHz"
    electric_field = "300/f^0.7 V/m"
    magnetic_field = "2.2/f A/m"
    averaging = "6 min"
    source = "ordinance 12, annex 3"

    [[licence]]
    band = "60 m"
    eirp = "15 W"
    source = "my licence, schedule 1"
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from linewright.catalogue.bands import band
from linewright.core.errors import InputError, UnitError, UnknownNameError, gathered
from linewright.core.messages import say
from linewright.core.nouns.rules import ExposureRule, FieldQuantity, LicenceRule, PowerQuantity, Rules, Who
from linewright.files import fields
from linewright.files.tables import SourceText, TomlTable, read_text

WHO: Final[tuple[Who, ...]] = ("public", "occupational")
FIELDS: Final[dict[str, tuple[FieldQuantity, dict[str, float], str]]] = {
    "electric_field": ("e_v_per_m", {"v/m": 1.0, "kv/m": 1e3}, "300/f^0.7 V/m"),
    "magnetic_field": ("h_a_per_m", {"a/m": 1.0, "ma/m": 1e-3}, "2.2/f A/m"),
    "power_density": ("s_w_per_m2", {"w/m2": 1.0, "w/m²": 1.0, "mw/cm2": 10.0, "mw/cm²": 10.0}, "2 W/m2"),
}
"""Keys of a limit: the quantity, its units, an example."""
POWERS: Final[tuple[PowerQuantity, ...]] = ("eirp", "erp", "power")
_NUMBER = r"\d+(?:[.,]\d*)?|[.,]\d+"
_POWER_LAW = re.compile(
    rf"\s*({_NUMBER})\s*(?:([/*]?)\s*(f)\s*(?:\^\s*(-?(?:{_NUMBER})))?)?\s*([a-z]+/c?m[2²]?)\s*", re.IGNORECASE
)
_TIME = re.compile(rf"\s*({_NUMBER})\s*(s|min|h)\s*", re.IGNORECASE)


def duration(value: Any, name: str) -> float:
    """Return a written time in seconds, above zero and at most a day.

    >>> duration("6 min", "averaging"), duration("12.6 s", "on")
    (360.0, 12.6)
    """
    match = _TIME.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise UnitError(
            name,
            say("needs a time with its unit; got {value}", value=repr(value)),
            cure=say('Write it as "6 min" or "30 s".'),
        )
    found = fields.written_number(match[1], name) * {"s": 1.0, "min": 60.0, "h": 3600.0}[match[2].lower()]
    if not 0.0 < found <= 86400.0:
        raise InputError(name, say("must be above zero and at most a day; got {value}", value=repr(value)))
    return found


def averaging(value: Any, name: str) -> float:
    """Return a written averaging time in seconds; "none" is 0: every moment counts."""
    return 0.0 if isinstance(value, str) and value.strip().lower() == "none" else duration(value, name)


def power_law(value: Any, name: str, key: str) -> tuple[float, float, str]:
    """Return a limit as (coefficient, exponent of f in MHz, as written): a number or a power of f, with its unit.

    >>> power_law("300/f^0.7 V/m", "electric_field", "electric_field")
    (300.0, -0.7, '300/f^0.7 V/m')
    >>> power_law("0.2 mW/cm2", "power_density", "power_density")
    (2.0, 0.0, '0.2 mW/cm2')
    """
    _, units, example = FIELDS[key]
    match = _POWER_LAW.fullmatch(value) if isinstance(value, str) else None
    times = units.get(match[5].lower()) if match else None
    if match is None or times is None:
        cure = say(
            'Write it as "{example}", f in MHz; known units: {units}.',
            example=example,
            units=", ".join(dict.fromkeys(units)),
        )
        raise UnitError(
            name, say("must be a number or a power of f, with its unit; got {value}", value=repr(value)), cure=cure
        )
    coefficient = fields.above_zero(fields.written_number(match[1], name), value, name)
    exponent = fields.written_number(match[4], name) if match[4] else float(match[3] is not None)
    return coefficient * times, -exponent if match[2] == "/" else exponent, " ".join(value.split())


def read_rules(path: Path | str) -> Rules:
    """Return the rules of a file.

    Raises
    ------
    InputError
        With file, row and cure; several problems are gathered in one ``SheetError``.
    """
    return read_rules_text(read_text(Path(path), "rules"), str(path))


def read_rules_text(text: str, name: str) -> Rules:
    """Return the rules of a text."""
    source = SourceText(name, text)
    whole = TomlTable(source, "", source.parsed())
    exposure = [rule for table in whole.tables("limit") for rule in _limit(table)]
    licence = [rule for table in whole.tables("licence") for rule in _licence(table)]
    whole.close()
    if not exposure and not licence and not source.problems:
        source.note(InputError("rules", say("holds no rule"), cure=say("Add a [[limit]] or a [[licence]] table.")))
    if source.problems:
        raise gathered(source.problems)
    return Rules(tuple(exposure), tuple(licence))


def _limit(table: TomlTable) -> Sequence[ExposureRule]:
    name = table.take("name", fields.text)
    who: Who = table.take("who", lambda value, label: fields.one_of(value, label, WHO))
    low, high = _range(table)
    found = {key: _law(table, key) for key in FIELDS}
    averaging_s = table.take("averaging", averaging)
    source = table.take("source", fields.text, "")
    table.close()
    given = {FIELDS[key][0]: law for key, law in found.items() if law is not None}
    if not given and not table.bad:
        table.fail(InputError(table.label, say("must hold at least one of {known}", known=", ".join(FIELDS))))
    if table.bad:
        return ()
    return [ExposureRule(name, who, low, high, q, *law[:2], averaging_s, law[2], source) for q, law in given.items()]


def _law(table: TomlTable, key: str) -> tuple[float, float, str] | None:
    return table.take(key, lambda value, name: power_law(value, name, key), None)


def _licence(table: TomlTable) -> Sequence[LicenceRule]:
    low, high = _range(table, band_too=True)
    found: dict[PowerQuantity, float | None] = {key: table.take(key, fields.source_power, None) for key in POWERS}
    source = table.take("source", fields.text, "")
    table.close()
    given = {key: limit_w for key, limit_w in found.items() if limit_w is not None}
    if not given and not table.bad:
        cure = say('Add a line eirp = "15 W", as your licence has it.')
        table.fail(
            InputError(table.label, say("must hold at least one of {known}", known=", ".join(POWERS)), cure=cure)
        )
    return () if table.bad else [LicenceRule(low, high, key, limit_w, source) for key, limit_w in given.items()]


def _range(table: TomlTable, *, band_too: bool = False) -> tuple[float, float]:
    if band_too and "band" in table.content:
        found: tuple[float, float] | None = table.take("band", _band)
        return found or (0.0, 0.0)
    low, high = table.take("from", fields.frequency), table.take("to", fields.frequency)
    if band_too:
        table.take("band", _band, None)
    if not table.bad and not low < high:
        table.fail(InputError(f"{table.label} to", say("must lie above from")), "to")
    return low, high


def _band(value: Any, name: str) -> tuple[float, float]:
    try:
        found = band(fields.text(value, name))
    except UnknownNameError as error:
        raise UnknownNameError(name, error.rule, cure=error.cure) from error
    return found.low_hz, found.high_hz


ANYWHERE: Final = (0.0, 1e12)
OWN_LIMITS: Final = "Your own limits"


def written_licence(text: Any, name: str) -> LicenceRule:
    """Return what a licence allows, in a few words, on any frequency or on the band that stands before it.

    >>> rule = written_licence("15 W EIRP", "licence")
    >>> rule.limit_w, rule.quantity
    (15.0, 'eirp')
    >>> written_licence("60 m: 15 W EIRP", "licence").low_hz
    5351500.0

    Raises
    ------
    InputError
        If it is no power with one of EIRP, ERP and power, or the band before it is none.
    """
    band_name, sign, rest = fields.text(text, name).rpartition(":")
    low_hz, high_hz = _band(band_name, name) if sign else ANYWHERE
    words = rest.split()
    of: PowerQuantity | None = next((key for key in POWERS if key in (word.lower() for word in words)), None)
    if of is None:
        cure = say('Write it as "15 W EIRP".')
        raise InputError(
            name, say("must say whether it is EIRP, ERP or power; got {value}", value=repr(text)), cure=cure
        )
    limit_w = fields.source_power(" ".join(word for word in words if word.lower() != of), name)
    return LicenceRule(low_hz, high_hz, of, limit_w, "as entered")


def written_limits(text: Any, name: str) -> tuple[ExposureRule, ...]:
    """Return limits of one's own in one line, on any frequency.

    >>> [(r.quantity, r.coefficient, r.averaging_s) for r in written_limits("electric field 28 V/m", "limits")]
    [('e_v_per_m', 28.0, 360.0)]

    Raises
    ------
    InputError
        If a clause is none of the fields, ``averaging`` and ``for public`` or ``for occupational``.
    """
    who: Who = "public"
    averaging_s, laws = 360.0, list[tuple[FieldQuantity, tuple[float, float, str]]]()
    for clause in re.split(r",(?!\d)", fields.text(text, name)):
        words = clause.strip()
        key = next((k for k in FIELDS if words.lower().startswith(k.replace("_", " "))), None)
        if key is not None:
            laws.append((FIELDS[key][0], power_law(words[len(key) :], f"{name} {key.replace('_', ' ')}", key)))
        elif words.lower().startswith("averaging"):
            averaging_s = averaging(words[len("averaging") :].strip(), f"{name} averaging")
        elif words.lower() in ("for public", "for occupational"):
            who = "occupational" if words.lower().endswith("occupational") else "public"
        else:
            cure = say('Write it as "electric field 28 V/m, averaging 6 min, for public".')
            raise InputError(
                name, say("must be fields, averaging and for whom; got {value}", value=repr(words)), cure=cure
            )
    if not laws:
        raise InputError(
            name, say("must hold a field or a power density"), cure=say('Write it as "electric field 28 V/m".')
        )
    return tuple(
        ExposureRule(OWN_LIMITS, who, *ANYWHERE, quantity, *law[:2], averaging_s, law[2], "as entered")
        for quantity, law in laws
    )
