"""Waiting for work that takes long: how far it is, a way to stop it, and back once it is done.

Several may wait for one work and want different things of it: each comes with the address that is theirs.
"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from linewright.core.errors import LinewrightError, UnknownNameError
from linewright.core.messages import say
from linewright.web.jobs import Work, works_of
from linewright.web.rendering import page, wants_part

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class Waiting:
    """What the page shows.

    ``at`` is the page's own address and ``back`` where the answer is; ``file`` tells that it is a file, which leads
    nowhere. ``trouble`` is what went wrong, in words.
    """

    work: Work
    at: str
    stop: str
    back: str
    file: bool = False
    trouble: str = ""


def place_to_wait(request: Request, work: Work, file: str) -> str:
    """Return where one waits for a file that is made of a work; ``file`` is its address, for nobody else to change."""
    return f"{work.address}?{urlencode({'file': file, 'by': request.app.state.sessions.sign(file)})}"


@router.get("/waiting/{key}")
def waiting(request: Request, key: str, file: str = "", by: str = "") -> Response:
    """Show how far a work is; once it is done, lead to its answer, or offer the file that is made of it.

    Work that newer readings made needless, or whose answer somebody has taken, is gone: its page brings the newest.
    """
    works, file = works_of(request), _own(request, file, by)
    if works.called(key) is None:
        if (back := file or works.went(key)) is not None:
            return RedirectResponse(back, 303)
        if wants_part(request):
            return Response(status_code=204)
    work = _known(request, key)
    work.look()
    if work.done and not work.failed and not file:
        return RedirectResponse(work.back, 303)
    asked = "?" + urlencode({"file": file, "by": by}) if file else ""
    shown = Waiting(
        work, work.address + asked, f"{work.address}/stop{asked}", file or work.back, bool(file), _trouble(work)
    )
    return page(request, "waiting.html", shown, title=work.title)


@router.post("/waiting/{key}/stop")
def stop(request: Request, key: str, file: str = "", by: str = "") -> Response:
    """Stop a work; what it was to change is as it was."""
    work = _known(request, key)
    work.stop()
    work.wait()
    file = _own(request, file, by)
    return RedirectResponse(place_to_wait(request, work, file) if file else work.address, 303)


def _own(request: Request, file: str, by: str) -> str:
    """Return the address of a file that the app itself wrote, else nothing."""
    return file if request.app.state.sessions.is_signed(file, by) else ""


def _known(request: Request, key: str) -> Work:
    found = works_of(request).called(key)
    if found is None:
        rule = say("must be one that was begun since the app was started")
        raise UnknownNameError("work", rule, cure=say("Go back to the page that began it, and begin it again."))
    return found


def _trouble(work: Work) -> str:
    if not work.failed:
        return ""
    try:
        work.answer()
    except LinewrightError as cause:
        return str(cause)
    except Exception:  # the answer's own page tells the rest
        return "It went wrong."
    return ""
