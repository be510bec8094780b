"""The app: its pages, its interface for programs, and what it says when something is wrong."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Match
from starlette.types import Message

from linewright import __version__
from linewright.core.errors import CannotError, DamagedError, InputError, LinewrightError
from linewright.core.messages import say
from linewright.core.nouns.ledger import ConflictError
from linewright.web.api import READS, VERBS, WRITES
from linewright.web.api.route import wrong_field
from linewright.web.bearers import Bearers, TokenError
from linewright.web.bench_cache import Judgements
from linewright.web.choose_page import LatestChoices
from linewright.web.clubs import Clubs
from linewright.web.guard import Guard
from linewright.web.lean import LeanFiles
from linewright.web.ledgers import Opened, closed_at_the_end
from linewright.web.live import Live
from linewright.web.pages import (
    bench,
    bench_paste,
    bench_result,
    bench_start,
    connectors,
    cut,
    exposure,
    find,
    kept_sweeps,
    line_types,
    offline,
    one_end,
    practise,
    questions,
    runs,
    shelf,
    shelf_files,
    shelf_gear,
    station,
    sweeps,
    tokens,
    waiting,
)
from linewright.web.pages import files_out as labels
from linewright.web.pages import files_out as reports
from linewright.web.pages import help as manual
from linewright.web.pages import login as door
from linewright.web.pages import settings as tastes
from linewright.web.pages import shelf_gear as shelf_rename
from linewright.web.rendering import PageTrouble, page
from linewright.web.sessions import Sessions, Settings
from linewright.web.standing import Outlooks
from linewright.web.verdicts import Verdicts

OTHERWISE = {
    400: (say("What was sent cannot be read: its form is broken, or it did not come whole."),),
    405: (say("This address takes no such request."),),
    413: (say("That is more than this page takes."),),
}
"""The message for a failed request to a known address, by status."""
STATIC = Path(str(files("linewright.web"))) / "static"


def create_app(settings: Settings | None = None, *, guarded: bool = True) -> FastAPI:
    """Return the app for one start. It opens no port; ``linewright serve`` does."""
    settings = settings or Settings()
    app = FastAPI(
        title="linewright", version=__version__, docs_url=None, redoc_url=None, openapi_url="/api/openapi.json",
        lifespan=closed_at_the_end,
    )  # fmt: skip
    app.state.settings = settings
    app.state.opened, app.state.judged = Opened(settings.ledger), Judgements(apart=settings.apart)
    app.state.works, app.state.choices = app.state.judged.works, LatestChoices()
    app.state.live = Live(app.state.opened.ledger)
    app.state.live.on_change = Verdicts(app.state.live, app.state.opened, app.state.judged).after
    app.state.outlooks = Outlooks()
    app.state.clubs = Clubs()
    app.state.sessions = Sessions(settings.pass_phrase, settings.key)
    # The routes themselves: of those that are included, an app makes copies of its own, 75 ms at its first request.
    shelved = (labels, shelf_files, shelf_gear, shelf_rename, shelf)
    for part in (
        door,
        tastes,
        offline,
        station,
        runs,
        exposure,
        cut,
        one_end,
        kept_sweeps,
        sweeps,
        connectors,
        find,
        questions,
        line_types,
        practise,
        bench_start,
        bench_paste,
        bench,
        bench_result,
        reports,
        tokens,
        waiting,
        manual,
        *shelved,
    ):
        app.router.routes.extend(part.router.routes)
    for interface in (VERBS, READS, WRITES):
        app.router.routes.extend(interface.routes)
    app.mount("/static", LeanFiles(directory=STATIC), name="static")
    for kind, status in ((InputError, 422), (CannotError, 503)):
        app.add_exception_handler(kind, _said(status))
    app.add_exception_handler(HTTPException, _not_here)
    app.add_exception_handler(RequestValidationError, _not_filled_in)
    if guarded:
        bearers = Bearers(app.state.opened.ledger)
        app.add_middleware(Guard, settings=settings, sessions=app.state.sessions, bearers=bearers, apart=answered_apart)
    return app


def answered_apart(
    settings: Settings, scope: dict[str, Any], body: bytes
) -> tuple[int, list[tuple[bytes, bytes]], bytes]:
    """Answer a request that the guard of another process let through; return status, headers and body."""
    app, told, parts = create_app(settings, guarded=False), iter((body,)), []
    found: dict[str, Any] = {}

    async def receive() -> Message:
        for whole in told:
            return {"type": "http.request", "body": whole, "more_body": False}
        return {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            found.update(message)
        else:
            parts.append(message.get("body", b""))

    try:
        asyncio.run(app(scope, receive, send))
    finally:
        app.state.opened.close()
    return found["status"], list(found["headers"]), b"".join(parts)


def _said(status: int) -> Callable[[Request, Exception], Response]:
    def answer(request: Request, cause: Exception) -> Response:
        """Say what is wrong: as data under /api, as a page elsewhere."""
        assert isinstance(cause, LinewrightError)
        if isinstance(cause, TokenError):
            return cause.answer()
        if request.url.path.startswith("/api/"):
            return JSONResponse(_told(cause), 409 if isinstance(cause, ConflictError) else status)
        problems = tuple(str(p) for p in getattr(cause, "problems", ()) or (cause,))
        heading = say("Something given is not right") if status == 422 else say("That could not be done")
        shown = PageTrouble(heading, problems, damaged=isinstance(cause, DamagedError))
        return page(request, "trouble.html", shown, place="elsewhere", title=heading, status=status)

    return answer


def _told(cause: LinewrightError) -> dict[str, object]:
    """Return an error as the one document of errors; of two that changed one thing, both sides."""
    told: dict[str, object] = cause.to_dict() if isinstance(cause, InputError) else {"message": str(cause)}
    if isinstance(cause, ConflictError):
        told |= {"mine": cause.mine, "theirs": cause.theirs, "version": cause.version}
    return {"schema": "linewright/error/1", **told}


def _not_here(request: Request, cause: Exception) -> Response:
    status = cause.status_code if isinstance(cause, HTTPException) else 500
    answer = _told_as(request, status)
    if status == 405:
        answer.headers["allow"] = ", ".join(_methods(request))
    return answer


METHODS = ("GET", "HEAD", "POST", "PATCH", "DELETE")
"""What any address of ours takes."""


def _methods(request: Request) -> list[str]:
    """Return what an address takes; whoever sends something else is told (RFC 9110, section 15.5.6)."""
    if request.url.path.startswith("/static/"):
        return ["GET", "HEAD"]
    routes = request.app.routes
    return [m for m in METHODS if any(r.matches({**request.scope, "method": m})[0] == Match.FULL for r in routes)]


def _told_as(request: Request, status: int) -> Response:
    if request.url.path.startswith("/api/"):
        message = OTHERWISE.get(status, ("There is nothing here.",))[0]
        return JSONResponse({"schema": "linewright/error/1", "message": message}, status)
    told = PageTrouble(say("Page not found"), (say("The address may be out of date or mistyped."),))
    if status in OTHERWISE:
        told = PageTrouble(say("That was not taken"), OTHERWISE[status])
    return page(request, "trouble.html", told, place="elsewhere", title=told.heading, status=status)


def _not_filled_in(request: Request, cause: Exception) -> Response:
    """Say which fields of a form are missing or wrong; what was typed is not repeated."""
    assert isinstance(cause, RequestValidationError)
    problems = tuple(": ".join(wrong_field(item)) + "." for item in cause.errors()[:MOST_TOLD])
    shown = PageTrouble(say("Something given is not right"), problems)
    return page(request, "trouble.html", shown, place="elsewhere", title=shown.heading, status=422)


MOST_TOLD = 20
"""Problems of one form that are told."""
