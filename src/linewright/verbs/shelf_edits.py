"""Edit a station of the ledger in its drawing: all its tables, plans beside its runs, undo and redo for it alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from copy import deepcopy
from dataclasses import replace
from datetime import date
from typing import Any

from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.ledger import Body, Change, Item, Kind
from linewright.core.nouns.shelf import Kept
from linewright.core.nouns.station import Station
from linewright.files.station import read_station_text
from linewright.files.tables import decoded
from linewright.files.toml import toml_text
from linewright.store import items
from linewright.store import items as blobs
from linewright.store.ledger import Ledger
from linewright.verbs.shelf_evidence import Shelved
from linewright.verbs.shelf_filing import STATION_GEAR
from linewright.verbs.shelf_items import NOW, changes
from linewright.verbs.shelf_nouns import plain
from linewright.verbs.shelf_open import By, writing
from linewright.verbs.shelf_stations import form_text, put_station, station_of

Edit = Callable[[dict[str, Any]], Mapping[str, Any]]
LOOKED_BACK = 400
"""Changes of a station that undo and redo look back through."""


@dataclass(frozen=True, slots=True)
class StationGround:
    """What a kept station rests on besides its own tables; it holds until something else than a station is changed.

    ``station`` has every piece of the shelf with what is believed of it, ``texts`` are the files it names, ``gear`` the
    radios and antennas that are kept.
    """

    station: Station
    texts: Mapping[str, str]
    gear: Mapping[Kind, tuple[Body, ...]]


def ground_of(ledger: Ledger, name: str) -> StationGround:
    """Return what a kept station rests on.

    Raises
    ------
    UnknownNameError
        If no such station is kept.
    """
    station = station_of(ledger, name, whole=True)
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "station", name)
        texts = {
            f["name"]: decoded(blobs.content(snapshot, f["sha256"]), "file", f["name"]) for f in item.body["files"]
        }
        gear = {k: tuple(i.body for i in items.every(snapshot, k, archived=False)) for k in STATION_GEAR}
    return StationGround(station, texts, gear)


def station_on(ground: StationGround, tables: Mapping[str, Any], files: Mapping[str, str] | None = None) -> Station:
    """Return a kept station as it would be with other tables, and with files more; nothing is written.

    Raises
    ------
    InputError
        If the tables break a rule.
    """
    base = ground.station
    named = {kind: [dict(body) for body in ground.gear[kind] if _names(tables, kind, body)] for kind in STATION_GEAR}
    text = toml_text({**tables, **{kind: found for kind, found in named.items() if found}})
    try:
        read = read_station_text(text, {**ground.texts, **(files or {})}, base.lines, base.pieces)
    except InputError as error:
        raise plain(error) from error
    return replace(
        read, pieces={**base.pieces, **read.pieces}, sheets=base.sheets, sweeps=base.sweeps, evidence=base.evidence,
        beliefs=base.beliefs,
    )  # fmt: skip


def _names(tables: Mapping[str, Any], kind: str, body: Body) -> bool:
    return any(run.get(kind) == body.get("name") for run in tables.get("run", ()))


def drawn_body(ledger: Ledger, name: str) -> tuple[Item, int]:
    """Return what is kept of a station, pieces by the tags they bear now, and the last change of anything but stations.

    Raises
    ------
    UnknownNameError
        If no such station is kept.
    """
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "station", name)
        told = {**item.body, "station": Shelved.of(snapshot).names.anew(item.body["station"])}
        return replace(item, body=told), items.last_change(snapshot, besides="station")


def station_text(ledger: Ledger, name: str, *, on: date | None = None) -> str:
    """Return a kept station as the text of a file: its runs, its pieces and the line types of one's own.

    Raises
    ------
    UnknownNameError
        If no such station is kept.
    """
    with ledger.reads() as snapshot:
        return form_text(snapshot, items.needed(snapshot, "station", name), on)


def start_station(ledger: Ledger, name: str, body: Mapping[str, Any], *, by: By = NOW) -> Kept:
    """Keep a new station that no file brought: ``body`` holds its tables under ``station``.

    Raises
    ------
    InputError
        If one of this name is kept already, or its tables break a rule.
    """
    with writing(ledger, by) as w:
        old = items.find(w.connection, "station", name)
        if old is not None:
            rule = (
                say("must be new; {name} is put away", name=repr(name))
                if old.archived
                else say("must be new; {name} is kept already", name=repr(name))
            )
            raise InputError("station", rule, cure=say("Give it another name."))
        new = Item("station", name, {"files": [], **body}, 0, False, "")
        return Kept(put_station(w, new, body["station"], expect=0))


def edit_station(
    ledger: Ledger, name: str, edit: Edit, *, files: Mapping[str, bytes] | None = None, expect: int | None = None,
    by: By = NOW,
) -> Kept:  # fmt: skip
    """Change a kept station as a whole, in one step that can be undone.

    Parameters
    ----------
    name : str
        The kept station.
    edit : callable
        Takes what is kept of it, a copy, and returns what is to be kept: ``station`` holds its tables, ``plans`` the
        plans beside its runs.
    files : mapping of bytes, optional
        Files that it names from now on, by name.
    expect : int, optional
        The version it should stand at.

    Raises
    ------
    UnknownNameError
        If no such station is kept.
    InputError
        If it would break a rule.
    ConflictError
        If it stands at another version than ``expect``.

    >>> from linewright.verbs.examples import example_ledger
    >>> def renamed(body):
    ...     body["station"]["run"][0]["name"] = "tall mast"
    ...     return body
    >>> with example_ledger() as ledger:
    ...     name = "Harbour Ridge (invented)"
    ...     edit_station(ledger, name, renamed).item.body["station"]["run"][0]["name"]
    'tall mast'
    """
    with writing(ledger, by) as w:
        item = items.needed(w.connection, "station", name)
        body = dict(edit(deepcopy(dict(item.body))))
        if files:
            kept = [f for f in body["files"] if f["name"] not in files]
            body["files"] = [*kept, *({"name": n, "sha256": blobs.keep(w, c)} for n, c in files.items())]
        told = Item("station", name, body, item.version, item.archived, item.changed_at)
        return Kept(put_station(w, told, body["station"], expect=expect))


def steps_of(ledger: Ledger, name: str) -> tuple[Change | None, Change | None]:
    """Return which change of a station is the next to be undone, and which undoing the next to be taken back.

    >>> from linewright.verbs.examples import example_ledger
    >>> from linewright.verbs.shelf import change_run, undo
    >>> with example_ledger() as ledger:
    ...     name = "Harbour Ridge (invented)"
    ...     _ = change_run(ledger, "portable mast", {"power": "5 W"})
    ...     back, again = steps_of(ledger, name)
    ...     _ = undo(ledger, back.id)
    ...     back is not None, again is None, steps_of(ledger, name)[1].undoes == back.id
    (True, True, True)
    """
    found = changes(ledger, kind="station", key=name, most=LOOKED_BACK).changes
    whole = len(found) < LOOKED_BACK
    standing: list[Change] = []
    undone: list[tuple[Change, Change]] = []
    for c in reversed(found):
        if c.undoes is None:
            standing, undone = [*standing, c], []
        elif undone and c.undoes == undone[-1][1].id:
            undone.pop()
            standing.append(c)  # Done again, a change stands as the one that took its undoing back.
        elif standing and c.undoes == standing[-1].id:
            undone.append((standing.pop(), c))
    if whole and standing and standing[0].before is None:
        standing = standing[1:]  # The station itself is put away on its own page, not undone here.
    return (standing[-1] if standing else None), (undone[-1][1] if undone else None)
