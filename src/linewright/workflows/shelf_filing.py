"""Filing sheets, sweeps and stations: their files kept exactly as they came, what they say beside them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path, PurePath
from typing import Any

from linewright.errors import Culprit, InputError
from linewright.formats import fields
from linewright.formats.csv_rows import csv_rows
from linewright.formats.readings import NEEDED, OPTIONAL
from linewright.formats.sheet import read_bench_sheet_text
from linewright.formats.tables import Source
from linewright.formats.texts import MOST_BYTES, decoded
from linewright.formats.toml_reader import parse_toml
from linewright.ledger import blobs, items, readings
from linewright.ledger.store import Ledger, Snapshot, Writing
from linewright.model.ledger import Item, KeptReading, Kind
from linewright.model.line import LineType
from linewright.model.shelf import Kept
from linewright.model.station import FarEnd
from linewright.model.sweep import Sweep
from linewright.workflows import shelf_nouns as nouns
from linewright.workflows.shelf_items import NOW, new_key
from linewright.workflows.shelf_open import By, today, writing

Files = Mapping[str, bytes]
FAR_ENDS: tuple[FarEnd, ...] = ("through", "open", "short")


def file_sheet(ledger: Ledger, path: Path | str, *, on: date | None = None, by: By = NOW) -> Kept:
    """File a bench sheet: its readings become a session, its files are kept, its new pieces join the shelf.

    Parameters
    ----------
    path : Path or str
        The TOML file; files it names are looked for beside it.
    on : date, optional
        When it was measured; without it, today.

    Raises
    ------
    InputError
        If the sheet breaks a rule.
    """
    from linewright.formats.sheet import read_bench_sheet

    path = Path(path)
    read_bench_sheet(path, _own(ledger))
    content = read_bytes(path, "sheet")
    names = _named(parse_toml(decoded(content, "sheet", str(path)), str(path)))
    files = {path.name: content} | {n: read_bytes(path.parent / n, "file") for n in names}
    return file_sheet_files(ledger, files, on=on, by=by)


def file_sheet_files(ledger: Ledger, files: Files, *, on: date | None = None, by: By = NOW) -> Kept:
    """File a bench sheet from names and bytes; the first is the sheet, the others are those it names."""
    with writing(ledger, by) as w:
        return sheet_into(w, files, today(on) if on else by.day)


def sheet_into(w: Writing, files: Files, day: str) -> Kept:
    """File a sheet in a transaction that is open. The same file filed before is returned as it is."""
    name, content = next(iter(files.items()))
    old = _filed(w.connection, "sheet", content)
    if old is not None:
        return Kept(old, remarks=(f"{name} was filed before, as {old.key}.",))
    texts = {n: decoded(c, "file", n) for n, c in files.items()}
    own = nouns.own_lines_of(w.connection)
    sheet = read_bench_sheet_text(texts[name], texts, own)
    tables = parse_toml(texts[name], name)
    rows = _rows(tables, texts)
    body = {
        "title": sheet.title,
        "measured_on": day,
        "sheet": {k: v for k, v in tables.items() if k not in ("reading", "readings")},
        "files": [{"name": n, "sha256": blobs.keep(w, c)} for n, c in files.items()],
    }
    new = items.put(w, "sheet", new_key(w.connection, "sheet", f"{day} {sheet.title}"), body, expect=0)
    for number, cells in enumerate(rows, start=1):
        readings.append_row(w.connection, KeptReading(new.key, number, 1, w.at, None, nouns.cells_of(cells)))
    lines = [p.line for p in sheet.pieces if p.line is not None]
    joined, remarks = _onto_shelf(w, tables.get("piece", []), lines)
    joined += tuple(_new_meters(w, tables.get("meter", [])))
    return Kept(new, joined, remarks)


def _rows(tables: Mapping[str, Any], texts: Mapping[str, str]) -> list[Mapping[str, Any]]:
    """Return the readings of a sheet as written, in the order its reader takes them."""
    found: list[Mapping[str, Any]] = list(tables.get("reading", []))
    if "readings" in tables:
        name = fields.text(tables["readings"]["file"], "readings file")
        found += [cells for _, cells in csv_rows(Source(name, texts[name]), NEEDED, OPTIONAL)]
    return found


def _named(tables: Mapping[str, Any]) -> list[str]:
    """Return the files a sheet names."""
    found = [tables.get("lines"), *(tables[k].get("file") for k in ("readings", "one_end") if _is_table(tables.get(k)))]
    return [" ".join(n.split()) for n in found if isinstance(n, str)]


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping)


def _onto_shelf(
    w: Writing, pieces: Sequence[Mapping[str, Any]], lines: Sequence[LineType]
) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    """Put pieces the shelf does not have on it, with the person's own types they are made of."""
    joined, remarks = [], []
    for line in dict.fromkeys(line.designator for line in lines):
        noun = next(x for x in lines if x.designator == line)
        if _persons_own(noun) and items.find(w.connection, "line", line) is None:
            joined.append(items.put(w, "line", line, nouns.line_body(noun), expect=0))
    own = nouns.own_lines_of(w.connection)
    for told in pieces:
        tag, body = nouns.checked_piece(told, own)
        old = items.find(w.connection, "piece", tag)
        if old is None:
            joined.append(items.put(w, "piece", tag, body, expect=0))
        elif differs := [k for k in nouns.PIECE_KEYS if k in body and body[k] != old.body.get(k)]:
            remarks.append(f"{tag} differs on shelf and sheet ({', '.join(differs)}): the shelf's stays.")
    return tuple(joined), tuple(remarks)


def _new_meters(w: Writing, meters: Sequence[Mapping[str, Any]]) -> Iterator[Item]:
    """Put meters the shelf does not have on it."""
    for told in meters:
        name, body = nouns.checked_meter(told, ())
        if items.find(w.connection, "meter", name) is None:
            yield items.put(w, "meter", name, body, expect=0)


def _persons_own(line: LineType) -> bool:
    return bool(line.points) and line.points[0].provenance.grade == "person"


def file_sweep(
    ledger: Ledger, path: Path | str, piece: str, far_end: str = "through", *, on: date | None = None, by: By = NOW
) -> Kept:
    """File a sweep of a piece on the shelf: through it, or from one end with the other open or short.

    Raises
    ------
    InputError
        If the file cannot be read, has too few ports, or the piece is not on the shelf.
    """
    path = Path(path)
    return file_sweep_bytes(ledger, path.name, read_bytes(path, "touchstone file"), piece, far_end, on=on, by=by)


def file_sweep_bytes(  # noqa: PLR0913 - what a sweep is of, and when
    ledger: Ledger, name: str, content: bytes, piece: str, far_end: str = "through", *,
    on: date | None = None, by: By = NOW,
) -> Kept:  # fmt: skip
    """File a sweep from its name and bytes."""
    with writing(ledger, by) as w:
        return sweep_into(w, (name, content), (piece, far_end), today(on) if on else by.day)


def sweep_into(w: Writing, file: tuple[str, bytes], of: tuple[str, str], day: str) -> Kept:
    """File a sweep in a transaction that is open; ``of`` names its piece and what is at the far end."""
    from linewright.formats.touchstone import read_touchstone_text

    (name, content), (piece, end) = file, of
    far_end = fields.one_of(end, "far end", FAR_ENDS)
    tag = items.needed(w.connection, "piece", piece).key
    sweep = read_touchstone_text(content, name)
    if far_end == "through" and sweep.ports != 2:
        rule = f"must be a two-port for a sweep through a piece; it has {sweep.ports} port{'s' * (sweep.ports > 1)}"
        raise InputError("touchstone file", rule, where=Culprit(name), cure="Give the far end: open or short.")
    _says_something(sweep, far_end)
    old = _filed(w.connection, "sweep", content)
    if old is not None and (old.body["piece"], old.body["far_end"]) == (tag, far_end):
        return Kept(old, remarks=(f"{name} was filed before, as {old.key}.",))
    kept = [{"name": PurePath(name).name, "sha256": blobs.keep(w, content)}]
    body = {"piece": tag, "far_end": far_end, "measured_on": day, "files": kept}
    key = new_key(w.connection, "sweep", f"{day} {tag} {far_end}")
    return Kept(items.put(w, "sweep", key, body, expect=0), remarks=sweep.remarks)


def _says_something(sweep: Sweep, far_end: FarEnd) -> None:
    """Refuse a sweep that tells no loss: kept, it would stand in the way of all that is asked of its piece."""
    from linewright.evidence.sweeps.one_port import read_one_port
    from linewright.evidence.sweeps.two_port import read_two_port

    found = read_two_port(sweep) if far_end == "through" else read_one_port({far_end: sweep})
    if found.law is None:
        cure = "Look at it first: linewright sweep says what is the matter."
        raise InputError("touchstone file", "tells no loss of a line", where=Culprit(sweep.name), cure=cure)


def _filed(snapshot: Snapshot, kind: Kind, content: bytes) -> Item | None:
    """Return the item that keeps this very file as its first, unless it was put away."""
    sha = hashlib.sha256(content).hexdigest()
    found = (i for i in items.every(snapshot, kind, archived=False) if i.body["files"])
    return next((i for i in found if i.body["files"][0]["sha256"] == sha), None)


def read_bytes(path: Path, argument: str) -> bytes:
    """Return a file as it is."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputError(argument, "must be smaller than 200 MB", where=Culprit(str(path)))
        return path.read_bytes()
    except OSError as cause:
        rule = f"must name a file that can be read: {cause.strerror}"
        raise InputError(argument, rule, where=Culprit(str(path)), cure="Check the path.") from cause


def _own(ledger: Ledger) -> tuple[LineType, ...]:
    with ledger.reads() as snapshot:
        return nouns.own_lines_of(snapshot)
