"""Entries of a chain, a function a kind: line, piece, connector, part, sweep, tuner, transformer, splitter."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from linewright.catalogue.connectors import connector
from linewright.errors import InputError, UnknownNameError
from linewright.formats import fields, station_fields
from linewright.formats.inline import Inline
from linewright.formats.station_known import Known, Parts
from linewright.formats.tables import Table
from linewright.model.bench import Piece
from linewright.model.line import LineType
from linewright.model.station import (
    ConnectorPart,
    LinePart,
    LossPart,
    Ratings,
    SplitterPart,
    SweepPart,
    TransformerPart,
    TunerPart,
)
from linewright.model.sweep import Sweep
from linewright.units.said import say, say_many
from linewright.units.writing import metres

SPLITTERS = ("matched", "tee")
SHELF = "A piece of the shelf is found where --ledger names the ledger, or the station is kept in it."


def line_part(entry: Inline, known: Known) -> Parts:
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


def piece_part(entry: Inline, known: Known) -> Parts:
    """Return a piece on hand; nothing after problems, which are noted."""
    tag = entry.take("piece", fields.tag)
    name = entry.take("name", fields.text, tag or "")
    temperature, cut = _line_extras(entry)
    piece = known.piece(tag) if tag else None
    if tag and piece is None and tag not in known.faulty:
        shelf = ", or of the shelf" if known.on_hand else ""
        rule = f"must be a piece of a bench sheet under evidence, or of a [[piece]] table{shelf}; got {tag!r}"
        tags = [*known.pieces, *known.on_hand]
        entry.fail(UnknownNameError(f"{entry.label} piece", rule, cure=fields.nearest(tag, tags) or _list_of(tags)))
    if entry.bad or piece is None:
        entry.bad = True
        return ()
    return (LinePart(name, piece, True, temperature, cut),)


def _list_of(pieces: Iterable[str]) -> str:
    tags = sorted(pieces)
    return (
        f"Known are {', '.join(tags[:12])}." if tags else f'Add evidence = ["sheet.toml"] or a [[piece]] table. {SHELF}'
    )


def _line_extras(entry: Inline) -> tuple[float | None, float | None]:
    return entry.take("temperature", station_fields.celsius, None), entry.take("cut", station_fields.cut_deg, None)


def connector_part(entry: Inline, known: Known) -> Parts:
    """Return mated connectors; nothing after problems, which are noted."""
    family = entry.take("connector", _family)
    pairs = entry.take("pairs", station_fields.pairs, 1)
    usual = say_many(
        "{count} pair of {family} connectors", "{count} pairs of {family} connectors", pairs, family=family
    )
    name = entry.take("name", fields.text, usual)
    return () if entry.bad else (ConnectorPart(name, family, pairs),)


def _family(value: Any, name: str) -> str:
    try:
        return connector(fields.text(value, name)).name
    except UnknownNameError as error:
        raise UnknownNameError(name, error.rule, cure=error.cure) from error


def by_loss(table: Table, name: str) -> Parts:
    """Return a matched part by its loss; nothing after problems, which are noted."""
    loss_db = table.take("loss", station_fields.curve(fields.loss))
    swr, ratings = table.take("swr", fields.swr, 1.0), _ratings(table)
    return () if table.bad else (LossPart(name, loss_db, swr, ratings),)


def _ratings(table: Table) -> Ratings:
    voltage_v = table.take("voltage", station_fields.voltage, None)
    power_w = table.take("power", fields.source_power, None)
    return Ratings(voltage_v, power_w, say("the station file") if voltage_v or power_w else "")


def touchstone_part(entry: Inline, known: Known) -> Parts:
    """Return a part by its sweep; nothing after problems, which are noted."""
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


def tuner_part(entry: Inline, known: Known) -> Parts:
    """Return a tuner; nothing after problems, which are noted."""
    name, usual = entry.take("tuner", fields.text), TunerPart("")
    coil = entry.take("q_inductor", station_fields.quality, usual.q_inductor)
    capacitor = entry.take("q_capacitor", station_fields.quality, usual.q_capacitor)
    match_ohm = entry.take("match", station_fields.resistance, usual.match_ohm)
    ratings = _ratings(entry)
    return () if entry.bad else (TunerPart(name, coil, capacitor, match_ohm, ratings),)


def transformer_part(entry: Inline, known: Known) -> Parts:
    """Return a transformer; nothing after problems, which are noted."""
    ratio = entry.take("transformer", station_fields.ratio)
    name = entry.take("name", fields.text, f"transformer {entry.content['transformer']}")
    loss_db, ratings = _loss_or_none(entry, name, known), _ratings(entry)
    return () if entry.bad else (TransformerPart(name, ratio, loss_db, ratings),)


def splitter_part(entry: Inline, known: Known) -> Parts:
    """Return a splitter; nothing after problems, which are noted."""
    ways = entry.take("splitter", station_fields.ways)
    name = entry.take("name", fields.text, f"splitter to {ways}")
    kind = entry.take("kind", lambda value, key: fields.one_of(value, key, SPLITTERS), SPLITTERS[0])
    loss_db, ratings = _loss_or_none(entry, name, known), _ratings(entry)
    return () if entry.bad else (SplitterPart(name, ways, kind == "matched", loss_db, ratings),)


def _loss_or_none(entry: Inline, name: str, known: Known) -> tuple[tuple[float, float], ...]:
    if "loss" not in entry.content:
        known.remarks.append(f"No loss is stated for {name}: it is taken as nothing.")
    return entry.take("loss", station_fields.curve(fields.loss), ((0.0, 0.0),))
