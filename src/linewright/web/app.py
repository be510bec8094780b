"""The app: its pages, its interface for programs, and what it says when something is wrong."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.staticfiles import StaticFiles

from linewright import __version__
from linewright.core.errors import CannotError, DamagedError, InputError, LinewrightError
from linewright.web.api import VERBS
from linewright.web.api.route import wrong_field
from linewright.web.bench_cache import Judged
from linewright.web.choose_page import Choices
from linewright.web.guard import Guard
from linewright.web.ledgers import Opened, closed_at_the_end
from linewright.web.pages import (
    bench,
    bench_result,
    choose,
    connectors,
    cut,
    exposure,
    kept_sweeps,
    line_types,
    offline,
    one_end,
    runs,
    share,
    shelf,
    shelf_files,
    shelf_gear,
    station,
    sweeps,
    waiting,
)
from linewright.web.pages import bench as bench_start
from linewright.web.pages import files_out as labels
from linewright.web.pages import files_out as reports
from linewright.web.pages import help as manual
from linewright.web.pages import login as door
from linewright.web.pages import shelf_gear as shelf_rename
from linewright.web.rendering import Trouble, page
from linewright.web.sessions import Sessions, Settings

OTHERWISE = {
    400: ("What was sent cannot be read: its form is broken, or it did not come whole.",),
    405: ("This address takes no such request.",),
    413: ("That is more than this page takes.",),
}
"""What is said of a request that has an address of ours, by its status."""
STATIC = Path(str(files("linewright.web"))) / "static"


def create_app(settings: Settings | None = None) -> FastAPI:
    """Return the app for one start. It opens no port; ``linewright serve`` does."""
    settings = settings or Settings()
    app = FastAPI(
        title="linewright", version=__version__, docs_url=None, redoc_url=None, openapi_url="/api/openapi.json",
        lifespan=closed_at_the_end,
    )  # fmt: skip
    app.state.settings = settings
    app.state.opened, app.state.judged = Opened(settings.ledger), Judged()
    app.state.works, app.state.choices = app.state.judged.works, Choices()
    app.state.sessions = Sessions(settings.pass_phrase, settings.key)
    shelved = (labels, shelf_files, shelf_gear, shelf_rename, shelf)
    for part in (
        door,
        offline,
        station,
        runs,
        choose,
        exposure,
        share,
        cut,
        one_end,
        kept_sweeps,
        sweeps,
        connectors,
        line_types,
        bench_start,
        bench,
        bench_result,
        reports,
        waiting,
        manual,
        *shelved,
    ):
        app.include_router(part.router)
    app.include_router(VERBS)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for kind, status in ((InputError, 422), (CannotError, 503)):
        app.add_exception_handler(kind, _said(status))
    app.add_exception_handler(HTTPException, _not_here)
    app.add_exception_handler(RequestValidationError, _not_filled_in)
    app.add_middleware(Guard, settings=settings, sessions=app.state.sessions)
    return app


def _said(status: int) -> Callable[[Request, Exception], Response]:
    def answer(request: Request, cause: Exception) -> Response:
        """Say what is wrong: as data under /api, as a page elsewhere."""
        assert isinstance(cause, LinewrightError)
        if request.url.path.startswith("/api/"):
            told = cause.to_dict() if isinstance(cause, InputError) else {"message": str(cause)}
            return JSONResponse({"schema": "linewright/error/1", **told}, status)
        problems = tuple(str(p) for p in getattr(cause, "problems", ()) or (cause,))
        heading = "Something given is not right" if status == 422 else "That could not be done"
        shown = Trouble(heading, problems, damaged=isinstance(cause, DamagedError))
        return page(request, "trouble.html", shown, place="elsewhere", title=heading, status=status)

    return answer


def _not_here(request: Request, cause: Exception) -> Response:
    status = cause.status_code if isinstance(cause, HTTPException) else 500
    if request.url.path.startswith("/api/"):
        message = OTHERWISE.get(status, ("There is nothing here.",))[0]
        return JSONResponse({"schema": "linewright/error/1", "message": message}, status)
    told = Trouble("There is nothing here", ("The address may be old, or mistyped.",))
    if status in OTHERWISE:
        told = Trouble("That was not taken", OTHERWISE[status])
    return page(request, "trouble.html", told, place="elsewhere", title=told.heading, status=status)


def _not_filled_in(request: Request, cause: Exception) -> Response:
    """Say which fields of a form are missing or wrong; what was typed is not repeated."""
    assert isinstance(cause, RequestValidationError)
    problems = tuple(": ".join(wrong_field(item)) + "." for item in cause.errors()[:MOST_TOLD])
    shown = Trouble("Something given is not right", problems)
    return page(request, "trouble.html", shown, place="elsewhere", title=shown.heading, status=422)


MOST_TOLD = 20
"""Problems of one form that are told."""
