"""Labels of pieces, and reports, handed out as files.

Where many sheets were read on since, it takes long to judge them: whoever asks in a browser waits on the page for that,
which offers the file; a program is told when to ask again. The file is of one moment, whatever is kept meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import partial
from typing import Annotated, Any, Literal
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import PlainTextResponse, RedirectResponse, Response

from linewright.core.formatting import manner
from linewright.core.locale import Manner
from linewright.core.machine import file_name
from linewright.core.messages import mark, say
from linewright.core.nouns.paper import Labels
from linewright.present.document import Document
from linewright.present.labels import WantedLabels as Wanted
from linewright.present.labels import label_pages, label_picture, label_size
from linewright.present.writers.drawings import drawings_of
from linewright.present.writers.html import report_html
from linewright.present.writers.paper import report_pdf
from linewright.store.ledger import Ledger
from linewright.store.standing import kept_now
from linewright.verbs.label import label_pieces
from linewright.verbs.report import Progress, ReportWish
from linewright.verbs.report_kept import report_of_kept_station, report_of_piece, report_of_session
from linewright.verbs.shelf import all_kept, evidence_of, kept
from linewright.verbs.shelf_open import today
from linewright.web import jobs
from linewright.web.apart import typeset
from linewright.web.jobs import MovingQuestion, Tell, Work, works_of
from linewright.web.language import now_written, spoken, taste_of
from linewright.web.ledgers import ledger_of
from linewright.web.pages.shelf import patience_s, today_of
from linewright.web.pages.waiting import place_to_wait
from linewright.web.rendering import wants_part
from linewright.web.standing import is_light

# Labels of pieces on the shelf, handed out as files

router = APIRouter(include_in_schema=False)
TYPES = {"pdf": "application/pdf", "svg": "image/svg+xml", "png": "image/png"}
Made = Annotated[int | None, Query()]
"""The moment of which a file is wanted, where somebody waited for it."""
SCRIPT_S, AGAIN_S = 20.0, 5
"""How long a program that shows no page is let wait, and when it may ask again."""
LATER = mark("It is still being worked out. Ask again for {address} in {seconds} s; then it will be the same file.")


@router.get("/label/piece/{tag:path}")
def label(  # noqa: PLR0913 - a person's choices
    request: Request,
    tag: str,
    form: Literal["pdf", "svg", "png"] = "pdf",
    size: str = "70x37mm",
    qr: bool = False,
    language: str | None = None,
    lengths: str | None = None,
    made: Made = None,
) -> Response:
    """Hand out the label of a piece, in its own size, as a file."""
    wanted = Wanted(size_mm=label_size(size), code=qr, manner=_manner(language, None, lengths))
    day = date.fromisoformat(today())
    work = _work(request, ("label", "piece", tag), day, made)
    if (later := _later(request, work, "piece", tag)) is not None:
        return later
    labels = work.answer().labels
    apart = request.app.state.settings.apart
    if form == "pdf":
        content = typeset(apart, label_pages, labels, wanted)
    else:
        content = typeset(apart, label_picture, labels[0], wanted, form)
    disposition = f"attachment; filename*=UTF-8''{quote(file_name(f'{tag[:80]} label', f'.{form}'), safe='')}"
    return Response(content, media_type=TYPES[form], headers={"content-disposition": disposition})


def _label(ledger: Ledger, tag: str, asked: ReportWish, *, progress: Progress) -> Labels:
    return label_pieces(ledger, [tag], on=asked.day, progress=progress)


# Reports of what the ledger keeps, handed out as files: a piece, a bench session, a station

Kind = Literal["piece", "bench", "station"]
MAKERS: dict[tuple[str, str], Callable[..., Any]] = {
    ("label", "piece"): _label, ("report", "piece"): report_of_piece, ("report", "bench"): report_of_session,
    ("report", "station"): report_of_kept_station,
}  # fmt: skip
TITLES = {
    ("label", "piece"): mark("The label of {key}"), ("report", "piece"): mark("The report on {key}"),
    ("report", "bench"): mark("The report on {key}"), ("report", "station"): mark("The report on {key}"),
}  # fmt: skip
PAGES = {"piece": "/shelf/piece/", "bench": "/bench/said/", "station": "/station/runs/"}
REPORT_TYPES = {"pdf": "application/pdf", "html": "text/html; charset=utf-8"}


@router.get("/report/{kind}/{key:path}")
def report(  # noqa: PLR0913 - a person's choices
    request: Request,
    kind: Kind,
    key: str,
    form: Literal["pdf", "html"] = "pdf",
    paper: Literal["a4", "letter"] | None = None,
    language: str | None = None,
    decimal: str | None = None,
    lengths: str | None = None,
    on: Annotated[str, Query(max_length=10)] = "",
    appendix: bool = False,
    made: Made = None,
) -> Response:
    """Hand out a report as a file; the same address on the same ledger hands out the same bytes on the same day."""
    asked = _manner(language, decimal, lengths)
    work = _work(request, ("report", kind, key), today_of(on) or date.fromisoformat(today()), made)
    if (later := _later(request, work, kind, key)) is not None:
        return later
    document: Document = work.answer()
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


# What a file is made of is worked out of one moment, once for all who want it, while they wait or look elsewhere


def _work(request: Request, what: tuple[str, Kind, str], day: date, made: int | None) -> Work:
    """Return the work that finds what stands in a label or a report, whatever its form."""
    ledger, (kind, subject, key) = ledger_of(request), what
    name = f"{kind} {subject} {day} {ledger.where}\n{key}"
    title, back = say(TITLES[kind, subject], key=key), PAGES[subject] + quote(key)
    job = partial(_found, ledger, MAKERS[kind, subject], key, ReportWish(day))
    light = subject == "piece" and is_light(ledger, kept(ledger, "piece", key))
    question = MovingQuestion(name, title, back, kept_now(ledger).number, light, f"{ledger.where}\n{key}")
    return works_of(request).of_moment(question, job, made)


def _found(ledger: Ledger, maker: Callable[..., Any], key: str, asked: ReportWish, tell: Tell) -> Any:
    with ledger.one_moment():
        return maker(ledger, key, asked, progress=tell)


def _later(request: Request, work: Work, kind: Kind, key: str) -> Response | None:
    """Return where one waits for what takes long; a program that shows no page is told when to ask again."""
    shows_pages = "text/html" in request.headers.get("accept", "") or wants_part(request)
    if work.wait(patience_s(_sheets(ledger_of(request), kind, key)) if shows_pages else max(SCRIPT_S, jobs.PATIENCE_S)):
        return None
    asked = {k: v for k, v in request.query_params.items() if k != "made"} | {"made": str(work.moment)}
    address = f"{quote(request.url.path)}?{urlencode(asked)}"
    if shows_pages:
        return RedirectResponse(place_to_wait(request, work, address), 303)
    words = now_written(say(LATER, address=address, seconds=str(AGAIN_S)))
    return PlainTextResponse(words, 503, headers={"retry-after": str(AGAIN_S)})


def _sheets(ledger: Ledger, kind: Kind, key: str) -> int:
    """Return how many sheets may have to be judged."""
    if kind == "bench":
        return 1
    if kind == "station":
        return len(all_kept(ledger, "sheet"))
    return sum(e.kind == "sheet" for e in evidence_of(ledger, key))


def _manner(language: str | None, decimal: str | None, lengths: str | None) -> Manner:
    """Return the manner an address asks for; what it does not say is as the browser's settings have it."""
    own = spoken()
    if language is None and decimal is None:
        decimal = "comma" if own.decimal == "," else "point"
    return manner(language or own.language, decimal, lengths or own.lengths)
