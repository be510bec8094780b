"""Bench sheets: a TOML file with its readings beside it, to nouns. All problems are gathered before any is raised."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, TypeVar

from linewright.core import quantities
from linewright.core.errors import Culprit, InputError, UnitError, UnknownNameError, gathered
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.bench import Attenuator, BenchSheet, Limits, Meter, Piece, Reading, ReadingPlan, Reference
from linewright.core.nouns.bench import Source as Transmitter
from linewright.core.nouns.bench_result import Scale
from linewright.core.nouns.line import LineType
from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.files import fields
from linewright.files.fields import line_reader
from linewright.files.own_lines import lines_in, read_lines_text
from linewright.files.tables import SourceText, TomlTable, csv_rows, read_text, table_rows

# Tests from one end on a bench sheet: ``[[one_end]]`` tables or a CSV file, and the ``[analyser]`` behind them


def one_end_tests(whole: TomlTable, pieces: Sequence[Piece], opened: Opener) -> tuple[OneEndTest, ...]:
    """Return a test for every piece read from one end; problems are noted.

    ``[one_end] file = "mast.csv"`` names a file beside the sheet; ``[[one_end]]`` tables hold readings in place.
    """
    directivity_db, swr = _analyser(whole.table("analyser"))
    readings = _one_end_readings(whole, [p.tag for p in pieces], opened)
    return tuple(
        OneEndTest(mine, directivity_db, swr, line=p.line, length_m=p.length_m, connectors=p.connectors, tag=p.tag)
        for p in pieces
        if (mine := tuple(r for r in readings if r.piece == p.tag))
    )


def _analyser(table: TomlTable | None) -> tuple[float | None, float | None]:
    if table is None:
        return None, None
    found = table.take("directivity", fields.loss, None), table.take("swr", fields.swr, None)
    table.close()
    return found


def _one_end_readings(whole: TomlTable, tags: Sequence[str], opened: Opener) -> list[OneEndReading]:
    if not isinstance(whole.content.get("one_end", {}), dict):
        from linewright.files.one_end import one_end_in_tables

        return one_end_in_tables(whole.tables("one_end"), tags)
    table = whole.table("one_end")  # asked for even where it is not there, so that it counts as known
    name = table.take("file", fields.text) if table else None
    if table is None or name is None:
        return []
    from linewright.files.one_end import one_end_in_csv

    table.close()
    try:
        source = SourceText(name, opened(name, "one_end file"))
    except InputError as error:
        whole.source.problems.append(error)
        return []
    found = one_end_in_csv(source, tags)
    whole.source.problems += source.problems
    return found


# Readings: rows of a CSV file or ``[[reading]]`` tables, checked against the meters and tags of their sheet

NEEDED = ("meter", "frequency", "path", "reading")
OPTIONAL = ("step", "swr", "low", "high", "note")
SCALE_UNITS: Mapping[Scale, tuple[str, ...]] = {
    "watts": ("w",), "milliwatts": ("mw",), "dBm": ("dbm",), "dB": ("db",), "volts": ("v",), "card": (),
}  # fmt: skip
MOST_CARD = 1.02
"""A reading this far past the end of its card is still believed."""


@dataclass(frozen=True, slots=True)
class SheetNames:
    """The meters and tags a reading may speak of; ``faulty`` are names whose own tables are wrong and complained of."""

    meters: Mapping[str, Meter]
    tags: frozenset[str]
    faulty: frozenset[str] = frozenset()

    def forgives(self, cells: Mapping[str, Any]) -> bool:
        """Return whether a reading speaks of a faulty name: nothing more is said of it then."""
        named = {str(cells["meter"]).strip(), *(t.strip() for t in str(cells["path"]).split("+"))}
        return not named.isdisjoint(self.faulty)


def readings_in_csv(source: SourceText, known: SheetNames) -> tuple[list[Reading], int]:
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
            source.note(InputError("reading", say("is missing"), cure=say("Fill in the cell.")), row)
    return [reading for reading in found if reading is not None], waiting


def readings_in_tables(tables: Iterable[TomlTable], known: SheetNames) -> list[Reading]:
    """Return the readings of ``[[reading]]`` tables; their row is where the table stands."""
    rows = table_rows(tables, NEEDED, OPTIONAL)
    found = (_reading(source, row, cells, known) for source, row, cells in rows)
    return [reading for reading in found if reading is not None]


def _reading(source: SourceText, row: int, cells: Mapping[str, Any], known: SheetNames) -> Reading | None:
    if known.forgives(cells):
        return None
    try:
        meter = _meter_of_reading(cells["meter"], known)
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


def _meter_of_reading(name: Any, known: SheetNames) -> Meter:
    found = known.meters.get(" ".join(str(name).split()))
    if found is None:
        raise UnknownNameError(
            "meter",
            say("must be one of the sheet's meters; got {value}", value=repr(name)),
            cure=fields.nearest(name, known.meters),
        )
    return found


def _frequency(value: Any) -> float:
    return _frequency_of_text(value) if isinstance(value, str) else fields.frequency(value, "frequency")


@cache
def _frequency_of_text(value: str) -> float:
    return fields.frequency(value, "frequency")


def path_in(value: Any, known: SheetNames) -> tuple[str, ...]:
    """Return the tags of a written path, none for the reference."""
    if not isinstance(value, str):
        raise InputError("path", say("must be text; got {value}", value=repr(value)))
    tags = tuple(" ".join(part.split()) for part in value.split("+"))
    if len(tags) == 1 and tags[0].lower() == "reference":
        return ()
    if "reference" in [t.lower() for t in tags]:
        raise InputError(
            "path",
            say("must not join the reference to anything; got {value}", value=repr(value)),
            cure=say("Name pieces only."),
        )
    for t in tags:
        if t not in known.tags:
            raise UnknownNameError(
                "path", say("must be 'reference' or tags of the sheet joined by +; got {value}", value=repr(t)),
                cure=fields.nearest(t, [*known.tags, "reference"]),
            )  # fmt: skip
    if len(set(tags)) < len(tags):
        raise InputError(
            "path",
            say("names a piece twice; got {value}", value=repr(value)),
            cure=say("Give each piece a tag of its own."),
        )
    return tags


def _value(given: Any, meter: Meter, name: str) -> float:
    """Return a reading in the meter's own scale; a unit is allowed if it is the scale's."""
    value = _number_of(given, meter, name)
    if meter.scale not in ("dBm", "dB") and value < 0:
        raise InputError(
            name, say("must not be negative on a scale of {scale}; got {value}", scale=meter.scale, value=repr(given))
        )
    if abs(value) > 1e9:
        raise InputError(name, say("is not a reading anyone has; got {value}", value=repr(given)))
    if meter.scale == "card" and name == "reading" and value > MOST_CARD * meter.card[-1][0]:
        raise InputError(
            name,
            say(
                "must lie on the card, which ends at {card}; got {value}",
                card=format(meter.card[-1][0], "g"),
                value=repr(given),
            ),
        )
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
            name,
            say("must be in the meter's own scale ({own}); got {value}", own=own, value=repr(given)),
            cure=say("Write the number as read."),
        )
    return fields.written_number(digits or text, name)


def _ordered(low: float | None, value: float, high: float | None) -> None:
    if low is not None and low > value:
        raise InputError(
            "low",
            say(
                "must not be above the reading {reading}; got {value}",
                reading=format(value, "g"),
                value=format(low, "g"),
            ),
        )
    if high is not None and high < value:
        raise InputError(
            "high",
            say(
                "must not be below the reading {reading}; got {value}",
                reading=format(value, "g"),
                value=format(high, "g"),
            ),
        )
    if low is not None and high is not None and not low < high:
        raise InputError(
            "low", say("must be below high; got {value} and {high}", value=format(low, "g"), high=format(high, "g"))
        )


# What a bench sheet plans to read: frequencies, and pieces joined


def plan_in(whole: TomlTable, known: SheetNames) -> ReadingPlan:
    """Return the plan of a sheet from its keys ``frequencies`` and ``joined``; what is wrong is noted."""

    def frequencies(value: Any, name: str) -> tuple[float, ...]:
        return tuple(sorted({fields.frequency(v, name) for v in _texts(value, name, '["14.2 MHz", "144.3 MHz"]')}))

    def joined(value: Any, name: str) -> tuple[tuple[str, ...], ...] | None:
        written = _texts(value, name, '["blue 7+blue 18"]')
        if any(known.forgives({"meter": "", "path": path}) for path in written):
            return None
        paths = tuple(dict.fromkeys(path_in(path, known) for path in written))
        for path in paths:
            if len(path) < 2:
                raise InputError(
                    name, say("must name two pieces or more with + between; got {value}", value=repr("+".join(path)))
                )
        return paths

    return ReadingPlan(whole.take("frequencies", frequencies, ()), whole.take("joined", joined, None))


def _texts(value: Any, name: str, example: str) -> list[str]:
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise InputError(
            name,
            say("must be a list of texts; got {value}", value=repr(value)),
            cure=say("Write {example}.", example=example),
        )
    return value


# Bench sheets: a TOML file with its readings beside it, to nouns. All problems are gathered before any is raised

T = TypeVar("T")
Place = Literal["replaced", "stays"]
PLACES: tuple[Place, ...] = ("replaced", "stays")
Opener = Callable[[str, str], str]
"""Returns the text of a file the sheet names, given what it holds, or raises InputError."""


Gear = Mapping[str, Mapping[str, Mapping[str, Any]]]
"""What is known of pieces, meters and attenuators, as tables of a sheet would say it: by kind, then by tag or name."""


def read_bench_sheet(path: Path | str, own: Sequence[LineType] = (), known: Gear = MappingProxyType({})) -> BenchSheet:
    """Return the bench sheet of a TOML file; files it names are looked for beside it.

    Parameters
    ----------
    path : Path or str
        The sheet.
    own : sequence of LineType
        The person's own line types; they go before the catalogue's.
    known : mapping
        What is known of pieces, meters and attenuators: by kind ("piece"), then by tag or name, their tables. One that
        the sheet only names is taken from there.

    Returns
    -------
    BenchSheet
        Frequencies in hertz, lengths in metres, losses in dB, powers in watts.

    Raises
    ------
    InputError
        With argument, rule, file, row and cure; several problems are gathered in one ``SheetError``.

    >>> from linewright.verbs.examples import demo_file
    >>> sheet = read_bench_sheet(demo_file("harbour-ridge.toml"))
    >>> [piece.tag for piece in sheet.pieces], len(sheet.readings)
    (['blue 7', 'blue 18', 'black 20'], 56)
    """
    path = Path(path)
    text = read_text(path, "sheet")

    def opened(name: str, what: str) -> str:
        return read_text(path.parent / name, what)

    return _read(SourceText(str(path), text), opened, own, known)[0]


def read_reading_plan(path: Path | str, own: Sequence[LineType] = ()) -> tuple[BenchSheet, ReadingPlan]:
    """Return the bench sheet of a TOML file and what it plans to read; its readings file need not be there yet.

    Without planned frequencies, those of the readings it holds are planned.

    Raises
    ------
    InputError
        With argument, rule, file, row and cure; also if nothing is planned or there is no piece.
    """
    path = Path(path)
    text = read_text(path, "sheet")

    def opened(name: str, what: str) -> str:
        if what == "readings file" and not (path.parent / name).exists():
            return ",".join(NEEDED)
        return read_text(path.parent / name, what)

    return _planned(SourceText(str(path), text), opened, own)


def read_reading_plan_text(
    text: str, files: Mapping[str, str], own: Sequence[LineType] = ()
) -> tuple[BenchSheet, ReadingPlan]:
    """Return the bench sheet of a text and what it plans to read, with the files it names given as texts."""

    def opened(name: str, what: str) -> str:
        return ",".join(NEEDED) if what == "readings file" and name not in files else _given(name, what, files)

    return _planned(SourceText("sheet", text), opened, own)


def _planned(source: SourceText, opened: Opener, own: Sequence[LineType]) -> tuple[BenchSheet, ReadingPlan]:
    sheet, plan = _read(source, opened, own)
    hertz = plan.frequencies_hz or tuple(sorted({r.frequency_hz for r in sheet.readings}))
    if not hertz:
        cure = say('Add frequencies = ["14.2 MHz", "144.3 MHz"] above the first table.')
        raise InputError("frequencies", say("is missing: no band is planned"), where=Culprit(source.name), cure=cure)
    if not sheet.pieces:
        rule = say("is missing: there is nothing to measure")
        raise InputError("piece", rule, where=Culprit(source.name), cure=say("Add a [[piece]] table."))
    return sheet, ReadingPlan(hertz, plan.joined)


def read_bench_sheet_text(
    text: str, files: Mapping[str, str], own: Sequence[LineType] = (), known: Gear = MappingProxyType({})
) -> BenchSheet:
    """Return the bench sheet of a text, with the files it names given as texts."""
    return _read(SourceText("sheet", text), lambda name, what: _given(name, what, files), own, known)[0]


def _given(name: str, what: str, files: Mapping[str, str]) -> str:
    if name not in files:
        raise InputError(
            what, say("must be given with the sheet; {name} was not", name=repr(name)), where=Culprit(name)
        )
    return files[name]


def completed(tables: Mapping[str, Any], known: Gear) -> dict[str, Any]:
    """Return the tables of a sheet; a piece, meter or attenuator that it only names is as it is known by that name.

    >>> known = {"piece": {"blue 7": {"tag": "blue 7", "length": "7.2 m"}}}
    >>> completed({"piece": [{"tag": "blue 7"}, {"tag": "grey 9"}]}, known)["piece"]
    [{'tag': 'blue 7', 'length': '7.2 m'}, {'tag': 'grey 9'}]
    """
    found = dict(tables)
    for kind, by_name in known.items():
        told = found.get(kind)
        if isinstance(told, list):
            found[kind] = [_bare(by_name, t) for t in told]
    return found


def _bare(known: Mapping[str, Mapping[str, Any]], table: Any) -> Any:
    """Return what is known of a table that holds a name alone; else the table."""
    if not isinstance(table, dict) or len(table) > 1:
        return table
    name = table.get("tag", table.get("name"))
    return dict(known.get(" ".join(name.split()), table)) if isinstance(name, str) else table


def _read(
    source: SourceText, opened: Opener, own: Sequence[LineType], known: Gear = MappingProxyType({})
) -> tuple[BenchSheet, ReadingPlan]:
    whole = TomlTable(source, "", completed(source.parsed(), known))
    title = whole.take("title", fields.text, say("Bench sheet"))
    own = (*_own_lines(whole, opened), *own)
    transmitter = _transmitter(whole.table("source"))
    reference = _reference(whole.table("reference"), own)
    tables = {kind: whole.tables(kind) for kind in ("meter", "piece", "attenuator")}
    meters = _unique(whole, "meter", [_meter(t) for t in tables["meter"]], lambda m: m.name)
    pieces = _unique(whole, "piece", [_piece(t, own) for t in tables["piece"]], lambda p: p.tag)
    pads = _unique(whole, "attenuator", [_attenuator(t) for t in tables["attenuator"]], lambda a: a.tag)
    limits = _limits(whole.table("limits"))
    tags = [p.tag for p in pieces] + [a.tag for a in pads]
    for shared in {t for t in tags if tags.count(t) > 1} & {a.tag for a in pads} & {p.tag for p in pieces}:
        source.note(
            InputError("attenuator tag", say("must not be a piece's tag as well; got {value}", value=repr(shared)))
        )
    named = [str(t.content.get(key, "")) for some in tables.values() for t in some if t.bad for key in ("name", "tag")]
    names = SheetNames({m.name: m for m in meters}, frozenset(tags), frozenset(filter(None, named)))
    plan = plan_in(whole, names)
    readings, waiting = _readings(whole, names, opened)
    one_end = one_end_tests(whole, pieces, opened)
    if not (tables["meter"] or one_end or source.problems):
        cure = say("Add a [[meter]] table, or [[one_end]] readings.")
        source.note(InputError("meter", say("is missing: a sheet needs at least one"), cure=cure))
    whole.close()
    if source.problems:
        raise gathered(source.problems)
    gear = (transmitter, reference, pads, limits)
    return BenchSheet(title, meters, pieces, tuple(readings), *gear, one_end, waiting), plan


def _own_lines(whole: TomlTable, opened: Opener) -> tuple[LineType, ...]:
    found = lines_in(whole.tables("line"))
    name: str = whole.take("lines", fields.text, "")
    if not name:
        return found
    try:
        return (*found, *read_lines_text(opened(name, "lines"), name))
    except InputError as error:
        whole.source.problems += getattr(error, "problems", ()) or (error,)
        return found


def _transmitter(table: TomlTable | None) -> Transmitter:
    if table is None:
        return Transmitter()
    power, swr = table.take("power", fields.source_power, None), table.take("swr", fields.swr, None)
    table.close()
    return Transmitter(power, swr)


def _reference(table: TomlTable | None, own: Sequence[LineType]) -> Reference:
    if table is None:
        return Reference()
    line = table.take("line", line_reader(own), None)
    length_m = table.take("length", fields.length, 0.0)
    in_place: Place = table.take("in_place", lambda v, n: fields.one_of(v, n, PLACES), PLACES[0])
    table.close()
    return Reference(line, length_m, in_place)


def _meter(table: TomlTable) -> Meter | None:
    name = table.take("name", fields.text)
    scale: Scale = table.take("scale", lambda v, n: fields.one_of(v, n, SCALE_UNITS), "watts")
    division = table.take("division", lambda v, n: _division(v, n, scale), None)
    rated = table.take("rated", quantities.frequency_range_hz, None)
    card = table.take("card", _card, ())
    swr = table.take("swr", fields.swr, None)
    if scale == "card" and not card and not table.bad:
        table.fail(
            InputError(f"{table.label} card", say("is missing"), cure=say('Add card = [[0, "0 W"], [100, "12 W"]].'))
        )
    if scale != "card" and card and not table.bad:
        table.fail(
            InputError(f"{table.label} card", say("goes with a bare scale only"), cure=say('Write scale = "card".')),
            "card",
        )
    table.close()
    return None if table.bad else Meter(name, scale, division, rated, card, swr)


def _division(value: Any, name: str, scale: Scale) -> float:
    """Return the division in the meter's own scale: with its unit, or a plain number on a bare scale."""
    if scale == "card":
        return fields.above_zero(fields.number(value, name), value, name)
    if scale in ("dBm", "dB"):
        text = value[:-1] if isinstance(value, str) and value.lower().endswith("dbm") else value
        return fields.above_zero(quantities.ratio_db(text, name), value, name)
    if scale == "volts":
        return fields.above_zero(_volts(value, name), value, name)
    factor = 1e3 if scale == "milliwatts" else 1.0
    return fields.above_zero(quantities.power_w(value, name) * factor, value, name)


def _volts(value: Any, name: str) -> float:
    if not isinstance(value, str) or not value.strip().lower().endswith("v"):
        raise fields.bare(value, name, "0.1 V")
    text = value.strip()[:-1].strip()
    return (
        fields.written_number(text[:-1], name) / 1e3
        if text.lower().endswith("m")
        else fields.written_number(text, name)
    )


def _card(value: Any, name: str) -> tuple[tuple[float, float], ...]:
    example = '[[0, "0 W"], [50, "3.2 W"], [100, "12.8 W"]]'
    if not isinstance(value, list) or len(value) < 2:
        raise InputError(
            name,
            say("must be a list of two points or more; got {value}", value=repr(value)),
            cure=say("Write {example}.", example=example),
        )
    points: list[tuple[float, float]] = []
    for i, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(
                name,
                say("must be pairs of scale and power; point {number} is {pair}", number=i, pair=repr(pair)),
                cure=say("Write {example}.", example=example),
            )
        scale = fields.number(pair[0], f"{name}, scale of point {i}")
        power = quantities.power_w(pair[1], f"{name}, power of point {i}")
        if scale < 0 or (points and not (scale > points[-1][0] and power > points[-1][1])):
            raise InputError(
                name,
                say("must rise from point to point, from 0 up; point {number} is {pair}", number=i, pair=repr(pair)),
            )
        points.append((scale, power))
    if sum(p > 0 and s > 0 for s, p in points) < 1:
        raise InputError(name, say("must hold a point above zero"), cure=say("Write {example}.", example=example))
    return tuple(points)


def _piece(table: TomlTable, own: Sequence[LineType]) -> Piece | None:
    tag = table.take("tag", fields.tag)
    line = table.take("line", line_reader(own), None)
    length_m = table.take("length", fields.length)
    connectors = table.take("connectors", fields.whole, 2)
    stock = table.take("stock", fields.text, None)
    table.close()
    return None if table.bad else Piece(tag, length_m, line, connectors, stock)


def _attenuator(table: TomlTable) -> Attenuator | None:
    tag, loss_db = table.take("tag", fields.tag), table.take("loss", fields.loss)
    tolerance_db = table.take("tolerance", fields.loss, 0.1)
    table.close()
    return None if table.bad else Attenuator(tag, loss_db, tolerance_db)


def _limits(table: TomlTable | None) -> Limits:
    usual = Limits()
    if table is None:
        return usual
    home = table.take("home", fields.loss, usual.home_db)
    portable = table.take("portable", fields.loss, usual.portable_db)
    receive = table.take("receive", fields.loss, usual.receive_db)
    table.close()
    return usual if table.bad else Limits(home, portable, receive)


def _unique(whole: TomlTable, kind: str, found: Sequence[T | None], name: Callable[[T], str]) -> tuple[T, ...]:
    """Return what could be read, noting names that stand twice."""
    sound = [f for f in found if f is not None]
    for i, one in enumerate(sound):
        if name(one) in [name(o) for o in sound[:i]]:
            rule = say("must be different for each; {one} stands twice", one=repr(name(one)))
            whole.source.note(InputError(f"{kind} {'name' if kind == 'meter' else 'tag'}", rule))
    return tuple(sound)


def _readings(whole: TomlTable, known: SheetNames, opened: Opener) -> tuple[list[Reading], int]:
    """Return the readings, and how many steps of the readings file wait for one."""
    inline = readings_in_tables(whole.tables("reading"), known)
    table = whole.table("readings")
    if table is None:
        return inline, 0
    name = table.take("file", fields.text)
    table.close()
    if table.bad:
        return inline, 0
    try:
        source = SourceText(name, opened(name, "readings file"))
    except InputError as error:
        whole.source.problems.append(error)
        return inline, 0
    found, waiting = readings_in_csv(source, known)
    whole.source.problems += source.problems
    return [*inline, *found], waiting
