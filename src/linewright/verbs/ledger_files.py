"""A whole ledger as a zip of open files, and back: TOML and CSV to read, JSON for the rest, files as they came.

::

    read-me.txt               what is what
    ledger.json               every item: kind, key, version, whether put away, and where it stands
    pieces.toml ...           pieces, stocks, meters, sweeps, notes; lines.toml goes with ``--lines``
    sheets/1.toml, 1.csv      bench sheets with their readings as they stand; ``linewright prove`` reads them
    stations/1.toml           stations
    readings.json             every reading with its time, its corrections and what was withdrawn
    history.json              every change ever made
    files/...                 the files that were filed, called by their SHA-256
"""

from __future__ import annotations

import hashlib
import json
import math
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path, PurePath
from typing import Any, TypeVar

from linewright.core.errors import CannotError, Culprit, InputError, SheetError
from linewright.core.messages import mark, say, together
from linewright.core.nouns.ledger import KINDS, Change, Item, KeptReading, Kind
from linewright.core.nouns.line import LineType
from linewright.files.tables import SourceText
from linewright.files.toml import toml_text
from linewright.files.toml_reader import parse_toml
from linewright.store.items import standing
from linewright.store.ledger import Ledger
from linewright.store.whole import Whole, put_in, taken_out
from linewright.verbs import ledger_values as values
from linewright.verbs import shelf_nouns as nouns
from linewright.verbs.results import WORDS, check_place
from linewright.verbs.shelf_items import CHECKS, NOW
from linewright.verbs.shelf_nouns import HEADINGS, csv_text
from linewright.verbs.shelf_open import By, writing

T = TypeVar("T")
SCHEMA = "linewright/ledger/1"
MAX_FILES = 50_000
MAX_UNPACKED_BYTES = 2_000_000_000
MAX_FILE_BYTES = 200_000_000
MAX_RATIO = 100
"""Unpacked bytes for each byte of the zip. Exports have 3 to 20; what is empty can be packed a thousandfold."""
SLACK_BYTES = 10_000_000
"""What the ratio does not count, so that a small export of much alike passes."""
MAX_DIRECTORY_BYTES = 10_000_000
"""The list of a zip's files, which is read before anything else of it is known."""
MAX_JSON_SIGNS = 3_000_000
"""Commas and opening brackets of the JSON in an export: each can make a value. 100,000 readings have 1,100,000."""
END_BYTES = 22 + 65_535
"""The end of a zip: its record and the longest comment (PKWARE APPNOTE, 4.3.16)."""
UNREADABLE = (OSError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError)
"""What the reader of zip files complains with."""
APART: Mapping[Kind, str] = {"sheet": "sheet", "station": "station"}
"""Kinds whose items are files of their own, and the part of the body that makes up the file."""
AGAIN = mark("Export the ledger again.")
README = """A linewright ledger, whole, as open files.

ledger.json lists every item. pieces.toml, stocks.toml, lines.toml, meters.toml, sweeps.toml, notes.toml hold them as
people write them. sheets/ holds bench sheets with their readings as they stand; `linewright prove sheets/1.toml` reads
them. readings.json holds every reading ever written, history.json every change. files/ holds the files that were
filed, exactly as they came; ledger.json and sweeps.toml tell their names.

`linewright shelf import THIS.zip --ledger NEW.sqlite` makes a ledger of it again.
"""


def export_ledger(ledger: Ledger, path: Path | str) -> None:
    """Write a whole ledger as a zip. The same ledger always gives the same bytes.

    Parameters
    ----------
    path : Path or str
        The zip to write.

    Returns
    -------
    None
        The file is written.

    Raises
    ------
    InputError
        If something stands there that is no earlier export.
    CannotError
        If the file cannot be written, or holds more than an import takes; then it is there all the same.

    >>> from linewright.verbs.examples import example_ledger
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as place, example_ledger() as ledger:
    ...     export_ledger(ledger, Path(place) / "whole.zip")
    ...     (Path(place) / "whole.zip").exists()
    True
    """
    path = Path(path)
    check_place(path)
    with ledger.reads() as snapshot:
        whole = taken_out(snapshot)
    part = path.with_name(f"{path.name}.part")
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as out:
            for name, content in _files(whole).items():
                out.writestr(_entry(name), content, zipfile.ZIP_DEFLATED)
            out.comment = WORDS
        part.replace(path)
    except OSError as cause:
        part.unlink(missing_ok=True)
        raise CannotError(
            say("{path} cannot be written: {reason}.", path=path, reason=cause.strerror or cause)
        ) from cause
    _check_comes_back(path)


def _check_comes_back(path: Path) -> None:
    """Say of an export that holds more than an import takes that it does."""
    try:
        _check_directory(path)
        with zipfile.ZipFile(path) as packed:
            _check_unpacked(packed.infolist(), path)
            for name in ("ledger.json", "readings.json", "history.json"):
                _check_signs(packed.read(name).decode(), path, name)
    except InputError as error:
        words = f"{path} is written, and holds the whole ledger, but no import takes it: it {error.rule}."
        raise CannotError(say("{words} Keep the copies of the ledger's file beside it.", words=words)) from error


def _entry(name: str) -> zipfile.ZipInfo:
    """Return an entry without a date, so that equal ledgers make equal files."""
    info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    info.create_system, info.external_attr = 3, 0o644 << 16
    return info


def _files(whole: Whole) -> dict[str, bytes]:
    """Return the files of an export by name."""
    listed: list[dict[str, Any]] = []
    files: dict[str, bytes] = {}
    for kind in KINDS:
        mine = [i for i in whole.items if i.kind == kind]
        if kind in APART:
            listed += [_own_file(files, whole, i, number) for number, i in enumerate(mine, start=1)]
        elif mine:
            files[f"{kind}s.toml"] = toml_text({kind: [dict(i.body) for i in mine]}).encode()
            listed += [_listed(i) | {"file": f"{kind}s.toml"} for i in mine]
    ends = _endings(whole)
    files |= {f"files/{sha}{ends.get(sha, '')}": content for sha, content in whole.files.items()}
    head = {"schema": SCHEMA, "items": listed}
    first = {"read-me.txt": README.encode(), "ledger.json": _json(head)}
    rows = {"readings.json": [asdict(r) for r in whole.readings], "history.json": [asdict(c) for c in whole.changes]}
    return first | files | {name: _json(content) for name, content in rows.items()}


def _own_file(files: dict[str, bytes], whole: Whole, item: Item, number: int) -> dict[str, Any]:
    """Write an item as a separate file, and return its entry in the list."""
    part = APART[item.kind]
    name, tables = f"{item.kind}s/{number}.toml", dict(item.body[part])
    kept = [r for r in standing([r for r in whole.readings if r.sheet == item.key]) if r.cells is not None]
    if item.kind == "sheet" and kept:
        tables["readings"] = {"file": f"{number}.csv"}
        files[f"sheets/{number}.csv"] = csv_text(HEADINGS, [r.cells or {} for r in kept]).encode()
    files[name] = toml_text(tables).encode()
    return _listed(item) | {"file": name, "about": {k: v for k, v in item.body.items() if k != part}}


def _listed(item: Item) -> dict[str, Any]:
    return {k: getattr(item, k) for k in ("kind", "key", "version", "archived", "changed_at")}


def _endings(whole: Whole) -> dict[str, str]:
    """Return the ending of every kept file, from the name it came under."""
    named = [(f["sha256"], f["name"]) for i in whole.items for f in i.body.get("files", ())]
    return {sha: PurePath(name).suffix.lower() for sha, name in reversed(named)}


def _json(content: Any) -> bytes:
    return (json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()


def import_ledger(ledger: Ledger, path: Path | str, *, by: By = NOW) -> int:
    """Fill an empty ledger from an export, history and all, and return how many items came.

    Parameters
    ----------
    path : Path or str
        The export, a zip.

    Returns
    -------
    int
        How many items came.

    Raises
    ------
    InputError
        If the file is no export, is damaged, or the ledger is not empty.
    CannotError
        If a newer version of the program made it.

    >>> from linewright.verbs.examples import example_ledger
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from linewright.verbs.shelf_open import open_ledger
    >>> with TemporaryDirectory() as place, example_ledger() as ledger:
    ...     export_ledger(ledger, Path(place) / "whole.zip")
    ...     with open_ledger(Path(place) / "new.sqlite") as new:
    ...         import_ledger(new, Path(place) / "whole.zip")
    7
    """
    path = Path(path)
    whole = read_export(path)
    with writing(ledger, by) as w:
        put_in(w, whole)
    return len(whole.items)


def read_export(path: Path) -> Whole:
    """Return everything in an export.

    Raises
    ------
    InputError
        If the file is no export, or is damaged.
    CannotError
        If a newer version of the program made it.
    """
    try:
        _check_directory(path)
        with zipfile.ZipFile(path) as packed:
            _check_unpacked(packed.infolist(), path)
            return _Export(path, packed).whole()
    except CannotError:
        raise
    except UNREADABLE as cause:
        said = (cause.strerror if isinstance(cause, OSError) else None) or cause
        rule = say("must be a zip that an export wrote, and whole: {said}", said=said)
        raise InputError("export", rule, where=Culprit(path.name), cure=say("Choose another file.")) from cause


def _check_directory(path: Path) -> None:
    """Refuse a zip whose list of files alone is too long; the zip says how long it is, at its end."""
    with path.open("rb") as packed:
        packed.seek(max(path.stat().st_size - END_BYTES, 0))
        tail = packed.read()
    at = tail.rfind(b"PK\5\6")
    if 0 <= at <= len(tail) - 22:
        size_bytes = int.from_bytes(tail[at + 12 : at + 16], "little")
        _check("bytes of its list of files", size_bytes, MAX_DIRECTORY_BYTES, path)


def _check_unpacked(entries: Sequence[zipfile.ZipInfo], path: Path) -> None:
    """Refuse a zip that holds too much, before anything of it is unpacked."""
    size_bytes = sum(e.file_size for e in entries)
    _check("files", len(entries), MAX_FILES, path)
    _check("bytes once unpacked", size_bytes, MAX_UNPACKED_BYTES, path)
    _check("bytes in one file", max((e.file_size for e in entries), default=0), MAX_FILE_BYTES, path)
    ratio = max(size_bytes - SLACK_BYTES, 0) / max(path.stat().st_size, 1)
    _check("times as many bytes unpacked as packed", math.ceil(ratio), MAX_RATIO, path)


def _check(what: str, found: int, most: int, path: Path, key: str | None = None) -> None:
    if found > most:
        rule = say(
            "must hold at most {most} {what}; got {value}", most=format(most, ","), what=what, value=format(found, ",")
        )
        raise InputError(
            "export", rule, where=Culprit(path.name, key=key), cure=say("Choose the zip that an export wrote.")
        )


def _check_signs(text: str, path: Path, name: str) -> None:
    signs = sum(text.count(sign) for sign in ",[{")
    _check("commas and opening brackets of JSON", signs, MAX_JSON_SIGNS, path, name)


class _Export:
    """The files of an export, read with an eye for damage, each when it is needed."""

    def __init__(self, path: Path, packed: zipfile.ZipFile) -> None:
        self._at, self._path, self._packed = path, path.name, packed
        self._names = frozenset(packed.namelist())

    def whole(self) -> Whole:
        """Return everything in it."""
        head = self._json("ledger.json")
        schema = str(head.get("schema")) if isinstance(head, dict) else ""
        if schema != SCHEMA:
            if schema.startswith("linewright/ledger/"):
                raise CannotError(
                    say(
                        "{path} was written by a newer version of linewright ({schema}). Update it.",
                        path=self._path,
                        schema=schema,
                    )
                )
            raise self._wrong("ledger.json", say("is not the list of a ledger"))
        items = self._made("ledger.json", lambda: self._items(head["items"]))
        self._check_bodies(items)
        rows = tuple(self._entries("readings.json", values.kept_reading))
        changes = tuple(self._entries("history.json", values.change))
        self._check_names(items, rows, changes)
        return Whole(items, rows, changes, self._kept())

    def _items(self, listed: list[dict[str, Any]]) -> tuple[Item, ...]:
        found = list(self._each("ledger.json", listed, lambda e: values.fields(e, values.ITEM, ("about",)) | e))
        queues = {name: iter(_rows(self._toml(name))) for name in {e["file"] for e in found if "about" not in e}}
        return tuple(self._item(e, queues) for e in found)

    def _item(self, e: dict[str, Any], queues: Mapping[str, Any]) -> Item:
        if e["kind"] not in KINDS:
            raise self._wrong("ledger.json", say("has an item of unknown kind {kind}", kind=values.quoted(e["kind"])))
        if "about" in e:
            tables = {k: v for k, v in self._toml(e["file"]).items() if k != "readings"}
            body = {**e["about"], APART[e["kind"]]: tables}
        else:
            body = next(queues[e["file"]])
        return Item(e["kind"], e["key"], body, e["version"], e["archived"], e["changed_at"])

    def _check_bodies(self, items: Sequence[Item]) -> None:
        """Refuse a thing that could not have been kept: what people write, through the readers of what people write."""
        own = nouns.lines_of([i.body for i in items if i.kind == "line"]) if self._sound_lines(items) else ()
        for kind in KINDS:
            for n, i in enumerate(i for i in items if i.kind == kind):
                self._check_body(i, n, own)

    def _sound_lines(self, items: Sequence[Item]) -> bool:
        """Check the types first, since pieces name them; return whether there are any."""
        lines = [i for i in items if i.kind == "line"]
        for n, i in enumerate(lines):
            self._check_body(i, n, ())
        return bool(lines)

    def _check_body(self, i: Item, n: int, own: Sequence[LineType]) -> None:
        name = f"{i.kind}s.toml"
        try:
            if i.kind in CHECKS and isinstance(i.body, Mapping):
                CHECKS[i.kind](i.body, own)
            values.table(i.body, "body")
        except InputError as error:
            key = error.argument.split()[0] if error.argument else ""
            row = None if i.kind in APART else SourceText(name, self._text(name)).row(i.kind, n, key)
            where = Culprit(self._path, row, self._file_of(i) if i.kind in APART else name)
            rule = together([error.argument, error.rule])
            raise InputError(f"{i.kind} {i.key[:80]}", rule, where=where, cure=error.cure or say(AGAIN)) from error

    def _file_of(self, i: Item) -> str:
        listed = self._json("ledger.json")["items"]
        return str(next(e["file"] for e in listed if (e["kind"], e["key"]) == (i.kind, i.key)))

    def _entries(self, name: str, make: Callable[[Any], T]) -> Iterator[T]:
        listed = self._json(name)
        if not isinstance(listed, list):
            raise self._wrong(name, say("must be a list"))
        return self._each(name, listed, make)

    def _each(self, name: str, listed: Sequence[Any], make: Callable[[Any], T]) -> Iterator[T]:
        """Yield what is made of each entry; a wrong one is named by its number."""
        for n, entry in enumerate(listed, start=1):
            try:
                yield make(entry)
            except InputError as error:
                where = Culprit(self._path, key=f"entry {n} of {name}")
                raise InputError(error.argument, error.rule, where=where, cure=say(AGAIN)) from error

    def _check_names(self, items: Sequence[Item], rows: Sequence[KeptReading], changes: Sequence[Change]) -> None:
        """Refuse a reading of no session here, and what stands twice."""
        sheets = {i.key for i in items if i.kind == "sheet"}
        for n, row in enumerate(rows, start=1):
            if row.sheet not in sheets:
                where = Culprit(self._path, key=f"entry {n} of readings.json")
                rule = say("must be a session of this export; got {value}", value=values.quoted(row.sheet))
                raise InputError("sheet", rule, where=where, cure=say(AGAIN))
        for name, keys in (
            ("ledger.json", [(i.kind, i.key) for i in items]),
            ("readings.json", [(r.sheet, r.number, r.version) for r in rows]),
            ("readings.json", [(r.sheet, r.token) for r in rows if r.token is not None]),
            ("history.json", [c.id for c in changes]),
        ):
            if len(set(keys)) < len(keys):
                twice = next(k for k, many in Counter(keys).items() if many > 1)
                raise self._wrong(
                    name, say("must hold each thing once; {twice} stands twice", twice=values.quoted(twice))
                )

    def _kept(self) -> _Kept:
        found = {}
        for name in sorted(n for n in self._names if n.startswith("files/")):
            sha = PurePath(name).name.partition(".")[0]
            if hashlib.sha256(self._packed.read(name)).hexdigest() != sha:
                raise self._wrong(name, say("is damaged: it is no longer what its name says"))
            found[sha] = name
        return _Kept(self._at, found)

    def _made(self, name: str, make: Callable[[], T]) -> T:
        try:
            return make()
        except InputError:
            raise
        except (KeyError, TypeError, ValueError, StopIteration, AttributeError, RuntimeError) as cause:
            raise self._wrong(name, say("does not hold what it should ({cause})", cause=cause)) from cause

    def _text(self, name: str) -> str:
        if name not in self._names:
            raise self._wrong(name, say("is missing"))
        try:
            return self._packed.read(name).decode()
        except UnicodeDecodeError as cause:
            raise self._wrong(name, say("is not text")) from cause

    def _json(self, name: str) -> Any:
        text = self._text(name)
        _check_signs(text, self._at, name)
        try:
            return json.loads(text)
        except RecursionError as cause:
            raise self._wrong(name, say("is nested too deeply")) from cause
        except ValueError as cause:
            raise self._wrong(name, say("is not JSON: {cause}", cause=cause)) from cause

    def _toml(self, name: str) -> dict[str, Any]:
        try:
            return parse_toml(self._text(name), name)
        except SheetError as cause:
            raise self._wrong(name, cause.rule, cause.where.row) from cause

    def _wrong(self, name: str, rule: str, row: int | None = None) -> InputError:
        return InputError("export", rule, where=Culprit(self._path, row, name), cure=say(AGAIN))


class _Kept(Mapping[str, bytes]):
    """The filed files of an export by their SHA-256; one is held at a time."""

    def __init__(self, path: Path, names: Mapping[str, str]) -> None:
        self._path, self._names = path, names

    def __getitem__(self, sha: str) -> bytes:
        with zipfile.ZipFile(self._path) as packed:
            return packed.read(self._names[sha])

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def _rows(tables: Mapping[str, Any]) -> list[dict[str, Any]]:
    (rows,) = tables.values()
    return list(rows)
