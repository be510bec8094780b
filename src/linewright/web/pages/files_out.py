"""Labels of pieces on the shelf, handed out as files."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from linewright.core.formatting import manner
from linewright.core.locale import Manner
from linewright.core.machine import file_name
from linewright.present.document import Document
from linewright.present.labels import WantedLabels as Wanted
from linewright.present.labels import label_pages, label_picture, label_size
from linewright.present.writers.drawings import drawings_of
from linewright.present.writers.html import report_html
from linewright.present.writers.paper import report_pdf
from linewright.store.ledger import Ledger
from linewright.verbs.label import label_pieces
from linewright.verbs.report import Asked
from linewright.verbs.report_kept import report_of_kept_station, report_of_piece, report_of_session
from linewright.verbs.shelf_open import today
from linewright.web.apart import typeset
from linewright.web.language import spoken, taste_of
from linewright.web.ledgers import ledger_of
from linewright.web.pages.shelf import today_of

# Labels of pieces on the shelf, handed out as files

router = APIRouter(include_in_schema=False)
TYPES = {"pdf": "application/pdf", "svg": "image/svg+xml", "png": "image/png"}


@router.get("/label/piece/{tag:path}")
def label(  # noqa: PLR0913 - a person's choices
    request: Request,
    tag: str,
    form: Literal["pdf", "svg", "png"] = "pdf",
    size: str = "70x37mm",
    qr: bool = False,
    language: str | None = None,
    lengths: str | None = None,
) -> Response:
    """Hand out the label of a piece, in its own size, as a file."""
    made = label_pieces(ledger_of(request), [tag], on=date.fromisoformat(today()))
    wanted = Wanted(size_mm=label_size(size), code=qr, manner=_manner(language, None, lengths))
    apart = request.app.state.settings.apart
    if form == "pdf":
        content = typeset(apart, label_pages, made.labels, wanted)
    else:
        content = typeset(apart, label_picture, made.labels[0], wanted, form)
    disposition = f"attachment; filename*=UTF-8''{quote(file_name(f'{tag[:80]} label', f'.{form}'), safe='')}"
    return Response(content, media_type=TYPES[form], headers={"content-disposition": disposition})


# Reports of what the ledger keeps, handed out as files: a piece, a bench session, a station

MAKERS: dict[str, Callable[[Ledger, str, Asked], Document]] = {
    "piece": report_of_piece, "bench": report_of_session, "station": report_of_kept_station,
}  # fmt: skip
REPORT_TYPES = {"pdf": "application/pdf", "html": "text/html; charset=utf-8"}


@router.get("/report/{kind}/{key:path}")
def report(  # noqa: PLR0913 - a person's choices
    request: Request,
    kind: Literal["piece", "bench", "station"],
    key: str,
    form: Literal["pdf", "html"] = "pdf",
    paper: Literal["a4", "letter"] | None = None,
    language: str | None = None,
    decimal: str | None = None,
    lengths: str | None = None,
    on: Annotated[str, Query(max_length=10)] = "",
    appendix: bool = False,
) -> Response:
    """Hand out a report as a file; the same address on the same ledger hands out the same bytes on the same day."""
    asked = _manner(language, decimal, lengths)
    document = MAKERS[kind](ledger_of(request), key, Asked(today_of(on) or date.fromisoformat(today())))
    apart = request.app.state.settings.apart
    if form == "pdf":
        letter = document if appendix else document.letter()
        # Drawn here, where drawings are remembered: a process of its own would load the script engine for each file.
        drawings = drawings_of(letter, asked)
        content = typeset(apart, report_pdf, letter, asked, paper or taste_of(request.cookies).sheet, drawings)
    else:
        content = report_html(document, asked, opened=appendix)
    name = quote(file_name(f"{document.title[:80]} {document.day}", f".{form}"))
    disposition = f"attachment; filename*=UTF-8''{name}"
    return Response(content, media_type=REPORT_TYPES[form], headers={"content-disposition": disposition})


def _manner(language: str | None, decimal: str | None, lengths: str | None) -> Manner:
    """Return the manner an address asks for; what it does not say is as the browser's settings have it."""
    own = spoken()
    if language is None and decimal is None:
        decimal = "comma" if own.decimal == "," else "point"
    return manner(language or own.language, decimal, lengths or own.lengths)
