"""Stations: kept as their files; what was measured of their pieces flows in from the rest of the ledger."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path, PurePath
from typing import Any

from linewright.errors import InputError
from linewright.formats.station import read_station, read_station_text
from linewright.formats.texts import decoded
from linewright.ledger import blobs, items
from linewright.ledger.store import Ledger, Writing
from linewright.model.ledger import Item
from linewright.model.shelf import Kept
from linewright.model.station import Station, SweepEvidence
from linewright.workflows import shelf_nouns as nouns
from linewright.workflows.ledger_toml import toml_text
from linewright.workflows.shelf_evidence import Shelved
from linewright.workflows.shelf_filing import Files, read_bytes, sheet_into, sweep_into
from linewright.workflows.shelf_items import NOW
from linewright.workflows.shelf_open import By, writing


def keep_station(ledger: Ledger, path: Path | str, *, by: By = NOW) -> Kept:
    """Keep a station, over the one of its name; the sheets and sweeps it names as evidence are filed as well.

    Raises
    ------
    InputError
        If the station or anything it names breaks a rule.
    """
    path = Path(path)
    with ledger.reads() as snapshot:
        own = nouns.own_lines_of(snapshot)
    read_station(path, own)
    content = read_bytes(path, "station")
    text = decoded(content, "station", str(path))
    files = {path.name: content}
    for name in _named(text):
        files[name] = read_bytes(path.parent / name, "file")
        if name.lower().endswith(".toml"):
            beside = decoded(files[name], "file", name)
            files |= {n: read_bytes((path.parent / name).parent / n, "file") for n in _named(beside)}
    return keep_station_files(ledger, files, by=by)


def keep_station_files(ledger: Ledger, files: Files, *, by: By = NOW) -> Kept:
    """Keep a station from names and bytes; the first is the station, the others are those it and its sheets name."""
    with writing(ledger, by) as w:
        name = next(iter(files))
        texts = {n: decoded(c, "file", n) for n, c in files.items()}
        shelf = Shelved.of(w.connection)
        station = read_station_text(_with_pieces(texts[name], texts, shelf), texts, nouns.own_lines_of(w.connection))
        filed = _evidence(w, station, files, by.day)
        tables = _bare(tomllib.loads(texts[name]))
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
        beside = {n: c for n, c in files.items() if n in _named(decoded(files[name], "file", name))}
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


def stations(ledger: Ledger) -> tuple[Item, ...]:
    """Return the stations that are kept."""
    with ledger.reads() as snapshot:
        return tuple(items.every(snapshot, "station", archived=False))


def station_of(ledger: Ledger, name: str) -> Station:
    """Return a station as a noun for ``plan_station``: its pieces are those of the shelf, its evidence all there is.

    Raises
    ------
    UnknownNameError
        If no such station is kept.
    InputError
        If it speaks of a piece that is on the shelf no longer.
    """
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "station", name)
        shelf = Shelved.of(snapshot)
        own = nouns.own_lines_of(snapshot)
        files = {f["name"]: blobs.content(snapshot, f["sha256"]) for f in item.body["files"]}
        texts = {n: decoded(c, "file", n) for n, c in files.items()}
        text = _with_pieces(toml_text(shelf.names.anew(item.body["station"])), {}, shelf)
        try:
            station = read_station_text(text, texts, own)
        except InputError as error:
            raise nouns.plain(error) from error
        sheets = {key: shelf.written(key).sheet() for key in shelf.sheets if shelf.kept[key]}
        return replace(station, sheets=sheets, sweeps=_sweeps(shelf), evidence=(*sheets, *shelf.sweeps))


def _sweeps(shelf: Shelved) -> tuple[SweepEvidence, ...]:
    from linewright.formats.touchstone import read_touchstone_text

    found = []
    for e in (e for tag in shelf.pieces for e in shelf.evidence(tag) if e.kind == "sweep"):
        ((name, content, end),) = shelf.sweep_texts([e])
        sweep = read_touchstone_text(content, name)
        ports = sweep.ports if end == "through" else 1
        cut = replace(sweep, s=sweep.s[:, :ports, :ports], reference_ohm=sweep.reference_ohm[:ports])
        found.append(SweepEvidence(shelf.sweeps[e.key].body["piece"], cut, end))  # type: ignore[arg-type]
    return tuple(found)


def _with_pieces(text: str, files: Mapping[str, str], shelf: Shelved) -> str:
    """Return a station's text with the shelf's pieces beside its own; a sheet it names speaks for its own pieces."""
    tables = tomllib.loads(text)
    known = {" ".join(str(p.get("tag")).split()) for p in tables.get("piece", []) if isinstance(p, Mapping)}
    for name in _named(text):
        if name in files and name.lower().endswith(".toml"):
            known |= {str(p.get("tag")) for p in tomllib.loads(files[name]).get("piece", [])}
    wanted = {str(part["piece"]) for run in tables.get("run", []) for part in run.get("chain", []) if "piece" in part}
    told = [
        {k: v for k, v in item.body.items() if k in nouns.PIECE_KEYS}
        for tag, item in shelf.pieces.items()
        if tag in wanted - known and not item.archived
    ]
    return text if not told else toml_text(tables | {"piece": [*tables.get("piece", []), *told]})


def _bare(tables: Mapping[str, Any]) -> dict[str, Any]:
    """Return a station without its evidence, which the ledger knows by itself."""
    bare = {k: v for k, v in tables.items() if k != "evidence"}
    if "station" in bare:
        bare["station"] = {k: v for k, v in bare["station"].items() if k != "evidence"}
    bare["run"] = [{k: v for k, v in run.items() if k != "evidence"} for run in bare.get("run", [])]
    return bare


def _named(text: str) -> list[str]:
    """Return every file a station or sheet names, wherever in it."""

    def walk(value: Any, key: str) -> Iterator[str]:
        if isinstance(value, Mapping):
            for k, v in value.items():
                yield from walk(v, k)
        elif isinstance(value, list):
            for v in value:
                yield from walk(v, key)
        elif isinstance(value, str) and key in ("file", "lines", "touchstone", "evidence"):
            yield value

    return list(dict.fromkeys(n for n in walk(tomllib.loads(text), "") if PurePath(n).suffix))
