"""Writing to the ledger, for programs: sessions, readings, pieces, meters, runs, undo. Only a token may."""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Query, Request, Response
from fastapi.responses import JSONResponse
from fastapi.security import HTTPBearer
from pydantic import BaseModel

from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.nouns.ledger import Item, KeptReading, Kind
from linewright.core.nouns.shelf import Changes, Kept, SessionPlan
from linewright.files import fields
from linewright.store import items as readings
from linewright.store.ledger import Ledger
from linewright.verbs import shelf
from linewright.verbs.shelf_edits import start_station
from linewright.web.api import models
from linewright.web.api.route import WRONG, Route, answered
from linewright.web.bearers import bearer, writer
from linewright.web.bench_cache import Judgements
from linewright.web.bench_rows import TOKEN, SheetPlan, plan_in
from linewright.web.feeding import feed_of
from linewright.web.ledgers import by, ledger_of

# What is asked of a bench and of the shelf; by a token, or by the browser of who is let in

READS = APIRouter(prefix="/api", route_class=Route, responses=WRONG, tags=["bench"])
Key = Annotated[str, Query(min_length=1, max_length=300)]
Number = Annotated[int, Query(ge=1, lt=2**31)]


@READS.get("/bench/sessions", response_model=models.SessionList)
def sessions(request: Request, archived: bool = False) -> Response:
    """List the bench sessions, the newest first."""
    ledger = ledger_of(request)
    found = sorted(shelf.all_kept(ledger, "sheet", archived=archived), key=_age, reverse=True)
    return JSONResponse({"schema": "linewright/sessions/1", "sessions": [_listed(ledger, item) for item in found]})


@READS.get("/bench/session", response_model=models.Answer)
def session(request: Request, key: Key) -> Response:
    """Show a bench session as it is kept; the key of its body is ``sheet``."""
    return answered(
        Kept(shelf.kept(ledger_of(request), "sheet", key), shelf.notes_of(ledger_of(request), "sheet", key))
    )


@READS.get("/bench/readings", response_model=models.Readings)
def session_readings(request: Request, session: Key) -> Response:
    """List the readings of a session as they stand, in order."""
    return _readings(session, shelf.readings_of(ledger_of(request), session))


@READS.get("/bench/next", response_model=models.NextField)
def next_field(
    request: Request,
    session: Key,
    meter: Annotated[str | None, Query(max_length=300, description="Of this meter alone.")] = None,
    passed: Annotated[int, Query(ge=0, le=100_000, description="Empty fields to pass over.")] = 0,
) -> Response:
    """Say which field of a session comes next in its order, and the key that puts a reading there once."""
    return JSONResponse(feed_of(ledger_of(request), session).document(meter, passed))


@READS.get("/bench/result", response_model=models.Answer, responses={202: {"model": models.Pending}})
def result(request: Request, session: Key) -> Response:
    """Say what a session says of its pieces, meters and readings; as ``linewright prove``."""
    judged: Judgements = request.app.state.judged
    found = judged.bench(ledger_of(request), session, anew=True)
    if found.pending is not None:
        return JSONResponse({"schema": "linewright/pending/1", "share": found.pending.share}, 202, {"retry-after": "1"})
    if found.result is None:
        cure = "Take the reference reading, then read through a piece."
        raise InputError("session", "holds nothing that could be judged yet", cure=cure)
    return answered(found.result)


@READS.get("/shelf/gear", response_model=models.Answer)
def gear(request: Request) -> Response:
    """List meters, attenuators, loads, radios and antennas; as ``linewright shelf gear``."""
    return answered(shelf.kept_gear(ledger_of(request)))


@READS.get("/shelf/runs", response_model=models.Answer)
def runs(request: Request) -> Response:
    """List the runs of every kept station; as ``linewright shelf runs``."""
    return answered(shelf.kept_runs(ledger_of(request)))


@READS.get("/shelf/plans", response_model=models.Answer)
def plans(request: Request, run: str | None = None, station: str | None = None) -> Response:
    """List the plans beside runs, each against its run as it lies; as ``linewright shelf plans``."""
    return answered(shelf.kept_plans(ledger_of(request), run, station=station))


NAMED = (("meter", "name"), ("piece", "tag"))


def _age(item: Item) -> tuple[str, str]:
    return item.body["measured_on"], item.changed_at


def _listed(ledger: Ledger, item: Item) -> dict[str, Any]:
    tables = item.body["sheet"]
    meters, pieces = ([str(t.get(key)) for t in tables.get(kind, ())] for kind, key in NAMED)
    return {
        "key": item.key, "title": item.body["title"], "measured_on": item.body["measured_on"], "version": item.version,
        "archived": item.archived, "meters": meters, "pieces": pieces,
        "frequencies": list(_plan_of(ledger, item.key).frequencies),
        "readings": len(shelf.readings_of(ledger, item.key)),
    }  # fmt: skip


def _plan_of(ledger: Ledger, session: str) -> SheetPlan:
    return plan_in([note.body for note in shelf.notes_of(ledger, "sheet", session)])


def _readings(session: str, found: tuple[KeptReading, ...], change: int | None = None, status: int = 200) -> Response:
    told = [{"number": r.number, "version": r.version, "at": r.at, "cells": r.cells} for r in found]
    document = {"schema": "linewright/readings/1", "session": session, "readings": told, "change": change}
    return JSONResponse(document, status)


# What is written: each answer says what stands now, and at which version

SCHEME = HTTPBearer(
    scheme_name="token", description="Made under Settings, Tokens; one that may write.", auto_error=False
)
"""How the interface's description tells of tokens; ``writer`` looks at them."""
WRITES = APIRouter(
    prefix="/api", route_class=Route, responses=WRONG, tags=["writing"], dependencies=[Depends(writer), Depends(SCHEME)]
)
Once = Annotated[
    str, Header(alias="Idempotency-Key", max_length=200, description="Sent again, it adds nothing and answers alike.")
]
OF_FIELD = re.compile(rf"{TOKEN}:r[0-9a-f]{{12}}:[0-9]{{1,4}}")
"""The key of a field, as ``/api/bench/next`` tells it."""
BEGINNING = threading.Lock()
"""Sessions are begun one at a time, so that the same key never begins two."""


@WRITES.post("/bench/sessions", response_model=models.Answer, status_code=201)
def begin(asked: models.NewSession, request: Request, key: Once = "") -> Response:
    """Begin a bench session on meters and pieces of the shelf; the key of the item is what it is called."""
    ledger = ledger_of(request)
    plan = _planned(SheetPlan(), asked.frequencies, asked.joined)
    source = _told({"power": asked.power, "swr": asked.swr})
    pads = tuple(pad.model_dump() for pad in asked.attenuators)
    begun = SessionPlan(
        asked.title,
        tuple(asked.meters),
        tuple(asked.pieces),
        source,
        _told(asked.reference.model_dump()) if asked.reference else {},
        pads,
    )
    called = {"token": _called(request, key)} if key else {}
    with BEGINNING:
        before = _begun_before(ledger, called["token"]) if called else None
        if before is not None:
            return answered(Kept(before))
        note = plan.text(), plan.data() | called
        return _made(shelf.start_session(ledger, begun, note=note, on=_day(asked.date), by=by(request)))


def _begun_before(ledger: Ledger, called: str) -> Item | None:
    """Return the session that was begun with a key."""
    notes = (note.body for note in shelf.all_kept(ledger, "note"))
    session = next((n["key"] for n in notes if n["kind"] == "sheet" and n.get("token") == called), None)
    return None if session is None else shelf.kept(ledger, "sheet", session)


@WRITES.patch("/bench/session", response_model=models.Answer)
def change_session(asked: models.SessionChange, request: Request, key: Key) -> Response:
    """Change a session's title, date, source, reference or what it means to read; put it away or bring it back."""
    ledger, old = ledger_of(request), shelf.kept(ledger_of(request), "sheet", key)
    tables: dict[str, Any] = {}
    if asked.title is not None:
        tables["title"] = asked.title
    source = _told({"power": asked.power, "swr": asked.swr})
    if source:
        tables["source"] = {**old.body["sheet"].get("source", {}), **source}
    if asked.reference is not None:
        tables["reference"] = _told(asked.reference.model_dump())
    day = _day(asked.date)
    if tables or day:
        old = shelf.change_session(ledger, key, tables, on=day, expect=asked.expect, by=by(request))
    elif asked.expect not in (None, old.version):
        old = shelf.change_session(ledger, key, {}, expect=asked.expect, by=by(request))
    if asked.frequencies is not None or asked.joined is not None:
        plan = _planned(_plan_of(ledger, key), asked.frequencies, asked.joined)
        shelf.add_note(ledger, "sheet", key, plan.text(), data=plan.data(), by=by(request))
    return answered(Kept(_put_away(request, "sheet", old, asked.archived)))


@WRITES.post("/bench/readings", response_model=models.Readings, status_code=201)
def add_reading(asked: models.NewReading, request: Request, session: Key, key: Once = "") -> Response:
    """Keep a reading. Once this is answered it is on the disk.

    The key of a field, as ``/api/bench/next`` tells it, puts a reading there once, whoever else reads there too; any
    other key is the sender's own.
    """
    ledger = ledger_of(request)
    token = (key if OF_FIELD.fullmatch(key) else _called(request, key)) if key else None
    before = _newest(ledger)
    try:
        found = shelf.add_reading(ledger, session, _cells(asked), token=token, by=by(request))
    except InputError as cause:
        if cause.argument != "token":
            raise
        cure = "Look at what stands there: correct it, or send a new key."
        raise InputError("Idempotency-Key", "came before with another reading", cure=cure) from cause
    change = _change_of(ledger, found)
    return _readings(session, (found,), change, 201 if change is not None and change > before else 200)


@WRITES.patch("/bench/reading", response_model=models.Readings)
def correct_reading(asked: models.ReadingChange, request: Request, session: Key, number: Number) -> Response:
    """Set a reading right; what stood there stays in the history."""
    ledger = ledger_of(request)
    with ledger.reads() as snapshot:
        old = readings.one(snapshot, session, number)
    told = asked.model_dump(exclude_unset=True, exclude={"expect"})
    cells = {**(old.cells or {}), **{k: _written(v) for k, v in told.items()}}
    expect = old.version if asked.expect is None else asked.expect
    found = shelf.correct_reading(ledger, session, number, _told(cells), expect=expect, by=by(request))
    return _readings(session, (found,), _change_of(ledger, found))


@WRITES.delete("/bench/reading", response_model=models.Readings)
def withdraw(request: Request, session: Key, number: Number, expect: models.Version | None = None) -> Response:
    """Take a reading back; it stays in the history, and can be set right again."""
    found = shelf.correct_reading(ledger_of(request), session, number, None, expect=expect, by=by(request))
    return _readings(session, (found,), _change_of(ledger_of(request), found))


@WRITES.post("/shelf/piece", response_model=models.Answer, status_code=201)
def add_piece(asked: models.NewPiece, request: Request) -> Response:
    """Put a piece on the shelf; as ``linewright shelf add``."""
    return _made(shelf.add(ledger_of(request), "piece", asked.model_dump(exclude_none=True), by=by(request)))


@WRITES.patch("/shelf/piece", response_model=models.Answer)
def change_piece(asked: models.PieceEdit, request: Request, tag: Key) -> Response:
    """Change what is said of a piece, put it away or bring it back; as ``linewright shelf change``."""
    return _changed(request, "piece", tag, asked)


@WRITES.post("/shelf/meter", response_model=models.Answer, status_code=201)
def add_meter(asked: models.NewMeter, request: Request) -> Response:
    """Put a meter on the shelf."""
    return _made(shelf.add(ledger_of(request), "meter", asked.model_dump(exclude_none=True), by=by(request)))


@WRITES.patch("/shelf/meter", response_model=models.Answer)
def change_meter(asked: models.MeterChange, request: Request, name: Key) -> Response:
    """Change what is said of a meter, put it away or bring it back."""
    return _changed(request, "meter", name, asked)


@WRITES.post("/shelf/run", response_model=models.Answer, status_code=201)
def add_run(asked: models.NewRun, request: Request) -> Response:
    """Add a run to a kept station, or begin a station with it."""
    ledger = ledger_of(request)
    there = {item.key for item in shelf.stations(ledger)}
    if asked.station is not None and asked.station not in there:
        tables = {"station": {"name": asked.station}, "run": [{**asked.fields, "name": asked.name}]}
        return _made(start_station(ledger, asked.station, {"station": tables}, by=by(request)).item)
    return _made(
        shelf.change_run(ledger, asked.name, asked.fields, station=asked.station, new=True, by=by(request)).item
    )


@WRITES.patch("/shelf/run", response_model=models.Answer)
def change_run(asked: models.RunChange, request: Request, name: Key, station: models.Tag | None = None) -> Response:
    """Change fields of a run of a kept station; as ``linewright shelf run``."""
    ledger = ledger_of(request)
    return answered(shelf.change_run(ledger, name, asked.fields, station=station, expect=asked.expect, by=by(request)))


@WRITES.delete("/shelf/run", response_model=models.Answer)
def drop_run(
    request: Request, name: Key, station: models.Tag | None = None, expect: models.Version | None = None
) -> Response:
    """Take a run out of its station; undoing the change brings it back."""
    return answered(shelf.change_run(ledger_of(request), name, None, station=station, expect=expect, by=by(request)))


@WRITES.post("/shelf/plan", response_model=models.Answer, status_code=201)
def keep_plan(asked: models.NewPlan, request: Request) -> Response:
    """Keep a run with some fields changed as a plan beside it; as ``linewright shelf plan``."""
    ledger, who, at = ledger_of(request), by(request), asked.expect
    kept = shelf.keep_plan(ledger, asked.run, asked.plan, asked.fields, station=asked.station, expect=at, by=who)
    return _made(kept.item)


@WRITES.post("/shelf/plan/apply", response_model=models.Answer)
def apply_plan(asked: models.RunPlan, request: Request) -> Response:
    """Lay a plan in its run's place; as ``linewright shelf plan --apply``."""
    ledger, who = ledger_of(request), by(request)
    kept = shelf.lay_plan(ledger, asked.run, asked.plan, station=asked.station, expect=asked.expect, by=who)
    return answered(kept)


@WRITES.delete("/shelf/plan", response_model=models.Answer)
def drop_plan(
    request: Request, run: Key, plan: Key, station: models.Tag | None = None, expect: models.Version | None = None
) -> Response:
    """Take a plan away from beside its run; undoing the change brings it back."""
    return answered(shelf.drop_plan(ledger_of(request), run, plan, station=station, expect=expect, by=by(request)))


@WRITES.post("/undo", response_model=models.Answer)
def undo(asked: models.UndoQuestion, request: Request) -> Response:
    """Set a change back, as a change of its own; as ``linewright shelf undo``."""
    return answered(Changes((shelf.undo(ledger_of(request), asked.change, by=by(request)),)))


def _changed(request: Request, kind: Kind, key: str, asked: models.PieceEdit | models.MeterChange) -> Response:
    told = asked.model_dump(exclude_unset=True, exclude={"archived", "expect"})
    if told or asked.expect is not None:
        item = shelf.change(ledger_of(request), kind, key, told, expect=asked.expect, by=by(request))
    else:
        item = shelf.kept(ledger_of(request), kind, key)
    return answered(Kept(_put_away(request, kind, item, asked.archived)))


def _put_away(request: Request, kind: Kind, item: Item, archived: bool | None) -> Item:
    if archived is None or archived == item.archived:
        return item
    move = shelf.archive if archived else shelf.restore
    return move(ledger_of(request), kind, item.key, expect=item.version, by=by(request))


def _made(item: Item) -> Response:
    found = answered(Kept(item))
    found.status_code = 201
    return found


def _planned(old: SheetPlan, frequencies: list[str] | None, joined: list[str] | None) -> SheetPlan:
    """Return what a session means to read, with what is told anew."""
    from dataclasses import replace

    told: dict[str, Any] = {}
    if frequencies is not None:
        hertz = {fields.frequency(text, "frequencies") for text in frequencies}
        told["frequencies"] = tuple(frequency(f) for f in sorted(hertz))
    if joined is not None:
        told["joined"] = tuple(joined)
    return replace(old, **told)


def _day(text: str | None) -> date | None:
    from linewright.verbs.shelf_nouns import day

    return None if text is None else date.fromisoformat(day(text, "date"))


def _told(cells: Mapping[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in cells.items() if v is not None}


def _cells(asked: BaseModel) -> dict[str, Any]:
    return {k: _written(v) for k, v in asked.model_dump(exclude_none=True).items()}


def _written(value: Any) -> Any:
    """Return a bare number as a person would type it.

    >>> _written(8), _written(8.25), _written("8.2"), _written(None)
    ('8', '8.25', '8.2', None)
    """
    return f"{value:.12g}" if isinstance(value, int | float) else value


def _called(request: Request, key: str) -> str:
    """Return what a sender's key is kept as: its own, whatever keys others send."""
    who = bearer(request)
    return f"key:{who.id if who else 0}:{hashlib.sha256(key.encode()).hexdigest()[:40]}"


def _newest(ledger: Ledger) -> int:
    return next((c.id for c in shelf.changes(ledger, most=1).changes), 0)


def _change_of(ledger: Ledger, found: KeptReading) -> int | None:
    """Return the number of the last change of a reading."""
    key = f"{found.sheet} / {found.number}"
    return next((c.id for c in shelf.changes(ledger, kind="reading", key=key, most=1).changes), None)
