"""Connectors and adapters: what a mated pair takes and bears."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from linewright.catalogue.tables import worded
from linewright.core.formatting import frequency
from linewright.core.messages import say
from linewright.present.compose.connectors import family_row, notes, shown_hz, sources_of, told
from linewright.verbs.connector_list import list_connectors
from linewright.web.rendering import page

router = APIRouter(include_in_schema=False)
HERE = "/connectors"


@dataclass(frozen=True)
class ConnectorsPage:
    """Every family and fitting, in words."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]
    told: tuple[tuple[str, tuple[str, ...]], ...]
    sources: tuple[str, ...]
    cautions: tuple[str, ...]


@router.get(HERE)
def connectors(request: Request) -> Response:
    """Show what connectors, adapters and arrestors take and bear."""
    found = list_connectors()
    shown, sources = shown_hz(found), sources_of(found)
    body = ConnectorsPage(
        tuple(frequency(f) for f in shown), tuple(family_row(c, shown) for c in found.families), tuple(notes()),
        tuple((worded(one.name), tuple(told(one.figures, sources))) for one in found.each),
        tuple(sources), found.cautions,
    )  # fmt: skip
    return page(request, "connectors.html", body, place="elsewhere", title=say("Connectors and adapters"))
