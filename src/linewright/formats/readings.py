"""Readings: rows of a CSV file or ``[[reading]]`` tables, checked against the meters and tags of their sheet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from linewright.errors import InputError, UnitError, UnknownNameError
from linewright.formats import fields
from linewright.formats.csv_rows import csv_rows
from linewright.formats.tables import Source, Table, table_rows
from linewright.model.bench import Meter, Reading
from linewright.model.scale import Scale

NEEDED = ("meter", "frequency", "path", "reading")
OPTIONAL = ("step", "swr", "low", "high", "note")
SCALE_UNITS: Mapping[Scale, tuple[str, ...]] = {
    "watts": ("w",), "milliwatts": ("mw",), "dBm": ("dbm",), "dB": ("db",), "volts": ("v",), "card": (),
}  # fmt: skip
MOST_CARD = 1.02
"""A reading this far past the end of its card is still believed."""


@dataclass(frozen=True, slots=True)
class Known:
    """The meters and tags a reading may speak of; ``faulty`` are names whose own tables are wrong and complained of."""

    meters: Mapping[str, Meter]
    tags: frozenset[str]
    faulty: frozenset[str] = frozenset()

    def forgives(self, cells: Mapping[str, Any]) -> bool:
        """Return whether a reading speaks of a faulty name: nothing more is said of it then."""
        named = {str(cells["meter"]).strip(), *(t.strip() for t in str(cells["path"]).split("+"))}
        return not named.isdisjoint(self.faulty)


def readings_in_csv(source: Source, known: Known) -> tuple[list[Reading], int]:
    """Return the readings of a CSV file, and how many steps of its sheet wait for one; problems are noted by row.

    A row with a step, a place and nothing read is a line of a reading sheet that nobody has filled in yet.
    """
    found, waiting = [], 0
    for row, cells in csv_rows(source, NEEDED, OPTIONAL, may_wait=("reading",)):
        if "reading" in cells:
            found.append(_reading(source, row, cells, known))
        elif "step" in cells and not {"swr", "low", "high"} & cells.keys():
            waiting += 1
        else:
            source.note(InputError("reading", "is missing", cure="Fill in the cell."), row)
    return [reading for reading in found if reading is not None], waiting


def readings_in_tables(tables: Iterable[Table], known: Known) -> list[Reading]:
    """Return the readings of ``[[reading]]`` tables; their row is where the table stands."""
    rows = table_rows(tables, NEEDED, OPTIONAL)
    found = (_reading(source, row, cells, known) for source, row, cells in rows)
    return [reading for reading in found if reading is not None]


def _reading(source: Source, row: int, cells: Mapping[str, Any], known: Known) -> Reading | None:
    if known.forgives(cells):
        return None
    try:
        meter = _meter(cells["meter"], known)
        frequency_hz = _frequency(cells["frequency"])
        path = path_in(cells["path"], known)
        value = _value(cells["reading"], meter, "reading")
        low, high = (_value(cells[k], meter, k) if k in cells else None for k in ("low", "high"))
        _ordered(low, value, high)
        return Reading(
            row, meter.name, frequency_hz, path, value,
            step=fields.written_number(cells["step"], "step") if "step" in cells else None,
            swr=fields.swr(cells["swr"], "swr") if "swr" in cells else None,
            low=low, high=high, note=str(cells.get("note", "")),
        )  # fmt: skip
    except InputError as error:
        source.note(error, row)
        return None


def _meter(name: Any, known: Known) -> Meter:
    found = known.meters.get(" ".join(str(name).split()))
    if found is None:
        raise UnknownNameError(
            "meter", f"must be one of the sheet's meters; got {name!r}", cure=fields.nearest(name, known.meters)
        )
    return found


def _frequency(value: Any) -> float:
    return _frequency_of_text(value) if isinstance(value, str) else fields.frequency(value, "frequency")


@cache
def _frequency_of_text(value: str) -> float:
    return fields.frequency(value, "frequency")


def path_in(value: Any, known: Known) -> tuple[str, ...]:
    """Return the tags of a written path, none for the reference."""
    if not isinstance(value, str):
        raise InputError("path", f"must be text; got {value!r}")
    tags = tuple(" ".join(part.split()) for part in value.split("+"))
    if len(tags) == 1 and tags[0].lower() == "reference":
        return ()
    if "reference" in [t.lower() for t in tags]:
        raise InputError("path", f"must not join the reference to anything; got {value!r}", cure="Name pieces only.")
    for t in tags:
        if t not in known.tags:
            raise UnknownNameError(
                "path", f"must be 'reference' or tags of the sheet joined by +; got {t!r}",
                cure=fields.nearest(t, [*known.tags, "reference"]),
            )  # fmt: skip
    if len(set(tags)) < len(tags):
        raise InputError("path", f"names a piece twice; got {value!r}", cure="Give each piece a tag of its own.")
    return tags


def _value(given: Any, meter: Meter, name: str) -> float:
    """Return a reading in the meter's own scale; a unit is allowed if it is the scale's."""
    value = _number_of(given, meter, name)
    if meter.scale not in ("dBm", "dB") and value < 0:
        raise InputError(name, f"must not be negative on a scale of {meter.scale}; got {given!r}")
    if abs(value) > 1e9:
        raise InputError(name, f"is not a reading anyone has; got {given!r}")
    if meter.scale == "card" and name == "reading" and value > MOST_CARD * meter.card[-1][0]:
        raise InputError(name, f"must lie on the card, which ends at {meter.card[-1][0]:g}; got {given!r}")
    return value


def _number_of(given: Any, meter: Meter, name: str) -> float:
    if not isinstance(given, str):
        return fields.number(given, name)
    text = given.strip()
    digits = text.rstrip("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZµ ")
    unit = text[len(digits) :].strip()
    if digits and unit and unit.lower() not in SCALE_UNITS[meter.scale]:
        own = " or ".join(SCALE_UNITS[meter.scale]) or "no unit"
        raise UnitError(
            name, f"must be in the meter's own scale ({own}); got {given!r}", cure="Write the number as read."
        )
    return fields.written_number(digits or text, name)


def _ordered(low: float | None, value: float, high: float | None) -> None:
    if low is not None and low > value:
        raise InputError("low", f"must not be above the reading {value:g}; got {low:g}")
    if high is not None and high < value:
        raise InputError("high", f"must not be below the reading {value:g}; got {high:g}")
    if low is not None and high is not None and not low < high:
        raise InputError("low", f"must be below high; got {low:g} and {high:g}")
