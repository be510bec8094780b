"""The verbs over HTTP: what is asked is read as the commands read it, and answered with the same documents."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import JSONResponse

from linewright.store.ledger import Ledger
from linewright.web import requests as asked
from linewright.web.api import models
from linewright.web.api.route import WRONG, Route, answered
from linewright.web.ledgers import ledger_of

# The verbs over HTTP: what is asked is read as the commands read it, and answered with the same documents

VERBS = APIRouter(prefix="/api", route_class=Route, responses=WRONG, tags=["verbs"])


@VERBS.get("/session", response_model=dict[str, str])
def session(request: Request) -> Response:
    """Return the token that every POST of this session carries in the header X-Linewright-Token."""
    return JSONResponse({"schema": "linewright/session/1", "token": request.state.token})


@VERBS.get("/lines", response_model=models.Answer)
def lines(name: str | None = None) -> Response:
    """List the line types of the catalogue, or show one by its name, with every figure and its source."""
    from linewright.verbs.line_page import show_line
    from linewright.verbs.loss import list_lines

    return answered(list_lines() if name is None else show_line(name))


@VERBS.post("/prove", response_model=models.Answer)
def prove(question: models.SheetQuestion) -> Response:
    """Judge the pieces, meters and readings of a bench sheet; as ``linewright prove``."""
    from linewright.verbs.prove import prove_cable

    return answered(prove_cable(asked.bench(question.sheet, question.files, asked.own_lines(_file(question.lines)))))


@VERBS.post("/reception", response_model=models.Answer)
def reception(question: models.PlanQuestion) -> Response:
    """Say what a station's runs do to reception; as ``linewright reception``."""
    from linewright.core.nouns.plan import Reception
    from linewright.verbs.plan import plan_station
    from linewright.web.stations import station_of

    own = asked.own_lines(_file(question.lines))
    known = station_of(question.station, question.files, own)
    return answered(Reception(plan_station(known, run=question.run, own=own)))


@VERBS.post("/exposure", response_model=models.Answer)
def exposure(question: models.ExposureQuestion) -> Response:
    """Estimate how far to keep away from antennas; as ``linewright exposure``."""
    from linewright.core.nouns.plan import ExposurePlan
    from linewright.verbs.exposure import exposure_at
    from linewright.web.stations import station_of

    rules = asked.own_rules(_file(question.rules))
    if question.station is None:
        return answered(ExposurePlan(asked.expose(question.model_dump(), rules)))
    own = asked.own_lines(_file(question.lines))
    known = station_of(question.station, question.files, own)
    near = asked.people_near(question.distance, question.window, question.limits)
    return answered(ExposurePlan(exposure_at(known, run=question.run, near=near, rules=rules, own=own)))


@VERBS.get("/loss", response_model=models.Answer)
def loss(question: Annotated[models.LossQuestion, Query()]) -> Response:
    """Say what a length of line should lose; as ``linewright loss``."""
    from linewright.core.quantities import frequency_hz, length_m
    from linewright.verbs.loss import line_loss

    hertz = [frequency_hz(f, "frequency") for f in question.frequency]
    return answered(line_loss(question.line, length_m(question.length, "length"), hertz))


@VERBS.get("/impedance", response_model=models.Answer)
def impedance(request: Request) -> Response:
    """Say what a line's dimensions make of it, told as ``centre_diameter=0.9mm``; as ``linewright impedance``."""
    from linewright.verbs.line_page import from_dimensions

    return answered(from_dimensions(dict(request.query_params)))


@VERBS.get("/connectors", response_model=models.Answer)
def connectors() -> Response:
    """Say what connectors, adapters and arrestors take and bear, with every figure's source."""
    from linewright.verbs.connector_list import list_connectors

    return answered(list_connectors())


@VERBS.get("/meaning", response_model=models.Answer)
def meaning(question: Annotated[models.MeaningQuestion, Query()]) -> Response:
    """Say what a decibel means on the air; as ``linewright meaning``."""
    from linewright.verbs.meaning import written_meaning

    return answered(written_meaning(question.change, question.model_dump(exclude={"change"})))


@VERBS.post("/practise", response_model=models.Answer)
def practise(question: models.PractiseQuestion) -> Response:
    """Show an invented bench to practise on, or mark what is said of it; as ``linewright practise``."""
    from linewright.verbs.practise import mark_answer, show_bench, written_bench, written_claims, written_reading

    bench = written_bench(question.level, question.seed, question.code)
    for words in question.read:
        bench = written_reading(bench, words)
    if question.guess is not None:
        return answered(mark_answer(bench, written_claims(question.guess)))
    return answered(show_bench(bench, truth=question.truth))


@VERBS.get("/through", response_model=models.Answer)
def through(question: Annotated[models.ThroughQuestion, Query()], request: Request) -> Response:
    """Say what SWR stands at the antenna behind a lossy line; as ``linewright through``."""
    return answered(asked.see(question.model_dump(), ledger=_ledger_for(question, request)))


@VERBS.post("/through", response_model=models.Answer)
def through_curve(question: models.ThroughCurveQuestion, request: Request) -> Response:
    """See a whole curve through a line; as ``linewright through --curve``."""
    given, ledger = question.model_dump(exclude={"curve", "lines"}), _ledger_for(question, request)
    return answered(asked.see(given, _file(question.curve), asked.own_lines(_file(question.lines)), ledger))


@VERBS.post("/antenna", response_model=models.Answer)
def antenna(question: models.AntennaQuestion, request: Request) -> Response:
    """Show sweeps of one antenna, at the analyser and behind its line; as ``through`` with several curves."""
    from linewright.core.quantities import loss_ratio_db

    leak = None if question.directivity is None else loss_ratio_db(question.directivity, "directivity")
    curves = [asked.curve_of(f.name, f.text, directivity_db=leak) for f in question.sweeps]
    own = asked.own_lines(_file(question.lines))
    given = question.model_dump(exclude={"sweeps", "names", "lines"})
    names = question.names or [f.name for f in question.sweeps]
    return answered(asked.antenna(given, curves, names, own, _ledger_for(question, request)))


def _ledger_for(question: models.ThroughQuestion | models.AntennaQuestion, request: Request) -> Ledger | None:
    """Return the ledger where a question names something of it."""
    return ledger_of(request) if question.piece or question.run else None


@VERBS.post("/one-end", response_model=models.Answer)
def one_end(question: models.OneEndQuestion, request: Request) -> Response:
    """Say what an installed line loses, from its near end alone; as ``linewright one-end``."""
    rows: list[dict[str, Any]] = [row.model_dump() for row in question.readings]
    given = question.model_dump(exclude={"readings", "lines"})
    ledger = ledger_of(request) if question.piece else None
    return answered(asked.prove(rows, given, asked.own_lines(_file(question.lines)), ledger))


@VERBS.post("/sweeps", response_model=models.Answer)
def sweeps(question: models.AskedSweep) -> Response:
    """Read a line's loss, length, faults and type from an analyser's files; as ``linewright sweep``."""
    files = [(f.name, f.text, f.far_end) for f in question.files]
    given = question.model_dump(exclude={"files", "lines"})
    return answered(asked.read_sweeps(files, given, asked.own_lines(_file(question.lines))))


@VERBS.post("/plan", response_model=models.Answer)
def plan(question: models.PlanQuestion) -> Response:
    """Plan a station's runs; as ``linewright plan``."""
    from linewright.verbs.plan import plan_station
    from linewright.web.stations import station_of

    own = asked.own_lines(_file(question.lines))
    return answered(plan_station(station_of(question.station, question.files, own), run=question.run, own=own))


@VERBS.post("/what-if", response_model=models.Answer)
def what_if(question: models.WhatIfQuestion) -> Response:
    """Say what changes do to a station's runs; as ``linewright plan --with``."""
    from linewright.web.stations import asked_what_if

    own = asked.own_lines(_file(question.lines))
    return answered(asked_what_if(question.station, question.files, question.changes, question.run, own))


@VERBS.post("/choose", response_model=models.Answer)
def choose(question: models.ChooseQuestion) -> Response:
    """Choose a line for a run, by price and by what it does; as ``linewright choose``."""
    return answered(asked.choose(question.model_dump(), question.station, question.files))


@VERBS.post("/share", response_model=models.Answer)
def share(question: models.ShareQuestion) -> Response:
    """Share out the pieces on hand among several runs; as ``linewright share``."""
    return answered(asked.share(question.model_dump(), question.station, question.files))


@VERBS.post("/cut", response_model=models.Answer)
def cut(question: models.AskedCut, request: Request) -> Response:
    """Compare lines by their electrical length, or say where to cut one; as ``linewright cut``."""
    ledger = ledger_of(request) if question.pieces else None
    return answered(asked.cut(question.model_dump(), ledger, asked.own_lines(_file(question.lines))))


def _file(file: models.NamedText | None) -> tuple[str, str] | None:
    return None if file is None else (file.name, file.text)


# What the ledger knows, for programs: the shelf, one piece over the years, and the changes


@VERBS.get("/shelf", response_model=models.Answer)
def shelf(request: Request, archived: bool = False) -> Response:
    """List the pieces with what is believed of each; as ``linewright shelf list``."""
    from linewright.verbs.shelf_stations import shelf_with_runs

    return answered(shelf_with_runs(ledger_of(request), archived=archived))


@VERBS.get("/shelf/due", response_model=models.Answer)
def due(request: Request) -> Response:
    """Say what to test first, by what the plans stand to gain; as ``linewright shelf list --due``."""
    from linewright.verbs.due import due_first

    return answered(due_first(ledger_of(request)))


@VERBS.get("/shelf/piece", response_model=models.Answer)
def piece(
    request: Request,
    tag: Annotated[str, Query(min_length=1, max_length=300)],
    limit: Annotated[str | None, Query(max_length=40)] = None,
    at: Annotated[str | None, Query(max_length=40)] = None,
) -> Response:
    """Show all that is known of a piece, over the years; as ``linewright shelf show``."""
    from linewright.verbs.shelf import history_of

    return answered(history_of(ledger_of(request), tag, limits=asked.limit_at(limit, at)))


@VERBS.get("/shelf/sweeps", response_model=models.Answer)
def kept_sweeps(question: Annotated[models.KeptSweepsQuestion, Query()], request: Request) -> Response:
    """Find the sweeps that are kept, by piece, day and hash; as ``linewright shelf sweeps``."""
    return answered(asked.sweeps_found(question.model_dump(), ledger_of(request)))


@VERBS.get("/shelf/sweep", responses={200: {"content": {"text/plain": {}}, "description": "A Touchstone file."}})
def kept_sweep(request: Request, key: Annotated[str, Query(min_length=1, max_length=400)]) -> Response:
    """Hand out a kept sweep as a Touchstone file, byte for byte as it was filed."""
    from urllib.parse import quote

    from linewright.verbs.kept_sweeps import sweep_file

    name, content = sweep_file(ledger_of(request), key)
    head = {"content-disposition": f"attachment; filename*=UTF-8''{quote(name, safe='')}"}
    return Response(content, media_type="application/octet-stream", headers=head)


@VERBS.get("/shelf/changes", response_model=models.Answer)
def changes(request: Request, most: Annotated[int, Query(ge=1, le=10_000)] = 30) -> Response:
    """List the newest changes of the ledger; as ``linewright shelf history``."""
    from linewright.verbs.shelf import changes as made

    return answered(made(ledger_of(request), most=most))
