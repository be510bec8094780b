"""Reports of what the ledger keeps, handed out as files: a piece, a bench session, a station."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from linewright.ledger.store import Ledger
from linewright.report.document import Document
from linewright.report.html import report_html
from linewright.report.pdf import report_pdf
from linewright.units.manner import manner
from linewright.web.ledgers import ledger_of
from linewright.web.pages.shelf import today_of
from linewright.workflows.report import Asked
from linewright.workflows.report_kept import report_of_kept_station, report_of_piece, report_of_session
from linewright.workflows.shelf_open import today

router = APIRouter(include_in_schema=False)
MAKERS: dict[str, Callable[[Ledger, str, Asked], Document]] = {
    "piece": report_of_piece, "bench": report_of_session, "station": report_of_kept_station,
}  # fmt: skip
TYPES = {"pdf": "application/pdf", "html": "text/html; charset=utf-8"}


@router.get("/report/{kind}/{key:path}")
def report(  # noqa: PLR0913 - a person's choices
    request: Request,
    kind: Literal["piece", "bench", "station"],
    key: str,
    form: Literal["pdf", "html"] = "pdf",
    paper: Literal["a4", "letter"] = "a4",
    language: str = "en",
    decimal: str | None = None,
    lengths: str = "m",
    on: Annotated[str, Query(max_length=10)] = "",
) -> Response:
    """Hand out a report as a file; the same address on the same ledger hands out the same bytes on the same day."""
    spoken = manner(language, decimal, lengths)
    document = MAKERS[kind](ledger_of(request), key, Asked(today_of(on) or date.fromisoformat(today())))
    content = report_pdf(document, spoken, paper) if form == "pdf" else report_html(document, spoken)
    name = quote(f"{document.title[:80]} {document.day}.{form}")
    disposition = f"attachment; filename*=UTF-8''{name}"
    return Response(content, media_type=TYPES[form], headers={"content-disposition": disposition})
