"""Station files: runs, each a chain of parts from radio to antenna, and the evidence its pieces are judged from.

All problems are gathered before any is raised.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

from linewright.errors import Culprit, InputError, gathered
from linewright.formats import fields
from linewright.formats.line_names import line_reader
from linewright.formats.own_lines import lines_in, read_lines_text
from linewright.formats.sheet import read_bench_sheet, read_bench_sheet_text
from linewright.formats.station_evidence import Evidence, Files, as_evidence, evidence_of, read_sweep, sweeps_of
from linewright.formats.station_known import Known
from linewright.formats.station_parts import named_parts
from linewright.formats.station_run import run_of
from linewright.formats.tables import Source, Table
from linewright.formats.texts import read_text
from linewright.model.bench import BenchSheet, Piece
from linewright.model.line import LineType
from linewright.model.station import NoiseSite, Run, Station

SITES: tuple[NoiseSite, ...] = get_args(NoiseSite)


@dataclass(frozen=True, slots=True)
class _Beside:
    """Files that lie beside the station file."""

    name: str
    own: Sequence[LineType]

    def text(self, name: str, what: str) -> str:
        return read_text(Path(self.name).parent / name, what)

    def sheet(self, name: str) -> BenchSheet:
        return read_bench_sheet(Path(self.name).parent / name, self.own)


@dataclass(frozen=True, slots=True)
class _Given:
    """Files given as texts."""

    name: str
    files: Mapping[str, str]
    own: Sequence[LineType]

    def text(self, name: str, what: str) -> str:
        if name not in self.files:
            raise InputError(what, f"must be given with the station; {name!r} was not", where=Culprit(name))
        return self.files[name]

    def sheet(self, name: str) -> BenchSheet:
        return read_bench_sheet_text(self.files[name], self.files, self.own)


def read_station(path: Path | str, own: Sequence[LineType] = (), on_hand: Mapping[str, Piece] | None = None) -> Station:
    """Return the station of a TOML file; files it names are looked for beside it.

    Parameters
    ----------
    path : Path or str
        The station file.
    own : sequence of LineType
        The person's own line types; they go before the catalogue's.
    on_hand : mapping of Piece, optional
        The pieces of a ledger by tag, for those that neither the file nor its evidence describes.

    Raises
    ------
    InputError
        With argument, rule, file, row and cure; several problems are gathered in one ``SheetError``.
    """
    return _read(Source(str(path), read_text(Path(path), "station")), _Beside(str(path), own), own, on_hand or {})


def read_station_text(
    text: str, files: Mapping[str, str], own: Sequence[LineType] = (), on_hand: Mapping[str, Piece] | None = None
) -> Station:
    """Return the station of a text, with the files it names given as texts.

    >>> text = '''
    ... [[run]]
    ... name = "beam"
    ... frequencies = ["144.3 MHz"]
    ... power = "50 W"
    ... chain = [{line = "RG-213/U", length = "20 m"}]
    ... antenna = {swr = 1.5}'''
    >>> [run.name for run in read_station_text(text, {}).runs]
    ['beam']
    """
    return _read(Source("station", text), _Given("station", files, own), own, on_hand or {})


def _read(source: Source, files: Files, own: Sequence[LineType], on_hand: Mapping[str, Piece]) -> Station:
    whole = Table(source, "", source.parsed())
    if "run" not in whole.content and {"meter", "readings"} & whole.content.keys():
        rule, cure = "must hold runs; this is a bench sheet", "The command linewright prove reads it."
        raise InputError("station", rule, where=Culprit(source.name), cure=cure)
    own = (*_own_lines(whole, files), *own)
    head, runs = whole.table("station"), whole.tables("run")
    found = Evidence()
    for table in filter(None, (whole, head, *runs)):
        evidence_of(table, files, found)
    pieces = {**_unmeasured(whole, found.pieces, own), **found.pieces}
    known = Known(pieces, line_reader(own), lambda name, ports: read_sweep(files, name, ports), on_hand=on_hand)
    known.faulty |= {str(t.get("tag")) for t in whole.content.get("piece", []) if isinstance(t, dict)} - set(pieces)
    named_parts(whole.tables("part"), known)
    read = _runs(whole, runs, known)
    name, noise = _head(head)
    sweeps_of(found, known, files)
    whole.close()
    if source.problems:
        raise gathered(source.problems)
    sweeps = as_evidence(found, known)
    return Station(name, read, noise, tuple(found.names), pieces, found.sheets, sweeps, own, tuple(known.remarks))


def _own_lines(whole: Table, files: Files) -> tuple[LineType, ...]:
    found = lines_in(whole.tables("line"))
    name: str = whole.take("lines", fields.text, "")
    if not name:
        return found
    try:
        return (*found, *read_lines_text(files.text(name, "lines"), name))
    except InputError as error:
        whole.source.problems += getattr(error, "problems", ()) or (error,)
        return found


def _head(table: Table | None) -> tuple[str, NoiseSite | None]:
    if table is None:
        return "Station", None
    name = table.take("name", fields.text, "Station")
    noise: NoiseSite | None = table.take("noise", lambda v, n: fields.one_of(v, n, SITES), None)
    table.close()
    return name, noise


def _unmeasured(whole: Table, measured: Mapping[str, Piece], own: Sequence[LineType]) -> dict[str, Piece]:
    """Return the pieces of the station file itself, by tag."""
    found: dict[str, Piece] = {}
    read_line = line_reader(own)
    for table in whole.tables("piece"):
        tag, line = table.take("tag", fields.tag), table.take("line", read_line, None)
        length_m = table.take("length", fields.length)
        connectors = table.take("connectors", fields.whole, 2)
        stock = table.take("stock", fields.text, None)
        table.close()
        if tag and (tag in found or tag in measured):
            where = "twice" if tag in found else "in a sheet under evidence as well"
            table.fail(InputError(f"{table.label} tag", f"must be different for each; {tag!r} stands {where}"), "tag")
        if not table.bad:
            found[tag] = Piece(tag, length_m, line, connectors, stock)
    return found


def _runs(whole: Table, tables: Sequence[Table], known: Known) -> tuple[Run, ...]:
    if not tables:
        whole.source.note(InputError("run", "is missing: a station needs at least one", cure="Add a [[run]] table."))
    named: list[str] = []
    found = []
    for table in tables:
        name = " ".join(str(table.content.get("name", "")).split())
        if name and name in named:
            table.fail(InputError(f"{table.label} name", f"must be different for each; {name!r} stands twice"), "name")
        named.append(name)
        found.append(run_of(table, known))
    return tuple(run for run in found if run is not None)
