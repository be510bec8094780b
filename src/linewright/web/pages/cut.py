"""Lengths that must match: lines compared in degrees, and where to cut one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response
from starlette.datastructures import QueryParams

from linewright.catalogue.bands import bands
from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.cut import CutResult
from linewright.web.cut_page import CutShown, shown
from linewright.web.cut_requests import ASKED, LineField, cut_of, lines_in, named
from linewright.web.ledgers import by, ledger_of
from linewright.web.rendering import Place, page, wants_part
from linewright.web.sweep_requests import given_in, tried

router = APIRouter(include_in_schema=False)
PLACE: Place = "sweeps"
WANTS = (
    ("compare", say("Compare them, and trim to the shortest")),
    ("sets", say("Find which go together")),
    ("line", say("Cut one to a length")),
    ("open", say("Make one a stub, open at its end")),
    ("short", say("Make one a stub, shorted at its end")),
)
ANGLES = ("quarter wave", "half wave", "3/4 wave", "5/4 wave", "full wave")


@dataclass(frozen=True, slots=True)
class CutPage:
    """What is asked, of which lines, and the answer. ``query`` is the address of the same question."""

    shelf: tuple[tuple[str, bool], ...]
    files: tuple[LineField, ...]
    names: tuple[str, ...]
    given: Mapping[str, str]
    wants: tuple[tuple[str, str], ...]
    bands: tuple[str, ...]
    angles: tuple[str, ...]
    found: CutShown | None
    problems: tuple[str, ...]
    query: str
    may_apply: bool
    cautions: tuple[str, ...] = cautions_of("cut")


@router.get("/sweeps/cut")
def cut(request: Request) -> Response:
    """Show how lines differ, and where to cut."""
    from linewright.verbs.shelf import all_kept

    params = request.query_params
    given = given_in(params, ASKED)
    given["want"] = given["want"] or "compare"
    files = lines_in(request, params)
    chosen = set(params.getlist("piece"))
    shelf = tuple((item.key, item.key in chosen) for item in all_kept(ledger_of(request), "piece"))
    names = named(params, files)
    enough = len(names) > 1 or (names and given["want"] not in ("compare", "sets"))
    ready = enough and (given["at"] or given["band"])
    result, problems = tried(lambda: cut_of(request, params, given)) if ready else (None, ())
    query = urlencode([(k, v) for k, v in params.multi_items() if v or k in ("end", "taped")])
    told = CutPage(
        shelf, files, names, given, WANTS, tuple(b.name for b in bands()), ANGLES, shown(result) if result else None,
        problems, query, result is not None and not files and _cuts(result),
    )  # fmt: skip
    template = "sweep_cut_result.html" if wants_part(request) else "sweep_cut.html"
    return page(request, template, told, place=PLACE, title=say("Cut and match"))


def _cuts(result: CutResult) -> bool:
    """Return whether anything is to be cut off."""
    from linewright.verbs.cut import trimmed_lengths

    try:
        return bool(trimmed_lengths(result))
    except InputError:
        return False


@router.get("/sweeps/cut/label")
def label(request: Request) -> Response:
    """Hand out labels with what to trim."""
    from linewright.present.labels import label_pages
    from linewright.verbs.cut import cut_labels

    params = request.query_params
    given = given_in(params, ASKED)
    made = label_pages(cut_labels(cut_of(request, params, given)))
    head = {"content-disposition": 'attachment; filename="trim.pdf"'}
    return Response(made, media_type="application/pdf", headers=head)


@router.post("/sweeps/cut/keep")
def keep(request: Request, query: Annotated[str, Form()] = "") -> Response:
    """Shorten pieces in the ledger as they were cut; what they were is put away, and it can be undone."""
    from linewright.verbs.cut import apply_cut

    params = QueryParams(query)
    result = cut_of(request, params, given_in(params, ASKED))
    kept = apply_cut(ledger_of(request), result, by=by(request))
    return RedirectResponse(f"/shelf/piece/{_quoted(kept[0].item.key)}" if len(kept) == 1 else "/shelf", 303)


def _quoted(tag: str) -> str:
    from urllib.parse import quote

    return quote(tag, safe="")
