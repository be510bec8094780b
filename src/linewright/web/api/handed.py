"""Charts, reports, labels and blank sheets for programs: as a document, or as the file that Accept asks for."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import Query, Request, Response

from linewright.errors import InputError
from linewright.units.manner import Manner, manner
from linewright.web import asked, asked_to_show
from linewright.web.api import models
from linewright.web.api.answers import VERBS
from linewright.web.api.forms import CSV, HTML, JSON, PDF, PNG, SVG, VEGA_LITE, described, form_of, handed
from linewright.web.api.route import answered
from linewright.web.ledgers import ledger_of

CHARTS = (JSON, VEGA_LITE, SVG, PNG, PDF)
REPORTS = (PDF, HTML, JSON)
LABELS = (JSON, SVG, PNG, PDF)
BLANKS = (JSON, CSV, PDF)
ENDINGS = {VEGA_LITE: ".vl.json", SVG: ".svg", PNG: ".png", PDF: ".pdf"}


@VERBS.post("/chart", response_model=models.Answer, responses=described(*CHARTS))
def chart(question: models.ChartQuestion, request: Request) -> Response:
    """Draw a chart; as ``linewright chart``. The document has the Vega-Lite specification and its table."""
    from linewright.charts.render import render
    from linewright.charts.theme import DARK, LIGHT
    from linewright.workflows.chart import chosen
    from linewright.workflows.chart_listing import Listing

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
    from linewright.report.html import report_html
    from linewright.report.pdf import report_pdf

    form, spoken = form_of(request, REPORTS), _manner(question)
    day = _day(question.date) or _today()
    kept = ledger_of(request) if question.kept else None
    document = asked_to_show.report_of(question.model_dump(), day, kept, {PDF: ".pdf", HTML: ".html"}.get(form, ""))
    if form == JSON:
        return answered(document)
    return handed(report_pdf(document, spoken, question.paper) if form == PDF else report_html(document, spoken), form)


@VERBS.get("/label", response_model=models.Answer, responses=described(*LABELS))
def label(question: Annotated[models.LabelQuestion, Query()], request: Request) -> Response:
    """Set labels of the ledger's pieces; as ``linewright label``. A picture holds one."""
    from linewright.formats.template import bands_listed
    from linewright.report.labels import label_pages, label_picture
    from linewright.workflows.label import label_pieces

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
    from linewright.formats.sheet import read_reading_plan_text
    from linewright.formats.template import template_csv
    from linewright.report.blank_sheet import sheet_pages
    from linewright.workflows.blank_sheet import blank_of

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
    from linewright.workflows.shelf_open import today

    return date.fromisoformat(today())
