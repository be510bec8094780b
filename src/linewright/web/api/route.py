"""Routes that say what is wrong as data, in the one schema of errors."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException

from linewright.core.errors import clipped
from linewright.files.tables import PlainData, to_json
from linewright.web.api.models import Answer, Trouble

WRONG: dict[int | str, dict[str, Any]] = {
    422: {"model": Trouble, "description": "What was given is wrong: argument, rule, culprit, cure."},
    400: {"model": Trouble, "description": "The body cannot be read."},
    401: {"model": Trouble, "description": "A token is missing or wrong."},
    403: {
        "model": Trouble,
        "description": "The token may only read, or the one of this browser is missing.",
    },
    409: {
        "model": Trouble,
        "description": "It was changed meanwhile: both sides are told, nothing is written.",
    },
    429: {"model": Trouble, "description": "Too often: Retry-After says when to go on."},
    413: {"description": "More than this address takes."},
    503: {"model": Trouble, "description": "The question was fair, but it could not be answered here."},
}


UNREADABLE = "The body cannot be read: it must be JSON."


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
                deep = isinstance(cause.__cause__, RecursionError)
                message = "The body nests lists and tables too deeply." if deep else UNREADABLE
                return JSONResponse({"schema": "linewright/error/1", "message": message}, cause.status_code)

        return handler


def answered(document: PlainData) -> Response:
    """Return a document exactly as ``--json`` writes it."""
    return Response(to_json(document), media_type="application/json")


def _said(cause: RequestValidationError) -> dict[str, Any]:
    """Return the framework's findings as our error; what was sent is not repeated."""
    found = [_one(item) for item in cause.errors()]
    return {"schema": "linewright/error/1", **found[0], "others": found[1:]}


def _one(item: dict[str, Any]) -> dict[str, Any]:
    if item["type"] == "json_invalid":
        why = str(item["ctx"]["error"])
        argument, rule = "body", f"must be JSON: {why[:1].lower()}{why[1:]} at its character {item['loc'][-1] + 1}"
        message = f"{argument} {rule}."
    else:
        argument, rule = wrong_field(item)
        message = f"{argument}: {rule}."
    return {
        "argument": argument, "rule": rule, "file": None, "row": None, "key": None, "cure": "",
        "message": message,
    }  # fmt: skip


def wrong_field(item: dict[str, Any]) -> tuple[str, str]:
    """Return which field is wrong, by at most 80 characters of its name, and the rule it breaks."""
    places = [str(part) for part in item["loc"] if part not in ("query", "body", "path")]
    return clipped(" ".join(places)) or "body", clipped(str(item["msg"]))


__all__ = ["WRONG", "Answer", "Route", "answered", "wrong_field"]
