"""What a station's pieces are judged from: bench sheets, and sweeps that say which piece they are of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any, Protocol

from linewright.errors import Culprit, InputError, SheetError, UnknownNameError
from linewright.formats import fields
from linewright.formats.inline import Inline, entry_rows
from linewright.formats.station_known import Known
from linewright.formats.tables import Table
from linewright.formats.toml_reader import parse_toml
from linewright.model.bench import BenchSheet, Piece
from linewright.model.station import FarEnd, SweepEvidence
from linewright.model.sweep import Sweep

FAR_ENDS: tuple[FarEnd, ...] = ("through", "open", "short")
SWEEP_ENDS = (".s2p", ".ts")


class Files(Protocol):
    """The files a station names, wherever they lie."""

    @property
    def name(self) -> str:
        """The name of the station file."""
        ...

    def text(self, name: str, what: str) -> str:
        """Return a file's text."""
        ...

    def sheet(self, name: str) -> BenchSheet:
        """Return a file as a bench sheet."""
        ...


@dataclass(slots=True)
class Evidence:
    """The evidence found so far. ``loose`` are sweeps that do not say which piece they are of."""

    sheets: dict[str, BenchSheet] = field(default_factory=dict)
    pieces: dict[str, Piece] = field(default_factory=dict)
    sweeps: list[tuple[str, str, Sweep, FarEnd, Table, int | None]] = field(default_factory=list)
    loose: list[tuple[str, Table, int | None]] = field(default_factory=list)
    names: dict[str, None] = field(default_factory=dict)


def read_sweep(files: Files, name: str, ports: int) -> Sweep:
    """Return a Touchstone file with so many ports."""
    from linewright.formats.touchstone import read_touchstone_text

    sweep = read_touchstone_text(files.text(name, "touchstone file"), name)
    if sweep.ports != ports:
        kind = "two-port (.s2p)" if ports == 2 else "one-port (.s1p)"
        has = f"{sweep.ports} port{'s' * (sweep.ports > 1)}"
        raise InputError("touchstone file", f"must be a {kind}; it has {has}", where=Culprit(name))
    return sweep


def evidence_of(table: Table, files: Files, found: Evidence) -> None:
    """Add the evidence that a table names; what is wrong is noted at its row."""
    content = table.take("evidence", _some, [])
    if not content:
        return
    rows = entry_rows(table, "evidence", len(content))
    line = table.source.row(table.name, table.index, "evidence")
    for i, (entry, row) in enumerate(zip(content, rows, strict=True), start=1):
        label = f"{table.label} evidence {i}".strip()
        try:
            if isinstance(entry, dict):
                _of_piece(Inline(table, label, entry, row), files, found)
            else:
                _file(fields.text(entry, label), label, (table, line), files, found)
        except InputError as error:
            _noted(table, error, line)


def _noted(table: Table, error: InputError, row: int | None) -> None:
    """Note a problem: in this file, or in the one the error names itself."""
    table.bad = True
    problems: Sequence[InputError] = getattr(error, "problems", ()) or (error,)
    own = Culprit(table.source.name, row)
    table.source.problems += [p if p.where.file else p.at(own) for p in problems]


def _some(value: Any, name: str) -> list[Any]:
    if isinstance(value, (str, dict)):
        return [value]
    if not isinstance(value, list):
        raise InputError(name, f"must be a list of files; got {value!r}", cure='Write ["spring.toml"].')
    return value


def _file(name: str, label: str, place: tuple[Table, int | None], files: Files, found: Evidence) -> None:
    end = PurePath(name).suffix.lower()
    if name in found.names:
        return
    if end == ".s1p":
        cure = f'Write {{piece = "blue 7", touchstone = "{name}", far_end = "open"}}.'
        raise InputError(label, f"must say which piece {name!r} is of, and what was at its far end", cure=cure)
    if end in SWEEP_ENDS:
        found.loose.append((name, *place))
    elif end != ".toml":
        cure = 'Name a bench sheet (.toml), or {piece = "blue 7", touchstone = "blue.s2p"}.'
        raise InputError(label, f"must be a bench sheet or a sweep; got {name!r}", cure=cure)
    else:
        found.sheets[name] = _sheet(name, label, files)
        _take_pieces(name, label, found)
    found.names[name] = None


def _sheet(name: str, label: str, files: Files) -> BenchSheet:
    if PurePath(name) == PurePath(PurePath(files.name).name):
        raise InputError(label, f"names the station itself: {name!r}", cure="Name the bench sheet of its pieces.")
    text = files.text(name, label)
    try:
        content = parse_toml(text, name)
    except SheetError:
        content = {}
    if "run" in content or "station" in content:
        raise InputError(label, f"must be a bench sheet; {name!r} is a station", cure="Name the sheet with readings.")
    return files.sheet(name)


def _take_pieces(name: str, label: str, found: Evidence) -> None:
    for piece in found.sheets[name].pieces:
        known = found.pieces.setdefault(piece.tag, piece)
        if (piece.line, piece.length_m, piece.connectors) != (known.line, known.length_m, known.connectors):
            first = next(n for n, s in found.sheets.items() if piece.tag in {p.tag for p in s.pieces})
            rule = f"holds the piece {piece.tag!r}, which {first!r} holds with another type, length or connectors"
            raise InputError(label, rule, cure="One tag is one piece: describe it alike, or rename one.")


def _of_piece(entry: Inline, files: Files, found: Evidence) -> None:
    tag, name = entry.take("piece", fields.tag), entry.take("touchstone", fields.text)
    far_end: FarEnd = entry.take("far_end", lambda v, n: fields.one_of(v, n, FAR_ENDS), FAR_ENDS[0])
    entry.close()
    if not entry.bad:
        sweep = read_sweep(files, name, 2 if far_end == "through" else 1)
        found.sweeps.append((tag, name, sweep, far_end, entry, None))
        found.names[name] = None


def sweeps_of(found: Evidence, known: Known, files: Files) -> None:
    """Give every sweep its piece, in place; a sweep whose piece nobody can tell is noted.

    A sweep named alone is of the piece its file is called after, or of the only piece there is.
    """
    for name, table, row in found.loose:
        try:
            tag = _piece_called(name, known)
            found.sweeps.append((tag, name, read_sweep(files, name, 2), "through", table, row))
            known.remarks.append(f"{name} is taken as a sweep through {tag}.")
        except InputError as error:
            _noted(table, error, row)
    for tag, name, _, _, table, _ in found.sweeps:
        if known.piece(tag) is None:
            rule = f"speaks of {tag!r}, a piece that is in no sheet and no [[piece]] table"
            cure = fields.nearest(tag, [*known.pieces, *known.on_hand])
            table.fail(UnknownNameError(f"evidence {name}", rule, cure=cure))


def _piece_called(name: str, known: Known) -> str:
    def plain(text: str) -> str:
        return "".join(c for c in text.lower() if c.isalnum())

    called = [tag for tag in {**known.pieces, **known.on_hand} if plain(tag) == plain(PurePath(name).stem)]
    if not called and len(known.pieces) == 1:
        called = list(known.pieces)
    if len(called) != 1:
        cure = f'Write {{piece = "blue 7", touchstone = "{name}"}}.'
        raise InputError("evidence", f"must say which piece {name!r} is a sweep of", cure=cure)
    return called[0]


def as_evidence(found: Evidence, known: Known) -> tuple[SweepEvidence, ...]:
    """Return the sweeps of known pieces as nouns."""
    of = ((known.piece(tag), sweep, far_end) for tag, _, sweep, far_end, _, _ in found.sweeps)
    return tuple(SweepEvidence(piece.tag, sweep, far_end) for piece, sweep, far_end in of if piece is not None)
