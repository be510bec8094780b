"""Sweeps: files of an analyser handed in and read; an antenna seen behind its line; a line with one end in hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.messages import mark, say
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import Sweep
from linewright.web.antenna_page import AntennaShown
from linewright.web.ledgers import by, ledger_of
from linewright.web.pictures import Drawable, PageChart, chart_of, charts_on
from linewright.web.rendering import Place, page, wants_part
from linewright.web.sweep_page import SweepShown
from linewright.web.sweep_requests import (
    LINE_FIELDS,
    HeldSweep,
    about,
    antenna_told,
    far_end_of,
    given_in,
    knows_line,
    line_told,
    said,
    seen_result,
    tried,
    type_names,
    uploads_of,
)
from linewright.web.through_page import BothEnds, ThroughShown, both_ends, sentence_of, through_shown

router = APIRouter(include_in_schema=False)
PLACE: Place = "sweeps"
LINE, ANTENNA = "/sweeps/line", "/sweeps/antenna"
KEPT_ENDS = ("through", "open", "short")
"""Far ends a piece is judged from."""
MOST_FILES = 12
"""Of several lines to be compared; of one line four count."""
MOST_OF_A_LINE, MOST_OF_AN_ANTENNA = 4, 6
DECIDES_HZ = 144.3e6
"""The band that a sentence about a kept line begins with: where most is hidden of what most stations have."""
NOTHING = mark("Choose at least one file that ends in .s1p or .s2p.")


@dataclass(frozen=True, slots=True)
class SweepsPage:
    """The page to upload a file; errors in reading it are shown."""

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
    charts: tuple[PageChart, ...] = ()


@dataclass(frozen=True, slots=True)
class SeenPage:
    """An antenna behind its line, from one reading: what was told, and what is seen."""

    given: Mapping[str, str]
    types: tuple[str, ...]
    kept: tuple[tuple[str, str], ...]
    found: ThroughShown | None
    problems: tuple[str, ...]
    ends: BothEnds | None = None


@dataclass(frozen=True, slots=True)
class AntennaPage:
    """Sweeps of one antenna: the files with what they are called, what is told of the line, and what they say."""

    files: tuple[FileField, ...]
    given: Mapping[str, str]
    types: tuple[str, ...]
    kept: tuple[tuple[str, str], ...]
    found: AntennaShown | None
    problems: tuple[str, ...]
    charts: tuple[PageChart, ...] = ()


@router.get("/sweeps")
def sweeps(request: Request) -> Response:
    """Show where files are handed in."""
    return page(request, "sweeps.html", SweepsPage(), place=PLACE, title=say("Sweeps"))


@router.post("/sweeps")
def give(
    request: Request,
    files: Annotated[list[UploadFile] | None, File()] = None,
    option_line: Annotated[str, Form()] = "",
    of: Annotated[str, Form()] = "line",
) -> Response:
    """Take files and go to what they say; what cannot be read is told, every file by itself."""
    named = [f for f in files or () if f.filename][:MOST_FILES]
    problems: list[str] = [] if named else [say(NOTHING)]
    held: list[HeldSweep] = []
    for file in named:
        try:
            held.append(uploads_of(request).take(str(file.filename), file.file.read(), option_line.strip() or None))
        except InputError as error:
            problems += said(error)
    if problems:
        told = SweepsPage(tuple(problems), option_line)
        return page(request, "sweeps.html", told, place=PLACE, title=say("Sweeps"), status=422)
    if of == "cut":
        pairs = [pair for h in held for pair in (("file", h.key), ("end", far_end_of(h)), ("taped", ""))]
        return RedirectResponse(f"/sweeps/cut?{urlencode(pairs)}", 303)
    if of == "antenna" or any(not isinstance(h.curve, Sweep) for h in held):
        pairs = [pair for h in held[:MOST_OF_AN_ANTENNA] for pair in (("file", h.key), ("name", ""))]
        return RedirectResponse(f"/sweeps/antenna?{urlencode(pairs)}", 303)
    pairs = [pair for h in held[:MOST_OF_A_LINE] for pair in (("file", h.key), ("end", far_end_of(h)))]
    return RedirectResponse(f"/sweeps/line?{urlencode(pairs)}", 303)


@router.get(LINE)
def line(request: Request) -> Response:
    """Show what a line's sweeps say, with what is told beside them."""
    held, ends, given = _line_asked(request)
    own = own_of(request)
    found, problems = tried(lambda: line_told(held, ends, given, own))
    charts = charts_on(request, LINE, found.charts) if found else ()
    files = tuple(FileField(h.key, h.name, e, about(h)) for h, e in zip(held, ends, strict=True))
    antenna = f"/sweeps/antenna?{urlencode({'file': held[0].key})}" if len(held) == 1 and held[0].ports == 1 else ""
    pieces = pieces_of(request) if found and set(ends) <= set(KEPT_ENDS) else ()
    told = SweepPage(files, given, type_names(own), found, problems, antenna, pieces,
                     request.query_params.get("kept", ""), charts)  # fmt: skip
    template = "sweep_line_result.html" if wants_part(request) else "sweep_line.html"
    return page(request, template, told, place=PLACE, title=say("A line's sweep"))


def _line_asked(request: Request) -> tuple[list[HeldSweep], list[str], dict[str, str]]:
    """Return the sweeps of a line that an address holds, their far ends, and what is told beside them."""
    params = request.query_params
    held = [uploads_of(request).get(key) for key in params.getlist("file")[:MOST_OF_A_LINE]]
    ends = [*params.getlist("end"), *([""] * len(held))][: len(held)]
    return held, ends, given_in(params, ("length", "velocity_factor", "line", "at"))


@router.get(LINE + "/chart/{name}")
def line_chart(request: Request, name: str) -> Response:
    """Return a drawing of what a line's sweeps say."""

    def again() -> tuple[Drawable, ...]:
        return line_told(*_line_asked(request), own_of(request)).charts

    return chart_of(request, LINE, name, again)


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


@router.get(ANTENNA)
def antenna(request: Request) -> Response:
    """Show an antenna as the analyser shows it; behind a line and against other sweeps where these are told."""
    held, names, given = _antenna_asked(request)
    own = own_of(request)
    found, problems = tried(lambda: antenna_told(held, names, given, own, ledger_of(request)))
    charts = charts_on(request, ANTENNA, found.charts) if found else ()
    files = tuple(FileField(h.key, h.name, name, about(h)) for h, name in zip(held, names, strict=True))
    whole = AntennaPage(files, given, type_names(own), lines_kept(request), found, problems, charts)
    template = "sweep_antenna_result.html" if wants_part(request) else "sweep_antenna.html"
    return page(request, template, whole, place=PLACE, title=say("An antenna's sweep"))


def _antenna_asked(request: Request) -> tuple[list[HeldSweep], list[str], dict[str, str]]:
    """Return the sweeps of an antenna that an address holds, what they are called, and what is told beside them."""
    params = request.query_params
    held = [uploads_of(request).get(key) for key in params.getlist("file")[:MOST_OF_AN_ANTENNA]]
    names = [*params.getlist("name"), *([""] * len(held))][: len(held)]
    return held, names, given_in(params, (*LINE_FIELDS, "at"))


@router.get(ANTENNA + "/chart/{name}")
def antenna_chart(request: Request, name: str) -> Response:
    """Return a drawing of what an antenna's sweeps say."""

    def again() -> tuple[Drawable, ...]:
        return antenna_told(*_antenna_asked(request), own_of(request), ledger_of(request)).charts

    return chart_of(request, ANTENNA, name, again)


@router.get("/sweeps/through")
def through(request: Request) -> Response:
    """Show the SWR at the antenna from one reading at the radio: a sentence to fill in, with a drawing below."""
    given = sentence_of(given_in(request.query_params, ("shack_swr", "at", "step", "directivity", *LINE_FIELDS)))
    own, ledger = own_of(request), ledger_of(request)
    ready = given["shack_swr"] and knows_line(given)
    result, problems = tried(lambda: seen_result(given, own, ledger)) if ready else (None, ())
    kept = lines_kept(request)
    if kept and not request.query_params:  # who has a shelf asks about a line of it; only the SWR is left to type
        given |= {"behind": kept[0][0], "at": frequency(DECIDES_HZ)}
    found = None if result is None else through_shown(result)
    drawn = None if result is None else both_ends(result, given, kept, lambda told: seen_result(told, own, ledger))
    told = SeenPage(given, type_names(own), kept, found, problems, drawn)
    template = "sweep_seen_result.html" if wants_part(request) else "sweep_through.html"
    return page(request, template, told, place=PLACE, title=say("SWR through a line"))


def lines_kept(request: Request) -> tuple[tuple[str, str], ...]:
    """Return the pieces and runs that the ledger keeps, as a form names them and as a person reads them."""
    from linewright.verbs.shelf import all_kept

    pieces = [(f"piece:{tag}", tag) for tag in pieces_of(request)]
    stations = all_kept(ledger_of(request), "station")
    runs = [str(run.get("name")) for item in stations for run in item.body["station"].get("run", ())]
    return (*pieces, *((f"run:{run}", say("{run} (a run)", run=run)) for run in runs if runs.count(run) == 1))


def pieces_of(request: Request) -> tuple[str, ...]:
    """Return the tags of the pieces on the shelf."""
    from linewright.verbs.shelf import all_kept

    return tuple(item.key for item in all_kept(ledger_of(request), "piece"))


def own_of(request: Request) -> tuple[LineType, ...]:
    """Return the person's own line types, as the ledger keeps them."""
    from linewright.verbs.shelf import own_lines

    return own_lines(ledger_of(request))
