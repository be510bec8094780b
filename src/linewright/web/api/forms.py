"""In which form an answer is wanted: the header Accept says it, the first form offered is the usual one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import Request, Response

from linewright.errors import UnknownNameError

JSON, PDF, HTML, SVG, PNG, CSV = (
    "application/json", "application/pdf", "text/html", "image/svg+xml", "image/png", "text/csv"
)  # fmt: skip
VEGA_LITE = "application/vnd.vegalite.v6+json"


def form_of(request: Request, offered: Sequence[str]) -> str:
    """Return the form of those offered that a request likes best.

    Raises
    ------
    UnknownNameError
        If it takes none of them.
    """
    best, liked = "", 0.0
    for form in offered:
        quality = max((q for pattern, q in _accepted(request.headers.get("accept", "*/*")) if _fits(form, pattern)),
                      default=0.0)  # fmt: skip
        if quality > liked:
            best, liked = form, quality
    if not best:
        rule = f"must take one of {', '.join(offered)}; got {request.headers.get('accept', '')[:80]!r}"
        raise UnknownNameError("Accept", rule)
    return best


def _accepted(header: str) -> list[tuple[str, float]]:
    """Return the patterns of a header with how much each is liked (RFC 9110, section 12.5.1)."""
    found = []
    for part in header.split(","):
        pattern, *options = (word.strip().lower() for word in part.split(";"))
        quality = next((o[2:] for o in options if o.startswith("q=")), "1")
        found.append((pattern, float(quality) if quality.replace(".", "", 1).isdigit() else 0.0))
    return found


def _fits(form: str, pattern: str) -> bool:
    return pattern in ("*/*", form) or pattern == f"{form.partition('/')[0]}/*"


def handed(content: bytes | str, form: str) -> Response:
    """Return a file of a form."""
    return Response(content, media_type=f"{form}; charset=utf-8" if form.startswith("text/") else form)


def described(*forms: str) -> dict[int | str, dict[str, Any]]:
    """Return how the interface's description tells of files beside a document."""
    content = {form: {"schema": {"type": "string", "format": "binary"}} for form in forms if form != JSON}
    if VEGA_LITE in content:
        content[VEGA_LITE] = {"schema": {"type": "object"}}
    return {200: {"description": "In the form that Accept asks for.", "content": content}}
