"""The door: where a visitor on the local network says the pass phrase; and which paper a page lies on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from linewright.web.sessions import TRIES
from linewright.web.shown import PAPER, PAPERS, page

router = APIRouter(include_in_schema=False)
CLOSED = (
    f"After {TRIES} wrong pass phrases nobody more is let in. "
    "Whoever started the station can start it anew; it then shows a new one."
)
YEAR_S = 365 * 24 * 3600


@dataclass(frozen=True, slots=True)
class DoorPage:
    """What was wrong with a pass phrase, and where the visitor wanted to go."""

    wrong: str = ""
    to: str = "/"


@router.get("/door")
def door(request: Request, to: str = "/") -> Response:
    """Show the door."""
    closed = CLOSED if request.app.state.sessions.closed() else ""
    return page(request, "door.html", DoorPage(closed, to), title="Pass phrase")


@router.post("/door")
def knock(request: Request, pass_phrase: Annotated[str, Form()] = "", to: Annotated[str, Form()] = "/") -> Response:
    """Let in who knows the pass phrase."""
    sessions = request.app.state.sessions
    if sessions.admit(request.state.session, pass_phrase):
        return RedirectResponse(_here(to), 303)
    wrong = CLOSED if sessions.closed() else "That is not it."
    return page(request, "door.html", DoorPage(wrong, to), title="Pass phrase", status=403)


@router.post("/paper")
def paper(request: Request, paper: Annotated[str, Form()] = "", back: Annotated[str, Form()] = "/") -> Response:
    """Lay the pages on light or dark paper, or as the system has it."""
    answer = RedirectResponse(_here(back), 303)
    answer.set_cookie(PAPER, paper if paper in PAPERS else "", max_age=YEAR_S, samesite="strict", httponly=True)
    return answer


def _here(address: str) -> str:
    """Return an address of this station; one that leads away becomes the first page."""
    return address if address.startswith("/") and not address.startswith("//") else "/"
