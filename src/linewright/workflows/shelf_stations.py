"""Stations: kept as their files; what was measured of their pieces flows in from the rest of the ledger."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path, PurePath
from typing import Any

from linewright.errors import InputError
from linewright.formats.station import read_station, read_station_text
from linewright.formats.texts import decoded
from linewright.formats.toml_reader import parse_toml
from linewright.ledger import blobs, items
from linewright.ledger.store import Ledger, Writing
from linewright.model.ledger import Item
from linewright.model.line import LineType
from linewright.model.shelf import Kept, PieceBelief
from linewright.model.station import Station, SweepEvidence
from linewright.units.said import say
from linewright.workflows import shelf_nouns as nouns
from linewright.workflows.ledger_toml import toml_text
from linewright.workflows.shelf_beliefs import Progress, measured
from linewright.workflows.shelf_evidence import Shelved, prepared
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
        read_station(path, nouns.own_lines_of(snapshot), Shelved.of(snapshot).on_hand())
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
        on_hand = Shelved.of(w.connection).on_hand()
        station = read_station_text(texts[name], texts, nouns.own_lines_of(w.connection), on_hand)
        filed = _evidence(w, station, files, by.day)
        tables = _bare(parse_toml(texts[name], name))
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


def station_of(ledger: Ledger, name: str, *, progress: Progress | None = None) -> Station:
    """Return a station as a noun for ``plan_station``: its pieces are those of the shelf, its evidence all there is.

    Parameters
    ----------
    progress : callable, optional
        Called with the share done and what is being done, while what was measured of its pieces is judged.

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
        try:
            station = read_station_text(toml_text(shelf.names.anew(item.body["station"])), texts, own, shelf.on_hand())
        except InputError as error:
            raise nouns.plain(error) from error
        sheets = {key: shelf.written(key).sheet() for key in shelf.sheets if shelf.kept[key]}
        known = _known(shelf, station.pieces, progress)
        evidence = (*sheets, *shelf.sweeps)
        return replace(station, sheets=sheets, sweeps=_sweeps(shelf), evidence=evidence, beliefs=known)


def read_station_beside(
    ledger: Ledger, path: Path | str, own: Sequence[LineType] = (), *, progress: Progress | None = None
) -> Station:
    """Return the station of a file; pieces of which it brings no evidence are looked for in a ledger.

    Parameters
    ----------
    path : Path or str
        The station file; files it names are looked for beside it.
    own : sequence of LineType
        The person's own line types; they go before the ledger's, and these before the catalogue's.
    progress : callable, optional
        Called with the share done and what is being done, while what the ledger holds of them is judged.

    Raises
    ------
    InputError
        If the station breaks a rule, or names a piece that neither it nor the ledger knows.
    """
    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        on_hand = shelf.on_hand()
        station = read_station(path, (*own, *nouns.own_lines_of(snapshot)), on_hand)
        spoken = {p.tag for s in station.sheets.values() for p in s.pieces} | {e.piece for e in station.sweeps}
        silent = {t: p.line for t, p in station.pieces.items() if t in on_hand and t not in spoken}
        alike = [t for t, line in silent.items() if line == on_hand[t].line or None in (line, on_hand[t].line)]
        return replace(station, beliefs=_known(shelf, alike, progress))


def _known(shelf: Shelved, tags: Iterable[str], progress: Progress | None) -> dict[str, PieceBelief]:
    """Return what was measured of pieces, or of their stock."""
    chosen = [shelf.pieces[tag] for tag in tags]
    for done in prepared(shelf, [i.key for i in chosen]):
        if progress:
            progress(done, say("judging what was measured"))
    found = {piece.tag: measured(shelf, piece) for piece in shelf.nouns(chosen)}
    return {tag: known for tag, known in found.items() if known is not None}


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

    return list(dict.fromkeys(n for n in walk(parse_toml(text, "station"), "") if PurePath(n).suffix))
