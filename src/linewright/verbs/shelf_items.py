"""Pieces, stocks, meters, the person's own line types, and notes: kept, changed, put away, brought back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.ledger import KINDS, Body, Change, Item, Kind
from linewright.core.nouns.line import LineType
from linewright.core.nouns.shelf import Changes
from linewright.files import fields
from linewright.store import items
from linewright.store import items as blobs
from linewright.store import items as logged
from linewright.store.ledger import Ledger, Snapshot, Writing
from linewright.verbs import shelf_nouns as nouns
from linewright.verbs.shelf_open import By, writing
from linewright.verbs.shelf_renames import former, free

NOW = By()
CHECKS: Mapping[Kind, Callable[[Body, Sequence[LineType]], tuple[str, Body]]] = {
    "piece": nouns.checked_piece,
    "stock": nouns.checked_stock,
    "meter": nouns.checked_meter,
    "line": nouns.checked_line,
    "attenuator": nouns.checked_attenuator,
    "load": nouns.checked_load,
    "radio": nouns.checked_radio,
    "antenna": nouns.checked_antenna,
}
TAGGED = ("piece", "attenuator", "load")
"""What hangs on a tag; anything else has a name."""


def add(ledger: Ledger, kind: Kind, body: Body, *, by: By = NOW) -> Item:
    """Keep a new piece, stock, meter, line type, attenuator, load, radio or antenna.

    Parameters
    ----------
    kind : str
        What it is: "piece", "meter", "stock", "line", "attenuator", "load", "radio" or "antenna".
    body : mapping
        The item as files have it, quantities with their units: ``{"tag": "red 5", "length": "5 m"}``.

    Returns
    -------
    Item
        The item as it stands, with its version.

    Raises
    ------
    InputError
        If it breaks a rule, or its tag or name is taken.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     red = add(ledger, "piece", {"tag": "red 5", "line": "RG-58C/U", "length": "5 m"})
    ...     red.key, red.version
    ('red 5', 1)
    """
    with writing(ledger, by) as w:
        return put_new(w, kind, body)


def put_new(w: Writing, kind: Kind, body: Body) -> Item:
    """Keep a new item in a transaction that is open; see ``add``."""
    key, sound = _checked(kind)(body, nouns.own_lines_of(w.connection))
    old = items.find(w.connection, kind, key)
    if old is not None:
        where = "is put away: restore it" if old.archived else "is kept already: change it"
        raise InputError(
            "tag" if kind in TAGGED else "name", say("must be new; {key} {where}", key=repr(key), where=where)
        )
    if kind == "piece":
        free(w.connection, key)
    return items.put(w, kind, key, sound, expect=0)


def change(
    ledger: Ledger, kind: Kind, key: str, told: Mapping[str, Any], *, expect: int | None = None, by: By = NOW
) -> Item:
    """Change some fields of an item; a field of None is taken away. Its tag or name stays.

    Parameters
    ----------
    kind, key : str
        The item.
    told : mapping
        Fields and what they become, as files have them; a field of None is taken away.

    Returns
    -------
    Item
        The item as it stands.

    Raises
    ------
    UnknownNameError
        If there is no such item.
    ConflictError
        If it stands at another version than ``expect``.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     change(ledger, "piece", "blue 7", {"exposure": "portable"}).version
    2
    """
    with writing(ledger, by) as w:
        old = items.needed(w.connection, kind, key)
        merged = {k: v for k, v in {**old.body, **told}.items() if v is not None}
        new_key, sound = _checked(kind)(merged, nouns.own_lines_of(w.connection))
        if new_key != key:
            rule = say("stays; {key} cannot become {new_key}", key=repr(key), new_key=repr(new_key))
            cure = say("Rename it.") if kind == "piece" else say("Archive it and add another.")
            raise InputError("tag" if kind in TAGGED else "name", rule, cure=cure)
        return items.put(w, kind, key, sound, expect=expect)


def _checked(kind: Kind) -> Callable[[Body, Sequence[LineType]], tuple[str, Body]]:
    if kind not in CHECKS:
        raise InputError("kind", say("must be one of {known}; got {value}", known=", ".join(CHECKS), value=repr(kind)))
    return CHECKS[kind]


def archive(ledger: Ledger, kind: Kind, key: str, *, expect: int | None = None, by: By = NOW) -> Item:
    """Put an item away: out of every list, its evidence no longer counted, nothing wiped out.

    Parameters
    ----------
    kind, key : str
        The item.

    Returns
    -------
    Item
        The item, marked as archived.

    Raises
    ------
    UnknownNameError
        If there is no such item.
    ConflictError
        If it stands at another version than ``expect``.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     archive(ledger, "piece", "blue 18").archived
    True
    """
    with writing(ledger, by) as w:
        return items.archive(w, kind, key, expect=expect)


def restore(ledger: Ledger, kind: Kind, key: str, *, expect: int | None = None, by: By = NOW) -> Item:
    """Bring an item back that was put away.

    Parameters
    ----------
    kind, key : str
        The item.

    Returns
    -------
    Item
        The item, no longer marked as archived.

    Raises
    ------
    UnknownNameError
        If there is no such item.
    ConflictError
        If it stands at another version than ``expect``.

    >>> from linewright.verbs.examples import example_ledger
    >>> from linewright.verbs.shelf_items import archive
    >>> with example_ledger() as ledger:
    ...     _ = archive(ledger, "piece", "blue 18")
    ...     restore(ledger, "piece", "blue 18").archived
    False
    """
    with writing(ledger, by) as w:
        return items.archive(w, kind, key, away=False, expect=expect)


def kept(ledger: Ledger, kind: Kind, key: str) -> Item:
    """Return an item, put away or not.

    Raises
    ------
    UnknownNameError
        If there is none; the message names what is near.
    """
    with ledger.reads() as snapshot:
        return items.needed(snapshot, fields.one_of(kind, "kind", KINDS), key)


def all_kept(ledger: Ledger, kind: Kind, *, archived: bool = False) -> tuple[Item, ...]:
    """Return the items of a kind by key; with ``archived``, those put away instead."""
    with ledger.reads() as snapshot:
        return tuple(items.every(snapshot, kind, archived=archived))


def own_lines(ledger: Ledger) -> tuple[LineType, ...]:
    """Return the person's own line types."""
    with ledger.reads() as snapshot:
        return nouns.own_lines_of(snapshot)


def add_note(
    ledger: Ledger, kind: Kind, key: str, text: str, *, data: Mapping[str, Any] | None = None, by: By = NOW
) -> Item:
    """Write a note on an item.

    Parameters
    ----------
    kind, key : str
        The item the note is on.
    text : str
        The note.
    data : mapping, optional
        Kept beside the words, for whoever reads the note to go on from it.

    Returns
    -------
    Item
        The note.

    Raises
    ------
    UnknownNameError
        If there is no such item.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     add_note(ledger, "piece", "blue 7", "yellow tape at one end").body["text"]
    'yellow tape at one end'
    """
    with writing(ledger, by) as w:
        items.needed(w.connection, kind, key)
        return put_note(w, kind, key, text, data)


def put_note(w: Writing, kind: Kind, key: str, text: str, data: Mapping[str, Any] | None = None) -> Item:
    """Write a note on an item in a transaction that is open; see ``add_note``."""
    said = text.strip()
    if not said or len(said) > 10_000:
        raise InputError("note", say("must be some text, of at most 10 000 characters"))
    name = new_key(w.connection, "note", w.at[:10])
    return items.put(w, "note", name, {"kind": kind, "key": key, "text": said, "at": w.at, **(data or {})}, expect=0)


def notes_of(ledger: Ledger, kind: Kind, key: str) -> tuple[Item, ...]:
    """Return the notes on an item, oldest first."""
    with ledger.reads() as snapshot:
        item = items.find(snapshot, kind, key)
        return notes_in(snapshot, kind, key, *(former(item) if item else ()))


def notes_in(snapshot: Snapshot, kind: Kind, *keys: str) -> tuple[Item, ...]:
    """Return the notes on an item under any of its names, oldest first."""
    every = items.every(snapshot, "note", archived=False)
    found = [n for n in every if n.body["kind"] == kind and n.body["key"] in keys]
    return tuple(sorted(found, key=lambda n: n.body["at"]))


def new_key(snapshot: Snapshot, kind: Kind, wanted: str) -> str:
    """Return a key nobody has: the one wanted, or with a number behind it."""
    taken = {i.key for i in items.every(snapshot, kind)}
    number, found = 1, wanted
    while found in taken:
        number += 1
        found = f"{wanted} ({number})"
    return found


def undo(ledger: Ledger, number: int, *, by: By = NOW) -> Change:
    """Set one change back, as a change of its own; what the change made is put away.

    Parameters
    ----------
    number : int
        The change, as ``linewright shelf history`` numbers them.

    Returns
    -------
    Change
        The change that set it back.

    Raises
    ------
    UnknownNameError
        If there is no such change.
    ConflictError
        If the same thing was changed again since.

    >>> from linewright.verbs.examples import example_ledger
    >>> from linewright.verbs.shelf_items import archive
    >>> with example_ledger() as ledger:
    ...     _ = archive(ledger, "piece", "blue 18")
    ...     last = changes(ledger).changes[0]
    ...     undo(ledger, last.id).undoes == last.id
    True
    """
    with writing(ledger, by) as w:
        return logged.undo(w, number)


def changes(
    ledger: Ledger, *, kind: str | None = None, key: str | None = None, most: int | None = 50, after: int = 0
) -> Changes:
    """Return changes, newest first; those after the change of a number, if one is given."""
    with ledger.reads() as snapshot:
        return Changes(tuple(logged.changes(snapshot, kind=kind, key=key, most=most, after=after)))


def file_of(ledger: Ledger, sha256: str) -> bytes:
    """Return a kept file as it came."""
    with ledger.reads() as snapshot:
        return blobs.content(snapshot, sha256)
