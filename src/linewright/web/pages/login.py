"""The door: where a visitor on the local network says the pass phrase."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from linewright.core.messages import mark, say
from linewright.web.rendering import page
from linewright.web.sessions import Sessions

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class DoorPage:
    """What was wrong with a pass phrase, where the visitor wanted to go, and the key of the picture, "" without it."""

    wrong: str = ""
    to: str = "/"
    key: str = ""


@router.get("/door")
def door(request: Request, to: str = "/", key: str = "") -> Response:
    """Show the door."""
    wait_s = request.app.state.sessions.wait_s(_visitor(request), time.monotonic())
    return page(request, "door.html", DoorPage(_waits(wait_s), to, key), title=say("Pass phrase"))


@router.post("/door")
def knock(request: Request, pass_phrase: Annotated[str, Form()] = "", to: Annotated[str, Form()] = "/") -> Response:
    """Let in who knows the pass phrase, with a new cookie."""
    sessions: Sessions = request.app.state.sessions
    what = request.headers.get("user-agent", "")
    found = sessions.admit(request.state.session, pass_phrase, _visitor(request), time.monotonic(), what)
    if found.session:
        answer: Response = RedirectResponse(here(to), 303)
        settings = request.app.state.settings
        answer.set_cookie(settings.cookie, found.session, samesite="strict", httponly=True, secure=settings.tls)
        return answer
    wrong = _waits(found.wait_s) or say("That is not it.")
    status = 429 if found.wait_s else 403
    answer = page(request, "door.html", DoorPage(wrong, to), title=say("Pass phrase"), status=status)
    if found.wait_s:
        answer.headers["retry-after"] = str(math.ceil(found.wait_s))
    return answer


def _visitor(request: Request) -> str:
    """Return where a request comes from."""
    return request.client.host if request.client else ""


def _waits(wait_s: float) -> str:
    words = mark("Too many wrong tries from this device. The next can be made in {seconds} s.")
    return say(words, seconds=math.ceil(wait_s)) if wait_s else ""


@dataclass(frozen=True, slots=True)
class DeviceRow:
    """A device that is signed in, and whether it is the one that asks."""

    name: str
    what: str
    visitor: str
    silent_min: int
    mine: bool


@dataclass(frozen=True, slots=True)
class DevicesPage:
    """The devices that are signed in."""

    devices: tuple[DeviceRow, ...]


@router.get("/devices")
def devices(request: Request) -> Response:
    """Show which devices are signed in."""
    sessions: Sessions = request.app.state.sessions
    now_s, mine = time.monotonic(), sessions.device_of(request.state.session)
    rows = tuple(
        DeviceRow(name, d.what or say("a program"), d.visitor, int(now_s - d.seen_s) // 60, name == mine)
        for name, d in sessions.devices(now_s).items()
    )
    return page(request, "devices.html", DevicesPage(rows), place="elsewhere", title=say("Devices"))


@router.post("/devices/out")
def sign_out(request: Request, device: Annotated[str, Form()] = "") -> Response:
    """Sign a device out; the one that asks if none is named."""
    sessions: Sessions = request.app.state.sessions
    mine = sessions.device_of(request.state.session)
    sessions.sign_out(device or mine)
    return RedirectResponse("/door" if device in ("", mine) else "/devices", 303)


def here(address: str) -> str:
    """Return an address of this station; one that leads away becomes the first page."""
    return address if address.startswith("/") and not address.startswith("//") else "/"
