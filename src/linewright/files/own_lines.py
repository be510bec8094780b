"""A person's own line types, from data sheet points in a TOML or CSV file.

::

    [[line]]
    name = "club drum"
    impedance = "50 ohm"
    velocity_factor = 0.80
    points = [["10 MHz", "1.5 dB/100m"], ["100 MHz", "5.1 dB/100m"], ["1 GHz", "18 dB/100m"]]

or, as CSV, one point a row: ``line,frequency,attenuation``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from linewright import catalogue
from linewright.core.errors import Culprit, InputError, UnitError, gathered
from linewright.core.nouns.line import LineType
from linewright.core.quantities import METRE_PER_FOOT
from linewright.files import fields
from linewright.files.tables import Source, Table, csv_rows, read_text

_RATE = re.compile(r"^\s*([\d.,eE+-]+)\s*dB\s*(?:/|per)\s*(100|10|1000)?\s*(m|ft|km)\s*$", re.IGNORECASE)
_METRE = {"m": 1.0, "km": 1000.0, "ft": METRE_PER_FOOT}


def attenuation_db_per_m(value: Any, name: str) -> float:
    """Return a written attenuation, such as "5.1 dB/100m" or "1.55 dB/100ft", in dB per metre.

    >>> round(attenuation_db_per_m("5 dB/100m", "attenuation"), 6)
    0.05
    """
    match = _RATE.match(value) if isinstance(value, str) else None
    if match is None:
        raise UnitError(name, f"is not an attenuation with its unit; got {value!r}", cure='Write it as "5.1 dB/100m".')
    number, times, unit = match.groups()
    return fields.written_number(number, name) / (float(times or 1.0) * _METRE[unit.lower()])


def impedance_ohm(value: Any, name: str) -> float:
    """Return a written impedance, "50 ohm", in ohms."""
    match = re.match(r"^\s*([\d.,]+)\s*(?:ohms?|Ω)\s*$", value, re.IGNORECASE) if isinstance(value, str) else None
    if match is None:
        raise UnitError(name, f"is not an impedance with its unit; got {value!r}", cure='Write it as "50 ohm".')
    return fields.written_number(match[1], name)


def _points(value: Any, name: str) -> list[tuple[float, float]]:
    if not isinstance(value, list) or not value:
        raise InputError(name, f"must be a list of points; got {value!r}", cure='[["10 MHz", "1.5 dB/100m"], ...]')
    points = []
    for i, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(name, f"must be pairs of frequency and attenuation; point {i} is {pair!r}")
        points.append((
            fields.frequency(pair[0], f"{name}, frequency of point {i}"),
            attenuation_db_per_m(pair[1], f"{name}, attenuation of point {i}"),
        ))  # fmt: skip
    return points


def lines_in(tables: Sequence[Table]) -> tuple[LineType, ...]:
    """Return the line types of ``[[line]]`` tables; problems are noted in their source."""
    return tuple(line for line in (_line(t) for t in tables) if line is not None)


def _line(table: Table) -> LineType | None:
    name = table.take("name", fields.text)
    impedance = table.take("impedance", impedance_ohm, 50.0)
    velocity = table.take("velocity_factor", fields.number, 0.66)
    steel = table.take("steel_centre", _yes_or_no, False)
    points = table.take("points", _points)
    table.close()
    if table.bad:
        return None
    try:
        return catalogue.own_type(name, points, impedance_ohm=impedance, velocity_factor=velocity, steel_centre=steel)
    except InputError as error:
        table.fail(error)
        return None


def _yes_or_no(value: Any, name: str) -> bool:
    if not isinstance(value, bool):
        raise InputError(name, f"must be true or false; got {value!r}")
    return value


def read_lines(path: Path | str) -> tuple[LineType, ...]:
    """Return the line types of a TOML or CSV file.

    Raises
    ------
    InputError
        With file, row and cure; several problems are gathered in one ``SheetError``.
    """
    return read_lines_text(read_text(Path(path), "lines"), str(path))


def read_lines_text(text: str, name: str) -> tuple[LineType, ...]:
    """Return the line types of a text; its file's name tells TOML from CSV."""
    source = Source(name, text)
    if name.lower().endswith(".csv"):
        found = _from_csv(source)
    else:
        whole = Table(source, "", source.parsed())
        found = lines_in(whole.tables("line"))
        whole.close()
    if not found and not source.problems:
        source.note(InputError("lines", "holds no line type", cure="Add a [[line]] table."))
    if source.problems:
        raise gathered(source.problems)
    return found


def _from_csv(source: Source) -> tuple[LineType, ...]:
    points: dict[str, list[tuple[float, float]]] = {}
    for row, cells in csv_rows(source, ("line", "frequency", "attenuation"), ()):
        try:
            name = fields.text(cells["line"], "line")
            point = (
                fields.frequency(cells["frequency"], "frequency"),
                attenuation_db_per_m(cells["attenuation"], "attenuation"),
            )
        except InputError as error:
            source.note(error, row)
            continue
        points.setdefault(name, []).append(point)
    found = []
    for name, some in points.items():
        try:
            found.append(catalogue.own_type(name, some))
        except InputError as error:
            source.problems.append(error.at(Culprit(source.name, None, name)))
    return tuple(found)
