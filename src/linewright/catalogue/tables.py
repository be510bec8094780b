"""The data files: CSV beside this module, read once, rows by designator."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

from linewright.core.messages import say, together

Row = dict[str, str]
DATA = Path(__file__).parent / "data"
"""Read as plain files: ``importlib.resources`` costs every command the import of the readers of archives."""


@cache
def rows(name: str) -> tuple[Row, ...]:
    """Return the rows of one data file, in file order, each a mapping of column to text.

    >>> rows("types")[0]["designator"]
    'RG-58/U'
    """
    text = (DATA / f"{name}.csv").read_text(encoding="utf-8")
    head, *body = csv.reader(text.splitlines())
    return tuple(dict(zip(head, line, strict=True)) for line in body)


@cache
def by_designator(name: str) -> dict[str, tuple[Row, ...]]:
    """Return the rows of one data file gathered by their designator."""
    found: dict[str, list[Row]] = {}
    for row in rows(name):
        found.setdefault(row["designator"], []).append(row)
    return {key: tuple(group) for key, group in found.items()}


@cache
def source_words(keys: str) -> str:
    """Return the words of one or more source keys, separated by spaces in the data files.

    >>> source_words("C1")
    'common practice, typical of the class'
    """
    words = {row["key"]: worded(row["source"]) for row in rows("sources")}
    return together([words[key] for key in keys.split()], "; ")


SAID: Mapping[str, tuple[str, ...]] = {
    "connectors": ("value", "source", "note"), "exposure_factors": ("source", "place"),
    "exposure_limits": ("source", "place"), "fittings": ("name", "value", "source", "note"),
    "noise_sites": ("source", "place"), "obsolete": ("why",), "sources": ("source",),
}  # fmt: skip
"""Columns of the data files whose words are said in the reader's language."""


def worded(text: str) -> str:
    """Return what a data file says of a source, to be said in the reader's language; a bare address stays.

    >>> from linewright.core.formatting import manner
    >>> from linewright.core.messages import written
    >>> written(worded("common practice, no source"), manner("de")), worded("scc-ares-races.org/cable")
    ('übliche Praxis, keine Quelle', 'scc-ares-races.org/cable')
    """
    return say(text) if _is_worded(text) else text


def _is_worded(text: str) -> bool:
    return " " in text or (text[:1].isalpha() and not {".", "/"} & {*text})


def placed(source: str, place: str) -> str:
    """Return a source with the place in it."""
    return say("{source}: {place}", source=worded(source), place=worded(place))


def messages() -> Iterator[str]:
    """Yield every message of the data files, for the catalogues of messages."""
    for name, columns in SAID.items():
        for row in rows(name):
            yield from (row[column] for column in columns if _is_worded(row[column]))
