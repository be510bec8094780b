"""Bench sessions: begun on the shelf's gear, read into one reading at a time, proved whenever asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from linewright.core.errors import CannotError, InputError
from linewright.core.messages import say
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.ledger import Body, Item, KeptReading, Kind
from linewright.core.nouns.shelf import SessionPlan
from linewright.files import fields
from linewright.files.toml import toml_text
from linewright.store import items
from linewright.store import items as readings
from linewright.store.ledger import Ledger, Snapshot
from linewright.verbs import shelf_nouns as nouns
from linewright.verbs.shelf_evidence import with_known_meters
from linewright.verbs.shelf_items import NOW, new_key, put_new, put_note
from linewright.verbs.shelf_open import By, today, writing

Cells = Mapping[str, Any]


def start_session(
    ledger: Ledger,
    plan: SessionPlan,
    *,
    gear: Sequence[tuple[Kind, Body]] = (),
    note: tuple[str, Mapping[str, Any]] | None = None,
    on: date | None = None,
    by: By = NOW,
) -> Item:
    """Begin a bench session on meters and pieces of the shelf; its key is what it is called from now on.

    The session keeps what was said of each when it began: a piece that is cut shorter later was as long as it was.
    All of it is kept, or nothing: a session that is refused leaves no gear behind.

    Parameters
    ----------
    plan : SessionPlan
        Its title, its meters and pieces by name, and the tables of a bench sheet.
    gear : sequence of (str, mapping)
        Meters and pieces to put on the shelf first, each a kind and a body.
    note : (str, mapping), optional
        The text of a note on the session, and what is kept beside it.
    on : date, optional
        The day it was measured; without it, the day it is kept.

    Returns
    -------
    Item
        The session.

    Raises
    ------
    InputError
        If something named is not on the shelf, or a table breaks a rule.
    """
    day = today(on) if on else by.day
    with writing(ledger, by) as w:
        for kind, body in gear:
            put_new(w, kind, body)
        tables = _tables(w.connection, plan)
        _checked(w.connection, tables)
        body = {"title": tables["title"], "measured_on": day, "sheet": tables, "files": []}
        item = items.put(w, "sheet", new_key(w.connection, "sheet", f"{day} {tables['title']}"), body, expect=0)
        if note is not None:
            put_note(w, "sheet", item.key, *note)
        return item


def _tables(snapshot: Snapshot, plan: SessionPlan) -> dict[str, Any]:
    bodies = [items.needed(snapshot, "meter", name).body for name in plan.meters]
    meters = [{k: v for k, v in body.items() if k != nouns.LOADS} for body in bodies]
    pieces = [items.needed(snapshot, "piece", tag).body for tag in plan.pieces]
    tables = {
        "title": fields.text(plan.title, "title"),
        "source": dict(plan.source), "reference": dict(plan.reference),
        "limits": dict(plan.limits), "analyser": dict(plan.analyser),
        "meter": meters,
        "piece": [{k: p[k] for k in nouns.PIECE_KEYS if k in p} for p in pieces],
        "attenuator": [dict(a) for a in plan.attenuators],
    }  # fmt: skip
    return {k: v for k, v in tables.items() if v}


def _checked(snapshot: Snapshot, tables: Mapping[str, Any]) -> None:
    """Refuse tables that break a rule; a session that has only an analyser so far is no error."""
    whole = dict(tables) if tables.get("meter") else {**tables, "meter": [{"name": "any"}]}
    nouns.noun_of_sheet(toml_text(whole), {}, nouns.own_lines_of(snapshot), [])


def change_session(
    ledger: Ledger,
    session: str,
    tables: Mapping[str, Any],
    *,
    on: date | None = None,
    expect: int | None = None,
    by: By = NOW,
) -> Item:
    """Change tables of a session's sheet (``{"source": {"power": "5 W"}}``); a table of None is taken away.

    ``on`` is the day it was measured, if another than was kept.

    Raises
    ------
    InputError
        If the sheet with its readings would break a rule.
    ConflictError
        If it stands at another version than ``expect``.
    """
    with writing(ledger, by) as w:
        old = items.needed(w.connection, "sheet", session)
        merged = {k: v for k, v in {**old.body["sheet"], **tables}.items() if v is not None}
        body = {**old.body, "sheet": merged, "title": merged.get("title", old.body["title"])}
        body |= {"measured_on": today(on)} if on else {}
        new = items.put(w, "sheet", session, body, expect=expect)
        if readings.of_sheet(w.connection, session) or "one_end" in merged:
            nouns.read_session(w.connection, new)
        else:
            _checked(w.connection, merged)
        return new


def add_reading(ledger: Ledger, session: str, cells: Cells, *, token: str | None = None, by: By = NOW) -> KeptReading:
    """Keep a reading. Once this returns, the reading is on the disk.

    Parameters
    ----------
    cells : mapping
        By the headings of a readings file: ``meter``, ``frequency``, ``path``, ``reading``, perhaps ``swr``, ``low``,
        ``high``, ``step``, ``note``; as typed.
    token : str, optional
        What the sender calls it. Sent again, it adds nothing and returns what it added before.

    Raises
    ------
    InputError
        If a field breaks a rule.
    CannotError
        If the session is put away.
    """
    with writing(ledger, by) as w:
        typed = nouns.cells_of(cells)
        _accepted(w.connection, session, typed)
        return readings.add(w, session, typed, token)


def correct_reading(
    ledger: Ledger, session: str, number: int, cells: Cells | None, *, expect: int | None = None, by: By = NOW
) -> KeptReading:
    """Set a reading right, or withdraw it (cells None); what stood there stays in the history.

    Raises
    ------
    InputError
        If a field breaks a rule, or there is no such reading.
    ConflictError
        If it stands at another version than ``expect``.
    """
    with writing(ledger, by) as w:
        typed = None if cells is None else nouns.cells_of(cells)
        if typed is not None:
            _accepted(w.connection, session, typed)
        return readings.correct(w, session, number, typed, expect=expect)


def _accepted(snapshot: Snapshot, session: str, typed: Mapping[str, str]) -> None:
    """Refuse a reading that its sheet could not be read with."""
    item = items.needed(snapshot, "sheet", session)
    alone = KeptReading(session, 1, 1, "", None, typed)
    nouns.noun_of_sheet(*nouns.sheet_texts(snapshot, item, [alone]), nouns.own_lines_of(snapshot), [1])


def readings_of(ledger: Ledger, session: str) -> tuple[KeptReading, ...]:
    """Return the readings of a session as they stand, in order."""
    with ledger.reads() as snapshot:
        items.needed(snapshot, "sheet", session)
        return tuple(readings.of_sheet(snapshot, session))


def sheet_of(ledger: Ledger, session: str) -> BenchSheet:
    """Return a session as a bench sheet; the row of a reading is its number."""
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "sheet", session)
        return with_known_meters(snapshot, item, nouns.read_session(snapshot, item))


def sheet_of_rows(ledger: Ledger, session: Item, rows: Sequence[KeptReading]) -> BenchSheet:
    """Return the bench sheet that a session is with these rows, whether they are kept or only imagined."""
    kept = [r for r in readings.standing(rows) if r.cells is not None]
    with ledger.reads() as snapshot:
        texts = nouns.sheet_texts(snapshot, session, kept)
        sheet = nouns.noun_of_sheet(*texts, nouns.own_lines_of(snapshot), [r.number for r in kept])
        return with_known_meters(snapshot, session, sheet)


def imagined(rows: Sequence[KeptReading], changes: Sequence[tuple[int, Cells | None]]) -> tuple[KeptReading, ...]:
    """Return the rows a session would have after some changes; nothing is kept.

    Parameters
    ----------
    rows : sequence of KeptReading
        Every row of the session, in order.
    changes : sequence of (int, mapping or None)
        The number of a reading and its new cells, None to withdraw it; number 0 adds a reading.

    Raises
    ------
    InputError
        If a field means nothing, or a reading of that number is not there.
    """
    found = list(rows)
    for number, cells in changes:
        last = next((r for r in reversed(found) if r.number == number), None)
        if number and last is None:
            raise InputError("number", say("must be that of a reading of the session; got {value}", value=number))
        typed = None if cells is None else nouns.cells_of(cells)
        session = found[0].sheet if found else ""
        called = number or max((r.number for r in found), default=0) + 1
        found.append(KeptReading(session, called, last.version + 1 if last else 1, "", None, typed))
    return tuple(found)


def prove_session(ledger: Ledger, session: str, *, progress: Callable[[float, str], None] | None = None) -> BenchResult:
    """Prove the pieces of a session from the readings it has so far."""
    from linewright.verbs.prove import prove_cable

    sheet = sheet_of(ledger, session)
    if not sheet.readings and not sheet.one_end:
        raise CannotError(say("{session} holds no reading yet. Add the reference reading first.", session=session))
    return prove_cable(sheet, progress=progress)
