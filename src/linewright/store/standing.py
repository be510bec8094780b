"""All that is kept as it stands, read at once and held for as long as nothing is written.

A page of the app asks for many things of one ledger, and most of the time nobody has written since the page before. So
what was read is held beside the engine of an open ledger, told by the last change. Nothing is ever written over in the
tables of changes and readings: where only readings came since, only those are read.

What a transaction that writes has not kept yet is seen by itself alone, so it reads for itself and holds nothing.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from sqlalchemy import Connection, Engine, Row, select

from linewright.core.errors import DamagedError
from linewright.core.nouns.ledger import Item, KeptReading, Kind
from linewright.store.items import item_in, not_there, reading_in
from linewright.store.ledger import Ledger, Snapshot
from linewright.store.schema import change, item, reading

T = TypeVar("T")
Last = tuple[int, str, str]
"""The number of a change, when it was made, and its checksum: a ledger put back to an older copy has another."""
NOTHING: Last = (0, "", "")


@dataclass(slots=True, eq=False)
class AllKept:
    """All that is kept, as it stands after a change.

    A row that is damaged is told to whoever asks for its kind, or for its sheet; the rest can be read.

    Attributes
    ----------
    last : tuple
        The last change: its number, its time, its checksum.
    """

    last: Last
    _items: Mapping[str, tuple[Item, ...] | DamagedError]
    _rows: Mapping[str, tuple[KeptReading, ...] | DamagedError]
    _sheets: Mapping[int, str]
    _top: int
    _found: dict[Hashable, Any] = field(default_factory=dict)

    @property
    def number(self) -> int:
        """The number of the last change, 0 in an empty ledger."""
        return self.last[0]

    def every(self, kind: Kind, *, archived: bool | None = None) -> tuple[Item, ...]:
        """Return all items of a kind by key; with ``archived``, only those put away or only those not."""
        found = _whole(self._items.get(kind, ()))
        return found if archived is None else tuple(i for i in found if i.archived == archived)

    def find(self, kind: Kind, key: str) -> Item | None:
        """Return an item, archived or not; None if there is none."""
        return next((i for i in self.every(kind) if i.key == key), None)

    def needed(self, kind: Kind, key: str) -> Item:
        """Return an item that must be there.

        Raises
        ------
        UnknownNameError
            If it is not; the message names what is near.
        """
        found = self.find(kind, key)
        if found is None:
            raise not_there(kind, key, [i.key for i in self.every(kind)])
        return found

    def rows(self, sheet: str) -> tuple[KeptReading, ...]:
        """Return every row ever written for a sheet, in order of number and version."""
        return _whole(self._rows.get(sheet, ()))

    def once(self, name: Hashable, make: Callable[[], T]) -> T:
        """Return what was worked out of all this under a name, by whoever asked for it first."""
        if name not in self._found:
            self._found[name] = make()
        found: T = self._found[name]
        return found

    def known(self, name: Hashable) -> Any:
        """Return what was worked out under a name; None where nobody asked."""
        return self._found.get(name)

    def followed(self, last: Last, new: Iterable[Row[Any]]) -> AllKept:
        """Return what is kept once readings came, and nothing else; what was worked out of the rest may follow."""
        rows, touched, top = dict(self._rows), defaultdict(list), self._top
        for row in new:
            touched[self._sheets[row.item_id]].append(row)
            top = max(top, row.id)
        for sheet, more in touched.items():
            old = rows.get(sheet, ())
            rows[sheet] = old if isinstance(old, DamagedError) else _read(sheet, more, old)
        after = AllKept(last, self._items, rows, self._sheets, top)
        for name, found in list(self._found.items()):
            if (follow := getattr(found, "followed_by", None)) is not None:
                after._found[name] = follow(after, tuple(touched))
        return after


def _whole(found: tuple[T, ...] | DamagedError) -> tuple[T, ...]:
    if isinstance(found, DamagedError):
        raise found
    return found


_HELD: WeakKeyDictionary[Engine, AllKept] = WeakKeyDictionary()
_READ: WeakKeyDictionary[Snapshot, AllKept] = WeakKeyDictionary()
"""What was read of each snapshot that is open: others may have written since, and hold something newer."""
_HOLDING = threading.Lock()


def kept(snapshot: Snapshot) -> AllKept:
    """Return all that is kept, from memory where nothing was written since it was read."""
    if snapshot.get_execution_options().get("writes"):
        return _all_of(snapshot, NOTHING)
    with _HOLDING:
        held, read = _HELD.get(snapshot.engine), _READ.get(snapshot)
    if read is not None:
        return read
    now = _kept(snapshot, held)
    with _HOLDING:
        _READ[snapshot] = now
    return now


def _kept(snapshot: Snapshot, held: AllKept | None) -> AllKept:
    since = _since(snapshot, held.number if held is not None else 0)
    last = _last(since[-1]) if since else NOTHING
    if held is not None and held.last == last:
        return held
    if held is not None and since and _last(since[0]) == held.last and all(row.kind == "reading" for row in since[1:]):
        new = snapshot.execute(select(reading).where(reading.c.id > held._top).order_by(reading.c.id)).all()
        now = held.followed(last, new)
    else:
        now = _all_of(snapshot, last)
    with _HOLDING:
        newer = _HELD.get(snapshot.engine)
        if newer is None or newer is held or newer.number < now.number:
            _HELD[snapshot.engine] = now
    return now


def kept_now(ledger: Ledger) -> AllKept:
    """Return the current contents of a ledger."""
    with ledger.reads() as snapshot:
        return kept(snapshot)


def _since(snapshot: Snapshot, number: int) -> Sequence[Any]:
    """Return the changes from one on, oldest first; where there is none so new, the last one."""
    asked = select(change.c.id, change.c.at, change.c.checksum, change.c.kind)
    found = snapshot.execute(asked.where(change.c.id >= number).order_by(change.c.id)).all() if number else ()
    return found or snapshot.execute(asked.order_by(change.c.id.desc()).limit(1)).all()


def _last(row: Any) -> Last:
    return (row.id, row.at, row.checksum)


def _all_of(connection: Connection, last: Last) -> AllKept:
    by_kind: dict[str, list[Row[Any]]] = defaultdict(list)
    for row in connection.execute(select(item)):
        by_kind[row.kind].append(row)
    sheets = {row.id: row.key for row in by_kind.get("sheet", ())}
    by_sheet: dict[str, list[Row[Any]]] = defaultdict(list)
    top = 0
    for row in connection.execute(select(reading)):
        by_sheet[sheets.get(row.item_id, "")].append(row)
        top = max(top, row.id)
    return AllKept(
        last,
        {kind: _items(rows) for kind, rows in by_kind.items()},
        {sheet: _read(sheet, rows) for sheet, rows in by_sheet.items()},
        sheets,
        top,
    )


def _items(rows: Iterable[Row[Any]]) -> tuple[Item, ...] | DamagedError:
    try:
        # By code point, so that both databases agree.
        return tuple(sorted((item_in(row) for row in rows), key=lambda i: i.key))
    except DamagedError as cause:
        return cause


def _read(
    sheet: str, rows: Iterable[Row[Any]], before: tuple[KeptReading, ...] = ()
) -> tuple[KeptReading, ...] | DamagedError:
    try:
        found = [*before, *(reading_in(row, sheet) for row in rows)]
    except DamagedError as cause:
        return cause
    return tuple(sorted(found, key=lambda r: (r.number, r.version)))
