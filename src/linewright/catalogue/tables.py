"""The data files: CSV beside this module, read once, rows by designator."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

Row = dict[str, str]


@cache
def rows(name: str) -> tuple[Row, ...]:
    """Return the rows of one data file, in file order, each a mapping of column to text.

    >>> rows("types")[0]["designator"]
    'RG-58/U'
    """
    text = files(__package__).joinpath("data", f"{name}.csv").read_text(encoding="utf-8")
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
    words = {row["key"]: row["source"] for row in rows("sources")}
    return "; ".join(words[key] for key in keys.split())
