"""Charts, reports, labels and blank sheets for programs: as a document, or as the file that Accept asks for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Any

from fastapi import Query, Request, Response

from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formatting import manner
from linewright.core.locale import Manner
from linewright.web import requests as asked
from linewright.web import requests as asked_to_show
from linewright.web.api import models
from linewright.web.api.answers import VERBS
from linewright.web.api.route import answered
from linewright.web.ledgers import ledger_of

# In which form an answer is wanted: the header Accept says it, the first form offered is the usual one

JSON, PDF, HTML, SVG, PNG, CSV = (
    "application/json", "application/pdf", "text/html", "image/svg+xml", "image/png", "text/csv"
)  # fmt: skip
VEGA_LITE = "application/vnd.vegalite.v6+json"


def form_of(request: Request, offered: Sequence[str]) -> str:
    """Return the form of those offered that a request likes best.

    Raises
    ------
    UnknownNameError
        If it takes none of them.
    """
    best, liked = "", 0.0
    for form in offered:
        quality = max((q for pattern, q in _accepted(request.headers.get("accept", "*/*")) if _fits(form, pattern)),
                      default=0.0)  # fmt: skip
        if quality > liked:
            best, liked = form, quality
    if not best:
        rule = f"must take one of {', '.join(offered)}; got {request.headers.get('accept', '')[:80]!r}"
        raise UnknownNameError("Accept", rule)
    return best


def _accepted(header: str) -> list[tuple[str, float]]:
    """Return the patterns of a header with how much each is liked (RFC 9110, section 12.5.1)."""
    found = []
    for part in header.split(","):
        pattern, *options = (word.strip().lower() for word in part.split(";"))
        quality = next((o[2:] for o in options if o.startswith("q=")), "1")
        found.append((pattern, float(quality) if quality.replace(".", "", 1).isdigit() else 0.0))
    return found


def _fits(form: str, pattern: str) -> bool:
    return pattern in ("*/*", form) or pattern == f"{form.partition('/')[0]}/*"


def handed(content: bytes | str, form: str) -> Response:
    """Return a file of a form."""
    return Response(content, media_type=f"{form}; charset=utf-8" if form.startswith("text/") else form)


def described(*forms: str) -> dict[int | str, dict[str, Any]]:
    """Return how the interface's description tells of files beside a document."""
    content = {form: {"schema": {"type": "string", "format": "binary"}} for form in forms if form != JSON}
    if VEGA_LITE in content:
        content[VEGA_LITE] = {"schema": {"type": "object"}}
    return {200: {"description": "In the form that Accept asks for.", "content": content}}


# Charts, reports, labels and blank sheets for programs: as a document, or as the file that Accept asks for

CHARTS = (JSON, VEGA_LITE, SVG, PNG, PDF)
REPORTS = (PDF, HTML, JSON)
LABELS = (JSON, SVG, PNG, PDF)
BLANKS = (JSON, CSV, PDF)
ENDINGS = {VEGA_LITE: ".vl.json", SVG: ".svg", PNG: ".png", PDF: ".pdf"}


@VERBS.post("/chart", response_model=models.Answer, responses=described(*CHARTS))
def chart(question: models.ChartQuestion, request: Request) -> Response:
    """Draw a chart; as ``linewright chart``. The document has the Vega-Lite specification and its table."""
    from linewright.present.charts.render import render
    from linewright.present.charts.theme import DARK, LIGHT
    from linewright.verbs.chart import Listing, chosen

    form, spoken = form_of(request, CHARTS), _manner(question)
    what, charts = asked_to_show.charts(question.model_dump(), ledger_of(request) if question.kept else None)
    one = chosen(charts, question.kind)
    spec = one.draw(width_px=question.width, palette=DARK if question.dark else LIGHT, manner=spoken)
    if form == JSON:
        return answered(Listing(what, charts, one.kind, spec, spoken))
    return handed(render(spec, ENDINGS[form]), form)


@VERBS.post("/report", response_model=models.Answer, responses=described(*REPORTS))
def report(question: models.ReportQuestion, request: Request) -> Response:
    """Write a report; as ``linewright report``. Without a date it bears today's."""
    from linewright.present.writers.html import report_html
    from linewright.present.writers.paper import report_pdf

    form, spoken = form_of(request, REPORTS), _manner(question)
    day = _day(question.date) or _today()
    kept = ledger_of(request) if question.kept else None
    document = asked_to_show.report_of(question.model_dump(), day, kept, {PDF: ".pdf", HTML: ".html"}.get(form, ""))
    if form == JSON:
        return answered(document)
    if form == PDF:
        return handed(report_pdf(document if question.appendix else document.letter(), spoken, question.paper), form)
    return handed(report_html(document, spoken, opened=question.appendix), form)


@VERBS.get("/label", response_model=models.Answer, responses=described(*LABELS))
def label(question: Annotated[models.LabelQuestion, Query()], request: Request) -> Response:
    """Typeset labels for pieces in the ledger; as ``linewright label``. A picture holds one."""
    from linewright.files.blank_sheet import bands_listed
    from linewright.present.labels import label_pages, label_picture
    from linewright.verbs.label import label_pieces

    form, wanted = form_of(request, LABELS), asked_to_show.labels_wanted(question.model_dump(), _manner(question))
    hertz = bands_listed(question.bands) if question.bands else ()
    made = label_pieces(ledger_of(request), question.tag or None, bands_hz=hertz, on=_day(question.date))
    if form == JSON:
        return answered(made)
    if form == PDF:
        return handed(label_pages(made.labels, wanted), form)
    if len(made.labels) != 1:
        raise InputError("tag", f"must name one piece for a picture; got {len(made.labels)}", cure="A PDF holds many.")
    return handed(label_picture(made.labels[0], wanted, "svg" if form == SVG else "png"), form)


@VERBS.post("/sheet", response_model=models.Answer, responses=described(*BLANKS))
def sheet(question: models.BlankQuestion, request: Request) -> Response:
    """Set a blank reading sheet; as ``linewright sheet``."""
    from linewright.files.blank_sheet import template_csv
    from linewright.files.sheet import read_reading_plan_text
    from linewright.present.blank_sheet import sheet_pages
    from linewright.verbs.blank_sheet import blank_of

    form, spoken, day = form_of(request, BLANKS), _manner(question), _day(question.date)
    own = asked.own_lines((question.lines.name, question.lines.text) if question.lines else None)
    bench, plan = read_reading_plan_text(*asked.bench_texts(question.sheet, question.files), own)
    blank = blank_of(bench, plan, rounds=question.repeats, every_meter=question.every_meter)
    if form == JSON:
        return answered(blank)
    if form == CSV:
        return handed(template_csv(blank.steps, spoken), form)
    return handed(sheet_pages(blank, paper=question.paper, manner=spoken, on=day), form)


def _manner(question: models.Written) -> Manner:
    return manner(question.language, question.decimal, question.lengths)


def _day(text: str | None) -> date | None:
    """Return a written day."""
    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError as cause:
        raise InputError("date", f"must be a day; got {text!r}", cure="Write it as 2026-04-02.") from cause


def _today() -> date:
    from linewright.verbs.shelf_open import today

    return date.fromisoformat(today())
