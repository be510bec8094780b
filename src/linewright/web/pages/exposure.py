"""Exposure without a station: how far to keep away from one antenna, from what is typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.web import exposure_form as form
from linewright.web.exposure_page import ExposureShown, told
from linewright.web.pictures import Drawable, PageChart, chart_of, charts_on
from linewright.web.rendering import Place, page, wants_part

router = APIRouter(include_in_schema=False)
PLACE: Place = "runs"
HERE = "/exposure"


@dataclass(frozen=True, slots=True)
class ExposurePage:
    """The input about an antenna, its fields, and how far to stay away from it."""

    given: Mapping[str, str]
    limits: tuple[str, ...]
    found: ExposureShown | None
    problems: tuple[str, ...]
    charts: tuple[PageChart, ...]
    sets: tuple[str, ...] = form.sets()
    kinds: tuple[tuple[str, str], ...] = form.KINDS
    lengths: tuple[form.FormField, ...] = form.LENGTHS
    people: tuple[form.FormField, ...] = form.PLACES
    own: tuple[form.FormField, ...] = form.OWN
    powers: tuple[tuple[str, str], ...] = form.POWERS
    modes: tuple[tuple[str, str], ...] = form.modes()
    grounds: tuple[tuple[str, str], ...] = form.grounds()
    cautions: tuple[str, ...] = cautions_of("exposure")


@router.get(HERE)
def exposure(request: Request) -> Response:
    """Show how far to keep away from an antenna, given its power, frequency, and lengths or gain."""
    given, limits, found, problems = _answer(request)
    charts = charts_on(request, HERE, found.charts) if found else ()
    template = "exposure_result.html" if wants_part(request) else "exposure.html"
    return page(
        request, template, ExposurePage(given, limits, found, problems, charts), place=PLACE, title=say("Exposure")
    )


def _answer(request: Request) -> tuple[Mapping[str, str], tuple[str, ...], ExposureShown | None, tuple[str, ...]]:
    """Return what is told, the limits wanted, what they say, and what cannot be read."""
    params = request.query_params
    given = form.given_in(params)
    limits = tuple(params.getlist("limits")) if "at" in params else form.USUAL_LIMITS
    if not form.is_ready(given):
        return given, limits, None, ()
    try:
        return given, limits, told(given, limits), ()
    except InputError as error:
        problems = getattr(error, "problems", ()) or (error,)
        return given, limits, None, tuple(str(form.by_label(p, given)) for p in problems)


@router.get(HERE + "/chart/{name}")
def chart(request: Request, name: str) -> Response:
    """Return a drawing of the page."""

    def again() -> tuple[Drawable, ...]:
        found = _answer(request)[2]
        return found.charts if found else ()

    return chart_of(request, HERE, name, again)
