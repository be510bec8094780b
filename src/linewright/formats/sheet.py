"""Bench sheets: a TOML file with its readings beside it, to nouns. All problems are gathered before any is raised."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal, TypeVar

from linewright.errors import Culprit, InputError, gathered
from linewright.formats import fields
from linewright.formats.line_names import line_reader
from linewright.formats.own_lines import lines_in, read_lines_text
from linewright.formats.reading_plan import plan_in
from linewright.formats.readings import NEEDED, SCALE_UNITS, Known, readings_in_csv, readings_in_tables
from linewright.formats.sheet_one_end import one_end_tests
from linewright.formats.tables import Source, Table
from linewright.formats.texts import read_text
from linewright.model.bench import Attenuator, BenchSheet, Limits, Meter, Piece, Reading, Reference
from linewright.model.bench import Source as Transmitter
from linewright.model.blank_sheet import ReadingPlan
from linewright.model.line import LineType
from linewright.model.scale import Scale
from linewright.units import quantities
from linewright.units.said import say

T = TypeVar("T")
Place = Literal["replaced", "stays"]
PLACES: tuple[Place, ...] = ("replaced", "stays")
Opener = Callable[[str, str], str]
"""Returns the text of a file the sheet names, given what it holds, or raises InputError."""


def read_bench_sheet(path: Path | str, own: Sequence[LineType] = ()) -> BenchSheet:
    """Return the bench sheet of a TOML file; files it names are looked for beside it.

    Parameters
    ----------
    path : Path or str
        The sheet.
    own : sequence of LineType
        The person's own line types; they go before the catalogue's.

    Raises
    ------
    InputError
        With argument, rule, file, row and cure; several problems are gathered in one ``SheetError``.
    """
    path = Path(path)
    text = read_text(path, "sheet")

    def opened(name: str, what: str) -> str:
        return read_text(path.parent / name, what)

    return _read(Source(str(path), text), opened, own)[0]


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

    return _planned(Source(str(path), text), opened, own)


def read_reading_plan_text(
    text: str, files: Mapping[str, str], own: Sequence[LineType] = ()
) -> tuple[BenchSheet, ReadingPlan]:
    """Return the bench sheet of a text and what it plans to read, with the files it names given as texts."""

    def opened(name: str, what: str) -> str:
        return ",".join(NEEDED) if what == "readings file" and name not in files else _given(name, what, files)

    return _planned(Source("sheet", text), opened, own)


def _planned(source: Source, opened: Opener, own: Sequence[LineType]) -> tuple[BenchSheet, ReadingPlan]:
    sheet, plan = _read(source, opened, own)
    hertz = plan.frequencies_hz or tuple(sorted({r.frequency_hz for r in sheet.readings}))
    if not hertz:
        cure = 'Add frequencies = ["14.2 MHz", "144.3 MHz"] above the first table.'
        raise InputError("frequencies", "is missing: no band is planned", where=Culprit(source.name), cure=cure)
    if not sheet.pieces:
        rule = "is missing: there is nothing to measure"
        raise InputError("piece", rule, where=Culprit(source.name), cure="Add a [[piece]] table.")
    return sheet, ReadingPlan(hertz, plan.joined)


def read_bench_sheet_text(text: str, files: Mapping[str, str], own: Sequence[LineType] = ()) -> BenchSheet:
    """Return the bench sheet of a text, with the files it names given as texts."""
    return _read(Source("sheet", text), lambda name, what: _given(name, what, files), own)[0]


def _given(name: str, what: str, files: Mapping[str, str]) -> str:
    if name not in files:
        raise InputError(what, f"must be given with the sheet; {name!r} was not", where=Culprit(name))
    return files[name]


def _read(source: Source, opened: Opener, own: Sequence[LineType]) -> tuple[BenchSheet, ReadingPlan]:
    whole = Table(source, "", source.parsed())
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
        source.note(InputError("attenuator tag", f"must not be a piece's tag as well; got {shared!r}"))
    named = [str(t.content.get(key, "")) for some in tables.values() for t in some if t.bad for key in ("name", "tag")]
    known = Known({m.name: m for m in meters}, frozenset(tags), frozenset(filter(None, named)))
    plan = plan_in(whole, known)
    readings, waiting = _readings(whole, known, opened)
    one_end = one_end_tests(whole, pieces, opened)
    if not (tables["meter"] or one_end or source.problems):
        cure = "Add a [[meter]] table, or [[one_end]] readings."
        source.note(InputError("meter", "is missing: a sheet needs at least one", cure=cure))
    whole.close()
    if source.problems:
        raise gathered(source.problems)
    gear = (transmitter, reference, pads, limits)
    return BenchSheet(title, meters, pieces, tuple(readings), *gear, one_end, waiting), plan


def _own_lines(whole: Table, opened: Opener) -> tuple[LineType, ...]:
    found = lines_in(whole.tables("line"))
    name: str = whole.take("lines", fields.text, "")
    if not name:
        return found
    try:
        return (*found, *read_lines_text(opened(name, "lines"), name))
    except InputError as error:
        whole.source.problems += getattr(error, "problems", ()) or (error,)
        return found


def _transmitter(table: Table | None) -> Transmitter:
    if table is None:
        return Transmitter()
    power, swr = table.take("power", fields.source_power, None), table.take("swr", fields.swr, None)
    table.close()
    return Transmitter(power, swr)


def _reference(table: Table | None, own: Sequence[LineType]) -> Reference:
    if table is None:
        return Reference()
    line = table.take("line", line_reader(own), None)
    length_m = table.take("length", fields.length, 0.0)
    in_place: Place = table.take("in_place", lambda v, n: fields.one_of(v, n, PLACES), PLACES[0])
    table.close()
    return Reference(line, length_m, in_place)


def _meter(table: Table) -> Meter | None:
    name = table.take("name", fields.text)
    scale: Scale = table.take("scale", lambda v, n: fields.one_of(v, n, SCALE_UNITS), "watts")
    division = table.take("division", lambda v, n: _division(v, n, scale), None)
    rated = table.take("rated", quantities.frequency_range_hz, None)
    card = table.take("card", _card, ())
    swr = table.take("swr", fields.swr, None)
    if scale == "card" and not card and not table.bad:
        table.fail(InputError(f"{table.label} card", "is missing", cure='Add card = [[0, "0 W"], [100, "12 W"]].'))
    if scale != "card" and card and not table.bad:
        table.fail(
            InputError(f"{table.label} card", "goes with a bare scale only", cure='Write scale = "card".'), "card"
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
        raise InputError(name, f"must be a list of two points or more; got {value!r}", cure=f"Write {example}.")
    points: list[tuple[float, float]] = []
    for i, pair in enumerate(value, start=1):
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(name, f"must be pairs of scale and power; point {i} is {pair!r}", cure=f"Write {example}.")
        scale = fields.number(pair[0], f"{name}, scale of point {i}")
        power = quantities.power_w(pair[1], f"{name}, power of point {i}")
        if scale < 0 or (points and not (scale > points[-1][0] and power > points[-1][1])):
            raise InputError(name, f"must rise from point to point, from 0 up; point {i} is {pair!r}")
        points.append((scale, power))
    if sum(p > 0 and s > 0 for s, p in points) < 1:
        raise InputError(name, "must hold a point above zero", cure=f"Write {example}.")
    return tuple(points)


def _piece(table: Table, own: Sequence[LineType]) -> Piece | None:
    tag = table.take("tag", fields.tag)
    line = table.take("line", line_reader(own), None)
    length_m = table.take("length", fields.length)
    connectors = table.take("connectors", fields.whole, 2)
    stock = table.take("stock", fields.text, None)
    table.close()
    return None if table.bad else Piece(tag, length_m, line, connectors, stock)


def _attenuator(table: Table) -> Attenuator | None:
    tag, loss_db = table.take("tag", fields.tag), table.take("loss", fields.loss)
    tolerance_db = table.take("tolerance", fields.loss, 0.1)
    table.close()
    return None if table.bad else Attenuator(tag, loss_db, tolerance_db)


def _limits(table: Table | None) -> Limits:
    usual = Limits()
    if table is None:
        return usual
    home = table.take("home", fields.loss, usual.home_db)
    portable = table.take("portable", fields.loss, usual.portable_db)
    receive = table.take("receive", fields.loss, usual.receive_db)
    table.close()
    return usual if table.bad else Limits(home, portable, receive)


def _unique(whole: Table, kind: str, found: Sequence[T | None], name: Callable[[T], str]) -> tuple[T, ...]:
    """Return what could be read, noting names that stand twice."""
    sound = [f for f in found if f is not None]
    for i, one in enumerate(sound):
        if name(one) in [name(o) for o in sound[:i]]:
            rule = f"must be different for each; {name(one)!r} stands twice"
            whole.source.note(InputError(f"{kind} {'name' if kind == 'meter' else 'tag'}", rule))
    return tuple(sound)


def _readings(whole: Table, known: Known, opened: Opener) -> tuple[list[Reading], int]:
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
        source = Source(name, opened(name, "readings file"))
    except InputError as error:
        whole.source.problems.append(error)
        return inline, 0
    found, waiting = readings_in_csv(source, known)
    whole.source.problems += source.problems
    return [*inline, *found], waiting
