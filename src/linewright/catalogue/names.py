"""Finding a type by the name a person writes. Needs no numbers, so a list of names loads at once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import cache

from linewright.catalogue.tables import rows
from linewright.core.errors import UnknownNameError
from linewright.core.messages import say


def designators() -> tuple[str, ...]:
    """Return the designators of the catalogue, in its order.

    >>> "RG-213/U" in designators(), len(designators())
    (True, 102)
    """
    return tuple(row["designator"] for row in rows("types"))


@cache
def key(name: str) -> str:
    """Return a name without case, spaces and punctuation, and without the zeros some lists put after RG.

    A fraction keeps its stroke and a decimal its point, so that 1/2 in and 12 in stay apart.

    >>> key("RG-58C/U"), key("rg 058 c/u"), key("Corrugated 1/2 in. foam")
    ('rg58cu', 'rg58cu', 'corrugated1/2infoam')
    """
    text = re.sub(r"(?<![\d])[./]|[./](?![\d])|[^a-z0-9./]", "", _hyphen_fractions(name.lower()))
    return re.sub(r"^(m17/\d+)?rg0+", lambda m: f"{m[1] or ''}rg", text)


def _hyphen_fractions(text: str) -> str:
    return re.sub(r"(\d)\s*[- ]\s*(\d+/\d)", r"\1.\2", text)


@cache
def _exact() -> Mapping[str, str]:
    """Every spelling that has one meaning: designators first, then what people shorten them to."""
    found = {key(row["designator"]): row["designator"] for row in rows("types")}
    for row in rows("types"):
        for alias in filter(None, row["aliases"].split("|")):
            found.setdefault(key(alias), row["designator"])
    for row in rows("types"):
        short = re.sub(r"(?<=\d)([a-z]?)u$", r"\1", key(row["designator"]))
        found.setdefault(short, row["designator"])
    return found


@cache
def seldom_met() -> frozenset[str]:
    """Return the types that clubs seldom own.

    >>> "RG-213/U" in seldom_met(), "RG-9B/U" in seldom_met()
    (False, True)
    """
    return frozenset(row["designator"] for row in rows("types") if row["met"] == "seldom")


@cache
def _obsolete() -> Mapping[str, tuple[str, str]]:
    """Return the keys of names no longer in use, with the type that each leads to, and why."""
    table = {key(row["name"]): (row["leads_to"], row["why"]) for row in rows("obsolete")}
    shorter = {re.sub(r"(?<=\d)([a-z]?)u$", r"\1", k): v for k, v in table.items()}
    return {**shorter, **table}


def succession(name: str) -> tuple[str, str] | None:
    """Return the type that an obsolete name leads to, and why; None of a name in use.

    >>> succession("RG-17A/U")
    ('RG-218/U', 'the same core under a jacket that does not contaminate it')
    """
    wanted = key(str(name))
    return None if wanted in _exact() else _obsolete().get(wanted)


def find(name: str, own: Iterable[str] = ()) -> str:
    """Return the designator a written name stands for; a person's own names (``own``) are searched first.

    A short name stands for the common type of its family: "RG-58" is RG-58C/U, "RG-59" is RG-59B/U. A name no longer
    in use leads to its successor. Nothing is guessed: a name that is close to a type, but not one of its spellings, is
    an error that names the nearest.

    Raises
    ------
    UnknownNameError
        If nothing answers to the name.

    >>> find("rg58"), find("RG 213"), find("window line"), find("RG-17A/U")
    ('RG-58C/U', 'RG-213/U', '450-ohm windowed', 'RG-218/U')
    """
    wanted = key(str(name))
    table = {**_exact(), **{key(o): o for o in own}}
    if wanted in table:
        return table[wanted]
    if wanted in _obsolete():
        return _obsolete()[wanted][0]
    close = _nearest(wanted, table)
    cure = (
        say("Nearest: {close}.", close=", ".join(close))
        if close
        else say("The command linewright lines lists them all.")
    )
    raise UnknownNameError(
        "line", say("must be a type the catalogue or your own file knows; got {value}", value=repr(name)), cure=cure
    )


def _nearest(wanted: str, table: Mapping[str, str]) -> list[str]:
    """Return up to three designators nearest to a key, none of another number; swapped digits count as the same."""
    from difflib import SequenceMatcher

    digits = sorted(re.sub(r"\D", "", wanted))

    def closeness(known: str) -> tuple[bool, float]:
        return sorted(known) == sorted(wanted), SequenceMatcher(None, wanted, known).ratio()

    alike = (k for k in table if sorted(re.sub(r"\D", "", k)) == digits or not digits)
    near = sorted((k for k in alike if closeness(k)[1] >= 0.5), key=closeness, reverse=True)
    return list(dict.fromkeys(table[k] for k in near))[:3]
