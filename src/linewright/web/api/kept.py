"""What the ledger knows, for programs: the shelf, one piece over the years, and the changes."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request, Response

from linewright.web.api import models
from linewright.web.api.answers import VERBS
from linewright.web.api.route import answered
from linewright.web.ledgers import ledger_of


@VERBS.get("/shelf", response_model=models.Answer)
def shelf(request: Request, archived: bool = False) -> Response:
    """List the pieces with what is believed of each; as ``linewright shelf list``."""
    from linewright.workflows.shelf_beliefs import list_shelf

    return answered(list_shelf(ledger_of(request), archived=archived))


@VERBS.get("/shelf/piece", response_model=models.Answer)
def piece(request: Request, tag: Annotated[str, Query(min_length=1, max_length=300)]) -> Response:
    """Show all that is known of a piece, over the years; as ``linewright shelf show``."""
    from linewright.workflows.shelf import history_of

    return answered(history_of(ledger_of(request), tag))


@VERBS.get("/shelf/changes", response_model=models.Answer)
def changes(request: Request, most: Annotated[int, Query(ge=1, le=10_000)] = 30) -> Response:
    """List the newest changes of the ledger; as ``linewright shelf history``."""
    from linewright.workflows.shelf import changes as made

    return answered(made(ledger_of(request), most=most))
