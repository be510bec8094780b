"""Readings taken at one end: rows of a CSV file or ``[[one_end]]`` tables.

::

    frequency,far_end,swr,return_loss,resistance,direct,step,note
    144 MHz,open,7.1,,,,0.1,
    144 MHz,short,6.8,,,,0.1,
    50 MHz,load:3,2.4,,,3.1,,
    14.2 MHz,short,,,5.7 ohm,,,half wave

One of ``swr``, ``return_loss`` and ``resistance`` in each row. An SWR may be "inf" or a limit, "over 20".
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from math import inf
from pathlib import Path
from typing import Any

from linewright.core.errors import InputError, UnitError, UnknownNameError, gathered
from linewright.core.messages import say
from linewright.core.nouns.one_end import FAR_ENDS, Bound, FarEnd, OneEndReading, OneEndTest, Quantity, printed_step
from linewright.files import fields
from linewright.files.tables import SourceText, TomlTable, csv_rows, read_text, table_rows
from linewright.files.toml import toml_text

NEEDED = ("frequency", "far_end")
SHOWN: Mapping[str, Quantity] = {"swr": "swr", "return_loss": "return_loss_db", "resistance": "resistance_ohm"}
OPTIONAL = (*SHOWN, "direct", "step", "piece", "note")
EXAMPLE: Mapping[Quantity, str] = {"swr": "7.1", "return_loss_db": "1.9 dB", "resistance_ohm": "5.7 ohm"}
UNITS: Mapping[str, Quantity] = {
    "": "swr", "db": "return_loss_db", "ohm": "resistance_ohm", "ohms": "resistance_ohm", "ω": "resistance_ohm",
}  # fmt: skip
LIMITS: Mapping[str, Bound] = {
    "over": "above", "above": "above", ">": "above", "under": "below", "below": "below", "<": "below",
}  # fmt: skip
OFF_SCALE = ("inf", "infinite", "∞", "off the scale")
_SHOWN = re.compile(r"^(over|above|under|below|>|<)?\s*([+-]?[\d.,]+(?:[eE][+-]?\d+)?)\s*([^\d\s].*)?$", re.IGNORECASE)


def shown(text: Any, name: str) -> tuple[Quantity, float, float | None, Bound]:
    """Return what was read as (quantity, value, step of its last digit, bound): "7.1", "1.9 dB", "5.7 ohm", "over 20".

    >>> shown("1.9 dB", "open"), shown("over 20", "open")
    (('return_loss_db', 1.9, 0.1, 'is'), ('swr', 20.0, 1.0, 'above'))
    """
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        return "swr", float(text) if text == inf else fields.number(text, name), None, "is"
    said = " ".join(str(text).split())
    if said.lower() in OFF_SCALE:
        return "swr", inf, None, "is"
    match = _SHOWN.match(said)
    quantity = UNITS.get((match[3] or "").strip().lower()) if match else None
    if match is None or quantity is None:
        cure = say("Write an SWR as 7.1, a return loss as 1.9 dB, a resistance as 5.7 ohm, a limit as over 20.")
        raise UnitError(name, say("is not a reading; got {value}", value=repr(text)), cure=cure)
    value = fields.written_number(match[2], name)
    step = printed_step(match[2].replace(",", ".")) if "e" not in match[2].lower() else None
    return quantity, value, step, LIMITS.get((match[1] or "").lower(), "is")


def far_end(value: Any, name: str) -> tuple[FarEnd, float | None]:
    """Return what is at the far end, and the known SWR of a load: "open", "short", "load:3", "load", "antenna".

    >>> far_end("load:3", "far_end"), far_end("open", "far_end")
    (('load', 3.0), ('open', None))
    """
    word, colon, swr = str(value).strip().lower().partition(":")
    if word.strip() == "load" and colon:
        known = fields.swr(swr.strip(), name)
        if known <= 1.0:
            raise InputError(
                name,
                say("must be a load that reflects; got SWR {known}", known=format(known, "g")),
                cure=say("Use one of SWR 2 to 5."),
            )
        return "load", known
    try:
        return fields.one_of(word.strip() if not colon else value, name, FAR_ENDS), None
    except InputError as error:
        raise InputError(
            name,
            say("must be open, short, load:<swr>, load or antenna; got {value}", value=repr(value)),
            cure=error.cure,
        ) from error


def read_one_end(path: Path | str) -> tuple[OneEndReading, ...]:
    """Return the near-end readings of a CSV file.

    Raises
    ------
    InputError
        With file, row and cure; several problems are gathered in one ``SheetError``.
    """
    return read_one_end_text(read_text(Path(path), "readings"), str(path))


def read_one_end_text(text: str, name: str) -> tuple[OneEndReading, ...]:
    """Return the near-end readings of a CSV text."""
    source = SourceText(name, text)
    found = one_end_in_csv(source)
    if not found and not source.problems:
        source.note(InputError("readings", say("holds no reading"), cure=say("Add a row such as 144 MHz,open,7.1.")))
    if source.problems:
        raise gathered(source.problems)
    return tuple(found)


def one_end_in_csv(source: SourceText, tags: Collection[str] | None = None) -> list[OneEndReading]:
    """Return the readings of CSV rows; problems are noted. With ``tags``, every row names its piece by one of them."""
    needed = NEEDED if tags is None else (*NEEDED, "piece")
    rows = (reading_in(source, row, cells, tags) for row, cells in csv_rows(source, needed, OPTIONAL))
    return [reading for reading in rows if reading is not None]


def one_end_in_tables(tables: Iterable[TomlTable], tags: Collection[str] | None = None) -> list[OneEndReading]:
    """Return the readings of ``[[one_end]]`` tables; their row is where the table stands."""
    needed = NEEDED if tags is None else (*NEEDED, "piece")
    found = (reading_in(source, row, cells, tags) for source, row, cells in table_rows(tables, needed, OPTIONAL))
    return [reading for reading in found if reading is not None]


def reading_in(
    source: SourceText, row: int, cells: Mapping[str, Any], tags: Collection[str] | None = None
) -> OneEndReading | None:
    """Return one row's reading; None after a problem, which is noted."""
    try:
        return _reading(row, cells, tags)
    except InputError as error:
        source.note(error, row)
        return None


def _reading(row: int, cells: Mapping[str, Any], tags: Collection[str] | None) -> OneEndReading:
    column = _column(cells)
    quantity, value, step, bound = _in_column(cells[column], column)
    if "step" in cells:
        step = _step(cells["step"], quantity)
    end, load_swr = far_end(cells["far_end"], "far_end")
    direct, direct_step = (None, None) if "direct" not in cells else _direct(cells["direct"], column, cells)
    if direct is not None and end != "load":
        raise InputError(
            "direct", say("goes with a load at the far end; got {value}", value=end), cure=say("Write far_end as load.")
        )
    return OneEndReading(
        row, end, fields.frequency(cells["frequency"], "frequency"), quantity, value, step, bound, load_swr,
        direct, direct_step, _piece(cells, tags), str(cells.get("note", "")),
    )  # fmt: skip


def _column(cells: Mapping[str, Any]) -> str:
    given = [name for name in SHOWN if name in cells]
    if len(given) != 1:
        got = " and ".join(given) or "none"
        raise InputError("reading", say("must stand in one of swr, return_loss, resistance; got {value}", value=got))
    return given[0]


def _in_column(given: Any, column: str) -> tuple[Quantity, float, float | None, Bound]:
    """Return what a column holds; a return loss and a resistance need their unit, an SWR has none."""
    wanted = SHOWN[column]
    bare = isinstance(given, (int, float)) and not isinstance(given, bool)
    if bare and wanted != "swr":
        raise fields.bare(given, column, EXAMPLE[wanted])
    quantity, value, step, bound = shown(given, column)
    if quantity != wanted:
        raise UnitError(
            column,
            say("must be written as {example}; got {value}", example=EXAMPLE[wanted], value=repr(given)),
            cure=say("Check column and unit."),
        )
    least = 1.0 if wanted == "swr" else 0.0
    if value < least:
        cure = say("If this is a return loss in dB, use the column return_loss.") if wanted == "swr" else ""
        raise InputError(
            column, say("must be at least {least}; got {value}", least=format(least, "g"), value=repr(given)), cure=cure
        )
    return quantity, value, step, bound


def _direct(given: Any, column: str, cells: Mapping[str, Any]) -> tuple[float, float | None]:
    try:
        quantity, value, step, bound = _in_column(given, column)
    except InputError as error:
        raise type(error)("direct", error.rule, cure=error.cure) from error
    if bound != "is" or value == inf:
        raise InputError("direct", say("must be a figure, not a limit; got {value}", value=repr(given)))
    return value, _step(cells["step"], quantity) if "step" in cells else step


def _step(given: Any, quantity: Quantity) -> float:
    """Return a step: a bare number, or with the reading's own unit."""
    value = shown(str(given), "step")
    if value[0] not in ("swr", quantity) or value[3] != "is" or not 0.0 <= value[1] < inf:
        raise UnitError(
            "step",
            say("must be in the reading's own unit; got {value}", value=repr(given)),
            cure=say("Write it as 0.1."),
        )
    return value[1]


def _piece(cells: Mapping[str, Any], tags: Collection[str] | None) -> str | None:
    if "piece" not in cells:
        return None
    found = fields.tag(cells["piece"], "piece")
    if tags is not None and found not in tags:
        raise UnknownNameError(
            "piece",
            say("must be one of the sheet's pieces; got {value}", value=repr(found)),
            cure=fields.nearest(found, tags),
        )
    return found


# A test as a bench sheet of its own


def one_end_sheet(test: OneEndTest, piece: Mapping[str, Any], day: str) -> str:
    """Return a test as the text of a bench sheet, which reads back as the same test.

    Parameters
    ----------
    piece : mapping
        Its piece as a sheet describes it: ``tag``, ``line``, ``length``, ``connectors``, ``stock``.
    day : str
        When it was read; it stands in a comment, so that the same readings of two days make two files.
    """
    analyser = {"directivity": _db(test.directivity_db), "swr": test.source_swr}
    tables = {
        "title": f"{test.tag} from one end",
        "analyser": {k: v for k, v in analyser.items() if v is not None},
        "piece": [dict(piece)],
        "one_end": [_entry_of(r, test.tag) for r in test.readings],
    }
    return f"# Read on {day}.\n{toml_text({k: v for k, v in tables.items() if v})}"


def _entry_of(r: OneEndReading, tag: str) -> dict[str, Any]:
    end = f"load:{r.load_swr!r}" if r.far_end == "load" and r.load_swr is not None else r.far_end
    column = next(c for c, quantity in SHOWN.items() if quantity == r.quantity)
    unit = {"swr": "", "return_loss_db": " dB", "resistance_ohm": " ohm"}[r.quantity]
    limit = {"is": "", "above": "over ", "below": "under "}[r.bound]
    entry = {
        "piece": tag, "frequency": f"{r.frequency_hz / 1e6!r} MHz", "far_end": end,
        column: "inf" if r.value == inf else f"{limit}{r.value!r}{unit}",
        "step": None if r.step is None else repr(r.step),
        "direct": None if r.direct is None else f"{r.direct!r}{unit}", "note": r.note or None,
    }  # fmt: skip
    return {k: v for k, v in entry.items() if v is not None}


def _db(value: float | None) -> str | None:
    return None if value is None else f"{value!r} dB"
