"""The first page: how the station stands, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from linewright.web.shown import page

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class StationPage:
    """What the first page shows."""

    pieces: int = 0


@router.get("/")
def station(request: Request) -> Response:
    """Show how the station stands."""
    return page(request, "station.html", StationPage(), place="station", title="Station")
