"""One end in hand: a form that asks one thing at a time, what the readings say, and keeping it for a piece."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response
from starlette.datastructures import QueryParams

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.web.ledgers import by, ledger_of
from linewright.web.one_end_requests import (
    METHODS,
    MethodAsked,
    OneEndInput,
    Step,
    cells_of,
    file_rows,
    new_row,
    proved,
    test_told,
    told_in,
)
from linewright.web.pages.sweeps import PLACE, lines_kept, own_of
from linewright.web.rendering import page, wants_part
from linewright.web.sweep_requests import said, tried, type_names
from linewright.web.through_page import OneEndShown

router = APIRouter(include_in_schema=False)
HERE = "/sweeps/one-end"
STEPS: tuple[Step, ...] = ("line", "method", "reading")


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One reading as it was told, and the address without it."""

    words: str
    without: str


@dataclass(frozen=True, slots=True)
class OneEndPage:
    """The answers so far, the next question, and the result of the readings. ``hidden`` carries the answers forward."""

    step: Step
    of: str
    of_words: str
    given: Mapping[str, str]
    methods: tuple[MethodAsked, ...]
    method: MethodAsked | None
    typed: Mapping[str, str]
    readings: tuple[ReadingLine, ...]
    hidden: tuple[tuple[str, str], ...]
    other_line: str
    other_method: str
    query: str
    kept_lines: tuple[tuple[str, str], ...]
    own_pieces: tuple[str, ...]
    types: tuple[str, ...]
    found: OneEndShown | None
    piece: str
    kept: str
    problems: tuple[str, ...]
    cautions: tuple[str, ...] = cautions_of("one-end")


@router.get(HERE)
def one_end(request: Request) -> Response:
    """Ask the next thing, and show what a line loses by the readings told so far."""
    params = request.query_params
    told, problems = told_in(params), []
    if params.get("do") == "add" and told.method is not None:
        try:
            return RedirectResponse(f"{HERE}?{urlencode([*_state(told), ('row', new_row(params, told.method))])}", 303)
        except InputError as error:
            problems = said(error)
    return _page(request, told, problems)


@router.post("/sweeps/one-end/file")
def give(
    request: Request,
    query: Annotated[str, Form()] = "",
    readings: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Take readings from a CSV file, beside those told already."""
    told = told_in(QueryParams(query))
    try:
        if readings is None or not readings.filename:
            raise InputError("readings", say("must be a CSV file"), cure=say("Choose one."))
        rows = file_rows(str(readings.filename), readings.file.read())
    except InputError as error:
        return _page(request, told, said(error), status=422)
    method = [] if told.method else [("method", METHODS[0].key)]
    return RedirectResponse(f"{HERE}?{urlencode([*_state(told), *method, *(('row', r) for r in rows)])}", 303)


@router.post("/sweeps/one-end/keep")
def keep(request: Request, query: Annotated[str, Form()] = "", piece: Annotated[str, Form()] = "") -> Response:
    """Keep the test as evidence of its piece."""
    from dataclasses import replace

    from linewright.verbs.one_end import keep_one_end, test_of_piece

    told, ledger = told_in(QueryParams(query)), ledger_of(request)
    test, tag = test_told(told, own_of(request), ledger)
    if tag is None:
        if not piece:
            raise InputError("piece", say("must be named: a test is kept for a piece"), cure=say("Choose it."))
        tag = piece
        test = test_of_piece(ledger, tag, replace(test, line=None, length_m=None))
    keep_one_end(ledger, test, by=by(request))
    state = [(k, v) for k, v in _state(told) if k != "of"]
    return RedirectResponse(f"{HERE}?{urlencode([('of', f'piece:{tag}'), *state, ('kept', tag)])}", 303)


def _state(told: OneEndInput) -> list[tuple[str, str]]:
    """Return what was told as the pairs of an address."""
    pairs = [("of", told.of), *told.given.items(), ("method", told.method.key if told.method else "")]
    return [(k, v) for k, v in pairs if v] + [("row", row) for row in told.rows]


def _page(request: Request, told: OneEndInput, problems: list[str], status: int = 200) -> Response:
    own, ledger, params = own_of(request), ledger_of(request), request.query_params
    found: tuple[OneEndShown | None, str | None] = (None, None)
    if told.rows:
        result, wrong = tried(lambda: proved(told, own, ledger))
        found, problems = result or (None, None), [*problems, *wrong]
    state = _state(told)
    lines = lines_kept(request)
    typed = {n: params.get(n, "") for n in ("at", "read", "end", "direct", "load_swr")} if problems else {}
    usual = {"at": told.next_at, "end": told.next_end, "read": "", "direct": "", "load_swr": ""}
    shown = OneEndPage(
        told.step, told.of, _of_words(told, dict(lines)), told.given, METHODS, told.method, {**usual, **typed},
        tuple(_reading(state, row) for row in told.rows), tuple(state),
        _without(state, "of", "line", "length"), _without(state, "method"), urlencode(state), lines,
        tuple(words for value, words in lines if value.startswith("piece:")), type_names(own),
        found[0], found[1] or "", params.get("kept", ""), tuple(dict.fromkeys(problems)),
    )  # fmt: skip
    template = "sweep_one_end_result.html" if wants_part(request) else "sweep_one_end.html"
    return page(request, template, shown, place=PLACE, title=say("One end in hand"), status=status)


def _of_words(told: OneEndInput, kept: Mapping[str, str]) -> str:
    if told.of in kept:
        return kept[told.of]
    parts = (told.given["line"], told.given["length"])
    return ", ".join(p for p in parts if p) or "a line nothing else is known of"


def _without(state: list[tuple[str, str]], *names: str) -> str:
    return f"{HERE}?{urlencode([(k, v) for k, v in state if k not in names])}"


def _reading(state: list[tuple[str, str]], row: str) -> ReadingLine:
    cells = cells_of(row)
    shown = next((cells[c] for c in ("swr", "return_loss", "resistance") if c in cells), "")
    name = "SWR " if "swr" in cells else ""
    direct = f", {cells['direct']} directly" if "direct" in cells else ""
    rest = list(state)
    rest.remove(("row", row))
    words = f"{cells.get('frequency', '')}, {cells.get('far_end', '')}: {name}{shown}{direct}"
    return ReadingLine(words, f"{HERE}?{urlencode(rest)}")
