"""The station a ledger keeps: which one is asked about, read as a noun with all that was measured of its pieces."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from linewright.core.errors import Culprit, InputError, UnknownNameError
from linewright.core.messages import say
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.line import LineType
from linewright.core.nouns.shelf import Kept, KeptGear, KeptRun, KeptRuns, Shelf
from linewright.core.nouns.station import Station, SweepEvidence
from linewright.files.station import read_station, read_station_text
from linewright.files.tables import decoded
from linewright.files.toml import toml_text, toml_value
from linewright.store import items
from linewright.store import items as blobs
from linewright.store.ledger import Ledger, Snapshot, Writing
from linewright.verbs import shelf_nouns as nouns
from linewright.verbs.shelf_beliefs import Progress, list_shelf, measured
from linewright.verbs.shelf_evidence import Shelved, prepared
from linewright.verbs.shelf_filing import SHEET_GEAR, STATION_GEAR
from linewright.verbs.shelf_items import NOW
from linewright.verbs.shelf_open import By, today, writing

if TYPE_CHECKING:
    from linewright.core.nouns.shelf import PieceBelief

# Which station, and which of its runs, is asked about


def kept_runs(ledger: Ledger) -> KeptRuns:
    """Return the runs of every station that is not put away, as they are written.

    Returns
    -------
    KeptRuns
        A row each: station, run, bands, power, parts in words, pieces.

    Raises
    ------
    CannotError
        If the ledger cannot be read.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     [run.run for run in kept_runs(ledger).runs]
    ['portable mast']
    """
    with ledger.reads() as snapshot:
        names = Shelved.of(snapshot).names
        found = [(i.key, names.anew(i.body["station"])) for i in items.every(snapshot, "station", archived=False)]
    return KeptRuns(tuple(_kept_run(key, run) for key, tables in found for run in tables.get("run", ())))


def shelf_with_runs(
    ledger: Ledger, *, archived: bool = False, on: date | None = None, progress: Progress | None = None
) -> Shelf:
    """Return the shelf (``list_shelf``) with the runs of the stations in the ledger."""
    found = list_shelf(ledger, archived=archived, on=on, progress=progress)
    return found if archived else replace(found, runs=kept_runs(ledger).runs)


def kept_gear(ledger: Ledger) -> KeptGear:
    """Return the meters, attenuators, loads, radios and antennas that are not put away.

    Returns
    -------
    KeptGear
        A row each.

    Raises
    ------
    CannotError
        If the ledger cannot be read.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     len(kept_gear(ledger).to_dict()) > 1
    True
    """
    with ledger.reads() as snapshot:
        kinds = (*SHEET_GEAR, *STATION_GEAR)
        return KeptGear(tuple(i for kind in kinds for i in items.every(snapshot, kind, archived=False)))


def _kept_run(station: str, run: Mapping[str, Any]) -> KeptRun:
    chain = [part for part in run.get("chain", ()) if isinstance(part, Mapping)]
    pieces = tuple(_squeezed(part["piece"]) for part in chain if "piece" in part)
    at = tuple(str(f) for key in ("frequencies", "bands") for f in _several(run.get(key, ())))
    return KeptRun(station, _name_of(run), at, str(run.get("power", "")), tuple(map(_part_words, chain)), pieces)


def _several(value: Any) -> Sequence[Any]:
    return (value,) if isinstance(value, str) else value


def _part_words(part: Mapping[str, Any]) -> str:
    """Return a part of a chain as a person knows it: by its name, else by what it is and how long."""
    if "name" in part:
        return _squeezed(part["name"])
    first = _squeezed(next(iter(part.values()), ""))
    return f"{first}, {part['length']}" if "length" in part else first


def _name_of(run: Mapping[str, Any]) -> str:
    return _squeezed(run.get("name", ""))


def _squeezed(text: Any) -> str:
    return " ".join(str(text).split())


def the_station(ledger: Ledger, name: str | None = None, *, run: str | None = None) -> str:
    """Return the name of the station that is asked about.

    Parameters
    ----------
    name : str, optional
        Its name, where the ledger keeps several.
    run : str, optional
        A run of it; of several stations the one that has a run of this name is meant.

    Raises
    ------
    UnknownNameError
        If no station answers to what was named.
    InputError
        If none is kept, or several could be meant.
    """
    with ledger.reads() as snapshot:
        kept = items.every(snapshot, "station", archived=False)
        away = [i.key for i in items.every(snapshot, "station", archived=True)]
    if name is not None:
        return _named(kept, away, name)
    if not kept:
        back = f' Or bring one back: linewright shelf restore --kind station "{away[0]}".' if away else ""
        cure = say("Keep one: linewright shelf import STATION.toml.{back}", back=back)
        raise InputError(
            "station", say("must be kept first; the ledger {where} keeps none", where=ledger.where), cure=cure
        )
    fits = kept if run is None else [i for i in kept if _lower(run) in map(_lower, _run_names(i))]
    if not fits:
        raise _no_such_run(kept, str(run))
    if len(fits) > 1:
        rule = say("must be named: the ledger keeps {fits}", fits=", ".join(i.key for i in fits))
        raise InputError("station", rule, cure=say('Add --station "{key}".', key=fits[0].key))
    return fits[0].key


def _named(kept: Sequence[Item], away: Sequence[str], name: str) -> str:
    found = next((i.key for i in kept if _lower(i.key) == _lower(name)), None)
    if found is None:
        if _lower(name) in map(_lower, away):
            rule, cure = (
                say("is put away: {name}", name=repr(name)),
                say('Bring it back: linewright shelf restore --kind station "{name}".', name=name),
            )
            raise InputError("station", rule, cure=cure)
        known = ", ".join(i.key for i in kept)
        raise UnknownNameError(
            "station",
            say("must be one that is kept; got {value}", value=repr(name)),
            cure=say("There is {known}.", known=known) if known else say("None is."),
        )
    return found


def _no_such_run(kept: Sequence[Item], run: str) -> UnknownNameError:
    if _lower(run) in (_lower(i.key) for i in kept):
        cure = say('That is a station: say --station "{run}".', run=run)
    else:
        cure = " ".join(f"{i.key} has {', '.join(_run_names(i))}." for i in kept)
    return UnknownNameError(
        "run", say("must be a file, or a run of a kept station; got {value}", value=repr(run)), cure=cure
    )


def _run_names(item: Item) -> list[str]:
    return [_name_of(run) for run in item.body["station"].get("run", ())]


def _lower(text: str) -> str:
    return _squeezed(text).lower()


# A kept station as a noun: its pieces are those of the shelf, its evidence all there is


def stations(ledger: Ledger) -> tuple[Item, ...]:
    """Return the stations that are kept."""
    with ledger.reads() as snapshot:
        return tuple(items.every(snapshot, "station", archived=False))


def station_of(
    ledger: Ledger, name: str, own: Sequence[LineType] = (), *, whole: bool = False, progress: Progress | None = None
) -> Station:
    """Return a station as a noun for ``plan_station``: its pieces are those of the shelf, its evidence all there is.

    Parameters
    ----------
    own : sequence of LineType
        The person's own line types; they go before the ledger's.
    whole : bool
        Whether the pieces of the shelf that lie in none of its runs join it, to be shared out or chosen from.
    progress : callable, optional
        Called with the share done and what is being done, while what was measured of its pieces is judged.

    Raises
    ------
    UnknownNameError
        If no such station is kept.
    InputError
        If it speaks of a piece that is on the shelf no longer.
    """
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "station", name)
        shelf = Shelved.of(snapshot)
        station = _read_tables(snapshot, shelf, item, shelf.names.anew(item.body["station"]), own)
        if whole:
            on_hand = shelf.on_hand()
            station = replace(station, pieces={p.tag: p for p in (*station.pieces.values(), *on_hand.values())})
        sheets = {key: shelf.written(key).sheet() for key in shelf.sheets if shelf.kept[key]}
        known = _known(shelf, station.pieces, progress)
        evidence = (*sheets, *shelf.sweeps)
        return replace(station, sheets=sheets, sweeps=_sweeps(shelf), evidence=evidence, beliefs=known)


def read_station_beside(
    ledger: Ledger, path: Path | str, own: Sequence[LineType] = (), *, progress: Progress | None = None
) -> Station:
    """Return the station of a file; pieces of which it brings no evidence are looked for in a ledger.

    Parameters
    ----------
    path : Path or str
        The station file; files it names are looked for beside it.
    own : sequence of LineType
        The person's own line types; they go before the ledger's, and these before the catalogue's.
    progress : callable, optional
        Called with the share done and what is being done, while what the ledger holds of them is judged.

    Raises
    ------
    InputError
        If the station breaks a rule, or names a piece that neither it nor the ledger knows.
    """
    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        on_hand = shelf.on_hand()
        station = read_station(path, (*own, *nouns.own_lines_of(snapshot)), on_hand)
        spoken = {p.tag for s in station.sheets.values() for p in s.pieces} | {e.piece for e in station.sweeps}
        silent = {t: p.line for t, p in station.pieces.items() if t in on_hand and t not in spoken}
        alike = [t for t, line in silent.items() if line == on_hand[t].line or None in (line, on_hand[t].line)]
        return replace(station, beliefs=_known(shelf, alike, progress))


def _known(shelf: Shelved, tags: Iterable[str], progress: Progress | None) -> dict[str, PieceBelief]:
    """Return what was measured of pieces, or of their stock."""
    chosen = [shelf.pieces[tag] for tag in tags]
    for done in prepared(shelf, [i.key for i in chosen]):
        if progress:
            progress(done, say("judging what was measured"))
    found = {piece.tag: measured(shelf, piece) for piece in shelf.nouns(chosen)}
    return {tag: known for tag, known in found.items() if known is not None}


def _sweeps(shelf: Shelved) -> tuple[SweepEvidence, ...]:
    from linewright.files.touchstone import read_touchstone_text

    found = []
    for e in (e for tag in shelf.pieces for e in shelf.evidence(tag) if e.kind == "sweep"):
        ((name, content, end),) = shelf.sweep_texts([e])
        sweep = read_touchstone_text(content, name)
        ports = sweep.ports if end == "through" else 1
        cut = replace(sweep, s=sweep.s[:, :ports, :ports], reference_ohm=sweep.reference_ohm[:ports])
        found.append(SweepEvidence(shelf.sweeps[e.key].body["piece"], cut, end))  # type: ignore[arg-type]
    return tuple(found)


# A kept station changed run by run, and written out as a form


def change_run(  # noqa: PLR0913 - which run, and what becomes of it
    ledger: Ledger, run: str, told: Mapping[str, Any] | None, *,
    station: str | None = None, new: bool = False, expect: int | None = None, by: By = NOW,
) -> Kept:  # fmt: skip
    """Change some fields of a run of a kept station, as they stand in its file; one change, which can be undone.

    Parameters
    ----------
    run : str
        The run's name.
    told : mapping or None
        Fields and what they become; a field of None is taken away. Without a mapping the run itself is taken out.
    new : bool
        Whether the run is to be added; there must be none of its name.

    Returns
    -------
    Kept
        The station as it stands.

    Raises
    ------
    UnknownNameError
        If there is no such run.
    InputError
        If the station would break a rule.
    ConflictError
        If it stands at another version than ``expect``.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     change_run(ledger, "portable mast", {"power": "5 W"}).item.version
    2
    """
    name = the_station(ledger, station, run=None if new else run)
    with writing(ledger, by) as w:
        item = items.needed(w.connection, "station", name)
        tables = dict(item.body["station"])
        runs = [dict(r) for r in tables.get("run", ())]
        at = next((i for i, r in enumerate(runs) if _lower(_name_of(r)) == _lower(run)), None)
        if (at is not None) == new:
            if new:
                raise InputError(
                    "run",
                    say("must be new; {name} has {run} already", name=name, run=repr(run)),
                    cure=say("Change it."),
                )
            raise _no_such_run([item], run)
        old = runs[at] if at is not None else {"name": run}
        made = None if told is None else {k: v for k, v in {**old, **told}.items() if v is not None}
        there = len(runs) if at is None else at
        tables["run"] = [*runs[:there], *([] if made is None else [made]), *runs[there + 1 :]]
        return Kept(put_station(w, item, tables, expect=expect))


def change_site(
    ledger: Ledger, station: str, noise: str | None, limits: Sequence[str], *, own: Mapping[str, Any] | None = None,
    by: By = NOW,
) -> Kept:  # fmt: skip
    """Say what noise there is about a kept station, and which limits its exposure and its power are held against.

    Parameters
    ----------
    station : str
        The station's name.
    noise : str or None
        One of the site categories, "residential" say; None where nobody says.
    limits : sequence of str
        Names of sets of limits; a run that names its own keeps them.
    own : mapping, optional
        Rules of one's own by their keys in a station file: ``own_limits``, "electric field 28 V/m, averaging 6 min,
        for public", and ``licence``, ["60 m: 15 W EIRP", "400 W power"]. An empty one is taken away, one that is not
        told stays.

    Returns
    -------
    Kept
        The station as it stands.

    Raises
    ------
    UnknownNameError
        If there is no such station, site or set of limits.
    InputError
        If limits of one's own or the licence cannot be read.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     name = stations(ledger)[0].key
    ...     change_site(ledger, name, "rural", ["ICNIRP 2020"]).item.body["station"]["station"]["noise"]
    'rural'
    """
    name = the_station(ledger, station)
    with writing(ledger, by) as w:
        item = items.needed(w.connection, "station", name)
        tables = dict(item.body["station"])
        told: dict[str, Any] = {"noise": noise, "limits": list(limits) or None}
        told |= {key: value or None for key, value in (own or {}).items()}
        head = {**dict(tables.get("station", {})), **told}
        tables["station"] = {k: v for k, v in head.items() if v is not None}
        return Kept(put_station(w, item, tables))


def put_station(w: Writing, item: Item, tables: Mapping[str, Any], *, expect: int | None = None) -> Item:
    """Write a station's tables, once they obey the rules, in a transaction that is open."""
    shelf = Shelved.of(w.connection)
    _read_tables(w.connection, shelf, item, shelf.names.anew(tables))
    return items.put(w, "station", item.key, {**item.body, "station": dict(tables)}, expect=expect)


def _read_tables(
    snapshot: Snapshot, shelf: Shelved, item: Item, tables: Mapping[str, Any], own: Sequence[LineType] = ()
) -> Station:
    """Return a station's tables as a noun; its pieces are those of the shelf."""
    files = {f["name"]: blobs.content(snapshot, f["sha256"]) for f in item.body["files"]}
    texts = {n: decoded(c, "file", n) for n, c in files.items()}
    own = (*own, *nouns.own_lines_of(snapshot))
    try:
        return read_station_text(toml_text({**tables, **_gear_of(snapshot, tables)}), texts, own, shelf.on_hand())
    except InputError as error:
        raise nouns.plain(error) from error


def _gear_of(snapshot: Snapshot, tables: Mapping[str, Any]) -> dict[str, Any]:
    """Return the kept radios and antennas that a station's runs name, as tables of its file."""
    found: dict[str, Any] = {}
    for kind in STATION_GEAR:
        named = dict.fromkeys(_squeezed(r[kind]) for r in tables.get("run", ()) if isinstance(r.get(kind), str))
        kept = [items.find(snapshot, kind, name) for name in named]
        bodies = [dict(i.body) for i in kept if i is not None and not i.archived]
        found |= {kind: bodies} if bodies else {}
    return found


FORM = """\
# {name}, as the ledger kept it on {day}.
# What was measured of its pieces stays there: plan this file with --ledger, or keep it: linewright shelf import.

"""


def export_station(ledger: Ledger, path: Path | str, name: str | None = None, *, on: date | None = None) -> Path:
    """Write a station of the ledger as a file that a person can edit: its runs, its pieces and the user's line types.

    The sweeps it names are written beside it. ``import`` of the file makes the same station.

    Raises
    ------
    InputError
        If something else stands there, or several stations could be meant.
    CannotError
        If it cannot be written.
    """
    from linewright.verbs.results import put_file

    path, name = Path(path), the_station(ledger, name)
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "station", name)
        text = form_text(snapshot, item, on)
        named = [f for f in item.body["files"] if f'"{f["name"]}"' in text]
        beside = {f["name"]: blobs.content(snapshot, f["sha256"]) for f in named}
    new = {path: text.encode()} | {path.parent / other: content for other, content in beside.items()}
    for place, content in new.items():
        if place.exists() and (place.is_dir() or place.read_bytes() != content):
            rule = say("must be a new file: what stands there may have been written on by hand")
            raise InputError(
                "output", rule, where=Culprit(str(place)), cure=say("Name another, or take that one away.")
            )
    for place, content in new.items():
        put_file(place, content)
    return path


def form_text(snapshot: Snapshot, item: Item, on: date | None = None) -> str:
    """Return a kept station as the text of a file."""
    return FORM.format(name=item.key, day=today(on)) + toml_text(_form(snapshot, item))


def _form(snapshot: Snapshot, item: Item) -> dict[str, Any]:
    """Return the tables of a station's file: what is kept of it, and of the pieces and types that it names."""
    shelf = Shelved.of(snapshot)
    tables = shelf.names.anew(item.body["station"])
    tags = dict.fromkeys(tag for run in tables.get("run", ()) for tag in _kept_run("", run).pieces)
    tags |= dict.fromkeys(tag for part in tables.get("part", ()) for tag in _kept_run("", part).pieces)
    bodies = [shelf.pieces[tag].body for tag in tags if tag in shelf.pieces]
    pieces = [{k: body[k] for k in nouns.PIECE_KEYS if k in body} for body in bodies]
    text = toml_text({**tables, "piece": pieces})
    mine = [i.body for i in items.every(snapshot, "line", archived=False)]
    lines = [dict(body) for body in mine if f"= {toml_value(body['name'])}" in text]
    return {
        **tables,
        **_gear_of(snapshot, tables),
        **({"piece": pieces} if pieces else {}),
        **({"line": lines} if lines else {}),
    }
