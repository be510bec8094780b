"""The door: where a visitor on the local network says the pass phrase; and which paper a page lies on."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from linewright.web.rendering import PAPER, PAPERS, page
from linewright.web.sessions import COOKIE

router = APIRouter(include_in_schema=False)
YEAR_S = 365 * 24 * 3600


@dataclass(frozen=True, slots=True)
class DoorPage:
    """What was wrong with a pass phrase, and where the visitor wanted to go."""

    wrong: str = ""
    to: str = "/"


@router.get("/door")
def door(request: Request, to: str = "/") -> Response:
    """Show the door."""
    wait_s = request.app.state.sessions.wait_s(_visitor(request), time.monotonic())
    return page(request, "door.html", DoorPage(_waits(wait_s), to), title="Pass phrase")


@router.post("/door")
def knock(request: Request, pass_phrase: Annotated[str, Form()] = "", to: Annotated[str, Form()] = "/") -> Response:
    """Let in who knows the pass phrase, with a new cookie."""
    found = request.app.state.sessions.admit(request.state.session, pass_phrase, _visitor(request), time.monotonic())
    if found.session:
        answer: Response = RedirectResponse(_here(to), 303)
        answer.set_cookie(COOKIE, found.session, samesite="strict", httponly=True)
        return answer
    wrong = _waits(found.wait_s) or "That is not it."
    status = 429 if found.wait_s else 403
    answer = page(request, "door.html", DoorPage(wrong, to), title="Pass phrase", status=status)
    if found.wait_s:
        answer.headers["retry-after"] = str(math.ceil(found.wait_s))
    return answer


def _visitor(request: Request) -> str:
    """Return where a request comes from."""
    return request.client.host if request.client else ""


def _waits(wait_s: float) -> str:
    return f"Too many wrong tries from this device. The next can be made in {math.ceil(wait_s)} s." if wait_s else ""


@router.post("/paper")
def paper(request: Request, paper: Annotated[str, Form()] = "", back: Annotated[str, Form()] = "/") -> Response:
    """Lay the pages on light or dark paper, or as the system has it."""
    answer = RedirectResponse(_here(back), 303)
    answer.set_cookie(PAPER, paper if paper in PAPERS else "", max_age=YEAR_S, samesite="strict", httponly=True)
    return answer


def _here(address: str) -> str:
    """Return an address of this station; one that leads away becomes the first page."""
    return address if address.startswith("/") and not address.startswith("//") else "/"
