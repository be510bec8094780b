"""Sweeps: files of an analyser handed in and read; an antenna seen behind its line; a line with one end in hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from linewright.errors import InputError
from linewright.model.line import LineType
from linewright.model.sweep import Sweep
from linewright.web import asked
from linewright.web.ledgers import by, ledger_of
from linewright.web.seen_page import OneEndTold, SeenThrough, one_end_told, seen_through
from linewright.web.shown import Place, page, wants_part
from linewright.web.sweep_page import Told, told
from linewright.web.uploads import Held, uploads_of

router = APIRouter(include_in_schema=False)
PLACE: Place = "sweeps"
ENDS = ("through", "open", "short", "load")
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
    found: Told | None
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
    found: SeenThrough | None
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OneEndPage:
    """A line with one end in hand: what was told, and what it says."""

    rows: tuple[int, ...]
    given: Mapping[str, str]
    types: tuple[str, ...]
    found: OneEndTold | None
    problems: tuple[str, ...]


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
            problems += _said(error)
    if problems:
        told = SweepsPage(tuple(problems), option_line)
        return page(request, "sweeps.html", told, place=PLACE, title="Sweeps", status=422)
    if of == "antenna" or any(not isinstance(h.curve, Sweep) for h in held):
        return RedirectResponse(f"/sweeps/antenna?{urlencode({'file': held[0].key})}", 303)
    pairs = [pair for h in held for pair in (("file", h.key), ("end", _guess(h)))]
    return RedirectResponse(f"/sweeps/line?{urlencode(pairs)}", 303)


@router.get("/sweeps/line")
def line(request: Request) -> Response:
    """Show what a line's sweeps say, with what is told beside them."""
    params = request.query_params
    held = [uploads_of(request).get(key) for key in params.getlist("file")[:MOST_FILES]]
    ends = [*params.getlist("end"), *([""] * len(held))][: len(held)]
    given = _given(params, ("length", "velocity_factor", "line", "at"))
    own = _own(request)
    found, problems = _tried(lambda: _line(held, ends, given, own))
    files = tuple(FileField(h.key, h.name, e, _about(h)) for h, e in zip(held, ends, strict=True))
    antenna = f"/sweeps/antenna?{urlencode({'file': held[0].key})}" if len(held) == 1 and held[0].ports == 1 else ""
    pieces = _pieces(request) if found and set(ends) <= set(KEPT_ENDS) else ()
    told = SweepPage(files, given, _types(own), found, problems, antenna, pieces, params.get("kept", ""))
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
    from linewright.workflows.shelf import file_sweep_bytes

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
    given = _given(params, ("loss", "line", "length"))
    told, own = bool(given["loss"] or given["line"]), _own(request)
    found, problems = _tried(lambda: _seen(held, given, own)) if told else (None, ())
    file = FileField(held.key, held.name, "", _about(held))
    whole = SeenPage(file, given, _types(own), found, problems)
    template = "sweep_seen_result.html" if wants_part(request) else "sweep_antenna.html"
    return page(request, template, whole, place=PLACE, title="An antenna behind its line")


@router.get("/sweeps/through")
def through(request: Request) -> Response:
    """Show what SWR stands at the antenna, from one reading at the radio."""
    given = _given(request.query_params, ("shack_swr", "loss", "line", "length", "at"))
    ready, own = given["shack_swr"] and (given["loss"] or given["line"]), _own(request)
    found, problems = _tried(lambda: _seen(None, given, own)) if ready else (None, ())
    told = SeenPage(None, given, _types(own), found, problems)
    template = "sweep_seen_result.html" if wants_part(request) else "sweep_through.html"
    return page(request, template, told, place=PLACE, title="SWR through a line")


@router.get("/sweeps/one-end")
def one_end(request: Request) -> Response:
    """Show what a line loses, from readings at its near end."""
    names = [f"{name}{i}" for i in range(1, ROWS + 1) for name in ("at", "open", "short")]
    given = _given(request.query_params, (*names, "line", "length"))
    rows = [row for i in range(1, ROWS + 1) for row in _readings(given, i)]
    own = _own(request)
    found, problems = _tried(lambda: _proved(rows, given, own)) if rows else (None, ())
    told = OneEndPage(tuple(range(1, ROWS + 1)), given, _types(own), found, problems)
    template = "sweep_one_end_result.html" if wants_part(request) else "sweep_one_end.html"
    return page(request, template, told, place=PLACE, title="One end in hand")


def _line(held: Sequence[Held], ends: Sequence[str], given: Mapping[str, str], own: Sequence[LineType]) -> Told:
    open_questions = [h.name for h, end in zip(held, ends, strict=True) if end not in ENDS]
    if not held or open_questions:
        rule = f"must be told for {', '.join(open_questions)}" if open_questions else "needs a sweep"
        raise InputError("far end", rule, cure="Choose what was there: open, short or load.")
    curves = [h.curve for h in held if isinstance(h.curve, Sweep)]
    wanted: dict[str, Any] = {name: given[name] or None for name in ("length", "velocity_factor", "line")}
    wanted["at"] = [part.strip() for part in given["at"].split(",") if part.strip()]
    return told(asked.report(curves, ends, wanted, own))


def _seen(held: Held | None, given: Mapping[str, str], own: Sequence[LineType]) -> SeenThrough:
    wanted = {name: value or None for name, value in given.items()}
    if wanted.get("loss"):
        wanted |= {"line": None, "length": None}
    if held is None:
        return seen_through(asked.see(wanted, None, own))
    from linewright.evidence.through.seen import seen_sweep

    curve = seen_sweep(held.curve) if isinstance(held.curve, Sweep) else held.curve
    return seen_through(asked.see(wanted, curve, own))


def _readings(given: Mapping[str, str], i: int) -> list[dict[str, str]]:
    """Return the readings of one line of the form, each in the column its unit asks for."""
    out = []
    for end in ("open", "short"):
        read = given[f"{end}{i}"]
        if read:
            column = "return_loss" if "db" in read.lower() else "resistance" if "ohm" in read.lower() else "swr"
            out.append({"frequency": given[f"at{i}"], "far_end": end, column: read})
    return out


def _proved(rows: Sequence[Mapping[str, str]], given: Mapping[str, str], own: Sequence[LineType]) -> OneEndTold:
    wanted = {name: given[name] or None for name in ("line", "length")}
    return one_end_told(asked.prove(rows, wanted, own))


def _pieces(request: Request) -> tuple[str, ...]:
    from linewright.workflows.shelf import all_kept

    return tuple(item.key for item in all_kept(ledger_of(request), "piece"))


def _tried(work: Callable[[], Any]) -> tuple[Any, tuple[str, ...]]:
    """Return what a verb answers, or what is wrong with what it was given."""
    try:
        return work(), ()
    except InputError as error:
        return None, tuple(_said(error))


def _said(error: InputError) -> list[str]:
    return [str(p) for p in getattr(error, "problems", ()) or (error,)]


def _given(params: Mapping[str, str], names: Sequence[str]) -> dict[str, str]:
    return {name: " ".join(params.get(name, "").split()) for name in names}


def _guess(held: Held) -> str:
    """Return what was at the far end, as far as ports and name tell."""
    if held.ports == 2:
        return "through"
    return next((end for end in ("open", "short", "load") if end in held.name.lower()), "")


def _about(held: Held) -> str:
    return f"{held.points} points, {held.ports} port{'s' if held.ports > 1 else ''}"


def _own(request: Request) -> tuple[LineType, ...]:
    """Return the person's own line types, as the ledger keeps them."""
    from linewright.workflows.shelf import own_lines

    return own_lines(ledger_of(request))


def _types(own: Sequence[LineType]) -> tuple[str, ...]:
    from linewright.catalogue import line_types

    return tuple(dict.fromkeys(line.designator for line in (*own, *line_types())))
