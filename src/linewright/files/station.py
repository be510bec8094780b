"""Station files: runs, each a chain of parts from radio to antenna, and the evidence its pieces are judged from.

All problems are gathered before any is raised.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any, Protocol, get_args

from linewright.core.errors import Culprit, InputError, SheetError, UnknownNameError, gathered
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.core.nouns.line import LineType
from linewright.core.nouns.rules import LicenceRule, Rules
from linewright.core.nouns.station import FarEnd, NoiseSite, Run, Station, SweepEvidence
from linewright.files import fields
from linewright.files.curve import Inline, entry_rows
from linewright.files.fields import line_reader
from linewright.files.own_lines import lines_in, read_lines_text
from linewright.files.rules import OWN_LIMITS, read_rules_text, written_licence, written_limits
from linewright.files.sheet import read_bench_sheet, read_bench_sheet_text
from linewright.files.station_chain import ChainNames, named_parts
from linewright.files.station_gear import equip
from linewright.files.station_run import run_of, standards
from linewright.files.tables import SourceText, TomlTable, read_text
from linewright.files.toml_reader import parse_toml

if TYPE_CHECKING:
    from linewright.core.nouns.sweep import Sweep

# What a station's pieces are judged from: bench sheets, and sweeps that say which piece they are of

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
class EvidenceFound:
    """The evidence found so far. ``loose`` are sweeps that do not say which piece they are of."""

    sheets: dict[str, BenchSheet] = field(default_factory=dict)
    pieces: dict[str, Piece] = field(default_factory=dict)
    sweeps: list[tuple[str, str, Sweep, FarEnd, TomlTable, int | None]] = field(default_factory=list)
    loose: list[tuple[str, TomlTable, int | None]] = field(default_factory=list)
    names: dict[str, None] = field(default_factory=dict)


def read_sweep(files: Files, name: str, ports: int) -> Sweep:
    """Return a Touchstone file with so many ports."""
    from linewright.files.touchstone import read_touchstone_text

    sweep = read_touchstone_text(files.text(name, "touchstone file"), name)
    if sweep.ports != ports:
        kind = "two-port (.s2p)" if ports == 2 else "one-port (.s1p)"
        has = f"{sweep.ports} port{'s' * (sweep.ports > 1)}"
        raise InputError(
            "touchstone file", say("must be a {kind}; it has {has}", kind=kind, has=has), where=Culprit(name)
        )
    return sweep


def evidence_of(table: TomlTable, files: Files, found: EvidenceFound) -> None:
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


def _noted(table: TomlTable, error: InputError, row: int | None) -> None:
    """Note a problem: in this file, or in the one the error names itself."""
    table.bad = True
    problems: Sequence[InputError] = getattr(error, "problems", ()) or (error,)
    own = Culprit(table.source.name, row)
    table.source.problems += [p if p.where.file else p.at(own) for p in problems]


def _some(value: Any, name: str) -> list[Any]:
    if isinstance(value, (str, dict)):
        return [value]
    if not isinstance(value, list):
        raise InputError(
            name, say("must be a list of files; got {value}", value=repr(value)), cure=say('Write ["spring.toml"].')
        )
    return value


def _file(name: str, label: str, place: tuple[TomlTable, int | None], files: Files, found: EvidenceFound) -> None:
    end = PurePath(name).suffix.lower()
    if name in found.names:
        return
    if end == ".s1p":
        cure = say('Write {{piece = "blue 7", touchstone = "{name}", far_end = "open"}}.', name=name)
        raise InputError(
            label, say("must say which piece {name} is of, and what was at its far end", name=repr(name)), cure=cure
        )
    if end in SWEEP_ENDS:
        found.loose.append((name, *place))
    elif end != ".toml":
        cure = say('Name a bench sheet (.toml), or {{piece = "blue 7", touchstone = "blue.s2p"}}.')
        raise InputError(label, say("must be a bench sheet or a sweep; got {value}", value=repr(name)), cure=cure)
    else:
        found.sheets[name] = _sheet(name, label, files)
        _take_pieces(name, label, found)
    found.names[name] = None


def _sheet(name: str, label: str, files: Files) -> BenchSheet:
    if PurePath(name) == PurePath(PurePath(files.name).name):
        raise InputError(
            label,
            say("names the station itself: {name}", name=repr(name)),
            cure=say("Name the bench sheet of its pieces."),
        )
    text = files.text(name, label)
    try:
        content = parse_toml(text, name)
    except SheetError:
        content = {}
    if "run" in content or "station" in content:
        raise InputError(
            label,
            say("must be a bench sheet; {name} is a station", name=repr(name)),
            cure=say("Name the sheet with readings."),
        )
    return files.sheet(name)


def _take_pieces(name: str, label: str, found: EvidenceFound) -> None:
    for piece in found.sheets[name].pieces:
        known = found.pieces.setdefault(piece.tag, piece)
        if (piece.line, piece.length_m, piece.connectors) != (known.line, known.length_m, known.connectors):
            first = next(n for n, s in found.sheets.items() if piece.tag in {p.tag for p in s.pieces})
            rule = say(
                "holds the piece {tag}, which {first} holds with another type, length or connectors",
                tag=repr(piece.tag),
                first=repr(first),
            )
            raise InputError(label, rule, cure=say("One tag is one piece: describe it alike, or rename one."))


def _of_piece(entry: Inline, files: Files, found: EvidenceFound) -> None:
    tag, name = entry.take("piece", fields.tag), entry.take("touchstone", fields.text)
    far_end: FarEnd = entry.take("far_end", lambda v, n: fields.one_of(v, n, FAR_ENDS), FAR_ENDS[0])
    entry.close()
    if not entry.bad:
        sweep = read_sweep(files, name, 2 if far_end == "through" else 1)
        found.sweeps.append((tag, name, sweep, far_end, entry, None))
        found.names[name] = None


def sweeps_of(found: EvidenceFound, known: ChainNames, files: Files) -> None:
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
            rule = say("speaks of {tag}, a piece that is in no sheet and no [[piece]] table", tag=repr(tag))
            cure = fields.nearest(tag, [*known.pieces, *known.on_hand])
            table.fail(UnknownNameError(f"evidence {name}", rule, cure=cure))


def _piece_called(name: str, known: ChainNames) -> str:
    def plain(text: str) -> str:
        return "".join(c for c in text.lower() if c.isalnum())

    called = [tag for tag in {**known.pieces, **known.on_hand} if plain(tag) == plain(PurePath(name).stem)]
    if not called and len(known.pieces) == 1:
        called = list(known.pieces)
    if len(called) != 1:
        cure = say('Write {{piece = "blue 7", touchstone = "{name}"}}.', name=name)
        raise InputError("evidence", say("must say which piece {name} is a sweep of", name=repr(name)), cure=cure)
    return called[0]


def as_evidence(found: EvidenceFound, known: ChainNames) -> tuple[SweepEvidence, ...]:
    """Return the sweeps of known pieces as nouns."""
    of = ((known.piece(tag), sweep, far_end) for tag, _, sweep, far_end, _, _ in found.sweeps)
    return tuple(SweepEvidence(piece.tag, sweep, far_end) for piece, sweep, far_end in of if piece is not None)


# Station files: runs, each a chain of parts from radio to antenna, and the evidence its pieces are judged from

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
            raise InputError(
                what, say("must be given with the station; {name} was not", name=repr(name)), where=Culprit(name)
            )
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

    Returns
    -------
    Station
        Its runs, each with its chain from the radio to the antenna.

    Raises
    ------
    InputError
        With argument, rule, file, row and cure; several problems are gathered in one ``SheetError``.

    >>> from linewright.verbs.examples import demo_file
    >>> [run.name for run in read_station(demo_file("harbour-ridge-station.toml")).runs][:2]
    ['multiband wire', 'two-metre beam']
    """
    return _read(SourceText(str(path), read_text(Path(path), "station")), _Beside(str(path), own), own, on_hand or {})


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
    return _read(SourceText("station", text), _Given("station", files, own), own, on_hand or {})


def _read(source: SourceText, files: Files, own: Sequence[LineType], on_hand: Mapping[str, Piece]) -> Station:
    whole = TomlTable(source, "", source.parsed())
    if "run" not in whole.content and {"meter", "readings"} & whole.content.keys():
        rule, cure = say("must hold runs; this is a bench sheet"), say("The command linewright prove reads it.")
        raise InputError("station", rule, where=Culprit(source.name), cure=cure)
    own = (*_own_lines(whole, files), *own)
    head, runs = whole.table("station"), whole.tables("run")
    found = EvidenceFound()
    for table in filter(None, (whole, head, *runs)):
        evidence_of(table, files, found)
    pieces = {**_unmeasured(whole, found.pieces, own), **found.pieces}
    stated = head is not None and "own_limits" in head.content  # known by their name, whatever is wrong with them
    rules = _rules(whole, head, files)
    named = tuple(dict.fromkeys((*rules.names, *([OWN_LIMITS] if stated else []))))
    known = ChainNames(
        pieces, line_reader(own), lambda name, ports: read_sweep(files, name, ports), on_hand=on_hand,
        own_limits=named,
    )  # fmt: skip
    known.faulty |= {str(t.get("tag")) for t in whole.content.get("piece", []) if isinstance(t, dict)} - set(pieces)
    named_parts(whole.tables("part"), known)
    equip(whole, runs)
    read = _runs(whole, runs, known)
    name, noise = _head(head, named)
    sweeps_of(found, known, files)
    whole.close()
    if source.problems:
        raise gathered(source.problems)
    sweeps = as_evidence(found, known)
    return Station(
        name, read, noise, tuple(found.names), pieces, found.sheets, sweeps, own, tuple(known.remarks), rules=rules
    )  # fmt: skip


def _own_lines(whole: TomlTable, files: Files) -> tuple[LineType, ...]:
    found = lines_in(whole.tables("line"))
    name: str = whole.take("lines", fields.text, "")
    if not name:
        return found
    try:
        return (*found, *read_lines_text(files.text(name, "lines"), name))
    except InputError as error:
        whole.source.problems += getattr(error, "problems", ()) or (error,)
        return found


def _rules(whole: TomlTable, head: TomlTable | None, files: Files) -> Rules:
    """Return the person's own rules: of the file that ``rules`` names, and those that the station's head states."""
    name: str = whole.take("rules", fields.text, "")
    limits = () if head is None else head.take("own_limits", written_limits, ())
    licence = () if head is None else head.take("licence", _licences, ())
    found = Rules()
    if name:
        try:
            found = read_rules_text(files.text(name, "rules"), name)
        except InputError as error:
            whole.source.problems += getattr(error, "problems", ()) or (error,)
    return Rules((*found.exposure, *(limits or ())), (*found.licence, *(licence or ())))


def _licences(value: Any, name: str) -> tuple[LicenceRule, ...]:
    return tuple(written_licence(v, name) for v in (value if isinstance(value, list) else [value]))


def _head(table: TomlTable | None, own_limits: tuple[str, ...]) -> tuple[str, NoiseSite | None]:
    if table is None:
        return "Station", None
    name = table.take("name", fields.text, "Station")
    table.take("limits", lambda value, label: standards(value, label, own_limits), ())
    noise: NoiseSite | None = table.take("noise", lambda v, n: fields.one_of(v, n, SITES), None)
    table.close()
    return name, noise


def _unmeasured(whole: TomlTable, measured: Mapping[str, Piece], own: Sequence[LineType]) -> dict[str, Piece]:
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
            table.fail(
                InputError(
                    f"{table.label} tag",
                    say("must be different for each; {tag} stands {where}", tag=repr(tag), where=where),
                ),
                "tag",
            )
        if not table.bad:
            found[tag] = Piece(tag, length_m, line, connectors, stock)
    return found


def _runs(whole: TomlTable, tables: Sequence[TomlTable], known: ChainNames) -> tuple[Run, ...]:
    if not tables:
        whole.source.note(
            InputError("run", say("is missing: a station needs at least one"), cure=say("Add a [[run]] table."))
        )
    named: list[str] = []
    found = []
    for table in tables:
        name = " ".join(str(table.content.get("name", "")).split())
        if name and name in named:
            table.fail(
                InputError(
                    f"{table.label} name", say("must be different for each; {name} stands twice", name=repr(name))
                ),
                "name",
            )
        named.append(name)
        found.append(run_of(table, known))
    return tuple(run for run in found if run is not None)
