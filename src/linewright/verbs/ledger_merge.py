"""An export brought into a ledger that holds things already: what is the same is skipped, nothing is written over."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import listed, say
from linewright.core.nouns.ledger import Item, KeptReading, Kind
from linewright.store import items
from linewright.store import items as blobs
from linewright.store import items as readings
from linewright.store.ledger import Ledger, Writing
from linewright.store.whole import Whole, is_empty, put_in
from linewright.verbs.ledger_files import read_export
from linewright.verbs.shelf_items import NOW
from linewright.verbs.shelf_open import By, writing
from linewright.verbs.shelf_renames import FORMERLY, Names, former, names_now

Choice = Literal["", "mine", "both"]
"""What becomes of a thing that stands here otherwise: nothing comes at all; this ledger's; both, theirs under a name
of its own."""
MOST_NAMED = 8


@dataclass(frozen=True, slots=True)
class Brought:
    """A thing of an export: its kind, its name there, and its name here ("" where it did not come)."""

    kind: Kind
    key: str
    called: str


@dataclass(frozen=True, slots=True)
class Merged:
    """What came of an import.

    Attributes
    ----------
    came : tuple of Brought
        What is new here.
    same : int
        How many things were here already, just so.
    clashed : tuple of Brought
        What stands here otherwise; ``called`` is what theirs is called here, empty where it was left out.
    """

    came: tuple[Brought, ...]
    same: int
    clashed: tuple[Brought, ...]


def merge_ledger(ledger: Ledger, path: Path | str, *, clash: Choice = "", by: By = NOW) -> Merged:
    """Bring an export into a ledger, whatever that holds. An empty one becomes the exported ledger, history and all.

    Into any other, each thing comes as one change of its own, with all of its readings and files; the export's own
    history stays in the export.

    Parameters
    ----------
    path : Path or str
        The export, a zip.
    clash : str
        What to do where a thing of that name stands here otherwise: "" refuses, "mine" keeps what is here, "both" keeps
        both.

    Returns
    -------
    Merged
        What came, and what was left as it is.

    Raises
    ------
    InputError
        If the file is no export or is damaged; if something stands here otherwise and nobody chose. Nothing came then.
    CannotError
        If a newer version of the program made it.

    >>> from linewright.verbs.examples import example_ledger
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from linewright.verbs.ledger_files import export_ledger
    >>> from linewright.verbs.shelf_open import open_ledger
    >>> with TemporaryDirectory() as place, example_ledger() as ledger:
    ...     export_ledger(ledger, Path(place) / "whole.zip")
    ...     with open_ledger(Path(place) / "new.sqlite") as new:
    ...         merge_ledger(new, Path(place) / "whole.zip").clashed
    ()
    """
    whole = read_export(Path(path))
    by = By(by.at, by.who, by.note or f"from {Path(path).name}")
    with writing(ledger, by) as w:
        if is_empty(w.connection):
            put_in(w, whole)
            return Merged(tuple(Brought(i.kind, i.key, i.key) for i in whole.items), 0, ())
        return _Merge(w, whole).done(clash)


class _Merge:
    """Two ledgers, one open for writing."""

    def __init__(self, w: Writing, theirs: Whole) -> None:
        self.w, self.theirs = w, theirs
        self.here = {
            (i.kind, i.key): i for kind in {i.kind for i in theirs.items} for i in items.every(w.connection, kind)
        }
        pieces = items.every(w.connection, "piece")
        self.tags = {tag for piece in pieces for tag in (piece.key, *former(piece))}
        self.cells_here = _cells(readings.all_of(w.connection))
        self.cells_there = _cells(theirs.readings)
        self.twins = self._found_twins()

    def done(self, clash: Choice) -> Merged:
        """Bring in what is new, and of what clashes what was chosen."""
        other = [i for i in self.theirs.items if not self._same(i) and (i.kind, i.key) not in self.twins]
        clashing = [i for i in other if self._clashes(i)]
        if clashing and not clash:
            raise _refused(clashing)
        coming = [i for i in other if clash == "both" or not self._clashes(i)]
        called = {(i.kind, i.key): self._free(i) for i in coming}
        self._bring(coming, self.twins | called)
        told = [Brought(i.kind, i.key, called.get((i.kind, i.key), "")) for i in other]
        clashed = {(i.kind, i.key) for i in clashing}
        return Merged(
            tuple(b for b in told if (b.kind, b.key) not in clashed),
            len(self.theirs.items) - len(other),
            tuple(b for b in told if (b.kind, b.key) in clashed),
        )

    def _found_twins(self) -> dict[tuple[Kind, str], str]:
        """Return what came before and stands here as it came then, by its kind and name there: its name here."""
        found: dict[tuple[Kind, str], str] = {}
        for i in sorted(self.theirs.items, key=lambda i: i.kind in ("sheet", "sweep", "station")):  # these name others
            twin = None if i.kind == "note" or self._same(i) else self._twin(i, found)
            if twin is not None:
                found[i.kind, i.key] = twin
        return found

    def _twin(self, i: Item, found: dict[tuple[Kind, str], str]) -> str | None:
        names = self._names([i for i in self.theirs.items if i.kind == "piece"], found)
        cells = [(n, None if c is None else names.anew(c)) for n, c in self.cells_there.get(i.key, [])]
        for (kind, key), mine in self.here.items():
            if kind != i.kind or not re.fullmatch(re.escape(i.key) + r"( \(\d+\))?", key):
                continue
            if mine.body == self._body(i, key, names, found) and (
                i.kind != "sheet" or self.cells_here.get(key, []) == cells
            ):
                return key
        return None

    def _same(self, i: Item) -> bool:
        if i.kind == "note":
            body = dict(i.body) | {"key": self.twins.get((i.body["kind"], i.body["key"]), i.body["key"])}
            return any(n.body in (i.body, body) for n in self.here.values() if n.kind == "note")
        mine = self.here.get((i.kind, i.key))
        same_readings = self.cells_here.get(i.key) == self.cells_there.get(i.key) or i.kind != "sheet"
        return mine is not None and mine.body == i.body and same_readings

    def _clashes(self, i: Item) -> bool:
        """Return whether a name is taken; a note has none that anybody gave it."""
        if i.kind == "note":
            return False
        return (i.kind, i.key) in self.here or (i.kind == "piece" and i.key in self.tags)

    def _free(self, i: Item) -> str:
        """Return a name that nobody has here or there: the thing's own, or with a number behind it."""
        taken = {key for kind, key in self.here if kind == i.kind} | (self.tags if i.kind == "piece" else set())
        if i.key not in taken:
            return i.key
        taken |= {other.key for other in self.theirs.items if other.kind == i.kind}
        number = 2
        while f"{i.key} ({number})" in taken:
            number += 1
        return f"{i.key} ({number})"

    def _bring(self, coming: Sequence[Item], called: dict[tuple[Kind, str], str]) -> None:
        names = self._names([i for i in coming if i.kind == "piece"], called)
        for i in coming:
            key = called[i.kind, i.key]
            for file in i.body.get("files", ()):
                blobs.keep(self.w, self.theirs.files[file["sha256"]])
            items.put(self.w, i.kind, key, self._body(i, key, names, called), expect=0)
            rows = [r for r in self.theirs.readings if i.kind == "sheet" and r.sheet == i.key]
            told = [replace(r, sheet=key, cells=None if r.cells is None else names.anew(r.cells)) for r in rows]
            readings.append_rows(self.w.connection, told)
            if i.archived:
                items.archive(self.w, i.kind, key)

    @staticmethod
    def _names(pieces: Sequence[Item], called: dict[tuple[Kind, str], str]) -> Names:
        """Return what pieces and line types are called here by what they are called there."""
        new = {key: name for (kind, key), name in called.items() if kind == "piece" and key != name}
        lines = {key: name for (kind, key), name in called.items() if kind == "line" and key != name}
        before = names_now(pieces).pieces
        return Names({old: new.get(now, now) for old, now in before.items()} | new, lines)

    def _body(self, i: Item, key: str, names: Names, called: dict[tuple[Kind, str], str]) -> dict[str, Any]:
        """Return a thing as it is written here: under its own new name, speaking of others by theirs."""
        body = dict(names.anew(i.body))
        if i.kind == "note":
            return body | {"key": called.get((i.body["kind"], i.body["key"]), i.body["key"])}
        if i.kind == "piece":
            return _known_as(body | {"tag": key}, self.tags)
        if i.kind == "station" and key != i.key:
            tables = body["station"]
            return body | {"station": tables | {"station": tables.get("station", {}) | {"name": key}}}
        if i.kind in ("attenuator", "load"):
            return body | {"tag": key}
        return body | {"name": key} if i.kind in ("meter", "line", "stock", "radio", "antenna") else body


def _known_as(body: dict[str, Any], taken: set[str]) -> dict[str, Any]:
    """Leave out former tags that speak of another piece here."""
    kept = [tag for tag in body.pop(FORMERLY, ()) if tag not in taken and tag != body["tag"]]
    return body | ({FORMERLY: kept} if kept else {})


def _cells(rows: Sequence[KeptReading]) -> dict[str, list[Any]]:
    """Return what stands in each sheet, by the number of each reading."""
    found: dict[str, list[Any]] = {}
    for r in readings.standing(sorted(rows, key=lambda r: (r.sheet, r.number, r.version))):
        found.setdefault(r.sheet, []).append((r.number, r.cells))
    return found


def _refused(clashing: Sequence[Item]) -> InputError:
    names = [f"{i.kind} {i.key}" for i in clashing[:MOST_NAMED]]
    if len(clashing) > MOST_NAMED:
        names.append(f"{len(clashing) - MOST_NAMED} more")
    rule = say("must not write over what stands here: {names} here and there differ", names=listed(names))
    return InputError("export", rule, cure=say("Choose: keep mine, or keep both, theirs under a name of its own."))
