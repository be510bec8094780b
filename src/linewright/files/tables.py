"""Tables of a TOML file, read key by key: what is missing, unknown or wrong is noted with its row, not raised."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol, TypeVar

from linewright.core.errors import Culprit, InputError
from linewright.core.messages import mark, say
from linewright.files.fields import CONTROL, control_character, nearest
from linewright.files.toml_reader import parse_toml

# Tables of a TOML file, read key by key: what is missing, unknown or wrong is noted with its row, not raised

T = TypeVar("T")
_NEEDED = object()
MAX_PROBLEMS = 100
"""Problems of one file that are told; that there are more is told too."""


@dataclass(slots=True)
class SourceText:
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
            error, row, key = (
                InputError(
                    "file", say("has more problems; the first {max_problems} are told", max_problems=MAX_PROBLEMS)
                ),
                None,
                None,
            )
        if not self.full:
            self.problems.append(error.at(Culprit(self.name, row, key)))


class TomlTable:
    """One table. ``take`` reads a key and notes what is wrong with it; ``close`` notes the keys nobody asked for."""

    def __init__(self, source: SourceText, name: str, content: Any, index: int | None = None) -> None:
        self.source, self.name, self.index = source, name, index
        self._known: list[str] = []
        self.bad = False
        if not isinstance(content, dict):
            self.fail(
                InputError(
                    name,
                    say("must be a table; got {value}", value=repr(content)),
                    cure=say("Write [{name}] on a line of its own.", name=name),
                )
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
                self.fail(InputError(full, say("is missing"), cure=say("Add a line {key} = ...", key=key)))
                return None  # type: ignore[return-value]
            return default  # type: ignore[no-any-return]
        try:
            return read(self.content[key], full)
        except InputError as error:
            self.fail(error, key)
            return None  # type: ignore[return-value]

    def tables(self, key: str) -> list[TomlTable]:
        """Return the tables of an array such as ``[[meter]]``."""
        self._known.append(key)
        content = self.content.get(key, [])
        if not isinstance(content, list):
            self.source.note(
                InputError(
                    key, say("must be an array of tables"), cure=say("Write [[{key}]] with two brackets.", key=key)
                ),
                self.source.row(key, None),
            )
            return [TomlTable(self.source, key, content)] if isinstance(content, dict) else []
        return [TomlTable(self.source, key, item, i) for i, item in enumerate(content)]

    def table(self, key: str) -> TomlTable | None:
        """Return a single table such as ``[source]``, None when it is not there."""
        self._known.append(key)
        return TomlTable(self.source, key, self.content[key]) if key in self.content else None

    def close(self) -> None:
        """Note every key that means nothing here."""
        for key in self.content:
            if key not in self._known and not self.source.full:
                place = f"{self.label}: " if self.name else ""
                self.fail(
                    InputError(
                        f"{place}{key}",
                        say("means nothing here; known are {known}", known=", ".join(self._known)),
                        cure=self.cure_of(key),
                    ),
                    key,
                )

    def cure_of(self, key: str) -> str:
        """Return what to do about a key that means nothing here."""
        return nearest(key, self._known)

    def knows(self, key: str) -> bool:
        """Whether a key was asked for."""
        return key in self._known


def table_rows(
    tables: Iterable[TomlTable], needed: Sequence[str], optional: Sequence[str]
) -> Iterator[tuple[SourceText, int, dict[str, Any]]]:
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


# Files as text, whatever editor or spreadsheet wrote them

MOST_BYTES = 50_000_000
"""Bytes of a file of the person's. A sweep of 200,000 points has 30 MB."""


def read_text(path: Path, argument: str) -> str:
    """Return a file's text: UTF-8, or the old Western encoding that spreadsheets still write.

    Raises
    ------
    InputError
        If the file is not there, cannot be read, is a folder or holds no text.
    """
    try:
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            raise InputError(
                argument,
                say("must be smaller than {value} MB", value=MOST_BYTES // 1_000_000),
                where=Culprit(str(path)),
            )
        raw = path.read_bytes()
    except (OSError, ValueError) as cause:
        reason = cause.strerror if isinstance(cause, OSError) and cause.strerror else str(cause)
        raise InputError(
            argument,
            say("must name a file that can be read: {reason}", reason=reason),
            where=Culprit(str(path)),
            cure=say("Check the path."),
        ) from cause
    return decoded(raw, argument, str(path))


def decoded(raw: bytes, argument: str, name: str) -> str:
    r"""Return bytes as text with plain line ends.

    >>> decoded("\ufeffé\r\n".encode(), "file", "x"), decoded("é".encode("cp1252"), "file", "x")
    ('é\n', 'é')
    """
    if b"\0" in raw:
        raise InputError(argument, say("must be a text file; this one holds zero bytes"), where=Culprit(name))
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n")


# Rows of a CSV file as people's spreadsheets write them: any of three separators, comments, blank lines

SEPARATORS = ",;\t"
MAX_ROWS = 50_000
"""Rows of a CSV file: read in about half a second. The largest sheets have 10,000."""
MAX_COLUMNS = 64
MAX_CHARACTERS = 10_000_000
FORMULA = re.compile(r"'*[=+\-@\t\r]")
"""How a cell begins that a spreadsheet takes for a formula, be it behind apostrophes (OWASP, "CSV Injection")."""
NUMBER = re.compile(r"[+-]?\d[\d.,]*(e[+-]?\d+)?( ?[a-zµ%/Ω]+)?", re.IGNORECASE)


def no_formula(cell: str) -> str:
    """Return a cell as a spreadsheet shows it and does not work it out: an apostrophe goes before a formula.

    >>> no_formula("=1+1"), no_formula("-3.2 dBm"), with_formula(no_formula("'=1"))
    ("'=1+1", '-3.2 dBm', "'=1")
    """
    return f"'{cell}" if FORMULA.match(cell) and not NUMBER.fullmatch(cell) else cell


def with_formula(cell: str) -> str:
    """Return a cell as it was before ``no_formula``."""
    return cell[1:] if cell.startswith("'") and FORMULA.match(cell) else cell


def csv_rows(
    source: SourceText, needed: Sequence[str], optional: Sequence[str], *, may_wait: Sequence[str] = ()
) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield each row as (row number as an editor counts, cells by heading); what is wrong is noted in the source.

    Empty cells of optional columns are left out, and those of needed ones that ``may_wait`` names. Lines that start
    with # and blank lines are skipped.
    """
    if not _within_bounds(source):
        return
    lines = source.text.split("\n")
    top = next((i for i, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#")), None)
    if top is None:
        source.note(
            InputError(
                "readings", say("is empty"), cure=say("Start with the headings {needed}.", needed=",".join(needed))
            )
        )
        return
    separator = max(SEPARATORS, key=lines[top].count)
    headings = [h.strip().strip('"').strip().lower() for h in lines[top].split(separator)]
    if not _sound(source, headings, top + 1, needed, optional):
        return
    told = ("" if line.lstrip().startswith("#") else line for line in lines[top + 1 :])
    reader = csv.reader(io.StringIO("\n".join(told)), delimiter=separator, skipinitialspace=True, strict=True)
    while True:
        row = top + 2 + reader.line_num
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as cause:
            cure = say("Close every quote; the rows after this one were not read.")
            source.note(InputError("row", say("cannot be read: {cause}", cause=cause), cure=cure), row)
            return
        if source.full:
            return
        if not any(c.strip() for c in cells):
            continue
        found = _cells(source, headings, cells, row, [n for n in needed if n not in may_wait])
        if found is not None:
            yield row, found


def _within_bounds(source: SourceText) -> bool:
    """Return whether a file is small enough, and holds characters that people write."""
    many = source.text.count("\n")
    if many > MAX_ROWS:
        source.note(
            InputError(
                "file",
                say("must hold at most {most} rows; got {value}", most=format(MAX_ROWS, ","), value=format(many, ",")),
                cure=say(SPLIT),
            )
        )
    elif len(source.text) > MAX_CHARACTERS:
        size = len(source.text)
        source.note(
            InputError(
                "file",
                say(
                    "must hold at most {most} characters; got {value}",
                    most=format(MAX_CHARACTERS, ","),
                    value=format(size, ","),
                ),
                cure=say(SPLIT),
            )
        )
    elif found := CONTROL.search(source.text):
        row = source.text.count("\n", 0, found.start()) + 1
        line = source.text.split("\n", row)[row - 1]
        source.note(InputError("row", control_character(line), cure=say(TAKE_OUT)), row)
    else:
        return True
    return False


SPLIT = mark("Make two files of it.")
TAKE_OUT = mark("Take it out, or type the line anew.")


def _sound(source: SourceText, headings: list[str], row: int, needed: Sequence[str], optional: Sequence[str]) -> bool:
    known = [*needed, *optional]
    before = len(source.problems)
    if len(headings) > MAX_COLUMNS:
        rule = say("must have at most {most} columns; got {value}", most=MAX_COLUMNS, value=format(len(headings), ","))
        source.note(InputError("headings", rule, cure=say("Known are {known}.", known=", ".join(known))), row)
        return False
    for heading in headings:
        if heading and heading not in known:
            cure = nearest(heading, known)
            source.note(
                InputError(
                    f"column {heading}", say("means nothing here; known are {known}", known=", ".join(known)), cure=cure
                ),
                row,
            )
        if heading and headings.count(heading) > 1 and not source.problems[before:]:
            source.note(
                InputError(f"column {heading}", say("stands twice in the headings"), cure=say("Drop one.")), row
            )
    for name in needed:
        if name not in headings:
            source.note(
                InputError(
                    f"column {name}", say("is missing from the headings"), cure=say("Add it to the first line.")
                ),
                row,
            )
    return len(source.problems) == before


def _cells(
    source: SourceText, headings: list[str], cells: list[str], row: int, needed: Sequence[str]
) -> dict[str, str] | None:
    if len(cells) > len(headings) and any(c.strip() for c in cells[len(headings) :]):
        source.note(
            InputError(
                "row",
                say("has {count} cells where the headings have {headings}", count=len(cells), headings=len(headings)),
                cure=say("A decimal comma or a comma in a note needs quotes around it."),
            ),
            row,
        )
        return None
    found = {h: with_formula(c.strip()) for h, c in zip(headings, cells, strict=False) if h and c.strip()}
    missing = [name for name in needed if name not in found]
    for name in missing:
        source.note(InputError(name, say("is missing"), cure=say("Fill in the cell.")), row)
    return None if missing else found


# Results as JSON documents: the schema first, no number that JSON does not know


class PlainData(Protocol):
    """Anything that can write itself as plain data."""

    def to_dict(self) -> dict[str, Any]:
        """Return plain data."""
        ...


def to_json(document: PlainData) -> str:
    """Return a result as JSON text. What is not a finite number becomes null; keys keep their order."""
    return json.dumps(_plain(document.to_dict()), indent=2, ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, (str, int)) or value is None:
        return value
    return value.item()


def is_file(folder: Path, name: str) -> bool:
    """Return whether a text is the name of a file in a folder."""
    try:
        return bool(name.strip()) and (folder / name).is_file()
    except (OSError, ValueError):
        return False


def is_a_file(subject: str) -> bool:
    """Return whether a subject of a report is a file rather than the tag of a piece.

    >>> is_a_file("spring.toml"), is_a_file("blue 7")
    (True, False)
    """
    return subject.lower().endswith(".toml") or is_file(Path(), subject)
