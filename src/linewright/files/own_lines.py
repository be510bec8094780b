"""A person's own line types, from data sheet points or from how they are made, in a TOML or CSV file.

::

    [[line]]
    name = "club drum"
    impedance = "50 ohm"
    velocity_factor = 0.80
    points = [["10 MHz", "1.5 dB/100m"], ["100 MHz", "5.1 dB/100m"], ["1 GHz", "18 dB/100m"]]

A type may say how it is made, beside its points or instead of them::

    [[line]]
    name = "mast coax"
    centre = "copper"
    centre_diameter = "1.4 mm"
    strands = 19
    dielectric = "foam PE"
    dielectric_diameter = "3.9 mm"
    screen = "foil and braid"
    impedance = "50 ohm"
    velocity_factor = 0.79

or, as CSV, one point a row: ``line,frequency,attenuation``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from linewright import catalogue
from linewright.core.errors import Culprit, InputError, UnitError, gathered
from linewright.core.messages import say
from linewright.core.nouns.line import LineType
from linewright.core.quantities import METRE_PER_FOOT
from linewright.files import fields
from linewright.files.tables import SourceText, TomlTable, csv_rows, read_text

if TYPE_CHECKING:
    from linewright.catalogue.construction import Construction

_RATE = re.compile(r"^\s*([\d.,eE+-]+)\s*dB\s*(?:/|per)\s*(100|10|1000)?\s*(m|ft|km)\s*$", re.IGNORECASE)
_METRE = {"m": 1.0, "km": 1000.0, "ft": METRE_PER_FOOT}


def attenuation_db_per_m(value: Any, name: str) -> float:
    """Return a written attenuation, such as "5.1 dB/100m" or "1.55 dB/100ft", in dB per metre.

    >>> round(attenuation_db_per_m("5 dB/100m", "attenuation"), 6)
    0.05
    """
    match = _RATE.match(value) if isinstance(value, str) else None
    if match is None:
        raise UnitError(
            name,
            say("is not an attenuation with its unit; got {value}", value=repr(value)),
            cure=say('Write it as "5.1 dB/100m".'),
        )
    number, times, unit = match.groups()
    return fields.written_number(number, name) / (float(times or 1.0) * _METRE[unit.lower()])


def impedance_ohm(value: Any, name: str) -> float:
    """Return a written impedance, "50 ohm", in ohms."""
    match = re.match(r"^\s*([\d.,]+)\s*(?:ohms?|Ω)\s*$", value, re.IGNORECASE) if isinstance(value, str) else None
    if match is None:
        raise UnitError(
            name,
            say("is not an impedance with its unit; got {value}", value=repr(value)),
            cure=say('Write it as "50 ohm".'),
        )
    return fields.written_number(match[1], name)


def _points(value: Any, name: str) -> list[tuple[float, float]]:
    if not isinstance(value, list) or not value:
        raise InputError(
            name,
            say("must be a list of points; got {value}", value=repr(value)),
            cure=say('[["10 MHz", "1.5 dB/100m"], ...]'),
        )
    points = []
    for i, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(
                name,
                say("must be pairs of frequency and attenuation; point {number} is {pair}", number=i, pair=repr(pair)),
            )
        points.append((
            fields.frequency(pair[0], f"{name}, frequency of point {i}"),
            attenuation_db_per_m(pair[1], f"{name}, attenuation of point {i}"),
        ))  # fmt: skip
    return points


def lines_in(tables: Sequence[TomlTable]) -> tuple[LineType, ...]:
    """Return the line types of ``[[line]]`` tables; problems are noted in their source."""
    return tuple(line for line in (_line(t) for t in tables) if line is not None)


def _line(table: TomlTable) -> LineType | None:
    name = table.take("name", fields.text)
    impedance = table.take("impedance", impedance_ohm, 50.0)
    velocity = table.take("velocity_factor", fields.number, 0.66)
    steel = table.take("steel_centre", _yes_or_no, False)
    made = {key: table.take(key, read, None) for key, read in MAKE.items()}
    is_made = any(value is not None for value in made.values())
    points = table.take("points", _points, []) if is_made else table.take("points", _points)
    table.close()
    if table.bad:
        return None
    try:
        if is_made:
            return catalogue.made_type(name, _make(made, impedance, velocity), points)
        return catalogue.own_type(name, points, impedance_ohm=impedance, velocity_factor=velocity, steel_centre=steel)
    except InputError as error:
        table.fail(error)
        return None


def _make(made: dict[str, Any], impedance: float, velocity: float) -> Construction:
    """Return the make that a table's keys tell; what is needed and absent is named."""
    from linewright.catalogue.construction import Construction

    for key in ("centre", "centre_diameter", "dielectric"):
        if made[key] is None:
            raise InputError(key, say("must be given where a line is told by how it is made"))
    return Construction(
        impedance, velocity, made["centre"], made["centre_diameter"], made["dielectric"],
        made["screen"] or ("none" if made["spacing"] is not None else "braid"), int(made["strands"] or 1),
        made["cladding"], 0.2, made["dielectric_diameter"], made["spacing"],
    )  # fmt: skip


def written_make(told: Mapping[str, str]) -> Construction:
    """Return the make that written words tell, as a person types them on a command line or a page.

    >>> written_make({"centre": "copper", "centre_diameter": "2.7 mm", "dielectric": "foam PE", "impedance": "50 ohm",
    ...               "dielectric_diameter": "7.2 mm", "screen": "foil and braid", "velocity_factor": "0.85"}).strands
    1
    """
    numbers = {"strands", "velocity_factor"}
    made: dict[str, Any] = dict.fromkeys(MAKE)
    for key, text in told.items():
        if key in numbers:
            made[key] = fields.written_number(text, key)
        elif key in MAKE:
            made[key] = MAKE[key](text, key)
    impedance = impedance_ohm(told["impedance"], "impedance") if "impedance" in told else 50.0
    return _make(made, impedance, float(made.get("velocity_factor") or 0.66))


def diameter_m(value: Any, name: str) -> float:
    """Return a written small length, "2.95 mm", "12 um" or "0.141 in", in metres."""
    match = _SMALL.match(value) if isinstance(value, str) else None
    if match is None:
        raise UnitError(
            name,
            say("is not a length with its unit; got {value}", value=repr(value)),
            cure=say('Write it as "2.95 mm" or "12 um".'),
        )
    return fields.written_number(match[1], name) * _SMALL_METRE[match[2].lower()]


_SMALL = re.compile(r"^\s*([\d.,]+)\s*(mm|um|µm|cm|m|in)\s*$", re.IGNORECASE)
_SMALL_METRE = {"mm": 1e-3, "um": 1e-6, "µm": 1e-6, "cm": 1e-2, "m": 1.0, "in": 0.0254}
MAKE: dict[str, Any] = {
    "centre": fields.text, "centre_diameter": diameter_m, "strands": fields.number, "cladding": diameter_m,
    "dielectric": fields.text, "dielectric_diameter": diameter_m, "screen": fields.text, "spacing": diameter_m,
}  # fmt: skip
"""The keys that tell how a line is made, and how each is read."""


def _yes_or_no(value: Any, name: str) -> bool:
    if not isinstance(value, bool):
        raise InputError(name, say("must be true or false; got {value}", value=repr(value)))
    return value


def read_lines(path: Path | str) -> tuple[LineType, ...]:
    r"""Return the line types of a TOML or CSV file.

    Parameters
    ----------
    path : Path or str
        The file.

    Returns
    -------
    tuple of LineType
        In the order of the file.

    Raises
    ------
    InputError
        With file, row and cure; several problems are gathered in one ``SheetError``.

    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as place:
    ...     path = Path(place) / "lines.csv"
    ...     _ = path.write_text("line,frequency,attenuation\ndrum,10 MHz,4 dB/100m\ndrum,100 MHz,14 dB/100m\n")
    ...     [line.designator for line in read_lines(path)]
    ['drum']
    """
    return read_lines_text(read_text(Path(path), "lines"), str(path))


def read_lines_text(text: str, name: str) -> tuple[LineType, ...]:
    """Return the line types of a text; its file's name tells TOML from CSV."""
    source = SourceText(name, text)
    if name.lower().endswith(".csv"):
        found = _from_csv(source)
    else:
        whole = TomlTable(source, "", source.parsed())
        found = lines_in(whole.tables("line"))
        whole.close()
    if not found and not source.problems:
        source.note(InputError("lines", say("holds no line type"), cure=say("Add a [[line]] table.")))
    if source.problems:
        raise gathered(source.problems)
    return found


def _from_csv(source: SourceText) -> tuple[LineType, ...]:
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
