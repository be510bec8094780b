"""What a phone keeps: the manifest of an installed app, and the worker that holds pages while the station is away."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from linewright.core.messages import say
from linewright.web.rendering import page

router = APIRouter(include_in_schema=False)
MANIFEST = {
    "name": "linewright",
    "short_name": "linewright",
    "description": "What each feed line loses, from crude readings, honestly",
    "start_url": "/",
    "display": "standalone",
    "background_color": "#faf7f0",
    "theme_color": "#faf7f0",
    "icons": [
        {"src": "/static/mark.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any"},
        {"src": "/mark-192.png", "sizes": "192x192", "type": "image/png", "purpose": "any"},
        {"src": "/mark-512.png", "sizes": "512x512", "type": "image/png", "purpose": "any"},
    ],
}
MARK_PX = 64
"""How large the mark is drawn."""


@dataclass(frozen=True, slots=True)
class AwayPage:
    """The page shown while the station is unreachable; it is the same for everybody."""


@router.get("/away")
def away(request: Request) -> Response:
    """Show what the worker keeps for pages it never saw."""
    return page(request, "away.html", AwayPage(), place="elsewhere", title=say("The station does not answer"))


@router.get("/manifest.webmanifest")
def manifest() -> Response:
    """Return the manifest."""
    return JSONResponse(MANIFEST, media_type="application/manifest+json")


@router.get("/worker.js")
def worker() -> Response:
    """Return the worker; it stands at the root so that it may hold every page."""
    text = (files("linewright.web") / "static" / "worker.js").read_text(encoding="utf-8")
    return Response(text, media_type="text/javascript")


@router.get("/mark-{pixels}.png")
def mark(pixels: Literal["180", "192", "512"]) -> Response:
    """Return the mark for home screens that take no SVG: on a full square, since they round it themselves."""
    return Response(_mark(int(pixels)), media_type="image/png")


@cache
def _mark(pixels: int) -> bytes:
    from linewright.present.charts.render import svg_as_png

    text = (files("linewright.web") / "static" / "mark.svg").read_text(encoding="utf-8")
    return svg_as_png(text.replace(' rx="8"', ""), pixels / MARK_PX)
