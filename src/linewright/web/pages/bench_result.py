"""Everything a bench session says, on one page: losses with their workings, uses, meters, charts."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any
from zlib import crc32

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from linewright.core.errors import CannotError, UnknownNameError
from linewright.core.messages import say
from linewright.present.charts.doubts import doubts_chart
from linewright.present.charts.loss import loss_chart
from linewright.present.charts.pull import pull_chart
from linewright.present.charts.trust import trust_chart
from linewright.web.bench_cache import Judgements, Session
from linewright.web.bench_presenter import Answers, answers_of, slots_of
from linewright.web.bench_rows import bands_of, plan_in
from linewright.web.ledgers import ledger_of
from linewright.web.pictures import answered
from linewright.web.rendering import page

router = APIRouter(include_in_schema=False)
CHARTS: dict[str, Callable[..., dict[str, Any]]] = {
    "loss": loss_chart, "doubts": doubts_chart, "trust": trust_chart, "pull": pull_chart,
}  # fmt: skip
CHART_PATIENCE_S = 20.0
"""How long a chart waits for its data: it is part of a page and cannot lead to a page that waits."""


@dataclass(frozen=True, slots=True)
class Doubted:
    """A reading to doubt, in words."""

    where: str
    read: str
    expected: str
    why: str
    mark: str


@dataclass(frozen=True, slots=True)
class ResultPage:
    """What the page shows; ``state`` makes the address of a chart change with what it shows."""

    key: str
    title: str
    measured_on: str
    answers: Answers
    doubted: tuple[Doubted, ...]
    unchecked: int
    state: str


@router.get("/bench/said/{session:path}")
def said(request: Request, session: str) -> Response:
    """Show everything a session says."""
    judged: Judgements = request.app.state.judged
    found = judged.bench(ledger_of(request), session, anew=True, explained=True)
    if found.pending is not None:
        return RedirectResponse(found.pending.address, 303)
    bands = bands_of(found.sheet, plan_in(found.notes), found.rows)
    answers, slots = answers_of(found.result, found.sheet, bands), slots_of(bands)
    marked = [(slots[i], s) for i, s in answers.said.items() if s.mark in ("doubted", "perhaps")]
    rows = [
        Doubted(
            say("{piece} on the {meter}, {frequency}", piece=s.label, meter=s.meter, frequency=s.frequency),
            s.typed,
            d.expected,
            d.why,
            d.mark,
        )
        for s, d in marked
    ]
    blind = sum(s.mark == "unchecked" or s.expected == "cannot tell" for s in answers.said.values())
    title = found.item.body["title"]
    shown = ResultPage(
        found.item.key, title, found.item.body["measured_on"], answers, tuple(rows), blind, _state(found)
    )
    return page(request, "bench_said.html", shown, place="bench", title=say("{title}: what it says", title=title))


@router.get("/bench/chart/{name}/{session:path}")
def chart(request: Request, name: str, session: str) -> Response:
    """Return a chart of a session as SVG."""
    if name not in CHARTS:
        raise UnknownNameError(
            "chart", say("must be one of {known}; got {value}", known=", ".join(CHARTS), value=repr(name[:40]))
        )
    judged: Judgements = request.app.state.judged
    found, until_s = judged.bench(ledger_of(request), session), time.monotonic() + CHART_PATIENCE_S
    while (work := found.pending) and work.wanted and (left_s := until_s - time.monotonic()) > 0:
        work.wait(left_s)
        found = judged.bench(ledger_of(request), session)
    if found.pending is not None:
        raise CannotError(say("What the bench says is still being worked out."))
    if found.result is None:
        raise UnknownNameError("chart", say("needs a reading through a piece"))
    return answered(request, partial(CHARTS[name], found.result, found.sheet), f"{found.item.body['title']} {name}")


def _state(found: Session) -> str:
    rows = ",".join(f"{r.number}.{r.version}" for r in found.rows)
    return f"{crc32(f'{found.item.version} {rows}'.encode()):08x}"
