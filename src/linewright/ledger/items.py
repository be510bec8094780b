"""Items: looked up, written, put away and brought back; each change with what stood before it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from sqlalchemy import Connection, Row, insert, select, update

from linewright.errors import UnknownNameError
from linewright.ledger.schema import change, item
from linewright.ledger.store import Writing, parsed, written
from linewright.model.ledger import Body, ConflictError, Item, Kind


def find(connection: Connection, kind: Kind, key: str) -> Item | None:
    """Return an item, archived or not; None if there is none."""
    row = connection.execute(select(item).where(item.c.kind == kind, item.c.key == key)).one_or_none()
    return None if row is None else _item(row)


def needed(connection: Connection, kind: Kind, key: str) -> Item:
    """Return an item that must be there.

    Raises
    ------
    UnknownNameError
        If it is not; the message names what is near.
    """
    found = find(connection, kind, key)
    if found is None:
        from difflib import get_close_matches

        keys = [i.key for i in every(connection, kind)]
        near = get_close_matches(key, keys, 3, 0.5) or keys[:5]
        cure = f"There is {', '.join(near)}." if near else f"No {kind} is kept yet."
        raise UnknownNameError(kind, f"must be one that is kept; got {key!r}", cure=cure)
    return found


def every(connection: Connection, kind: Kind, *, archived: bool | None = None) -> list[Item]:
    """Return all items of a kind by key; with ``archived``, only those put away or only those not."""
    asked = select(item).where(item.c.kind == kind)
    if archived is not None:
        asked = asked.where(item.c.archived == archived)
    # By code point, so that both databases agree.
    return sorted((_item(row) for row in connection.execute(asked)), key=lambda i: i.key)


def put(w: Writing, kind: Kind, key: str, body: Mapping[str, Any], *, expect: int | None = None) -> Item:
    """Write an item. With ``expect``, only over that version; 0 stands for a new one.

    Raises
    ------
    ConflictError
        If another version stands there; it tells both sides.
    """
    return _write(w, kind, key, body, None, expect)


def archive(w: Writing, kind: Kind, key: str, *, away: bool = True, expect: int | None = None) -> Item:
    """Put an item away, or bring it back."""
    return _write(w, kind, key, needed(w.connection, kind, key).body, away, expect)


def rename(w: Writing, kind: Kind, key: str, new: str, body: Mapping[str, Any], *, expect: int | None = None) -> Item:
    """Write an item under another key, one nobody has; the change of both is one.

    Raises
    ------
    ConflictError
        If it stands at another version than expected.
    """
    old = needed(w.connection, kind, key)
    if expect is not None and expect != old.version:
        raise ConflictError(f"{kind} {key}", body, old.body, old.version)
    found = Item(kind, new, parsed(written(body)), old.version + 1, old.archived, w.at)
    values = {"key": new, "body": written(body), "version": found.version, "changed_at": w.at}
    w.connection.execute(update(item).where(item.c.kind == kind, item.c.key == key).values(values))
    log(w, kind, new, state(old), state(found))
    return found


def set_state(w: Writing, kind: Kind, key: str, to: Body) -> Item:
    """Set an item to what a change says it was."""
    return _write(w, kind, key, to["body"], to["archived"], None)


def _write(
    w: Writing, kind: Kind, key: str, body: Mapping[str, Any], archived: bool | None, expect: int | None
) -> Item:
    old = find(w.connection, kind, key)
    if expect is not None and expect != (old.version if old else 0):
        raise ConflictError(f"{kind} {key}", body, old.body if old else None, old.version if old else 0)
    away = archived if archived is not None else old is not None and old.archived
    # What is not there is left out, so that files of any format can hold it.
    text = written({k: v for k, v in body.items() if v is not None})
    new = Item(kind, key, parsed(text), old.version + 1 if old else 1, away, w.at)
    if old and (old.body, old.archived) == (new.body, new.archived):
        return old
    values = {"body": text, "version": new.version, "archived": away, "changed_at": w.at}
    if old:
        w.connection.execute(update(item).where(item.c.kind == kind, item.c.key == key).values(values))
    else:
        w.connection.execute(insert(item).values(kind=kind, key=key, **values))
    log(w, kind, key, state(old), state(new))
    return new


def state(found: Item | None) -> Body | None:
    """Return what a change says of an item."""
    return None if found is None else {"body": found.body, "archived": found.archived}


def log(w: Writing, kind: str, key: str, before: Body | None, after: Body | None) -> None:
    """Write down a change, in the transaction that makes it."""
    was, is_now = (None if side is None else written(side) for side in (before, after))
    w.connection.execute(
        insert(change).values(at=w.at, who=w.who, kind=kind, key=key, before=was, after=is_now, note=w.note)
    )


def _item(row: Row[Any]) -> Item:
    kind = cast("Kind", row.kind)
    return Item(kind, row.key, parsed(row.body), row.version, bool(row.archived), row.changed_at)
