"""What speaks of a piece: the sheets and sweeps kept of it, each judged once for as long as it stays the same."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple
from weakref import WeakKeyDictionary

from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.ledger import Item, KeptReading
from linewright.core.nouns.shelf import Evidence
from linewright.files.toml import toml_text
from linewright.files.toml_reader import parse_toml
from linewright.store import items as blobs
from linewright.store import items as readings
from linewright.store.ledger import Ledger, Snapshot
from linewright.store.standing import AllKept, kept
from linewright.verbs import shelf_nouns as nouns
from linewright.verbs.beliefs import looked_at, sweep_beliefs
from linewright.verbs.once import once
from linewright.verbs.shelf_renames import Names, names_now

if TYPE_CHECKING:
    from linewright.core.arrays import Floats
    from linewright.core.nouns.belief import Belief, Beside, Elsewhere, OneTest
    from linewright.core.nouns.bench import BenchSheet, KnownBottom, KnownExponent, Piece
    from linewright.core.nouns.line import LineType
    from linewright.inference.bench.pieces import SheetMessages
    from linewright.inference.history.meters import BottomTest, MeterTest

MOST_SHEETS, MOST_MB = 160, 96
"""Sheets and sweeps whose findings are held, some 0.4 MB each, and what all those of sheets may take.

A piece needs those of all its tests at once: with fewer places than tests each one pushes out the next to be asked for.
Of a sheet that is read on only the newest state is held: who asks for an older one comes late.
"""

# What speaks of a piece: the sheets and sweeps kept of it, each judged once for as long as it stays the same


@dataclass(frozen=True, slots=True)
class SheetTexts:
    """A sheet as texts: hashable, so that what it says can be remembered.

    ``rows`` number its readings; ``place`` tells it from other sheets whatever its readings, "" where nothing does.
    """

    text: str
    files: tuple[tuple[str, str], ...]
    own: str
    rows: tuple[int, ...]
    place: str = field(default="", compare=False)

    def sheet(self) -> BenchSheet:
        """Return it as a noun."""
        return nouns.noun_of_sheet(self.text, dict(self.files), _lines(self.own), self.rows)


@dataclass(frozen=True, slots=True, eq=False)
class _Tests:
    """Tests of a piece, and what they were told from."""

    kept: Mapping[str, list[KeptReading]]
    asked: tuple[Piece, tuple[Evidence, ...]]
    found: list[tuple[Evidence, OneTest]]


Said = tuple["SheetMessages", Mapping[str, Any]]
"""What a sheet says of its pieces, and at which frequencies each was looked at, in hertz."""


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """What was judged for those who read at one moment: the tests of each piece, and what each sheet says.

    It is held for as long as the moment lasts: sheets that are read on have newer findings meanwhile, which take the
    place of the older.
    """

    tests: dict[str, _Tests] = field(default_factory=dict)
    said: dict[tuple[SheetTexts, MetersKnown], Said] = field(default_factory=dict)


_OF_MOMENT: WeakKeyDictionary[Snapshot, Moment] = WeakKeyDictionary()


@dataclass(frozen=True, slots=True)
class Shelved:
    """All that speaks of pieces, read at once.

    ``sheets`` and ``sweeps`` are those not put away; ``spoken`` has the tags each sheet holds a reading of.
    """

    snapshot: Snapshot | None
    pieces: Mapping[str, Item]
    sheets: Mapping[str, Item]
    sweeps: Mapping[str, Item]
    kept: Mapping[str, list[KeptReading]]
    spoken: Mapping[str, frozenset[str]]
    own: str
    names: Names
    given: Mapping[str, SheetTexts] = field(default_factory=dict)
    """Sheets that are at hand and not kept, by the keys they have among the others."""
    texts: dict[str, SheetTexts] = field(default_factory=dict)
    """Sheets that were written as texts; what holds no cousin is written once."""
    bare: dict[str, SheetTexts] = field(default_factory=dict)
    """The same without their readings."""
    marks: dict[str, Any] = field(default_factory=dict)
    """What answers rest on, as it was worked out on a day."""
    sums: dict[str, str] = field(default_factory=dict)
    """The digest of each sheet and its own readings, as far as somebody asked."""
    speaking: dict[str, tuple[Evidence, ...]] = field(default_factory=dict)
    """What speaks of each piece, as far as somebody asked."""
    moment: Moment = field(default_factory=Moment)
    """What was judged for whoever reads at this moment."""

    @classmethod
    def of(cls, snapshot: Snapshot) -> Shelved:
        """Read it, or take what was read where nothing was written since."""
        now = kept(snapshot)
        moment = _OF_MOMENT.setdefault(snapshot, Moment())
        return replace(now.once("shelf", lambda: cls._of(now)), snapshot=snapshot, moment=moment)

    @classmethod
    def _of(cls, now: AllKept) -> Shelved:
        pieces = now.every("piece")
        names = names_now(pieces)
        sheets = {i.key: _anew(i, names) for i in now.every("sheet", archived=False)}
        rows = {key: _readings_of(now, key, names) for key in sheets}
        lines = [dict(i.body) for i in now.every("line", archived=False)]
        return cls(
            None,
            {i.key: i for i in pieces},
            sheets,
            {i.key: _anew(i, names) for i in now.every("sweep", archived=False)},
            rows,
            {key: _spoken(sheet, rows[key]) for key, sheet in sheets.items()},
            toml_text({"line": lines}) if lines else "",
            names,
        )

    def followed_by(self, now: AllKept, touched: Sequence[str]) -> Shelved:
        """Return the same once readings came to some sheets."""
        new = {key: _readings_of(now, key, self.names) for key in touched if key in self.sheets}
        return replace(
            self,
            kept={**self.kept, **new},
            spoken={**self.spoken, **{key: _spoken(self.sheets[key], rows) for key, rows in new.items()}},
            texts={key: found for key, found in self.texts.items() if key not in new},
            marks={},
            sums={key: found for key, found in self.sums.items() if key not in new},
            speaking={},
        )

    def listed(self, *, archived: bool) -> list[Item]:
        """Return the pieces on the shelf by tag, or those put away."""
        return [i for i in self.pieces.values() if i.archived == archived]

    def nouns(self, chosen: Sequence[Item]) -> tuple[Piece, ...]:
        """Return pieces as nouns."""
        return nouns.pieces_of([i.body for i in chosen], _lines(self.own))

    def on_hand(self) -> dict[str, Piece]:
        """Return the pieces that are not put away, by tag; one that has another tag now by its old ones as well."""
        chosen = [i for i in self.pieces.values() if not i.archived]
        found = {piece.tag: piece for piece in self.nouns(chosen)}
        return {old: found[new] for old, new in self.names.pieces.items() if new in found} | found

    def evidence(self, tag: str) -> tuple[Evidence, ...]:
        """Return what speaks of a piece, oldest first."""
        if tag not in self.speaking:
            found = [_of_sheet(i, len(self.kept[k])) for k, i in self.sheets.items() if self.speaks(k, tag)]
            found += [_of_sweep(i) for i in self.sweeps.values() if i.body["piece"] == tag]
            self.speaking[tag] = tuple(sorted(found, key=lambda e: (e.measured_on, e.kind, e.key)))
        return self.speaking[tag]

    def speaks(self, key: str, tag: str) -> bool:
        """Return whether a sheet holds a reading of a piece."""
        return tag in self.spoken[key]

    def written(self, key: str, cousin: Item | None = None) -> SheetTexts:
        """Return a sheet as texts; ``cousin`` is a piece of a stock it speaks of, put beside the others."""
        if key in self.given:
            return self.given[key]
        if cousin is None and key in self.texts:
            return self.texts[key]
        sheet, kept = self.sheets[key], self.kept[key]
        text, files = nouns.sheet_texts(self.reading, sheet, kept)
        if self.names.pieces:
            files = {n: self.names.rows(t) if n.lower().endswith(".csv") else t for n, t in files.items()}
        if cousin is not None:
            tables = parse_toml(text, key)
            told = {k: v for k, v in cousin.body.items() if k in nouns.PIECE_KEYS}
            text = toml_text(tables | {"piece": [*tables.get("piece", []), told]})
        place = key if cousin is None else f"{key}\n{cousin.key}"
        found = SheetTexts(text, tuple(files.items()), self.own, tuple(r.number for r in kept), place)
        if cousin is None:
            self.texts[key] = found
        return found

    def before(self, key: str) -> SheetTexts:
        """Return a sheet as texts without its readings: the same for as long as nothing but readings come."""
        if key in self.given:
            return self.given[key]
        if key not in self.bare:
            text, files = nouns.sheet_texts(self.reading, self.sheets[key], ())
            self.bare[key] = SheetTexts(text, tuple(files.items()), self.own, ())
        return self.bare[key]

    @property
    def reading(self) -> Snapshot:
        """The snapshot that kept files are read from."""
        assert self.snapshot is not None, "what is held between two readings reads no files"
        return self.snapshot

    def judge_by_stock(self, tag: str) -> str | None:
        """Return the newest sheet that holds readings of another piece of the same stock."""
        stock = self.pieces[tag].body.get("stock")
        if stock is None:
            return None
        spoken = [
            (i.body["measured_on"], key)
            for key, i in self.sheets.items()
            for p in i.body["sheet"].get("piece", ())
            if p.get("stock") == stock and p["tag"] != tag and self.speaks(key, p["tag"])
        ]
        return max(spoken)[1] if spoken else None

    def sweep_texts(self, chosen: Sequence[Evidence]) -> tuple[tuple[str, bytes, str], ...]:
        """Return sweeps as (file name, bytes, far end)."""
        found = []
        for e in chosen:
            body = self.sweeps[e.key].body
            file = body["files"][0]
            found.append((file["name"], blobs.content(self.reading, file["sha256"]), body["far_end"]))
        return tuple(found)


def with_sheet(shelf: Shelved, key: str, day: str, written: SheetTexts, rows: Sequence[KeptReading]) -> Shelved:
    """Return a shelf on which one more sheet speaks, of a day, as if it were kept."""
    body = {"title": key, "measured_on": day, "sheet": parse_toml(written.text, key), "files": []}
    item = _anew(Item("sheet", key, body, 1, False, ""), shelf.names)
    kept = [replace(r, cells=shelf.names.anew(r.cells)) for r in rows]
    return replace(
        shelf, sheets={**shelf.sheets, key: item}, kept={**shelf.kept, key: kept},
        spoken={**shelf.spoken, key: _spoken(item, kept)}, given={**shelf.given, key: written},
        texts=dict(shelf.texts), marks={}, sums={}, speaking={}, moment=Moment(),
    )  # fmt: skip


def _readings_of(now: AllKept, key: str, names: Names) -> list[KeptReading]:
    """Return the readings of a sheet as they stand, pieces called as they are now."""
    found = [r for r in readings.standing(now.rows(key)) if r.cells is not None]
    return [replace(r, cells=names.anew(r.cells)) for r in found] if names.pieces else found


def _anew(item: Item, names: Names) -> Item:
    """Return a sheet or sweep with the pieces it speaks of called as they are now."""
    return replace(item, body=names.anew(item.body)) if names.pieces else item


def _spoken(sheet: Item, kept: Sequence[KeptReading]) -> frozenset[str]:
    """Return the pieces a sheet holds a reading of."""
    tables = sheet.body["sheet"]
    here = {" ".join(str(p["tag"]).split()) for p in tables.get("piece", ())}
    one_end = tables.get("one_end", ())
    if isinstance(one_end, Mapping):
        return frozenset(here)
    read = {tag for r in kept for tag in _tags(r)} | {entry.get("piece") for entry in one_end}
    return frozenset(here & read)


def _tags(reading: KeptReading) -> list[str]:
    return [" ".join(t.split()) for t in (reading.cells or {}).get("path", "").split("+")]


def _of_sheet(item: Item, many: int) -> Evidence:
    one_end = item.body["sheet"].get("one_end", ())
    many += len(one_end) if isinstance(one_end, list) else 0
    return Evidence("sheet", item.key, item.body["measured_on"], _readings(item.body["title"], many))


def _of_sweep(item: Item) -> Evidence:
    body = item.body
    return Evidence("sweep", item.key, body["measured_on"], _swept(body["files"][0]["name"], body["far_end"]))


def _readings(title: str, many: int) -> str:
    return say("{title}, {many} readings", title=title, many=many)


def _swept(file: str, far_end: str) -> str:
    if far_end == "through":
        return say("{file}, through it", file=file)
    return say("{file}, far end {end}", file=file, end=say(far_end))


@lru_cache(maxsize=8)
def _lines(own: str) -> tuple[LineType, ...]:
    return nouns.lines_of(parse_toml(own, "lines")["line"]) if own else ()


def _newest_of(written: SheetTexts, known: MetersKnown | None = None) -> tuple[str, bool] | None:
    """Return where the newest finding of a sheet takes the place of the one before; judged by itself it has another."""
    return (written.place, known == MetersKnown()) if written.place else None


@once(MOST_SHEETS, most_mb=MOST_MB, place=_newest_of)
def _messages(written: SheetTexts, known: MetersKnown) -> Said:
    """Return what a sheet says when so much is known of its meters, and where it looked."""
    from linewright.inference.bench.pieces import messages_of

    sheet = known.on(written.sheet())
    return messages_of(sheet), looked_at(sheet)


def _said(shelf: Shelved, key: str) -> Said:
    """Return what a sheet says as it stands at this moment, judged once for it."""
    asked = shelf.written(key), _known_in(shelf, key)
    if asked not in shelf.moment.said:
        shelf.moment.said[asked] = _messages(*asked)
    return shelf.moment.said[asked]


class HeardSession(NamedTuple):
    """A session that somebody else judges, as the shelf would ask what it says of its pieces."""

    key: str
    written: SheetTexts
    known: MetersKnown

    @classmethod
    def of(cls, ledger: Ledger, session: Item, sheet: BenchSheet, kept: Sequence[KeptReading]) -> HeardSession | None:
        """Return that of a session with these readings, kept or imagined; None where the shelf reads it otherwise."""
        with ledger.reads() as snapshot:
            shelf = Shelved.of(snapshot)
            if shelf.names.pieces or shelf.sheets.get(session.key) != session:
                return None
            known = MetersKnown(sheet.known_exponents, sheet.known_bottoms)
            if known != _known_in(shelf, session.key):
                return None
            text, files = nouns.sheet_texts(snapshot, session, kept)
        rows = tuple(r.number for r in kept)
        return cls(session.key, SheetTexts(text, tuple(files.items()), shelf.own, rows, session.key), known)

    def heard(self, ledger: Ledger, sheet: BenchSheet, said: SheetMessages) -> bool:
        """Take what the session says, so that it is not judged again; return False where it stands otherwise by now."""
        with ledger.reads() as snapshot:
            shelf = Shelved.of(snapshot)
            if self.key not in shelf.sheets or shelf.written(self.key) != self.written:
                return False
        _messages.learn((said, looked_at(sheet)), self.written, self.known)
        return True


@once(1024, place=_newest_of)
def _shown(written: SheetTexts) -> tuple[tuple[MeterTest, ...], tuple[BottomTest, ...]]:
    """Return what a sheet shows of its meters by itself, its day left open: little, so that many are remembered.

    Their exponents, and the bottoms of their scales.
    """
    from linewright.inference.history.meters import BottomTest, meter_tests

    said = _messages(written, MetersKnown())[0]
    bottoms = (BottomTest(0.0, b.meter, b.frequency_hz, b.asleep, b.awake_db, b.usual_db) for b in said.bottoms)
    return tuple(meter_tests(0.0, said.exponents)), tuple(bottoms)


@once(MOST_SHEETS)
def _before(written: SheetTexts) -> Mapping[str, Belief]:
    """Return what was believed of a sheet's pieces before its readings."""
    from linewright.inference.bench.pieces import beliefs_of

    return beliefs_of(replace(written.sheet(), readings=(), one_end=()))


# What other sessions showed of a session's meters


@dataclass(frozen=True, slots=True)
class MetersKnown:
    """What is known of meters: exponents, and bottoms of scales, of each on each band that was shown."""

    exponents: tuple[KnownExponent, ...] = ()
    bottoms: tuple[KnownBottom, ...] = ()

    def on(self, sheet: BenchSheet) -> BenchSheet:
        """Return a sheet whose meters are known so."""
        return replace(sheet, known_exponents=self.exponents, known_bottoms=self.bottoms)


def meters_known(shelf: Shelved, names: Iterable[str], day: str) -> MetersKnown:
    """Return what sessions before a day showed of meters."""
    from linewright.inference.history.meters import known_bottoms, known_exponents

    exponents, bottoms = meter_tests_before(shelf, names, day)
    return MetersKnown(known_exponents(exponents, year_of(day)), known_bottoms(bottoms, year_of(day)))


def meter_tests_before(
    shelf: Shelved, names: Iterable[str], day: str | None
) -> tuple[list[MeterTest], list[BottomTest]]:
    """Return what every session before a day (None: every session) says of meters: of exponents and of bottoms."""
    wanted = set(names)
    exponents: list[MeterTest] = []
    bottoms: list[BottomTest] = []
    for key in telling_sheets(shelf.sheets, wanted, day):
        if shelf.kept[key]:
            year = year_of(shelf.sheets[key].body["measured_on"])
            shown, asleep = _shown(shelf.written(key))
            exponents += [replace(t, year=year, source=key) for t in shown if t.meter in wanted]
            bottoms += [replace(t, year=year, source=key) for t in asleep if t.meter in wanted]
    return exponents, bottoms


def telling_sheets(sheets: Mapping[str, Item], names: Iterable[str], day: str | None) -> list[str]:
    """Return the sheets before a day that may show how one of some meters reads."""
    wanted = set(names)
    return [key for key, here, on in tellers(sheets) if wanted & here and (day is None or on < day)]


def tellers(sheets: Mapping[str, Item]) -> list[tuple[str, set[str], str]]:
    """Return the sheets that may show how a meter reads, each with its meters and its day.

    Only a session with a known step, an attenuator, or with a second meter beside one can show an exponent.
    """
    return [
        (key, here, item.body["measured_on"])
        for key, item in sorted(sheets.items())
        if len(here := meters_of(item)) > 1 or (here and item.body["sheet"].get("attenuator"))
    ]


def meters_of(sheet: Item) -> set[str]:
    """Return the names of a session's meters."""
    return {" ".join(str(m["name"]).split()) for m in sheet.body["sheet"].get("meter", ())}


def with_known_meters(snapshot: Snapshot, item: Item, sheet: BenchSheet) -> BenchSheet:
    """Return the sheet of a session with what earlier sessions of the ledger showed of its meters."""
    day, names = item.body.get("measured_on"), {m.name for m in sheet.meters}
    earlier = {i.key: i for i in kept(snapshot).every("sheet", archived=False) if i.key != item.key}
    if day is None or not telling_sheets(earlier, names, day):
        return sheet
    return meters_known(Shelved.of(snapshot), names, day).on(sheet)


def _known_in(shelf: Shelved, key: str) -> MetersKnown:
    """Return what earlier sessions showed of the meters of a session."""
    sheet = shelf.sheets[key]
    return meters_known(shelf, meters_of(sheet), sheet.body["measured_on"])


def _sweeps_asked(piece: tuple[str, str], texts: tuple[tuple[str, bytes, str], ...]) -> tuple[object, ...]:
    return piece, tuple((name, hashlib.sha256(content).digest(), end) for name, content, end in texts)


@once(MOST_SHEETS, key=_sweeps_asked)
def _sweep_beliefs(piece: tuple[str, str], texts: tuple[tuple[str, bytes, str], ...]) -> tuple[tuple[Belief, Any], ...]:
    from linewright.core.nouns.station import SweepEvidence
    from linewright.files.touchstone import read_touchstone_text

    whole, (body, own) = [], piece
    (noun,) = nouns.pieces_of([parse_toml(body, "piece")], _lines(own))
    for name, content, end in texts:
        sweep = read_touchstone_text(content, name)
        ports = sweep.ports if end == "through" else 1
        cut = replace(sweep, s=sweep.s[:, :ports, :ports], reference_ohm=sweep.reference_ohm[:ports])
        whole.append(SweepEvidence(noun.tag, cut, end))  # type: ignore[arg-type]
    return tuple(sweep_beliefs(noun, whole))


def tests_of(shelf: Shelved, piece: Piece, evidence: Sequence[Evidence]) -> list[tuple[Evidence, OneTest]]:
    """Return every test of a piece with what it says, oldest first; sweeps from one end of one day go together.

    A session is judged with what earlier sessions showed of its meters.
    """
    asked = piece, tuple(evidence)
    known = shelf.moment.tests.get(piece.tag)
    if known is None or known.kept is not shelf.kept or known.asked != asked:
        known = shelf.moment.tests[piece.tag] = _Tests(shelf.kept, asked, _tests_of(shelf, *asked))
    return list(known.found)


def _tests_of(shelf: Shelved, piece: Piece, evidence: Sequence[Evidence]) -> list[tuple[Evidence, OneTest]]:
    from linewright.core.nouns.belief import OneTest

    found: list[tuple[Evidence, OneTest]] = []
    for e in evidence:
        if e.kind == "sheet":
            said, looked = _said(shelf, e.key)
            if not len(looked[piece.tag]) or piece.tag not in said.losses:
                continue
            frequencies_hz, *log_loss = said.losses[piece.tag]
            now, before = said.beliefs[piece.tag], _before(shelf.before(e.key))[piece.tag]
            found.append((e, OneTest(
                year_of(e.measured_on), frequencies_hz, replace(now, piece=piece), replace(before, piece=piece),
                (log_loss[0], log_loss[1]), now.piece.length_m, now.piece.connectors, _meters(said, frequencies_hz),
                beside := _beside(said, piece), tuple(_elsewhere(shelf, piece.tag, e, beside)), said.doubts[piece.tag],
            )))  # fmt: skip
    for group in _together([e for e in evidence if e.kind == "sweep"], shelf):
        for belief, looked in _sweep_beliefs(_own_texts(shelf, piece.tag), shelf.sweep_texts(group)):
            found.append((group[-1], OneTest(year_of(group[-1].measured_on), looked, replace(belief, piece=piece))))
    return sorted(found, key=lambda pair: (pair[1].year, pair[0].key))


def _meters(said: SheetMessages, frequencies_hz: Floats) -> tuple[int, ...]:
    """Return how many living meters a session had on each band."""
    return tuple(sum(bool(f == at) for _, at, *_ in said.exponents) for f in frequencies_hz)


def _beside(said: SheetMessages, piece: Piece) -> tuple[Beside, ...]:
    """Return what a session says of the pieces beside one; those of its own stock would count its readings twice."""
    from linewright.core.nouns.belief import Beside

    pieces = {tag: belief.piece for tag, belief in said.beliefs.items()}
    mine = pieces[piece.tag].stock_name
    return tuple(
        Beside(tag, pieces[tag].length_m, *told) for tag, told in said.losses.items() if pieces[tag].stock_name != mine
    )


MOST_OF_ONE = 6
"""So many tests of each piece beside another are heard, the newest."""


def neighbours(shelf: Shelved, tag: str, sheet: Evidence) -> Iterator[tuple[str, Evidence]]:
    """Yield what spoke before a sheet of a piece of the others on that sheet, but not of the piece.

    Sweeps up to its day, sheets of days before: those of one day are read on together, and each reading of one would
    have all the others judged anew.
    """
    day = sheet.measured_on
    for other in sorted(shelf.spoken[sheet.key] - {tag}):
        known = [e for e in shelf.evidence(other) if e.measured_on <= day]
        through = [e for e in known if e.kind == "sweep" and shelf.sweeps[e.key].body["far_end"] == "through"]
        earlier = [e for e in known if e.kind == "sheet" and e.measured_on < day and not shelf.speaks(e.key, tag)]
        without = [e for e in known if e in through or e in earlier]
        yield from ((other, e) for e in without[-MOST_OF_ONE:])


def _elsewhere(shelf: Shelved, tag: str, sheet: Evidence, beside: Sequence[Beside]) -> Iterator[Elsewhere]:
    """Yield what other tests up to the day of a session say of the pieces that lay beside one."""
    import numpy as np

    from linewright.core.nouns.belief import Beside, Elsewhere
    from linewright.verbs.combine import log_loss_of

    at_hz = {b.tag: b.frequencies_hz for b in beside}
    sheets: dict[str, list[str]] = {}
    for other, e in neighbours(shelf, tag, sheet):
        if other not in at_hz:
            continue
        if e.kind == "sheet":
            sheets.setdefault(e.key, []).append(other)
            continue
        for belief, _ in _sweep_beliefs(_own_texts(shelf, other), shelf.sweep_texts([e])):
            told = Beside(other, belief.piece.length_m, at_hz[other], *log_loss_of(belief, at_hz[other]))
            yield Elsewhere(f"sweep {e.key}", year_of(e.measured_on), "sweep", at_hz[other], (), (told,))
    for key, tags in sheets.items():
        said, _ = _said(shelf, key)
        told_of = [Beside(t, said.beliefs[t].piece.length_m, *said.losses[t]) for t in tags if t in said.losses]
        if told_of:
            f = np.unique(np.concatenate([b.frequencies_hz for b in told_of]))
            day = shelf.sheets[key].body["measured_on"]
            yield Elsewhere(f"sheet {key}", year_of(day), "bench", f, _meters(said, f), tuple(told_of))


def _own_texts(shelf: Shelved, tag: str) -> tuple[str, str]:
    """Return a piece as text, and the person's line types."""
    return toml_text({k: v for k, v in shelf.pieces[tag].body.items() if k in nouns.PIECE_KEYS}), shelf.own


def _together(sweeps: Sequence[Evidence], shelf: Shelved) -> list[list[Evidence]]:
    """Return sweeps that are read together: each through by itself, open and short of one day as a pair."""
    groups: list[list[Evidence]] = []

    def end(e: Evidence) -> str:
        return str(shelf.sweeps[e.key].body["far_end"])

    def fits(e: Evidence, group: list[Evidence]) -> bool:
        alone = {"through", end(e)}
        return group[0].measured_on == e.measured_on and alone.isdisjoint(map(end, group))

    for e in sweeps:
        pair = next((g for g in groups if fits(e, g)), None)
        if end(e) == "through" or pair is None:
            groups.append([e])
        else:
            pair.append(e)
    return groups


def by_stock(shelf: Shelved, piece: Piece) -> tuple[str, Belief] | None:
    """Return what the rest of its stock lets one believe of a piece nobody measured, and from which sheet."""
    key = shelf.judge_by_stock(piece.tag)
    if key is None:
        return None
    present = [" ".join(str(p["tag"]).split()) for p in shelf.sheets[key].body["sheet"].get("piece", ())]
    cousin = None if piece.tag in present else shelf.pieces[piece.tag]
    said, _ = _messages(shelf.written(key, cousin), _known_in(shelf, key))
    return key, replace(said.beliefs[piece.tag], piece=piece)


def prepared(shelf: Shelved, tags: Sequence[str]) -> Iterator[float]:
    """Judge every sheet that speaks of pieces, so that what they say together is at hand; yield the share done."""
    sheets = list(dict.fromkeys(e.key for tag in tags for e in shelf.evidence(tag) if e.kind == "sheet"))
    for done, key in enumerate(sheets):
        yield done / len(sheets)
        _said(shelf, key)


def year_of(day: str) -> float:
    """Return a day, "2026-04-02", in years."""
    return 1.0 + date.fromisoformat(day).toordinal() / 365.2425
