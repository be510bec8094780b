"""The chain of a run: entries to parts, from the radio to the antenna, and parts that several runs share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

from linewright.errors import InputError, UnknownNameError, gathered
from linewright.formats import fields
from linewright.formats.inline import Inline, inlines
from linewright.formats.station_entries import (
    by_loss,
    connector_part,
    line_part,
    piece_part,
    splitter_part,
    touchstone_part,
    transformer_part,
    tuner_part,
)
from linewright.formats.station_known import Known, Parts
from linewright.formats.tables import Source, Table
from linewright.model.station import Part

MOST_PARTS = 200
"""No run has more; parts that hold parts soon would."""


def chain(table: Table, known: Known) -> Parts:
    """Return the parts of a table's ``chain``; what is wrong with an entry is noted at its own row."""
    entries = inlines(table, "chain", "part" if table.name == "run" else "entry")
    found = [part for entry in entries for part in _entry(entry, known)]
    if len(found) > MOST_PARTS:
        table.fail(
            InputError(f"{table.label} chain", f"must hold at most {MOST_PARTS} parts; got {len(found)}"), "chain"
        )
        return ()
    return told_apart(found)


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
        named_part(name, f"{table.label} name", known)
        if table.bad:
            known.faulty.add(name)


def named_part(name: str, argument: str, known: Known) -> Parts:
    """Return what a named part stands for.

    Raises
    ------
    InputError
        If nobody knows it, or it holds itself.
    """
    if name not in known.named:
        raise UnknownNameError(
            argument, f"must state its loss, or be named by a [[part]] table; got {name!r}",
            cure=fields.nearest(name, known.named) or 'Add loss = "0.1 dB".',
        )  # fmt: skip
    if name in known.trail:
        way = " > ".join([*known.trail[known.trail.index(name) :], name])
        raise InputError(argument, f"goes round in a circle: {way}", cure="Take one of them out.")
    if name not in known.done:
        known.trail.append(name)
        known.done[name] = _of_table(known.named[name], name, known)
        known.trail.pop()
    return known.done[name]


def _of_table(table: Table, name: str, known: Known) -> Parts:
    found = chain(table, known) if "chain" in table.content else by_loss(table, name)
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


def _part(entry: Inline, known: Known) -> Parts:
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


KINDS: Mapping[str, Callable[[Inline, Known], Parts]] = {
    "line": line_part, "piece": piece_part, "connector": connector_part, "part": _part,
    "touchstone": touchstone_part, "tuner": tuner_part, "transformer": transformer_part, "splitter": splitter_part,
}  # fmt: skip
