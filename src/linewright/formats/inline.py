"""Inline tables, such as ``antenna = {swr = 1.5}``, and lists of them, each with the row it stands in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from linewright.errors import InputError
from linewright.formats.tables import Source, Table

_SIGN = re.compile(r'"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}\n]')


class Inline(Table):
    """A table within another. It has a label and a row of its own; what is wrong in it is wrong in the outer one."""

    def __init__(self, outer: Table, label: str, content: Any, row: int | None) -> None:
        self._outer, self._label, self._row = outer, label, row
        super().__init__(outer.source, label, content)

    @property
    def label(self) -> str:
        """What to call the table in an error."""
        return self._label

    def fail(self, error: InputError, key: str | None = None) -> None:
        """Note a problem with this table, and so with the outer one."""
        self.bad = self._outer.bad = True
        self.source.note(error, self._row)

    def told(self, error: InputError) -> None:
        """Note a problem of another file, which keeps its own place."""
        self.bad = self._outer.bad = True
        self.source.problems.append(error)


def inline(outer: Table, key: str) -> Inline | None:
    """Return the inline table of a key; None when it is not there, or is no table (which is noted)."""
    content: dict[str, Any] | None = outer.take(key, lambda value, name: _table(value, name, key), None)
    return None if content is None else Inline(outer, f"{outer.label} {key}", content, _row(outer, key))


def _table(value: Any, name: str, key: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise InputError(name, f"must be a table; got {value!r}", cure=f"Write {key} = {{...}} with its keys.")
    return value


def inlines(outer: Table, key: str, word: str) -> list[Inline]:
    """Return the inline tables of a list; entries that are no tables are noted. ``word`` names one of them."""
    content = outer.take(key, _list)
    found = []
    for i, (entry, row) in enumerate(zip(content or [], entry_rows(outer, key, len(content or [])), strict=True), 1):
        if isinstance(entry, dict):
            found.append(Inline(outer, f"{outer.label} {word} {i}", entry, row))
        else:
            outer.bad = True
            rule = f"must be a table; got {entry!r}"
            outer.source.note(InputError(f"{outer.label} {word} {i}", rule, cure="Write it in braces: {...}."), row)
    return found


def _list(value: Any, name: str) -> list[Any]:
    if not isinstance(value, list):
        raise InputError(name, f"must be a list; got {value!r}", cure="Write it in brackets: [...].")
    return value


def _row(outer: Table, key: str) -> int | None:
    return outer.source.row(outer.name, outer.index, key)


def entry_rows(outer: Table, key: str, count: int) -> list[int | None]:
    """Return the row of every entry of a list, or the list's own where an entry's cannot be found."""
    row = _row(outer, key)
    found = list(_rows_from(outer.source, row)) if row else []
    return [*found[:count], *[row] * (count - len(found))]


@lru_cache(maxsize=4)
def _starts(text: str) -> list[int]:
    """Return where each row starts; kept, as a file may hold a thousand lists."""
    return [0, *(match.end() for match in re.finditer("\n", text))]


def _rows_from(source: Source, row: int) -> Iterator[int]:
    """Yield the rows of the braces that open directly in the list which starts on a row."""
    start = _starts(source.text)[row - 1]
    open_now = 0
    for sign in _SIGN.finditer(source.text, start):
        here = sign[0]
        if here == "\n":
            row += 1
        elif here in "[{":
            open_now += 1
            if here == "{" and open_now == 2:
                yield row
        elif here in "]}":
            open_now -= 1
            if open_now <= 0:
                return
