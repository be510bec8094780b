"""Sweeps: files of an analyser handed in and read; an antenna seen behind its line; a line with one end in hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import Sweep
from linewright.web.ledgers import by, ledger_of
from linewright.web.rendering import Place, page, wants_part
from linewright.web.sweep_page import SweepShown
from linewright.web.sweep_requests import (
    Held,
    about,
    far_end_of,
    given_in,
    line_told,
    proved,
    readings_of,
    said,
    seen_told,
    tried,
    type_names,
    uploads_of,
)
from linewright.web.through_page import OneEndShown, ThroughShown

router = APIRouter(include_in_schema=False)
PLACE: Place = "sweeps"
KEPT_ENDS = ("through", "open", "short")
"""Far ends a piece is judged from."""
MOST_FILES = 4
ROWS = 3
"""Frequencies a form of one end takes."""
NOTHING = "Files must hold one sweep at least. Choose one that ends in .s1p or .s2p."


@dataclass(frozen=True, slots=True)
class SweepsPage:
    """Where a file is handed in; what could not be read is told."""

    problems: tuple[str, ...] = ()
    option_line: str = ""


@dataclass(frozen=True, slots=True)
class FileField:
    """One file of a sweep, and what was at its far end."""

    key: str
    name: str
    end: str
    about: str


@dataclass(frozen=True, slots=True)
class SweepPage:
    """A line's sweeps: the files, what is told beside them, and what they say."""

    files: tuple[FileField, ...]
    given: Mapping[str, str]
    types: tuple[str, ...]
    found: SweepShown | None
    problems: tuple[str, ...]
    antenna: str
    pieces: tuple[str, ...]
    kept: str
    """The piece it was just kept for."""


@dataclass(frozen=True, slots=True)
class SeenPage:
    """An antenna behind its line: what was told, and what is seen. ``file`` holds a whole curve."""

    file: FileField | None
    given: Mapping[str, str]
    types: tuple[str, ...]
    found: ThroughShown | None
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OneEndPage:
    """A line with one end in hand: what was told, and what it says."""

    rows: tuple[int, ...]
    given: Mapping[str, str]
    types: tuple[str, ...]
    found: OneEndShown | None
    problems: tuple[str, ...]
    cautions: tuple[str, ...] = cautions_of("one-end")


@router.get("/sweeps")
def sweeps(request: Request) -> Response:
    """Show where files are handed in."""
    return page(request, "sweeps.html", SweepsPage(), place=PLACE, title="Sweeps")


@router.post("/sweeps")
def give(
    request: Request,
    files: Annotated[list[UploadFile] | None, File()] = None,
    option_line: Annotated[str, Form()] = "",
    of: Annotated[str, Form()] = "line",
) -> Response:
    """Take files and go to what they say; what cannot be read is told, every file by itself."""
    named = [f for f in files or () if f.filename][:MOST_FILES]
    problems: list[str] = (
        [] if named else ["files must hold one sweep at least. Choose a file that ends in .s1p or .s2p."]
    )
    held: list[Held] = []
    for file in named:
        try:
            held.append(uploads_of(request).take(str(file.filename), file.file.read(), option_line.strip() or None))
        except InputError as error:
            problems += said(error)
    if problems:
        told = SweepsPage(tuple(problems), option_line)
        return page(request, "sweeps.html", told, place=PLACE, title="Sweeps", status=422)
    if of == "antenna" or any(not isinstance(h.curve, Sweep) for h in held):
        return RedirectResponse(f"/sweeps/antenna?{urlencode({'file': held[0].key})}", 303)
    pairs = [pair for h in held for pair in (("file", h.key), ("end", far_end_of(h)))]
    return RedirectResponse(f"/sweeps/line?{urlencode(pairs)}", 303)


@router.get("/sweeps/line")
def line(request: Request) -> Response:
    """Show what a line's sweeps say, with what is told beside them."""
    params = request.query_params
    held = [uploads_of(request).get(key) for key in params.getlist("file")[:MOST_FILES]]
    ends = [*params.getlist("end"), *([""] * len(held))][: len(held)]
    given = given_in(params, ("length", "velocity_factor", "line", "at"))
    own = _own(request)
    found, problems = tried(lambda: line_told(held, ends, given, own))
    files = tuple(FileField(h.key, h.name, e, about(h)) for h, e in zip(held, ends, strict=True))
    antenna = f"/sweeps/antenna?{urlencode({'file': held[0].key})}" if len(held) == 1 and held[0].ports == 1 else ""
    pieces = _pieces(request) if found and set(ends) <= set(KEPT_ENDS) else ()
    told = SweepPage(files, given, type_names(own), found, problems, antenna, pieces, params.get("kept", ""))
    template = "sweep_line_result.html" if wants_part(request) else "sweep_line.html"
    return page(request, template, told, place=PLACE, title="A line's sweep")


@router.post("/sweeps/keep")
def keep(
    request: Request,
    file: Annotated[list[str], Form()],
    end: Annotated[list[str], Form()],
    piece: Annotated[str, Form()] = "",
) -> Response:
    """Keep sweeps in the ledger as evidence of a piece."""
    from linewright.verbs.shelf import file_sweep_bytes

    for key, far_end in zip(file, end, strict=False):
        held = uploads_of(request).get(key)
        file_sweep_bytes(ledger_of(request), held.name, held.content, piece, far_end, by=by(request))
    pairs = [pair for key, far_end in zip(file, end, strict=False) for pair in (("file", key), ("end", far_end))]
    return RedirectResponse(f"/sweeps/line?{urlencode([*pairs, ('kept', piece)])}", 303)


@router.get("/sweeps/antenna")
def antenna(request: Request) -> Response:
    """Show the antenna of a curve behind its line."""
    params = request.query_params
    held = uploads_of(request).get(params.get("file", ""))
    given = given_in(params, ("loss", "line", "length"))
    told, own = bool(given["loss"] or given["line"]), _own(request)
    found, problems = tried(lambda: seen_told(held, given, own)) if told else (None, ())
    file = FileField(held.key, held.name, "", about(held))
    whole = SeenPage(file, given, type_names(own), found, problems)
    template = "sweep_seen_result.html" if wants_part(request) else "sweep_antenna.html"
    return page(request, template, whole, place=PLACE, title="An antenna behind its line")


@router.get("/sweeps/through")
def through(request: Request) -> Response:
    """Show what SWR stands at the antenna, from one reading at the radio."""
    given = given_in(request.query_params, ("shack_swr", "loss", "line", "length", "at"))
    ready, own = given["shack_swr"] and (given["loss"] or given["line"]), _own(request)
    found, problems = tried(lambda: seen_told(None, given, own)) if ready else (None, ())
    told = SeenPage(None, given, type_names(own), found, problems)
    template = "sweep_seen_result.html" if wants_part(request) else "sweep_through.html"
    return page(request, template, told, place=PLACE, title="SWR through a line")


@router.get("/sweeps/one-end")
def one_end(request: Request) -> Response:
    """Show what a line loses, from readings at its near end."""
    names = [f"{name}{i}" for i in range(1, ROWS + 1) for name in ("at", "open", "short")]
    given = given_in(request.query_params, (*names, "line", "length"))
    rows = [row for i in range(1, ROWS + 1) for row in readings_of(given, i)]
    own = _own(request)
    found, problems = tried(lambda: proved(rows, given, own)) if rows else (None, ())
    told = OneEndPage(tuple(range(1, ROWS + 1)), given, type_names(own), found, problems)
    template = "sweep_one_end_result.html" if wants_part(request) else "sweep_one_end.html"
    return page(request, template, told, place=PLACE, title="One end in hand")


def _pieces(request: Request) -> tuple[str, ...]:
    from linewright.verbs.shelf import all_kept

    return tuple(item.key for item in all_kept(ledger_of(request), "piece"))


def _own(request: Request) -> tuple[LineType, ...]:
    """Return the person's own line types, as the ledger keeps them."""
    from linewright.verbs.shelf import own_lines

    return own_lines(ledger_of(request))
