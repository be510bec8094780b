"""The chain of a run: entries to parts, from the radio to the antenna, and parts that several runs share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from linewright.catalogue.connectors import connector
from linewright.core.errors import InputError, UnknownNameError, gathered
from linewright.core.formatting import metres
from linewright.core.formulas.noise import noise_figure_db
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.line import LineType
from linewright.core.nouns.station import (
    ConnectorPart,
    LinePart,
    LossPart,
    Part,
    PreamplifierPart,
    Ratings,
    SplitterPart,
    SweepPart,
    TransformerPart,
    TunerPart,
)
from linewright.files import fields, station_fields
from linewright.files.curve import Inline, inlines
from linewright.files.tables import SourceText, TomlTable

if TYPE_CHECKING:
    from linewright.core.nouns.sweep import Sweep

# What a chain may speak of

Parts = tuple[Part, ...]


@dataclass(slots=True)
class ChainNames:
    """What a chain may speak of: pieces by tag, named parts, line types of the person's own, and sweep files.

    ``on_hand`` are the pieces of a ledger, for what neither the station nor its evidence describes. ``faulty`` are tags
    and names whose own tables are wrong and complained of; ``done`` and ``trail`` are the named parts read so far, and
    those being read. ``own_limits`` are the names of the person's own sets of limits.
    """

    pieces: dict[str, Piece]
    line: Callable[[Any, str], LineType]
    sweep: Callable[[str, int], Sweep]
    named: dict[str, TomlTable] = field(default_factory=dict)
    faulty: set[str] = field(default_factory=set)
    remarks: list[str] = field(default_factory=list)
    done: dict[str, Parts] = field(default_factory=dict)
    trail: list[str] = field(default_factory=list)
    on_hand: Mapping[str, Piece] = field(default_factory=dict)
    own_limits: tuple[str, ...] = ()

    def piece(self, tag: str) -> Piece | None:
        """Return the piece of a tag: the station's own, else the one of the ledger, which thereby joins it."""
        if tag not in self.pieces and tag in self.on_hand:
            piece = self.on_hand[tag]
            return self.pieces.setdefault(piece.tag, piece)
        return self.pieces.get(tag)


# Entries of a chain, a function a kind

SPLITTERS = ("matched", "tee")
SHELF = mark("A piece of the shelf is found where --ledger names the ledger, or the station is kept in it.")


def line_part(entry: Inline, known: ChainNames) -> Parts:
    """Return a line of a type; nothing after problems, which are noted."""
    line = entry.take("line", known.line)
    length_m = entry.take("length", fields.length)
    name = entry.take("name", fields.text, "")
    temperature, cut = _line_extras(entry)
    if entry.bad:
        return ()
    name = name or named_by_type(line, length_m)
    return (LinePart(name, Piece(name, length_m, line, 0), False, temperature, cut),)


def named_by_type(line: LineType, length_m: float) -> str:
    """Return what a line is called that has no name of its own: by its type and its length."""
    return say("{line}, {length}", line=line.designator, length=metres(length_m))


def piece_part(entry: Inline, known: ChainNames) -> Parts:
    """Return a piece on hand; nothing after problems, which are noted."""
    tag = entry.take("piece", fields.tag)
    name = entry.take("name", fields.text, tag or "")
    temperature, cut = _line_extras(entry)
    piece = known.piece(tag) if tag else None
    if tag and piece is None and tag not in known.faulty:
        shelf = ", or of the shelf" if known.on_hand else ""
        rule = say(
            "must be a piece of a bench sheet under evidence, or of a [[piece]] table{shelf}; got {value}",
            shelf=shelf,
            value=repr(tag),
        )
        tags = [*known.pieces, *known.on_hand]
        entry.fail(UnknownNameError(f"{entry.label} piece", rule, cure=fields.nearest(tag, tags) or _list_of(tags)))
    if entry.bad or piece is None:
        entry.bad = True
        return ()
    return (LinePart(name, piece, True, temperature, cut),)


def _list_of(pieces: Iterable[str]) -> str:
    tags = sorted(pieces)
    if tags:
        return say("Known are {known}.", known=", ".join(tags[:12]))
    return together([say('Add evidence = ["sheet.toml"] or a [[piece]] table.'), say(SHELF)])


def _line_extras(entry: Inline) -> tuple[float | None, float | None]:
    return entry.take("temperature", station_fields.celsius, None), entry.take("cut", station_fields.cut_deg, None)


def connector_part(entry: Inline, known: ChainNames) -> Parts:
    """Return mated connectors; nothing after problems, which are noted."""
    family = entry.take("connector", _family)
    pairs = entry.take("pairs", station_fields.pairs, 1)
    usual = say_many(
        "{count} pair of {family} connectors", "{count} pairs of {family} connectors", pairs, family=family
    )
    name, warm = entry.take("name", fields.text, usual), _temperature(entry)
    return () if entry.bad else (ConnectorPart(name, family, pairs, warm),)


def _family(value: Any, name: str) -> str:
    try:
        return connector(fields.text(value, name)).name
    except UnknownNameError as error:
        raise UnknownNameError(name, error.rule, cure=error.cure) from error


def by_loss(table: TomlTable, name: str) -> Parts:
    """Return a matched part by its loss; nothing after problems, which are noted."""
    loss_db = table.take("loss", station_fields.curve(fields.loss))
    swr, ratings, warm = table.take("swr", fields.swr, 1.0), _ratings(table), _temperature(table)
    return () if table.bad else (LossPart(name, loss_db, swr, ratings, warm),)


def _temperature(table: TomlTable) -> float | None:
    """Return the temperature of a part itself: what it adds in noise goes with it."""
    warm: float | None = table.take("temperature", station_fields.part_celsius, None)
    return warm


def _ratings(table: TomlTable) -> Ratings:
    voltage_v = table.take("voltage", station_fields.curve(station_fields.voltage), None)
    power_w = table.take("power", station_fields.curve(fields.source_power), None)
    return Ratings(voltage_v, power_w, say("the station file") if voltage_v or power_w else "")


def touchstone_part(entry: Inline, known: ChainNames) -> Parts:
    """Return a part by its sweep; nothing after problems, which are noted."""
    file = entry.take("touchstone", fields.text)
    name, ratings, warm = entry.take("name", fields.text, file or ""), _ratings(entry), _temperature(entry)
    turned = entry.take("turned", _yes_or_no, False)
    if entry.bad:
        return ()
    sweep = swept(entry, file, 2, known)
    return () if sweep is None else (SweepPart(name, _turned(sweep) if turned else sweep, ratings, warm),)


def swept(entry: Inline, file: str, ports: int, known: ChainNames) -> Sweep | None:
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
        raise InputError(name, say("must be true or false; got {value}", value=repr(value)))
    return value


def tuner_part(entry: Inline, known: ChainNames) -> Parts:
    """Return a tuner; nothing after problems, which are noted."""
    name, usual = entry.take("tuner", fields.text), TunerPart("")
    coil = entry.take("q_inductor", station_fields.quality, usual.q_inductor)
    capacitor = entry.take("q_capacitor", station_fields.quality, usual.q_capacitor)
    match_ohm = entry.take("match", station_fields.resistance, usual.match_ohm)
    ratings, warm = _ratings(entry), _temperature(entry)
    return () if entry.bad else (TunerPart(name, coil, capacitor, match_ohm, ratings, warm),)


def transformer_part(entry: Inline, known: ChainNames) -> Parts:
    """Return a transformer; nothing after problems, which are noted."""
    ratio = entry.take("transformer", station_fields.ratio)
    name = entry.take("name", fields.text, f"transformer {entry.content['transformer']}")
    loss_db, ratings, warm = _loss_or_none(entry, name, known), _ratings(entry), _temperature(entry)
    return () if entry.bad else (TransformerPart(name, ratio, loss_db, ratings, warm),)


def splitter_part(entry: Inline, known: ChainNames) -> Parts:
    """Return a splitter; nothing after problems, which are noted."""
    ways = entry.take("splitter", station_fields.ways)
    name = entry.take("name", fields.text, f"splitter to {ways}")
    kind = entry.take("kind", lambda value, key: fields.one_of(value, key, SPLITTERS), SPLITTERS[0])
    loss_db, ratings, warm = _loss_or_none(entry, name, known), _ratings(entry), _temperature(entry)
    return () if entry.bad else (SplitterPart(name, ways, kind == "matched", loss_db, ratings, warm),)


def noise_of(entry: TomlTable) -> float:
    """Return a noise figure in dB, as stated or from a noise temperature; exactly one of the two must stand there."""
    stated = [key for key in ("noise_figure", "noise_temperature") if key in entry.content]
    by_kelvin: float | None = entry.take("noise_temperature", _figure_of_kelvin, None)
    by_figure: float | None = entry.take("noise_figure", station_fields.noise_figure, None)
    if len(stated) == 2:
        cure = say("Leave one of them out: they say the same.")
        entry.fail(InputError(f"{entry.label} noise_figure", say("stands beside noise_temperature"), cure=cure))
    if not stated:
        cure = say('Add noise_figure = "4 dB", or noise_temperature = "35 K".')
        entry.fail(InputError(f"{entry.label} noise_figure", say("is missing"), cure=cure))
    return next((found for found in (by_figure, by_kelvin) if found is not None), 0.0)


def _figure_of_kelvin(value: Any, name: str) -> float:
    return float(noise_figure_db(station_fields.kelvin(value, name)))


def preamplifier_part(entry: Inline, known: ChainNames) -> Parts:
    """Return a preamplifier; nothing after problems, which are noted. ``loss`` is that of its bypass on transmit."""
    name = entry.take("preamplifier", fields.text)
    gain_db = entry.take("gain", station_fields.amplifier_db)
    figure_db = noise_of(entry)
    loss_db = entry.take("loss", station_fields.curve(fields.loss), ((0.0, 0.0),))
    ratings, warm = _ratings(entry), _temperature(entry)
    return () if entry.bad else (PreamplifierPart(name, gain_db, figure_db, loss_db, ratings, warm),)


def _loss_or_none(entry: Inline, name: str, known: ChainNames) -> tuple[tuple[float, float], ...]:
    if "loss" not in entry.content:
        known.remarks.append(f"No loss is stated for {name}: it is taken as nothing.")
    return entry.take("loss", station_fields.curve(fields.loss), ((0.0, 0.0),))


# The chain of a run: entries to parts, from the radio to the antenna, and parts that several runs share

MOST_PARTS = 200
"""No run has more; parts that hold parts soon would."""


def chain(table: TomlTable, known: ChainNames) -> Parts:
    """Return the parts of a table's ``chain``; what is wrong with an entry is noted at its own row."""
    entries = inlines(table, "chain", "part" if table.name == "run" else "entry")
    found = [part for entry in entries for part in _entry(entry, known)]
    if len(found) > MOST_PARTS:
        table.fail(
            InputError(
                f"{table.label} chain",
                say("must hold at most {most} parts; got {value}", most=MOST_PARTS, value=len(found)),
            ),
            "chain",
        )
        return ()
    return told_apart(found)


def parts_of(content: dict[str, Any], known: ChainNames, label: str) -> Parts:
    """Return the parts of one entry that stands in no file.

    Raises
    ------
    InputError
        If it is no entry; several problems are gathered in one.
    """
    source = SourceText(label, "")
    found = _entry(Inline(TomlTable(source, "", {}), "part", content, None), known)
    if source.problems:
        raise gathered(source.problems)
    return found


def named_parts(tables: Iterable[TomlTable], known: ChainNames) -> None:
    """Take up the ``[[part]]`` tables, and note what is wrong with them."""
    for table in tables:
        name = table.take("name", fields.text)
        if name in known.named:
            table.fail(
                InputError(
                    f"{table.label} name", say("must be different for each; {name} stands twice", name=repr(name))
                ),
                "name",
            )
        elif name:
            known.named[name] = table
    for name, table in known.named.items():
        named_part(name, f"{table.label} name", known)
        if table.bad:
            known.faulty.add(name)


def named_part(name: str, argument: str, known: ChainNames) -> Parts:
    """Return what a named part stands for.

    Raises
    ------
    InputError
        If nobody knows it, or it holds itself.
    """
    if name not in known.named:
        raise UnknownNameError(
            argument, say("must state its loss, or be named by a [[part]] table; got {value}", value=repr(name)),
            cure=fields.nearest(name, known.named) or say('Add loss = "0.1 dB".'),
        )  # fmt: skip
    if name in known.trail:
        way = " > ".join([*known.trail[known.trail.index(name) :], name])
        raise InputError(argument, say("goes round in a circle: {way}", way=way), cure=say("Take one of them out."))
    if name not in known.done:
        known.trail.append(name)
        known.done[name] = _of_table(known.named[name], name, known)
        known.trail.pop()
    return known.done[name]


def _of_table(table: TomlTable, name: str, known: ChainNames) -> Parts:
    found = chain(table, known) if "chain" in table.content else by_loss(table, name)
    table.close()
    return found


def told_apart(parts: Iterable[Part]) -> Parts:
    """Return parts, numbered where a name occurs twice."""
    found: list[Part] = []
    for part in parts:
        taken, name, i = {p.name for p in found}, part.name, 2
        while name in taken:
            name, i = f"{part.name} ({i})", i + 1
        found.append(part if name == part.name else replace(part, name=name))
    return tuple(found)


def _entry(entry: Inline, known: ChainNames) -> Parts:
    kinds = [kind for kind in KINDS if kind in entry.content]
    if len(kinds) != 1:
        what = "nothing that says so" if not kinds else " and ".join(kinds)
        rule = say("must be of one kind; got {value}", value=what)
        entry.fail(
            InputError(
                entry.label, rule, cure=say("Write one of {known}, and name = for a name.", known=", ".join(KINDS))
            )
        )
        return ()
    found = KINDS[kinds[0]](entry, known)
    entry.close()
    return () if entry.bad else found


def _part(entry: Inline, known: ChainNames) -> Parts:
    name = entry.take("part", fields.text)
    if entry.bad or "loss" in entry.content:
        return by_loss(entry, name)
    if name in known.faulty:
        entry.bad = True
        return ()
    try:
        return named_part(name, f"{entry.label} part", known)
    except InputError as error:
        entry.fail(error)
        return ()


KINDS: Mapping[str, Callable[[Inline, ChainNames], Parts]] = {
    "line": line_part, "piece": piece_part, "connector": connector_part, "part": _part,
    "touchstone": touchstone_part, "tuner": tuner_part, "transformer": transformer_part, "splitter": splitter_part,
    "preamplifier": preamplifier_part,
}  # fmt: skip
