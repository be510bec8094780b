"""Waiting for work that takes long: how far it is, a way to stop it, and back once it is done."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from linewright.core.errors import LinewrightError, UnknownNameError
from linewright.core.messages import say
from linewright.web.jobs import Work, works_of
from linewright.web.rendering import page, wants_part

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class Waiting:
    """What the page shows; ``trouble`` is what went wrong, in words."""

    work: Work
    trouble: str = ""


@router.get("/waiting/{key}")
def waiting(request: Request, key: str) -> Response:
    """Show how far a work is; once it is done, lead to its answer.

    A part that still follows work which newer readings made needless has nothing to show: its page brings the newer.
    """
    if wants_part(request) and works_of(request).called(key) is None:
        return Response(status_code=204)
    work = _known(request, key)
    if work.done and not work.failed:
        return RedirectResponse(work.back, 303)
    return page(request, "waiting.html", Waiting(work, _trouble(work)), title=work.title)


@router.post("/waiting/{key}/stop")
def stop(request: Request, key: str) -> Response:
    """Stop a work; what it was to change is as it was."""
    work = _known(request, key)
    work.stop()
    work.wait()
    return RedirectResponse(work.address, 303)


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
