"""The stream of what happens, as server-sent events, for programs that follow a bench or a whole ledger."""

from __future__ import annotations

import time
from typing import Annotated

from fastapi import Header, Query, Request, Response
from fastapi.responses import StreamingResponse

from linewright.core.errors import CannotError
from linewright.verbs.tokens import tokens
from linewright.web.api.answers import VERBS
from linewright.web.bearers import bearer
from linewright.web.ledgers import ledger_of
from linewright.web.live import EVENTS, EVERYTHING, Live, always, of_session
from linewright.web.sessions import Sessions

FULL = "So many already listen here that no more can. End a stream that is not needed, then try again."


@VERBS.get("/events", responses={200: {"content": {EVENTS: {}}, "description": "Events, while one listens."}})
def events(
    request: Request,
    session: Annotated[str, Query(max_length=300, description="A bench session; without it, the whole ledger.")] = "",
    after: Annotated[int | None, Query(ge=0, lt=2**31, description="The last change that was seen.")] = None,
    last_event_id: Annotated[str, Header(max_length=20)] = "",
) -> Response:
    """Tell each reading, correction and verdict, and who types where, as it happens, as server-sent events.

    ``hello`` comes first, with the number of the newest change. ``change`` tells a change of the ledger; its id is its
    number, and whoever comes back with the last one seen is told what was missed. ``verdict`` tells what a session says
    once it says something else.
    """
    live: Live = request.app.state.live
    visitor = request.client.host if request.client else ""
    if live.full_for(visitor):
        raise CannotError(FULL)
    ledger_of(request)  # one that cannot be opened is said now, not in the middle of a stream
    seen = int(last_event_id) if last_event_id.isascii() and last_event_id.isdigit() else after
    wants = of_session(session) if session else lambda _: True
    stream = live.events(wants, session or EVERYTHING, after=seen, visitor=visitor, may=lambda: _may(request))
    return StreamingResponse(stream, media_type=EVENTS, headers={"x-accel-buffering": "no"})


def _may(request: Request) -> bool:
    """Return whether who listens is still let in; to be asked is no sign of life, so that silence signs out."""
    program = bearer(request)
    if program is not None:
        return any(t.id == program.id for t in tokens(ledger_of(request)))
    sessions: Sessions = request.app.state.sessions
    if sessions.pass_phrase is None:
        return always()
    return sessions.device_of(request.state.session) in sessions.devices(time.monotonic())
