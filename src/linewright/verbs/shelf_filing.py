"""Filing sheets, sweeps and stations: their files kept exactly as they came, what they say beside them."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path, PurePath
from typing import Any

from linewright.core.errors import Culprit, InputError
from linewright.core.messages import say, say_many
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.ledger import Item, KeptReading, Kind
from linewright.core.nouns.line import LineType
from linewright.core.nouns.shelf import Filed, Kept
from linewright.core.nouns.station import FarEnd, Station
from linewright.core.nouns.sweep import Sweep
from linewright.files import fields
from linewright.files.own_lines import read_lines
from linewright.files.sheet import NEEDED, OPTIONAL, completed, read_bench_sheet, read_bench_sheet_text
from linewright.files.station import read_station, read_station_text
from linewright.files.tables import MOST_BYTES, SourceText, csv_rows, decoded
from linewright.files.toml import toml_text
from linewright.files.toml_reader import parse_toml
from linewright.store import items
from linewright.store import items as blobs
from linewright.store import items as readings
from linewright.store.ledger import Ledger, Snapshot, Writing
from linewright.verbs import shelf_nouns as nouns
from linewright.verbs.shelf_evidence import SheetTexts, Shelved, with_sheet
from linewright.verbs.shelf_items import CHECKS, NOW, new_key
from linewright.verbs.shelf_open import By, today, writing
from linewright.verbs.shelf_renames import Names, free

# Filing sheets, sweeps and stations: their files kept exactly as they came, what they say beside them

Files = Mapping[str, bytes]
FAR_ENDS: tuple[FarEnd, ...] = ("through", "open", "short")
SHEET_GEAR: tuple[Kind, ...] = ("meter", "attenuator", "load")
STATION_GEAR: tuple[Kind, ...] = ("radio", "antenna")
GEAR: tuple[Kind, ...] = ("line", "stock", *SHEET_GEAR, *STATION_GEAR, "piece")
"""What a file of gear may hold, in storage order: pieces name lines."""


def file_sheet(ledger: Ledger, path: Path | str, *, on: date | None = None, by: By = NOW) -> Kept:
    """File a bench sheet: its readings become a session, its files are kept, its new pieces join the shelf.

    Parameters
    ----------
    path : Path or str
        The TOML file; files it names are looked for beside it. A piece, meter or attenuator that it only names is taken
        as the ledger keeps it.
    on : date, optional
        When it was measured; without it, today.

    Returns
    -------
    Kept
        The sheet, and the new pieces, meters and attenuators with it.

    Raises
    ------
    InputError
        If the sheet breaks a rule.

    >>> from linewright.verbs.examples import demo_file, example_ledger
    >>> with example_ledger() as ledger:
    ...     file_sheet(ledger, demo_file("harbour-ridge-2024.toml"), on=date(2024, 3, 16)).item.kind
    'sheet'
    """
    path = Path(path)
    with ledger.reads() as snapshot:
        read_bench_sheet(path, nouns.own_lines_of(snapshot), nouns.known_gear(snapshot))
    content = read_bytes(path, "sheet")
    names = _named(parse_toml(decoded(content, "sheet", str(path)), str(path)))
    files = {path.name: content} | {n: read_bytes(path.parent / n, "file") for n in names}
    return file_sheet_files(ledger, files, on=on, by=by)


def file_sheet_files(ledger: Ledger, files: Files, *, on: date | None = None, by: By = NOW) -> Kept:
    """File a bench sheet from names and bytes; the first is the sheet, the others are those it names."""
    with writing(ledger, by) as w:
        return sheet_into(w, files, today(on) if on else by.day)


def sheet_into(w: Writing, files: Files, day: str) -> Kept:
    """File a sheet in a transaction that is open. The same files filed before are returned as they are.

    A sheet whose readings file is another is another session: the sheet of a bench that stays as it is need not change.
    """
    name = next(iter(files))
    old = _filed(w.connection, "sheet", files.values())
    if old is not None:
        return Kept(old, remarks=(f"{name} was filed before, as {old.key}.",))
    texts = {n: decoded(c, "file", n) for n, c in files.items()}
    own, known = nouns.own_lines_of(w.connection), nouns.known_gear(w.connection)
    sheet = read_bench_sheet_text(texts[name], texts, own, known)
    tables = completed(parse_toml(texts[name], name), known)
    rows = _rows(tables, texts)
    body = {
        "title": sheet.title,
        "measured_on": day,
        "sheet": {k: v for k, v in tables.items() if k not in ("reading", "readings")},
        "files": [{"name": n, "sha256": blobs.keep(w, c)} for n, c in files.items()],
    }
    new = items.put(w, "sheet", new_key(w.connection, "sheet", f"{day} {sheet.title}"), body, expect=0)
    kept = [KeptReading(new.key, n, 1, w.at, None, nouns.cells_of(cells)) for n, cells in enumerate(rows, start=1)]
    readings.append_rows(w.connection, kept)
    lines = [p.line for p in sheet.pieces if p.line is not None]
    joined, remarks = _onto_shelf(w, tables.get("piece", []), lines)
    joined += tuple(_new_gear(w, tables))
    return Kept(new, joined, remarks)


def sheet_beside(
    shelf: Shelved, path: Path, day: str, own: Sequence[LineType]
) -> tuple[Shelved, str, BenchSheet, str]:  # fmt: skip
    """Return a shelf on which a sheet of a file speaks as if it were filed on a day.

    With it come the key it has there, the sheet as its file has it, and the day. One that is filed already counts once,
    on the day it was filed for.
    """
    content = read_bytes(path, "sheet")
    names = _named(parse_toml(decoded(content, "sheet", str(path)), str(path)))
    own, known = (*own, *nouns.own_lines_of(shelf.reading)), nouns.known_gear(shelf.reading)
    sheet = read_bench_sheet(path, own, known)
    files = {path.name: content} | {n: read_bytes(path.parent / n, "file") for n in names}
    if (old := _filed(shelf.reading, "sheet", files.values())) is not None:
        return shelf, old.key, sheet, old.body["measured_on"]
    texts = {n: decoded(c, "file", n) for n, c in files.items()}
    tables = completed(parse_toml(texts[path.name], path.name), known)
    rows = [
        KeptReading(path.name, number, 1, "", None, nouns.cells_of(cells))
        for number, cells in enumerate(_rows(tables, texts), start=1)
    ]
    beside = with_sheet(
        shelf, path.name, day, _as_if_kept(shelf.names.anew(tables), texts, rows, (own, shelf.names)), rows
    )
    return beside, path.name, sheet, day


def _as_if_kept(
    tables: Mapping[str, Any], texts: Mapping[str, str], rows: Sequence[KeptReading],
    called: tuple[Sequence[LineType], Names],
) -> SheetTexts:  # fmt: skip
    """Return a sheet that is at hand as ``Shelved.written`` has one that is kept."""
    own, names = called
    whole = {k: v for k, v in tables.items() if k not in ("reading", "readings")}
    named = {whole.get("lines"), (whole.get("one_end") or {}).get("file")} if nouns.has_file(whole) else set()
    files = {n: names.rows(t) if n.lower().endswith(".csv") else t for n, t in texts.items() if n in named}
    if rows:
        whole["readings"] = {"file": nouns.READINGS}
        files[nouns.READINGS] = nouns.csv_text(nouns.HEADINGS, [names.anew(r.cells or {}) for r in rows])
    lines = toml_text({"line": [nouns.line_body(x) for x in own]}) if own else ""
    return SheetTexts(toml_text(whole), tuple(files.items()), lines, tuple(r.number for r in rows))


def _rows(tables: Mapping[str, Any], texts: Mapping[str, str]) -> list[Mapping[str, Any]]:
    """Return the readings of a sheet as written, in the order its reader takes them."""
    found: list[Mapping[str, Any]] = list(tables.get("reading", []))
    if "readings" in tables:
        name = fields.text(tables["readings"]["file"], "readings file")
        found += [cells for _, cells in csv_rows(SourceText(name, texts[name]), NEEDED, OPTIONAL)]
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


def _new_gear(w: Writing, tables: Mapping[str, Any]) -> Iterator[Item]:
    """Put meters, attenuators and loads that the shelf does not have on it."""
    for kind in SHEET_GEAR:
        for told in tables.get(kind, []):
            name, body = CHECKS[kind](told, ())
            if items.find(w.connection, kind, name) is None:
                yield items.put(w, kind, name, body, expect=0)


def _persons_own(line: LineType) -> bool:
    return bool(line.points) and line.points[0].provenance.grade == "person"


def file_sweep(
    ledger: Ledger, path: Path | str, piece: str, far_end: str = "through", *, on: date | None = None, by: By = NOW
) -> Kept:
    """File a sweep of a piece on the shelf: through it, or from one end with the other open or short.

    Parameters
    ----------
    path : Path or str
        A Touchstone file.
    piece : str
        The tag of the piece.
    far_end : str
        "through", "open" or "short".

    Returns
    -------
    Kept
        The sweep.

    Raises
    ------
    InputError
        If the file cannot be read, has too few ports, or the piece is not on the shelf.

    >>> from linewright.verbs.examples import demo_file, example_ledger
    >>> with example_ledger() as ledger:
    ...     file_sweep(ledger, demo_file("drum.s2p"), "black 20", on=date(2026, 10, 3)).item.kind
    'sweep'
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
    from linewright.files.touchstone import read_touchstone_text

    (name, content), (piece, end) = file, of
    far_end = fields.one_of(end, "far end", FAR_ENDS)
    tag = items.needed(w.connection, "piece", piece).key
    sweep = read_touchstone_text(content, name)
    if far_end == "through" and sweep.ports != 2:
        rule = say_many(
            "must be a two-port for a sweep through a piece; it has {count} port",
            "must be a two-port for a sweep through a piece; it has {count} ports",
            sweep.ports,
        )
        raise InputError("touchstone file", rule, where=Culprit(name), cure=say("Give the far end: open or short."))
    _says_something(sweep, far_end)
    old = _filed(w.connection, "sweep", [content])
    if old is not None and (old.body["piece"], old.body["far_end"]) == (tag, far_end):
        return Kept(old, remarks=(f"{name} was filed before, as {old.key}.",))
    kept = [{"name": PurePath(name).name, "sha256": blobs.keep(w, content)}]
    body = {"piece": tag, "far_end": far_end, "measured_on": day, "files": kept}
    key = new_key(w.connection, "sweep", f"{day} {tag} {far_end}")
    return Kept(items.put(w, "sweep", key, body, expect=0), remarks=sweep.remarks)


def _says_something(sweep: Sweep, far_end: FarEnd) -> None:
    """Refuse a sweep that tells no loss: kept, it would stand in the way of all that is asked of its piece."""
    from linewright.inference.sweep.one_port import read_one_port
    from linewright.inference.sweep.two_port import read_two_port

    found = read_two_port(sweep) if far_end == "through" else read_one_port({far_end: sweep})
    if found.law is None:
        cure = say("Look at it first: linewright sweep says what is the matter.")
        raise InputError("touchstone file", say("tells no loss of a line"), where=Culprit(sweep.name), cure=cure)


def _filed(snapshot: Snapshot, kind: Kind, contents: Iterable[bytes]) -> Item | None:
    """Return the item that keeps these very files, unless it was put away."""
    sha = [hashlib.sha256(content).hexdigest() for content in contents]
    found = items.every(snapshot, kind, archived=False)
    return next((i for i in found if [f["sha256"] for f in i.body["files"]] == sha), None)


def read_bytes(path: Path, argument: str) -> bytes:
    """Return a file as it is."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputError(
                argument,
                say("must be smaller than {value} MB", value=MOST_BYTES // 1_000_000),
                where=Culprit(str(path)),
            )
        return path.read_bytes()
    except OSError as cause:
        rule = say("must name a file that can be read: {reason}", reason=cause.strerror or cause)
        raise InputError(argument, rule, where=Culprit(str(path)), cure=say("Check the path.")) from cause


# Stations: kept as their files; what was measured of their pieces flows in from the rest of the ledger


def keep_station(ledger: Ledger, path: Path | str, *, on: date | None = None, by: By = NOW) -> Kept:
    """Keep a station, over the one of its name; the sheets and sweeps it names as evidence are filed as well.

    Parameters
    ----------
    on : date, optional
        When these were measured; without it, today.

    Raises
    ------
    InputError
        If the station or anything it names breaks a rule.
    """
    path = Path(path)
    with ledger.reads() as snapshot:
        read_station(path, nouns.own_lines_of(snapshot), Shelved.of(snapshot).on_hand())
    content = read_bytes(path, "station")
    text = decoded(content, "station", str(path))
    files = {path.name: content}
    for name in _station_named(text):
        files[name] = read_bytes(path.parent / name, "file")
        if name.lower().endswith(".toml"):
            beside = decoded(files[name], "file", name)
            files |= {n: read_bytes((path.parent / name).parent / n, "file") for n in _station_named(beside)}
    return keep_station_files(ledger, files, on=on, by=by)


def keep_station_files(ledger: Ledger, files: Files, *, on: date | None = None, by: By = NOW) -> Kept:
    """Keep a station from names and bytes; the first is the station, the others are those it and its sheets name."""
    with writing(ledger, by) as w:
        name = next(iter(files))
        texts = {n: decoded(c, "file", n) for n, c in files.items()}
        on_hand = Shelved.of(w.connection).on_hand()
        station = read_station_text(texts[name], texts, nouns.own_lines_of(w.connection), on_hand)
        filed = _evidence(w, station, files, today(on) if on else by.day)
        tables = _bare(parse_toml(texts[name], name))
        for kind in STATION_GEAR:
            for told in tables.pop(kind, []):
                filed.append(Kept(items.put(w, kind, fields.text(told["name"], "name"), told)))
        for told in tables.pop("piece", []):
            tag, body = nouns.checked_piece(told, nouns.own_lines_of(w.connection))
            if items.find(w.connection, "piece", tag) is None:
                filed.append(Kept(items.put(w, "piece", tag, body, expect=0)))
        body = {
            "station": tables,
            "files": [{"name": n, "sha256": blobs.keep(w, c)} for n, c in files.items()],
        }
        kept = items.put(w, "station", station.name, body)
        with_it = tuple(i for k in filed for i in (k.item, *k.with_it))
        return Kept(kept, with_it, tuple(r for k in filed for r in k.remarks))


def _evidence(w: Writing, station: Station, files: Files, day: str) -> list[Kept]:
    """File the sheets and sweeps a station rests on."""
    filed = []
    for name in station.sheets:
        beside = {n: c for n, c in files.items() if n in _station_named(decoded(files[name], "file", name))}
        filed.append(sheet_into(w, {name: files[name]} | beside, day))
    for tag in dict.fromkeys(e.piece for e in station.sweeps):
        if items.find(w.connection, "piece", tag) is None:
            piece = station.pieces[tag]
            told = {"tag": tag, "length": f"{piece.length_m!r} m", "connectors": piece.connectors}
            told |= {"line": piece.line.designator} if piece.line else {}
            told |= {"stock": piece.stock} if piece.stock else {}
            filed.append(Kept(items.put(w, "piece", tag, told, expect=0)))
    for e in station.sweeps:
        filed.append(sweep_into(w, (e.sweep.name, files[e.sweep.name]), (e.piece, e.far_end), day))
    return filed


def _bare(tables: Mapping[str, Any]) -> dict[str, Any]:
    """Return a station without its evidence, which the ledger knows by itself."""
    bare = {k: v for k, v in tables.items() if k != "evidence"}
    if "station" in bare:
        bare["station"] = {k: v for k, v in bare["station"].items() if k != "evidence"}
    bare["run"] = [{k: v for k, v in run.items() if k != "evidence"} for run in bare.get("run", [])]
    return bare


def _station_named(text: str) -> list[str]:
    """Return every file a station or sheet names, wherever in it."""

    def walk(value: Any, key: str) -> Iterator[str]:
        if isinstance(value, Mapping):
            for k, v in value.items():
                yield from walk(v, k)
        elif isinstance(value, list):
            for v in value:
                yield from walk(v, key)
        elif isinstance(value, str) and key in ("file", "lines", "rules", "touchstone", "evidence"):
            yield value

    return list(dict.fromkeys(n for n in walk(parse_toml(text, "station"), "") if PurePath(n).suffix))


# Filing whatever a file is: a sweep, a sheet, a station, line types


def file_lines(ledger: Ledger, path: Path | str, *, by: By = NOW) -> tuple[Item, ...]:
    """Keep the line types of a TOML or CSV file; one of the same name is changed.

    Raises
    ------
    InputError
        If the file breaks a rule.
    """
    with writing(ledger, by) as w:
        return tuple(items.put(w, "line", x.designator, nouns.line_body(x)) for x in read_lines(path))


def file_gear(ledger: Ledger, path: Path | str, *, by: By = NOW) -> Filed:
    """Keep the pieces, stocks, meters, attenuators, loads, radios, antennas and line types of a TOML file.

    One of the same tag or name is changed; what the file does not say of it stays.

    Raises
    ------
    InputError
        If anything in it breaks a rule; nothing is kept then.
    """
    path = Path(path)
    tables = parse_toml(decoded(read_bytes(path, "file"), "file", str(path)), str(path))
    with writing(ledger, by) as w:
        found = []
        for kind in GEAR:
            for told in tables.get(kind, []):
                key, _ = CHECKS[kind](told, nouns.own_lines_of(w.connection))
                old = items.find(w.connection, kind, key)
                if old is None and kind == "piece":
                    free(w.connection, key)
                _, body = CHECKS[kind]({**(old.body if old else {}), **told}, nouns.own_lines_of(w.connection))
                found.append(Kept(items.put(w, kind, key, body)))
        return Filed(tuple(found))


def file_any(
    ledger: Ledger, path: Path | str, piece: str | None = None, far_end: str = "through", *,
    on: date | None = None, by: By = NOW,
) -> Filed:  # fmt: skip
    """File whatever a file is: a sweep of a piece if one is named, else a sheet, a station, gear or line types.

    Raises
    ------
    InputError
        If the file breaks a rule, or is a sweep and no piece is named.
    """
    path = Path(path)
    if piece is not None:
        return Filed((file_sweep(ledger, path, piece, far_end, on=on, by=by),))
    if re.fullmatch(r"\.s\d+p|\.ts", path.suffix.lower()):
        raise InputError(
            "piece", say("must be named for a sweep"), where=Culprit(str(path)), cure=say("Add --piece TAG.")
        )
    if path.suffix.lower() == ".csv":
        _refuse_readings(path)
        return Filed(tuple(Kept(i) for i in file_lines(ledger, path, by=by)))
    tables = SourceText(str(path), decoded(read_bytes(path, "file"), "file", str(path))).parsed()
    if "run" in tables or "station" in tables:
        return Filed((keep_station(ledger, path, on=on, by=by),))
    if tables.keys() == {"line"}:
        return Filed(tuple(Kept(i) for i in file_lines(ledger, path, by=by)))
    if tables.keys() <= set(GEAR) and all(isinstance(v, list) for v in tables.values()):
        return file_gear(ledger, path, by=by)
    return Filed((file_sheet(ledger, path, on=on, by=by),))


def _refuse_readings(path: Path) -> None:
    """Refuse the readings of a sheet, which are filed with it, where line types are looked for."""
    first = decoded(read_bytes(path, "file"), "file", str(path)).partition("\n")[0].lower()
    if {"path", "reading"} <= {heading.strip() for heading in re.split("[,;\t]", first)}:
        raise InputError(
            "file",
            say("holds readings, which are filed with their sheet"),
            where=Culprit(str(path)),
            cure=say("File the TOML sheet that names it."),
        )
