"""The values of an export: each of its type and within bounds, or refused with the rule.

An export is a file like any other: somebody may have edited it, and a ledger must hold nothing it could not have
written itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.ledger import Change, KeptReading
from linewright.store.items import undone_in

MAX_WHOLE = 2**31 - 1
"""The largest number of a version, a reading or a change: what both databases hold."""
MAX_DEPTH = 32
"""Lists and tables inside each other."""

Check = Callable[[Any, str], Any]


def quoted(value: Any) -> str:
    """Return what was given as it may stand in a message: at most 80 characters of it.

    >>> quoted("x" * 100)[-4:], quoted(10**5000)
    ('xxx…', 'a very long number')
    """
    try:
        text = repr(value)
    except ValueError:  # more digits than Python writes out
        return "a very long number"
    return text if len(text) <= 80 else f"{text[:79]}…"


def text(most: int) -> Check:
    """Return a check for text of at most so many characters."""

    def check(value: Any, name: str) -> str:
        if not isinstance(value, str) or len(value) > most:
            raise InputError(
                name, say("must be text of at most {most} characters; got {value}", most=most, value=quoted(value))
            )
        return value

    return check


def whole(value: Any, name: str) -> int:
    """Return a whole number from 1 on."""
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= MAX_WHOLE:
        raise InputError(
            name,
            say("must be a whole number from 1 to {max_whole}; got {value}", max_whole=MAX_WHOLE, value=quoted(value)),
        )
    return value


def truth(value: Any, name: str) -> bool:
    """Return true or false."""
    if not isinstance(value, bool):
        raise InputError(name, say("must be true or false; got {value}", value=quoted(value)))
    return value


def plain(value: Any, name: str, depth: int = 0) -> Any:
    """Return a value that JSON and TOML can both hold: finite, of 64 bits, not too deep."""
    if depth > MAX_DEPTH:
        raise InputError(name, say("must nest lists and tables at most {most} deep", most=MAX_DEPTH))
    if isinstance(value, Mapping):
        return {key: plain(inner, f"{name} {key[:80]}".strip(), depth + 1) for key, inner in value.items()}
    if isinstance(value, list):
        return [plain(inner, name, depth + 1) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError(name, say("must be a finite number; got {value}", value=repr(value)))
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 2**63:
        raise InputError(name, say("must be a number of at most 64 bits; got {value}", value=quoted(value)))
    if value is not None and not isinstance(value, (str, bool, int, float)):
        raise InputError(
            name, say("must be text, a number, true or false, a list or a table; got {value}", value=quoted(value))
        )
    return value


def table(value: Any, name: str) -> dict[str, Any]:
    """Return a table of plain values."""
    if not isinstance(value, Mapping):
        raise InputError(name, say("must be a table; got {value}", value=quoted(value)))
    return dict(plain(value, ""))


def cells(value: Any, name: str) -> dict[str, str]:
    """Return the cells of a reading."""
    found = table(value, name)
    return {text(40)(key, name): text(10_000)(cell, f"{name} {key}") for key, cell in found.items()}


def maybe(check: Check) -> Check:
    """Return a check that lets nothing pass, too."""
    return lambda value, name: None if value is None else check(value, name)


ITEM: Mapping[str, Check] = {
    "kind": text(16), "key": text(200), "version": whole, "archived": truth, "changed_at": text(32), "file": text(200),
}  # fmt: skip
READING: Mapping[str, Check] = {
    "sheet": text(200), "number": whole, "version": whole, "at": text(32), "token": maybe(text(80)),
    "cells": maybe(cells),
}  # fmt: skip
CHANGE: Mapping[str, Check] = {
    "id": whole, "at": text(32), "who": text(80), "kind": text(16), "key": text(220), "before": maybe(table),
    "after": maybe(table), "note": text(1000),
}  # fmt: skip

UNDOES = "undoes"


def fields(entry: Any, known: Mapping[str, Check], optional: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return an entry whose every field is known, there and sound."""
    if not isinstance(entry, Mapping):
        raise InputError("entry", say("must be a table; got {value}", value=quoted(entry)))
    for name in entry:
        if name not in known and name not in optional:
            raise InputError(name[:80], say("means nothing here; known are {known}", known=", ".join(known)))
    for name in known:
        if name not in entry:
            raise InputError(name, say("is missing"))
    return {name: check(entry[name], name) for name, check in known.items()}


def kept_reading(entry: Any) -> KeptReading:
    """Return a reading of an export."""
    return KeptReading(**fields(entry, READING))


def change(entry: Any) -> Change:
    """Return a change of an export; an old one tells in its note what it undoes."""
    found = fields(entry, CHANGE, (UNDOES,))
    undoes = maybe(whole)(entry[UNDOES], UNDOES) if UNDOES in entry else undone_in(found["note"])
    return Change(**found, undoes=undoes)
