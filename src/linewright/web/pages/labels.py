"""Labels of pieces on the shelf, handed out as files."""

from __future__ import annotations

from datetime import date
from typing import Literal
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from linewright.report.label_sheets import label_size
from linewright.report.labels import Wanted, label_pages, label_picture
from linewright.units.manner import manner
from linewright.web.ledgers import ledger_of
from linewright.workflows.label import label_pieces
from linewright.workflows.shelf_open import today

router = APIRouter(include_in_schema=False)
TYPES = {"pdf": "application/pdf", "svg": "image/svg+xml", "png": "image/png"}


@router.get("/label/piece/{tag:path}")
def label(  # noqa: PLR0913 - a person's choices
    request: Request,
    tag: str,
    form: Literal["pdf", "svg", "png"] = "pdf",
    size: str = "70x37mm",
    qr: bool = False,
    language: str = "en",
    lengths: str = "m",
) -> Response:
    """Hand out the label of a piece, in its own size, as a file."""
    made = label_pieces(ledger_of(request), [tag], on=date.fromisoformat(today()))
    wanted = Wanted(size_mm=label_size(size), code=qr, manner=manner(language, None, lengths))
    content = label_pages(made.labels, wanted) if form == "pdf" else label_picture(made.labels[0], wanted, form)
    disposition = f"attachment; filename*=UTF-8''{quote(f'{tag[:80]} label.{form}', safe='')}"
    return Response(content, media_type=TYPES[form], headers={"content-disposition": disposition})
