"""Filed sweeps: find them by piece, day and hash, draw them over each other, download them as Touchstone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from linewright.core.formatting import frequency
from linewright.core.messages import say
from linewright.core.nouns.kept_sweeps import KeptSweep, KeptSweeps
from linewright.web import requests as asked
from linewright.web.ledgers import ledger_of
from linewright.web.pages.sweeps import PLACE, pieces_of
from linewright.web.pictures import Drawable, PageChart, chart_of, charts_on
from linewright.web.rendering import page, wants_part
from linewright.web.sweep_requests import tried

router = APIRouter(include_in_schema=False)
HERE = "/sweeps/kept"
FIELDS = ("piece", "since", "until", "sha256")


@dataclass(frozen=True, slots=True)
class SweepLine:
    """A kept sweep in the list, in words, with the address of its file; ``on`` says that it is drawn."""

    sweep: KeptSweep
    span: str
    address: str
    on: bool


@dataclass(frozen=True, slots=True)
class KeptSweepsPage:
    """The search, the sweeps found, and the chosen ones drawn over each other."""

    given: Mapping[str, str]
    pieces: tuple[str, ...]
    found: tuple[SweepLine, ...]
    charts: tuple[PageChart, ...]
    together: str
    problems: tuple[str, ...]
    verdict: str


@router.get(HERE)
def kept(request: Request) -> Response:
    """Show the sweeps that are kept, as far as they are asked for."""
    params, ledger = request.query_params, ledger_of(request)
    given = {name: " ".join(params.get(name, "").split()) for name in FIELDS}
    result, problems = tried(lambda: asked.sweeps_found(given, ledger))
    sweeps = (result or KeptSweeps(())).sweeps
    chosen = [key for key in dict.fromkeys(params.getlist("draw")) if key in {s.key for s in sweeps}]
    charts, wrong = tried(lambda: charts_on(request, HERE, _charts(request, chosen))) if chosen else ((), ())
    lines = tuple(SweepLine(s, f"{frequency(s.low_hz)} to {frequency(s.high_hz)}",
                            f"{HERE}/file?{urlencode({'key': s.key})}", s.key in chosen) for s in sweeps)  # fmt: skip
    every = urlencode([("key", key) for key in (chosen or [s.key for s in sweeps])])
    told = KeptSweepsPage(
        given, pieces_of(request), lines, charts or (), f"{HERE}/file?{every}" if len(sweeps) > 1 else "",
        (*problems, *wrong), _verdict(len(sweeps), given),
    )  # fmt: skip
    template = "sweep_kept_result.html" if wants_part(request) else "sweep_kept.html"
    return page(request, template, told, place=PLACE, title=say("Kept sweeps"))


def _verdict(count: int, given: Mapping[str, str]) -> str:
    if not count:
        return say("No such sweep is kept.") if any(given.values()) else say("No sweep is kept yet.")
    return f"{count} sweep{'s' * (count > 1)} kept{' of ' + given['piece'] if given['piece'] else ''}."


def _charts(request: Request, keys: list[str]) -> tuple[Drawable, ...]:
    from linewright.verbs.kept_sweeps import overlays

    named = ", ".join(keys)
    words = {
        "loss": say("Loss between the ports against frequency: {sweeps}.", sweeps=named),
        "return loss": say("Return loss at the near end against frequency: {sweeps}.", sweeps=named),
    }
    return tuple(
        Drawable(what.replace(" ", "-"), words[what], draw) for what, draw in overlays(ledger_of(request), keys)
    )


@router.get(HERE + "/chart/{name}")
def drawing(request: Request, name: str) -> Response:
    """Return sweeps drawn over each other."""
    keys = list(dict.fromkeys(request.query_params.getlist("draw")))
    return chart_of(request, HERE, name, lambda: _charts(request, keys))


@router.get("/sweeps/kept/file")
def files(request: Request) -> Response:
    """Hand out one sweep as its Touchstone file, several as a zip of them."""
    from linewright.verbs.kept_sweeps import sweep_file, sweeps_zip

    keys = request.query_params.getlist("key")[:200]
    if len(keys) == 1:
        name, content = sweep_file(ledger_of(request), keys[0])
    else:
        name, content = "sweeps.zip", sweeps_zip(ledger_of(request), keys)
    head = {"content-disposition": f"attachment; filename*=UTF-8''{quote(name, safe='')}"}
    return Response(content, media_type="application/octet-stream", headers=head)
