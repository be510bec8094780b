"""A piece under another tag."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from linewright.errors import InputError
from linewright.model.ledger import ConflictError
from linewright.web.ledgers import by, ledger_of
from linewright.web.shown import page
from linewright.workflows.shelf import kept, rename
from linewright.workflows.shelf_renames import called_now

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class RenamePage:
    """The form: a piece, the version it shows, the new tag as typed, and what is wrong with it."""

    tag: str
    seen: int
    typed: str
    trouble: str = ""


@router.get("/shelf/rename/{tag:path}")
def form(request: Request, tag: str) -> Response:
    """Show the form."""
    ledger = ledger_of(request)
    if (now := called_now(ledger, tag)) != tag:
        return RedirectResponse(f"/shelf/rename/{quote(now)}", 303)
    return _shown(request, RenamePage(tag, kept(ledger, "piece", tag).version, tag))


def _shown(request: Request, found: RenamePage, status: int = 200) -> Response:
    return page(request, "shelf_rename.html", found, place="shelf", title=f"Rename {found.tag}", status=status)


@router.post("/shelf/rename/{tag:path}")
def change(request: Request, tag: str, new: Annotated[str, Form()], version: Annotated[int, Form()]) -> Response:
    """Give a piece the tag that was typed."""
    ledger = ledger_of(request)
    try:
        item = rename(ledger, tag, new, expect=version, by=by(request))
    except ConflictError as cause:
        return _shown(request, RenamePage(tag, cause.version, new, f"{cause} Send it again to rename it."), 409)
    except InputError as cause:
        return _shown(request, RenamePage(tag, version, new, str(cause)), 422)
    return RedirectResponse(f"/shelf/piece/{quote(item.key)}", 303)
