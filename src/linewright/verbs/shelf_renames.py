"""A piece under a new tag: what was written under the old one stays as it was, and speaks of the same piece."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import field
from itertools import zip_longest
from typing import Any

from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.ledger import Item
from linewright.files.tables import no_formula, with_formula
from linewright.store import items
from linewright.store.ledger import Ledger, Snapshot
from linewright.verbs import shelf_nouns as nouns
from linewright.verbs.shelf_open import By, writing

NOW = By()
FORMERLY = "formerly"
"""The field of a piece that lists the tags it had before."""


@dataclass(frozen=True, slots=True)
class Names:
    """New names by the old ones."""

    pieces: Mapping[str, str] = field(default_factory=dict)
    lines: Mapping[str, str] = field(default_factory=dict)

    def of(self, key: str, text: str) -> str:
        """Return a text as it reads under the new names, by the key it stands under in a file.

        >>> names = Names({"blue 7": "drum end"})
        >>> names.of("path", "blue 7+black 20"), names.of("tag", "blue  7"), names.of("note", "blue 7")
        ('drum end+black 20', 'drum end', 'blue 7')
        """
        if key in ("tag", "piece", "pieces", "path"):
            parts = [" ".join(part.split()) for part in text.split("+")]
            return "+".join(self.pieces.get(part, part) for part in parts) if set(parts) & set(self.pieces) else text
        return self.lines.get(text, text) if key == "line" else text

    def anew(self, value: Any, key: str = "") -> Any:
        """Return plain data under the new names, however deep they stand."""
        if isinstance(value, Mapping):
            return {k: self.anew(v, k) for k, v in value.items()}
        if isinstance(value, list | tuple):
            return [self.anew(v, key) for v in value]
        return self.of(key, value) if isinstance(value, str) else value

    def rows(self, text: str) -> str:
        r"""Return a CSV text under the new names, without its remarks.

        >>> print(Names({"blue 7": "mast"}).rows("piece,swr\nblue 7,9\n# windy\nblack 20,4\n"), end="")
        piece,swr
        mast,9
        black 20,4
        """
        headings: list[str] = []
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        for row in csv.reader(io.StringIO(text)):
            if not row or row[0].startswith("#"):
                continue
            keys = headings or [""] * len(row)
            pairs = zip_longest(keys, row[: len(keys)], fillvalue="")
            writer.writerow([no_formula(self.of(key, with_formula(cell))) for key, cell in pairs])
            headings = headings or [h.strip() for h in row]
        return out.getvalue()


def former(item: Item) -> tuple[str, ...]:
    """Return the tags a piece had before, the oldest first."""
    return tuple(item.body.get(FORMERLY, ()))


def names_now(pieces: Sequence[Item]) -> Names:
    """Return what pieces are called now by what they were called before."""
    return Names({old: piece.key for piece in pieces for old in former(piece)})


def called_now(ledger: Ledger, tag: str) -> str:
    """Return what a piece is called now that had this tag; the tag itself if nothing had it."""
    with ledger.reads() as snapshot:
        if items.find(snapshot, "piece", tag) is not None:
            return tag
        return names_now(items.every(snapshot, "piece")).pieces.get(tag, tag)


def free(snapshot: Snapshot, tag: str, but: str = "") -> None:
    """Refuse a tag that another piece has or had: what was measured under it would speak of two.

    Raises
    ------
    InputError
        If it is taken.
    """
    for piece in items.every(snapshot, "piece"):
        if piece.key != but and tag in (piece.key, *former(piece)):
            whose = "is kept already" if tag == piece.key else f"is a former tag of {piece.key}"
            raise InputError(
                "tag", say("must be new; {tag} {whose}", tag=repr(tag), whose=whose), cure=say("Choose another.")
            )


def rename(ledger: Ledger, tag: str, new: str, *, expect: int | None = None, by: By = NOW) -> Item:
    """Give a piece another tag. Its tests, notes and history stay its own, under both.

    Parameters
    ----------
    tag, new : str
        The old tag and the new one.

    Returns
    -------
    Item
        The piece under its new tag.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    InputError
        If the new tag breaks a rule, or another piece has it or had it.
    ConflictError
        If the piece stands at another version than ``expect``.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     rename(ledger, "blue 7", "blue 7a").key
    'blue 7a'
    """
    with writing(ledger, by) as w:
        old = items.needed(w.connection, "piece", tag)
        key, body = nouns.checked_piece({**old.body, "tag": new}, nouns.own_lines_of(w.connection))
        if key == tag:
            return old
        free(w.connection, key, but=tag)
        return items.rename(
            w, "piece", tag, key, {**body, FORMERLY: [t for t in (*former(old), tag) if t != key]}, expect=expect
        )
