"""Settings: how a person reads, kept by their browser, and the limits and the site of a station, kept in the ledger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from linewright.core.errors import InputError
from linewright.core.messages import mark, say
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.station import Exposure
from linewright.files.station import SITES
from linewright.files.station_run import STANDARDS
from linewright.verbs.shelf import stations
from linewright.verbs.shelf_stations import change_site
from linewright.web.field_units import parts_of
from linewright.web.language import (
    TASTE,
    Taste,
    asked_language,
    now_written,
    spelled,
    taste_from,
    taste_of,
    unspelled,
)
from linewright.web.ledgers import by, ledger_of
from linewright.web.pages.login import here
from linewright.web.rendering import page
from linewright.web.run_fields import LICENCE_WORDS, LIMIT_WORDS

router = APIRouter(include_in_schema=False)
YEAR_S = 365 * 24 * 3600
TONGUES = {"en": "English", "de": "Deutsch"}
"""Each language by its own name."""
WORDS: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...] = (
    ("lengths", mark("Lengths"), (("m", mark("metres")), ("ft", mark("feet")))),
    ("decimal", mark("Decimal mark"),
     (("", mark("as usual in the language")), ("point", mark("point: 3.7")), ("comma", mark("comma: 3,7")))),
    ("look", mark("Light or dark"),
     (("", mark("as the system is set")), ("light", mark("light")), ("dark", mark("dark")))),
    ("sheet", mark("Paper"), (("a4", mark("A4, 210 x 297 mm")), ("letter", mark("letter, 8.5 x 11 in")))),
    ("motion", mark("Motion"), (("", mark("as the system is set")), ("still", mark("none")))),
)  # fmt: skip
"""What is chosen, its name, and what it may be."""


@dataclass(frozen=True, slots=True)
class SettingChoice:
    """Something to choose: its name, its label, what it may be in words, and what it is."""

    name: str
    label: str
    options: tuple[tuple[str, str], ...]
    now: str


@dataclass(frozen=True, slots=True)
class StationSite:
    """A kept station with the noise about it and the limits it is held against; ``limits`` says which are ticked.

    ``own_limits`` and ``licence`` are a person's own rules, as typed, ``wrong`` what is wrong with them.
    """

    name: str
    noise: str
    limits: tuple[tuple[str, bool], ...]
    own_limits: str = ""
    licence: str = ""
    wrong: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SettingsPage:
    """All that is chosen."""

    choices: tuple[SettingChoice, ...]
    sites: tuple[StationSite, ...]
    noises: tuple[tuple[str, str], ...]
    back: str
    kept: bool
    limit_words: tuple[str, ...] = LIMIT_WORDS
    licence_words: tuple[str, ...] = LICENCE_WORDS


@router.get("/settings")
def settings(request: Request, back: str = "/", kept: bool = False) -> Response:
    """Show what is chosen."""
    return _shown(request, back, kept=kept)


def _shown(request: Request, back: str = "/", *, kept: bool = False, typed: StationSite | None = None) -> Response:
    """Return the page; ``typed`` is a site that could not be kept, with what is wrong."""
    taste = taste_of(request.cookies)
    asked = TONGUES[asked_language(request.headers.get("accept-language", ""))]
    tongues = (("", say("as the browser asks: {language}", language=asked)), *TONGUES.items())
    language = SettingChoice("language", say("Language"), tongues, taste.language)
    rest = (
        SettingChoice(name, say(label), tuple((v, say(w)) for v, w in options), getattr(taste, name))
        for name, label, options in WORDS
    )
    noises = (("", say("not stated")), *((name, say(name)) for name in SITES))
    sites = tuple(typed if typed and typed.name == s.name else s for s in _sites(stations(ledger_of(request))))
    shown = SettingsPage((language, *rest), sites, noises, here(back), kept)
    status = 422 if typed else 200
    return page(request, "settings.html", shown, place="settings", title=say("Settings"), status=status)


def _sites(kept: Sequence[Item]) -> tuple[StationSite, ...]:
    return tuple(_site(item.key, item.body["station"].get("station", {})) for item in kept)


def _site(name: str, head: dict[str, object]) -> StationSite:
    said = head.get("limits", Exposure().standards)
    chosen = {said} if isinstance(said, str) else set(said if isinstance(said, list | tuple) else ())
    own = sorted(str(limit) for limit in chosen - set(STANDARDS))
    licence = head.get("licence", "")
    return StationSite(
        name, str(head.get("noise", "")), tuple((limit, limit in chosen) for limit in (*STANDARDS, *own)),
        spelled(str(head.get("own_limits", "")), LIMIT_WORDS),
        spelled(", ".join(map(str, licence)) if isinstance(licence, list | tuple) else str(licence), LICENCE_WORDS),
    )  # fmt: skip


@router.post("/settings")
async def choose(request: Request) -> Response:
    """Keep a taste in the browser."""
    form = {name: str(value) for name, value in (await request.form()).items()}
    taste: Taste = taste_from(form)
    back = here(form.get("back", "/"))
    to = back if form.get("leave") else f"/settings?kept=1&back={quote(back, safe='')}"
    answer = RedirectResponse(to, 303)
    secure = request.app.state.settings.tls
    answer.set_cookie(TASTE, taste.cookie, max_age=YEAR_S, samesite="strict", httponly=True, secure=secure)
    return answer


@router.post("/settings/site/{name:path}")
def site(
    request: Request, name: str, noise: Annotated[str, Form()] = "", limits: Annotated[list[str] | None, Form()] = None,
    own_limits: Annotated[str, Form()] = "", licence: Annotated[str, Form()] = "",
) -> Response:  # fmt: skip
    """Keep the site of a station, and the limits it is held against, in the ledger."""
    if not limits:
        cure = say("Tick one at least; without any, leave the page as it was.")
        raise InputError("limits", say("must name what exposure is held against"), cure=cure)
    own = unspelled(" ".join(own_limits.split()), LIMIT_WORDS)
    allowed = parts_of(unspelled(licence, LICENCE_WORDS))
    try:
        change_site(
            ledger_of(request), name, noise or None, limits,
            own={"own_limits": own, "licence": allowed}, by=by(request),
        )  # fmt: skip
    except InputError as error:
        ticks = tuple((limit, limit in limits) for limit in dict.fromkeys((*STANDARDS, *limits)))
        words = (*LIMIT_WORDS, *LICENCE_WORDS)
        problems = tuple(spelled(now_written(str(p)), words) for p in getattr(error, "problems", ()) or (error,))
        return _shown(request, typed=StationSite(name, noise, ticks, own_limits, licence, problems))
    return RedirectResponse("/settings?kept=1", 303)
