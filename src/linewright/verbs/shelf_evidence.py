"""What speaks of a piece: the sheets and sweeps kept of it, each judged once for as long as it stays the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from linewright.core.messages import say
from linewright.core.nouns.ledger import Item, KeptReading
from linewright.core.nouns.shelf import Evidence
from linewright.files.toml import toml_text
from linewright.files.toml_reader import parse_toml
from linewright.store import items
from linewright.store import items as blobs
from linewright.store import items as readings
from linewright.store.ledger import Snapshot
from linewright.verbs import shelf_nouns as nouns
from linewright.verbs.beliefs import looked_at, sweep_beliefs
from linewright.verbs.once import once
from linewright.verbs.shelf_renames import Names, names_now

if TYPE_CHECKING:
    from linewright.core.nouns.belief import Belief
    from linewright.core.nouns.bench import BenchSheet, KnownExponent, Piece
    from linewright.core.nouns.line import LineType
    from linewright.inference.bench.prove import SheetMessages
    from linewright.inference.history.meters import MeterTest
    from linewright.verbs.combine import OneTest

# What speaks of a piece: the sheets and sweeps kept of it, each judged once for as long as it stays the same


@dataclass(frozen=True, slots=True)
class Written:
    """A sheet as texts: hashable, so that what it says can be remembered. ``rows`` number its readings."""

    text: str
    files: tuple[tuple[str, str], ...]
    own: str
    rows: tuple[int, ...]

    def sheet(self) -> BenchSheet:
        """Return it as a noun."""
        return nouns.noun_of_sheet(self.text, dict(self.files), _lines(self.own), self.rows)


@dataclass(frozen=True, slots=True)
class Shelved:
    """All that speaks of pieces, read at once.

    ``sheets`` and ``sweeps`` are those not put away; ``spoken`` has the tags each sheet holds a reading of.
    """

    snapshot: Snapshot
    pieces: Mapping[str, Item]
    sheets: Mapping[str, Item]
    sweeps: Mapping[str, Item]
    kept: Mapping[str, list[KeptReading]]
    spoken: Mapping[str, frozenset[str]]
    own: str
    names: Names

    @classmethod
    def of(cls, snapshot: Snapshot) -> Shelved:
        """Read it."""
        pieces = items.every(snapshot, "piece")
        names = names_now(pieces)
        sheets = {i.key: _anew(i, names) for i in items.every(snapshot, "sheet", archived=False)}
        kept: dict[str, list[KeptReading]] = {key: [] for key in sheets}
        for r in readings.standing(readings.all_of(snapshot)):
            if r.sheet in kept and r.cells is not None:
                kept[r.sheet].append(replace(r, cells=names.anew(r.cells)) if names.pieces else r)
        lines = [dict(i.body) for i in items.every(snapshot, "line", archived=False)]
        return cls(
            snapshot,
            {i.key: i for i in pieces},
            sheets,
            {i.key: _anew(i, names) for i in items.every(snapshot, "sweep", archived=False)},
            kept,
            {key: _spoken(sheet, kept[key]) for key, sheet in sheets.items()},
            toml_text({"line": lines}) if lines else "",
            names,
        )

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
        found = [_of_sheet(i, len(self.kept[k])) for k, i in self.sheets.items() if self.speaks(k, tag)]
        found += [_of_sweep(i) for i in self.sweeps.values() if i.body["piece"] == tag]
        return tuple(sorted(found, key=lambda e: (e.measured_on, e.kind, e.key)))

    def speaks(self, key: str, tag: str) -> bool:
        """Return whether a sheet holds a reading of a piece."""
        return tag in self.spoken[key]

    def written(self, key: str, cousin: Item | None = None) -> Written:
        """Return a sheet as texts; ``cousin`` is a piece of a stock it speaks of, put beside the others."""
        sheet, kept = self.sheets[key], self.kept[key]
        text, files = nouns.sheet_texts(self.snapshot, sheet, kept)
        if self.names.pieces:
            files = {n: self.names.rows(t) if n.lower().endswith(".csv") else t for n, t in files.items()}
        if cousin is not None:
            tables = parse_toml(text, key)
            told = {k: v for k, v in cousin.body.items() if k in nouns.PIECE_KEYS}
            text = toml_text(tables | {"piece": [*tables.get("piece", []), told]})
        return Written(text, tuple(files.items()), self.own, tuple(r.number for r in kept))

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
            found.append((file["name"], blobs.content(self.snapshot, file["sha256"]), body["far_end"]))
        return tuple(found)


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


@once(64)
def _messages(written: Written, known: tuple[KnownExponent, ...]) -> tuple[SheetMessages, Mapping[str, Any]]:
    """Return what a sheet says when so much is known of its meters, and where it looked."""
    from linewright.inference.bench.prove import messages_of

    sheet = replace(written.sheet(), known_exponents=known)
    return messages_of(sheet), looked_at(sheet)


@once(64)
def _before(written: Written) -> Mapping[str, Belief]:
    """Return what was believed of a sheet's pieces before its readings."""
    from linewright.inference.bench.prove import beliefs_of

    return beliefs_of(replace(written.sheet(), readings=(), one_end=()))


# What other sessions showed of a session's meters


def meters_known(shelf: Shelved, names: Iterable[str], day: str) -> tuple[KnownExponent, ...]:
    """Return what sessions before a day showed of meters: the exponent of each on each band that one was shown on."""
    from linewright.inference.history.meters import known_exponents

    return known_exponents(meter_tests_before(shelf, names, day), year_of(day))


def meter_tests_before(shelf: Shelved, names: Iterable[str], day: str | None) -> list[MeterTest]:
    """Return what every session before a day (None: every session) says of meters."""
    from linewright.inference.history.meters import meter_tests

    wanted, found = set(names), []
    for key in telling_sheets(shelf.sheets, wanted, day):
        if shelf.kept[key]:
            said = _messages(shelf.written(key), ())[0].exponents
            year = year_of(shelf.sheets[key].body["measured_on"])
            found += meter_tests(year, [e for e in said if e[0] in wanted], key)
    return found


def telling_sheets(sheets: Mapping[str, Item], names: Iterable[str], day: str | None) -> list[str]:
    """Return the sheets before a day that may show how one of some meters reads.

    Only a session with a known step, an attenuator, or with a second meter beside one can show an exponent.
    """
    wanted = set(names)
    return [
        key
        for key, item in sorted(sheets.items())
        if wanted & (here := meters_of(item))
        and (len(here) > 1 or item.body["sheet"].get("attenuator"))
        and (day is None or item.body["measured_on"] < day)
    ]


def meters_of(sheet: Item) -> set[str]:
    """Return the names of a session's meters."""
    return {" ".join(str(m["name"]).split()) for m in sheet.body["sheet"].get("meter", ())}


def with_known_meters(snapshot: Snapshot, item: Item, sheet: BenchSheet) -> BenchSheet:
    """Return the sheet of a session with what earlier sessions of the ledger showed of its meters."""
    day, names = item.body.get("measured_on"), {m.name for m in sheet.meters}
    earlier = {i.key: i for i in items.every(snapshot, "sheet", archived=False) if i.key != item.key}
    if day is None or not telling_sheets(earlier, names, day):
        return sheet
    return replace(sheet, known_exponents=meters_known(Shelved.of(snapshot), names, day))


def _known_in(shelf: Shelved, key: str) -> tuple[KnownExponent, ...]:
    """Return what earlier sessions showed of the meters of a session."""
    sheet = shelf.sheets[key]
    return meters_known(shelf, meters_of(sheet), sheet.body["measured_on"])


@once(64)
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
    from linewright.verbs.combine import OneTest

    found: list[tuple[Evidence, OneTest]] = []
    for e in evidence:
        if e.kind == "sheet":
            written = shelf.written(e.key)
            said, looked = _messages(written, _known_in(shelf, e.key))
            if not len(looked[piece.tag]) or piece.tag not in said.losses:
                continue
            frequencies_hz, *log_loss = said.losses[piece.tag]
            now, before = said.beliefs[piece.tag], _before(written)[piece.tag]
            found.append((e, OneTest(
                year_of(e.measured_on), frequencies_hz, replace(now, piece=piece), replace(before, piece=piece),
                (log_loss[0], log_loss[1]), now.piece.length_m, now.piece.connectors,
            )))  # fmt: skip
    known = toml_text({k: v for k, v in shelf.pieces[piece.tag].body.items() if k in nouns.PIECE_KEYS}), shelf.own
    for group in _together([e for e in evidence if e.kind == "sweep"], shelf):
        for belief, looked in _sweep_beliefs(known, shelf.sweep_texts(group)):
            found.append((group[-1], OneTest(year_of(group[-1].measured_on), looked, replace(belief, piece=piece))))
    return sorted(found, key=lambda pair: (pair[1].year, pair[0].key))


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
        _messages(shelf.written(key), _known_in(shelf, key))


def year_of(day: str) -> float:
    """Return a day, "2026-04-02", in years."""
    return 1.0 + date.fromisoformat(day).toordinal() / 365.2425
