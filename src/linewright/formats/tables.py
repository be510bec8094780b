"""Tables of a TOML file, read key by key: what is missing, unknown or wrong is noted with its row, not raised."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from linewright.errors import Culprit, InputError
from linewright.formats.fields import nearest
from linewright.formats.toml_reader import parse_toml

T = TypeVar("T")
_NEEDED = object()
MAX_PROBLEMS = 100
"""Problems of one file that are told; that there are more is told too."""


@dataclass(slots=True)
class Source:
    """The text of a file with the problems found in it so far."""

    name: str
    text: str
    problems: list[InputError] = field(default_factory=list)
    _starts: dict[str, list[int]] = field(default_factory=dict)
    _breaks: list[int] = field(default_factory=list)
    _tops: dict[str, int] = field(default_factory=dict)

    @property
    def full(self) -> bool:
        """Whether as many problems were found as are told."""
        return len(self.problems) > MAX_PROBLEMS

    def parsed(self) -> dict[str, Any]:
        """Return the file as TOML.

        Raises
        ------
        SheetError
            If it is over a limit or is not TOML, with the row.
        """
        return parse_toml(self.text, self.name)

    def row(self, table: str, index: int | None, key: str = "") -> int | None:
        """Return the row where a table (the index-th of its name) or a key in it is written, if it can be found."""
        if key and not table:
            return self._top_row(key)
        name = re.escape(table)
        brackets = rf"\[\[\s*{name}\s*\]\]" if index is not None else rf"\[\s*{name}\s*\]"
        header = rf"^[ \t]*{brackets}"
        starts = self._found(header) if table else [0]
        if len(starts) <= (index or 0):
            return None
        start = starts[index or 0]
        end = re.compile(r"^[ \t]*\[", re.MULTILINE).search(self.text, start + 1 if table else 0)
        place = re.compile(rf"^[ \t]*{re.escape(key)}\s*=", re.MULTILINE).search(
            self.text, start, end.start() if end and end.start() > start else len(self.text)
        )
        at = place.end() if key and place else start
        return self._row_at(at)

    def _top_row(self, key: str) -> int | None:
        """Return the row of the first table of a name, else of the first key of that name; looked for once."""
        if not self._tops:
            for pattern in (r"^[ \t]*\[{1,2}\s*([\w-]+)", r"^[ \t]*([\w-]+)\s*="):
                for found in re.finditer(pattern, self.text, re.MULTILINE):
                    self._tops.setdefault(found[1], found.end())
        return self._row_at(self._tops[key]) if key in self._tops else None

    def _found(self, header: str) -> list[int]:
        """Return where a header stands; looked for once, as a sheet may hold thousands."""
        if header not in self._starts:
            self._starts[header] = [m.start() for m in re.finditer(header, self.text, re.MULTILINE)]
        return self._starts[header]

    def _row_at(self, place: int) -> int:
        if not self._breaks:
            self._breaks = [m.start() for m in re.finditer("\n|$", self.text)]
        return bisect_left(self._breaks, place) + 1

    def note(self, error: InputError, row: int | None = None, key: str | None = None) -> None:
        """Keep a problem, with its place; of very many, the first."""
        if len(self.problems) == MAX_PROBLEMS:
            error, row, key = InputError("file", f"has more problems; the first {MAX_PROBLEMS} are told"), None, None
        if not self.full:
            self.problems.append(error.at(Culprit(self.name, row, key)))


class Table:
    """One table. ``take`` reads a key and notes what is wrong with it; ``close`` notes the keys nobody asked for."""

    def __init__(self, source: Source, name: str, content: Any, index: int | None = None) -> None:
        self.source, self.name, self.index = source, name, index
        self._known: list[str] = []
        self.bad = False
        if not isinstance(content, dict):
            self.fail(
                InputError(name, f"must be a table; got {content!r}", cure=f"Write [{name}] on a line of its own.")
            )
            content = {}
        self.content: dict[str, Any] = content

    @property
    def label(self) -> str:
        """What to call the table in an error."""
        return f"{self.name} {self.index + 1}" if self.index is not None else self.name

    def fail(self, error: InputError, key: str | None = None) -> None:
        """Note a problem with this table."""
        self.bad = True
        if not self.source.full:
            self.source.note(error, self.source.row(self.name, self.index, key or ""), None)

    def take(self, key: str, read: Callable[[Any, str], T], default: Any = _NEEDED) -> T:
        """Return the value of a key as ``read`` has it; None after a problem, which is noted."""
        self._known.append(key)
        full = f"{self.label} {key}".strip()
        if key not in self.content:
            if default is _NEEDED:
                self.fail(InputError(full, "is missing", cure=f"Add a line {key} = ..."))
                return None  # type: ignore[return-value]
            return default  # type: ignore[no-any-return]
        try:
            return read(self.content[key], full)
        except InputError as error:
            self.fail(error, key)
            return None  # type: ignore[return-value]

    def tables(self, key: str) -> list[Table]:
        """Return the tables of an array such as ``[[meter]]``."""
        self._known.append(key)
        content = self.content.get(key, [])
        if not isinstance(content, list):
            self.source.note(
                InputError(key, "must be an array of tables", cure=f"Write [[{key}]] with two brackets."),
                self.source.row(key, None),
            )
            return [Table(self.source, key, content)] if isinstance(content, dict) else []
        return [Table(self.source, key, item, i) for i, item in enumerate(content)]

    def table(self, key: str) -> Table | None:
        """Return a single table such as ``[source]``, None when it is not there."""
        self._known.append(key)
        return Table(self.source, key, self.content[key]) if key in self.content else None

    def close(self) -> None:
        """Note every key that means nothing here."""
        for key in self.content:
            if key not in self._known and not self.source.full:
                place = f"{self.label}: " if self.name else ""
                self.fail(
                    InputError(
                        f"{place}{key}",
                        f"means nothing here; known are {', '.join(self._known)}",
                        cure=nearest(key, self._known),
                    ),
                    key,
                )


def table_rows(
    tables: Iterable[Table], needed: Sequence[str], optional: Sequence[str]
) -> Iterator[tuple[Source, int, dict[str, Any]]]:
    """Yield the tables of an array as rows of cells: (source, row where it stands, content); faulty ones are noted.

    The cells are as they were written; whoever takes the row reads them as the row of a CSV file.
    """
    for i, table in enumerate(tables, start=1):
        for key in needed:
            table.take(key, lambda value, _: value)
        for key in optional:
            table.take(key, lambda value, _: value, None)
        table.close()
        if not table.bad:
            yield table.source, table.source.row(table.name, table.index) or i, table.content
