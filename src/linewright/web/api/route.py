"""Routes that say what is wrong as data, in the one schema of errors."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import HTTPException, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.routing import APIRoute

from linewright.files.tables import Document, to_json
from linewright.web.api.models import Answer, Trouble

WRONG: dict[int | str, dict[str, Any]] = {
    422: {"model": Trouble, "description": "What was given is wrong: argument, rule, culprit, cure."},
    400: {"model": Trouble, "description": "The body cannot be read."},
    403: {"description": "The token of this session is missing: GET /api/session tells it."},
    413: {"description": "More than this address takes."},
    503: {"model": Trouble, "description": "The question was fair, but it could not be answered here."},
}


class Route(APIRoute):
    """A route whose refusals are documents of schema ``linewright/error/1``."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return a handler that turns the framework's own refusals into ours."""
        inner = super().get_route_handler()

        async def handler(request: Request) -> Response:
            try:
                return await inner(request)
            except RequestValidationError as cause:
                return JSONResponse(_said(cause), 422)
            except HTTPException as cause:
                message = "The body cannot be read: it must be JSON."
                return JSONResponse({"schema": "linewright/error/1", "message": message}, cause.status_code)

        return handler


def answered(document: Document) -> Response:
    """Return a document exactly as ``--json`` writes it."""
    return Response(to_json(document), media_type="application/json")


def _said(cause: RequestValidationError) -> dict[str, Any]:
    """Return the framework's findings as our error; what was sent is not repeated."""
    found = [_one(item) for item in cause.errors()]
    return {"schema": "linewright/error/1", **found[0], "others": found[1:]}


def _one(item: dict[str, Any]) -> dict[str, Any]:
    places = [str(part) for part in item["loc"] if part not in ("query", "body")]
    argument = " ".join(places) or "body"
    rule = str(item["msg"])
    return {
        "argument": argument, "rule": rule, "file": None, "row": None, "key": None, "cure": "",
        "message": f"{argument}: {rule}.",
    }  # fmt: skip


__all__ = ["WRONG", "Answer", "Route", "answered"]
