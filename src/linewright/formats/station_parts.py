"""The chain of a run: its entries, each of one kind, to parts from the radio to the antenna."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from linewright.catalogue.connectors import connector
from linewright.errors import InputError, UnknownNameError, gathered
from linewright.formats import fields, station_fields
from linewright.formats.inline import Inline, inlines
from linewright.formats.tables import Source, Table
from linewright.model.bench import Piece
from linewright.model.line import LineType
from linewright.model.station import (
    ConnectorPart,
    LinePart,
    LossPart,
    Part,
    Ratings,
    SplitterPart,
    SweepPart,
    TransformerPart,
    TunerPart,
)
from linewright.model.sweep import Sweep
from linewright.units.writing import metres

SPLITTERS = ("matched", "tee")
Parts = tuple[Part, ...]


@dataclass(slots=True)
class Known:
    """What a chain may speak of: pieces by tag, named parts, line types of the person's own, and sweep files.

    ``faulty`` are tags and names whose own tables are wrong and complained of.
    """

    pieces: Mapping[str, Piece]
    line: Callable[[Any, str], LineType]
    sweep: Callable[[str, int], Sweep]
    named: dict[str, Table] = field(default_factory=dict)
    faulty: set[str] = field(default_factory=set)
    remarks: list[str] = field(default_factory=list)
    _done: dict[str, Parts] = field(default_factory=dict)
    _trail: list[str] = field(default_factory=list)

    def part(self, name: str, argument: str) -> Parts:
        """Return what a named part stands for.

        Raises
        ------
        InputError
            If nobody knows it, or it holds itself.
        """
        if name not in self.named:
            raise UnknownNameError(
                argument, f"must state its loss, or be named by a [[part]] table; got {name!r}",
                cure=fields.nearest(name, self.named) or 'Add loss = "0.1 dB".',
            )  # fmt: skip
        if name in self._trail:
            way = " > ".join([*self._trail[self._trail.index(name) :], name])
            raise InputError(argument, f"goes round in a circle: {way}", cure="Take one of them out.")
        if name not in self._done:
            self._trail.append(name)
            self._done[name] = _named_part(self.named[name], name, self)
            self._trail.pop()
        return self._done[name]


def chain(table: Table, known: Known) -> Parts:
    """Return the parts of a table's ``chain``; what is wrong with an entry is noted at its own row."""
    entries = inlines(table, "chain", "part" if table.name == "run" else "entry")
    return told_apart(part for entry in entries for part in _entry(entry, known))


def parts_of(content: dict[str, Any], known: Known, label: str) -> Parts:
    """Return the parts of one entry that stands in no file.

    Raises
    ------
    InputError
        If it is no entry; several problems are gathered in one.
    """
    source = Source(label, "")
    found = _entry(Inline(Table(source, "", {}), "part", content, None), known)
    if source.problems:
        raise gathered(source.problems)
    return found


def named_parts(tables: Iterable[Table], known: Known) -> None:
    """Take up the ``[[part]]`` tables, and note what is wrong with them."""
    for table in tables:
        name = table.take("name", fields.text)
        if name in known.named:
            table.fail(InputError(f"{table.label} name", f"must be different for each; {name!r} stands twice"), "name")
        elif name:
            known.named[name] = table
    for name, table in known.named.items():
        known.part(name, f"{table.label} name")
        if table.bad:
            known.faulty.add(name)


def _named_part(table: Table, name: str, known: Known) -> Parts:
    found = chain(table, known) if "chain" in table.content else _by_loss(table, name)
    table.close()
    return found


def told_apart(parts: Iterable[Part]) -> Parts:
    """Return parts, numbered where their names stand twice."""
    found: list[Part] = []
    for part in parts:
        taken, name, i = {p.name for p in found}, part.name, 2
        while name in taken:
            name, i = f"{part.name} ({i})", i + 1
        found.append(part if name == part.name else replace(part, name=name))
    return tuple(found)


def _entry(entry: Inline, known: Known) -> Parts:
    kinds = [kind for kind in KINDS if kind in entry.content]
    if len(kinds) != 1:
        what = "nothing that says so" if not kinds else " and ".join(kinds)
        rule = f"must be of one kind; got {what}"
        entry.fail(InputError(entry.label, rule, cure=f"Write one of {', '.join(KINDS)}, and name = for a name."))
        return ()
    found = KINDS[kinds[0]](entry, known)
    entry.close()
    return () if entry.bad else found


def _line(entry: Inline, known: Known) -> Parts:
    line = entry.take("line", known.line)
    length_m = entry.take("length", fields.length)
    name = entry.take("name", fields.text, "")
    temperature, cut = _line_extras(entry)
    if entry.bad:
        return ()
    name = name or f"{line.designator}, {metres(length_m)}"
    return (LinePart(name, Piece(name, length_m, line, 0), False, temperature, cut),)


def _piece(entry: Inline, known: Known) -> Parts:
    tag = entry.take("piece", fields.tag)
    name = entry.take("name", fields.text, tag or "")
    temperature, cut = _line_extras(entry)
    if tag and tag not in known.pieces and tag not in known.faulty:
        rule = f"must be a piece of a bench sheet under evidence, or of a [[piece]] table; got {tag!r}"
        cure = fields.nearest(tag, known.pieces) or _list_of(known.pieces)
        entry.fail(UnknownNameError(f"{entry.label} piece", rule, cure=cure))
    if entry.bad or tag not in known.pieces:
        entry.bad = True
        return ()
    return (LinePart(name, known.pieces[tag], True, temperature, cut),)


def _list_of(pieces: Iterable[str]) -> str:
    tags = sorted(pieces)
    return f"Known are {', '.join(tags[:12])}." if tags else 'Add evidence = ["sheet.toml"] or a [[piece]] table.'


def _line_extras(entry: Inline) -> tuple[float | None, float | None]:
    return entry.take("temperature", station_fields.celsius, None), entry.take("cut", station_fields.cut_deg, None)


def _connector(entry: Inline, known: Known) -> Parts:
    family = entry.take("connector", _family)
    pairs = entry.take("pairs", station_fields.pairs, 1)
    plural = "pair" if pairs == 1 else "pairs"
    name = entry.take("name", fields.text, f"{pairs} {plural} of {family} connectors")
    return () if entry.bad else (ConnectorPart(name, family, pairs),)


def _family(value: Any, name: str) -> str:
    try:
        return connector(fields.text(value, name)).name
    except UnknownNameError as error:
        raise UnknownNameError(name, error.rule, cure=error.cure) from error


def _part(entry: Inline, known: Known) -> Parts:
    name = entry.take("part", fields.text)
    if entry.bad or "loss" in entry.content:
        return _by_loss(entry, name)
    if name in known.faulty:
        entry.bad = True
        return ()
    try:
        return known.part(name, f"{entry.label} part")
    except InputError as error:
        entry.fail(error)
        return ()


def _by_loss(table: Table, name: str) -> Parts:
    loss_db = table.take("loss", station_fields.curve(fields.loss))
    swr, ratings = table.take("swr", fields.swr, 1.0), _ratings(table)
    return () if table.bad else (LossPart(name, loss_db, swr, ratings),)


def _ratings(table: Table) -> Ratings:
    voltage_v = table.take("voltage", station_fields.voltage, None)
    power_w = table.take("power", fields.source_power, None)
    return Ratings(voltage_v, power_w, "the station file" if voltage_v or power_w else "")


def _touchstone(entry: Inline, known: Known) -> Parts:
    file = entry.take("touchstone", fields.text)
    name, ratings = entry.take("name", fields.text, file or ""), _ratings(entry)
    turned = entry.take("turned", _yes_or_no, False)
    if entry.bad:
        return ()
    sweep = swept(entry, file, 2, known)
    return () if sweep is None else (SweepPart(name, _turned(sweep) if turned else sweep, ratings),)


def swept(entry: Inline, file: str, ports: int, known: Known) -> Sweep | None:
    """Return the sweep of a file; None after problems, which are noted with their place in that file."""
    try:
        return known.sweep(file, ports)
    except InputError as error:
        for one in getattr(error, "problems", ()) or (error,):
            entry.told(type(one)(f"{entry.label} touchstone: {one.argument}", one.rule, where=one.where, cure=one.cure))
        return None


def _turned(sweep: Sweep) -> Sweep:
    """Return a two-port sweep with its ports in the other order."""
    return replace(sweep, s=sweep.s[:, ::-1, ::-1], reference_ohm=sweep.reference_ohm[::-1])


def _yes_or_no(value: Any, name: str) -> bool:
    if not isinstance(value, bool):
        raise InputError(name, f"must be true or false; got {value!r}")
    return value


def _tuner(entry: Inline, known: Known) -> Parts:
    name, usual = entry.take("tuner", fields.text), TunerPart("")
    coil = entry.take("q_inductor", station_fields.quality, usual.q_inductor)
    capacitor = entry.take("q_capacitor", station_fields.quality, usual.q_capacitor)
    match_ohm = entry.take("match", station_fields.resistance, usual.match_ohm)
    ratings = _ratings(entry)
    return () if entry.bad else (TunerPart(name, coil, capacitor, match_ohm, ratings),)


def _transformer(entry: Inline, known: Known) -> Parts:
    ratio = entry.take("transformer", station_fields.ratio)
    name = entry.take("name", fields.text, f"transformer {entry.content['transformer']}")
    loss_db, ratings = _loss_or_none(entry, name, known), _ratings(entry)
    return () if entry.bad else (TransformerPart(name, ratio, loss_db, ratings),)


def _splitter(entry: Inline, known: Known) -> Parts:
    ways = entry.take("splitter", station_fields.ways)
    name = entry.take("name", fields.text, f"splitter to {ways}")
    kind = entry.take("kind", lambda value, key: fields.one_of(value, key, SPLITTERS), SPLITTERS[0])
    loss_db, ratings = _loss_or_none(entry, name, known), _ratings(entry)
    return () if entry.bad else (SplitterPart(name, ways, kind == "matched", loss_db, ratings),)


def _loss_or_none(entry: Inline, name: str, known: Known) -> tuple[tuple[float, float], ...]:
    if "loss" not in entry.content:
        known.remarks.append(f"No loss is stated for {name}: it is taken as nothing.")
    return entry.take("loss", station_fields.curve(fields.loss), ((0.0, 0.0),))


KINDS: Mapping[str, Callable[[Inline, Known], Parts]] = {
    "line": _line, "piece": _piece, "connector": _connector, "part": _part, "touchstone": _touchstone,
    "tuner": _tuner, "transformer": _transformer, "splitter": _splitter,
}  # fmt: skip
