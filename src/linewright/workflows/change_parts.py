"""Changes to the chain of a run: another line, another length, a part less or more."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from linewright.catalogue.connectors import connector
from linewright.errors import InputError, UnknownNameError
from linewright.formats import fields, station_fields
from linewright.formats.station_entries import SPLITTERS, named_by_type
from linewright.formats.station_known import Known
from linewright.formats.station_parts import KINDS, parts_of
from linewright.model.bench import Piece
from linewright.model.station import (
    ConnectorPart,
    LinePart,
    LossPart,
    Part,
    SplitterPart,
    SweepPart,
    TransformerPart,
    TunerPart,
)

Chain = tuple[Part, ...]
Setter = Callable[[Any, Any, str, Known], Part]
KIND: Mapping[str, type | tuple[type, ...]] = {
    "line": LinePart, "piece": LinePart, "connector": ConnectorPart, "tuner": TunerPart,
    "transformer": TransformerPart, "splitter": SplitterPart, "touchstone": SweepPart,
    "part": (LinePart, ConnectorPart, LossPart, SweepPart, TunerPart, TransformerPart, SplitterPart),
}  # fmt: skip
PART_WORDS = frozenset(KIND)
ENTRY_KEYS = (
    *KINDS, "length", "name", "temperature", "cut", "pairs", "loss", "swr", "voltage", "power", "turned",
    "q inductor", "q capacitor", "match", "kind",
)  # fmt: skip


def parts_known(chain: Chain) -> str:
    """Return the parts of a chain by number and name, in words."""
    return ", ".join(f"part {i} ({part.name})" for i, part in enumerate(chain, start=1)) or "no parts"


def change_part(chain: Chain, what: Sequence[str], value: Any, known: Known) -> Chain | None:
    """Return the chain with one part changed; None if it has no such part."""
    place, rest = _place(chain, what)
    if place is None:
        return None
    new = _entry(value) if not rest else None
    became = parts_of(new, known, "the change") if new else (_set(chain[place], " ".join(rest), value, known),)
    return (*chain[:place], *became, *chain[place + 1 :])


def add_part(chain: Chain, what: Sequence[str], value: Any, known: Known) -> Chain | None:
    """Return the chain with a part put in, so that it has the number given; at the antenna's end if none is."""
    content = _entry(value)
    if content is None:
        cure = "Write add part 3 = line RG-213/U, length 3 m."
        raise InputError("added part", f"must be an entry of a chain; got {value!r}", cure=cure)
    number = what[1] if len(what) > 1 else str(len(chain) + 1)
    if not number.isascii() or not number.isdigit() or not 1 <= int(number) <= len(chain) + 1:
        return None
    place = int(number) - 1
    return (*chain[:place], *parts_of(content, known, "the change"), *chain[place:])


def drop_part(chain: Chain, what: Sequence[str], value: Any, known: Known) -> Chain | None:
    """Return the chain without a part; None if it has no such part."""
    place, rest = _place(chain, what)
    return None if place is None or rest else (*chain[:place], *chain[place + 1 :])


def _place(chain: Chain, what: Sequence[str]) -> tuple[int | None, Sequence[str]]:
    """Return where in the chain the part stands that the words name, and the words that are left over."""
    kind = what[0].lower()
    of_kind = [
        i for i, p in enumerate(chain)
        if isinstance(p, KIND[kind]) and (kind != "piece" or (isinstance(p, LinePart) and p.measured))
    ]  # fmt: skip
    word = what[1] if len(what) > 1 else ""
    if word.isascii() and word.isdigit():
        return (of_kind[int(word) - 1] if 1 <= int(word) <= len(of_kind) else None), what[2:]
    named = [i for i in of_kind if chain[i].name.lower() == word.lower()]
    if len(named) == 1:
        return named[0], what[2:]
    return (of_kind[0] if len(of_kind) == 1 else None), what[1:]


def _entry(value: Any) -> dict[str, Any] | None:
    """Return a value as an entry of a chain: a table, or its keys in plain words; None if it is neither.

    >>> _entry("line RG-213/U, length 3 m"), _entry("RG-213/U")
    ({'line': 'RG-213/U', 'length': '3 m'}, None)
    """
    if isinstance(value, dict):
        return value
    found: dict[str, Any] = {}
    for clause in str(value).split(", "):
        key = next((k for k in ENTRY_KEYS if re.match(rf"{k}\s", clause.lower())), None)
        if key is None:
            return None
        text = clause[len(key) :].strip()
        found[key.replace(" ", "_")] = int(text) if text.isascii() and text.isdigit() else text
    return found if found.keys() & KINDS.keys() else None


def _set(part: Part, key: str, value: Any, known: Known) -> Part:
    setters = SETTERS[type(part)]
    if key.lower() not in setters:
        names = ", ".join(k for k in setters if k) or "nothing that can be changed"
        raise UnknownNameError(
            "change", f"must name a property of {part.name}; got {key!r}",
            cure=f"It has {names}.",
        )  # fmt: skip
    return setters[key.lower()](part, value, f"{part.name} {key}".strip(), known)


def _line_type(part: LinePart, value: Any, name: str, known: Known) -> Part:
    """Return a new line in place of one: as long, with as many connectors; or another piece on hand by its tag."""
    if isinstance(value, str) and value in known.pieces:
        return replace(part, name=value, piece=known.pieces[value], measured=True)
    line = known.line(value, name)
    called = named_by_type(line, part.piece.length_m)
    new = Piece(called, part.piece.length_m, line, part.piece.connectors)
    return replace(part, name=called, piece=new, measured=False)


def _length(part: LinePart, value: Any, name: str, known: Known) -> Part:
    length_m = fields.length(value, name)
    line = part.piece.line
    fresh = line is not None and part.name == named_by_type(line, part.piece.length_m)
    called = named_by_type(line, length_m) if fresh and line else part.name
    return replace(part, name=called, piece=replace(part.piece, length_m=length_m))


def _plain(attribute: str, read: Callable[[Any, str], Any]) -> Setter:
    def setter(part: Any, value: Any, name: str, known: Known) -> Part:
        changed: Part = replace(part, **{attribute: read(value, name)})
        return changed

    return setter


def _rating(attribute: str, read: Callable[[Any, str], float]) -> Setter:
    def setter(part: Any, value: Any, name: str, known: Known) -> Part:
        ratings = replace(part.ratings, **{attribute: read(value, name), "source": "the change"})
        changed: Part = replace(part, ratings=ratings)
        return changed

    return setter


def _connectors(part: LinePart, value: Any, name: str, known: Known) -> Part:
    return replace(part, piece=replace(part.piece, connectors=fields.whole(value, name)))


def _family(part: ConnectorPart, value: Any, name: str, known: Known) -> Part:
    family = connector(fields.text(value, name)).name
    return replace(part, family=family, name=part.name.replace(part.family, family))


RATINGS: Mapping[str, Setter] = {
    "voltage": _rating("voltage_v", station_fields.voltage),
    "power": _rating("power_w", fields.source_power),
}
LOSS = _plain("loss_db", station_fields.curve(fields.loss))
SETTERS: Mapping[type, Mapping[str, Setter]] = {
    LinePart: {
        "": _line_type, "type": _line_type, "length": _length, "connectors": _connectors,
        "temperature": _plain("temperature_celsius", station_fields.celsius),
        "cut": _plain("cut_deg", station_fields.cut_deg),
    },
    ConnectorPart: {"": _family, "pairs": _plain("pairs", station_fields.pairs)},
    LossPart: {"": LOSS, "loss": LOSS, "swr": _plain("swr", fields.swr), **RATINGS},
    SweepPart: {**RATINGS},
    TunerPart: {
        "q inductor": _plain("q_inductor", station_fields.quality),
        "q capacitor": _plain("q_capacitor", station_fields.quality),
        "match": _plain("match_ohm", station_fields.resistance), **RATINGS,
    },
    TransformerPart: {"": _plain("ratio", station_fields.ratio), "loss": LOSS, **RATINGS},
    SplitterPart: {
        "": _plain("ways", station_fields.ways), "loss": LOSS, **RATINGS,
        "kind": _plain("matched", lambda value, name: fields.one_of(value, name, SPLITTERS) == "matched"),
    },
}  # fmt: skip
