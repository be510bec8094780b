"""Practise on an invented bench: alone, the address holding the game, or with a club on phones and a big screen."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError
from linewright.core.messages import say, together
from linewright.core.nouns.practice import LEVELS, SEEDS, HiddenFault, PracticeBench, code_of, read_code
from linewright.present.compose import practise as words
from linewright.verbs.practise import ask_engine, mark_answer, take_reading
from linewright.web import practise_page as show
from linewright.web.clubs import MOST_PLAYERS, MOST_SIGNS, Club, Clubs, NoClubError, Phase
from linewright.web.rendering import Place, page, wants_part

router = APIRouter(include_in_schema=False)
PLACE: Place = "elsewhere"
TITLE = say("Practise")
SHORT: Mapping[int, str] = {
    1: say("a slip"), 2: say("a bent meter"), 3: say("a bad cable"), 4: say("another type or length"),
    5: say("any of them"),
}  # fmt: skip

# Alone: the address holds the bench, the readings chosen, and whether the engine was asked


@dataclass(frozen=True, slots=True)
class LevelsPage:
    """The levels, and what was wrong with a code or with the letters of a club."""

    levels: tuple[tuple[int, str], ...] = tuple((level, words.level_words(level)) for level in LEVELS)
    wrong: str = ""
    wrong_club: str = ""
    typed: str = ""
    most: int = MOST_PLAYERS
    short: Mapping[int, str] = field(default_factory=lambda: SHORT)


@router.get("/practise")
def start(request: Request, code: str = "", club: str = "") -> Response:
    """Show the levels; lead to the bench of a code, or to a club by its letters."""
    shown = LevelsPage()
    if code.strip():
        try:
            return RedirectResponse(_bench_at(*read_code(code)), 303)
        except InputError as cause:
            shown = LevelsPage(wrong=str(cause), typed=code[:20])
    elif club.strip():
        try:
            there = _clubs(request).get(club.strip(), time.monotonic())
            return RedirectResponse(_club_at(there.key), 303)
        except NoClubError as cause:
            shown = LevelsPage(wrong_club=str(cause))
    status = 422 if shown.wrong or shown.wrong_club else 200
    return page(request, "practise.html", shown, place=PLACE, title=TITLE, status=status)


@router.get("/practise/new")
def new(level: Annotated[int, Query(ge=1, le=5)] = 1) -> Response:
    """Invent a bench."""
    return RedirectResponse(_bench_at(level, secrets.randbelow(SEEDS)), 303)


def _bench_at(level: int, seed: int) -> str:
    return f"/practise/bench?{urlencode({'code': code_of(level, seed)})}"


@dataclass(frozen=True, slots=True)
class BenchPage:
    """A bench to practise on as it stands."""

    code: str
    packed: str
    asked: bool
    bench: show.BenchShown
    choices: tuple[show.ClaimChoices, ...]
    two: bool
    engine: tuple[str, ...]
    cautions: tuple[str, ...]
    wrong: str = ""


@router.get("/practise/bench")
def bench(request: Request, code: str, r: str = "", asked: bool = False) -> Response:
    """Show a bench with the readings chosen so far; ``at`` and ``path`` choose one more."""
    level, seed = read_code(code)
    there = show.unpacked(level, seed, r)
    at, path = (request.query_params.get(name, "") for name in ("at", "path"))
    if at and path:
        wanted = show.chosen(there, at, path)
        there = take_reading(there, wanted.meter, wanted.frequency_hz, wanted.path)
    return _bench_shown(request, there, asked=asked, at=at)


def _bench_shown(request: Request, there: PracticeBench, *, asked: bool, at: str = "", wrong: str = "") -> Response:
    found = BenchPage(
        there.code,
        show.packed(there),
        asked,
        show.shown(there, at),
        show.choices(there),
        there.level == max(LEVELS),
        words.engine_sentences(ask_engine(there)) if asked else (),
        cautions_of("practise"),
        wrong,
    )
    template, status = "practise_part.html" if wants_part(request) else "practise_bench.html", 422 if wrong else 200
    return page(
        request, template, found, place=PLACE, title=say("Practise, level {level}", level=there.level), status=status
    )


@dataclass(frozen=True, slots=True)
class TruthPage:
    """The end: the truth beside the answer."""

    code: str
    packed: str
    level: int
    bench: show.BenchShown
    outcome: show.OutcomeShown


@router.get("/practise/truth")
def truth(
    request: Request,
    code: str,
    r: str = "",
    asked: bool = False,
    claim: Annotated[Sequence[str], Query()] = (),
    sure: Annotated[Sequence[str], Query()] = (),
) -> Response:
    """Mark an answer and show the truth; without an answer, ask for one."""
    level, seed = read_code(code)
    there = show.unpacked(level, seed, r)
    try:
        outcome = mark_answer(there, show.claims_in(claim, sure), asked=asked)
    except InputError as cause:
        return _bench_shown(request, there, asked=asked, wrong=str(cause))
    found = TruthPage(
        code_of(level, seed), show.packed(there), level, show.shown(there), show.outcome_shown(outcome)
    )  # fmt: skip
    return page(request, "practise_truth.html", found, place=PLACE, title=say("The truth"))


# A club: one leads on the big screen, the others answer on phones


@dataclass(frozen=True, slots=True)
class PlayerRow:
    """A player as the screen shows one."""

    name: str
    answered: bool
    said: str
    points: int | None
    total: int
    mine: bool


@dataclass(frozen=True, slots=True)
class SpreadRow:
    """An answer: in words, how many gave it, how many of them surely, how wide its bar is in per cent, and if right."""

    said: str
    count: int
    sure: int
    wide: int
    right: bool | None


@dataclass(frozen=True, slots=True)
class ClubPage:
    """A club as its leader's screen, or a player's phone, shows it. The truth is None until it is out."""

    key: str
    leads: bool
    round: int
    phase: str
    number: int
    turn: str
    bench: show.BenchShown
    choices: tuple[show.ClaimChoices, ...]
    two: bool
    players: tuple[PlayerRow, ...]
    answered: int
    spread: tuple[SpreadRow, ...]
    me: PlayerRow | None
    mine: tuple[tuple[str, str], ...]
    address: str
    picture: str
    alone: bool
    outcome: show.OutcomeShown | None
    code: str
    cautions: tuple[str, ...]
    levels: tuple[tuple[int, str], ...]
    short: Mapping[int, str] = field(default_factory=lambda: SHORT)
    signs: int = MOST_SIGNS
    wrong: str = ""


@router.post("/practise/club")
def begin(request: Request, level: Annotated[int, Form(ge=1, le=5)] = 1) -> Response:
    """Begin a club and lead it."""
    club = _clubs(request).begin(_who(request), level, time.monotonic())
    return RedirectResponse(_club_at(club.key), 303)


@router.get("/practise/club/{key}")
def club(request: Request, key: str, since: str = "") -> Response:
    """Show a club to its leader or to a player; nothing where it stands as it did at ``since``."""
    try:
        there = _clubs(request).get(key, time.monotonic())
    except NoClubError as cause:
        if wants_part(request):
            raise HTTPException(404) from cause
        return page(request, "practise.html", LevelsPage(wrong_club=str(cause)), place=PLACE, title=TITLE, status=404)
    if since == there.turn(_who(request)):
        return Response(status_code=204)
    return _club_shown(request, there)


@router.post("/practise/club/{key}/join")
def join(request: Request, key: str, name: Annotated[str, Form()] = "") -> Response:
    """Let a player in under a name, typed or made up."""
    return _then(request, key, lambda clubs, who, at: clubs.join(key, who, name, at))


@router.post("/practise/club/{key}/read")
def read(request: Request, key: str, at: Annotated[str, Form()], path: Annotated[str, Form()]) -> Response:
    """Take the next reading on the big screen."""

    def done(clubs: Clubs, who: str, at_s: float) -> Club:
        return clubs.read(key, who, show.chosen(clubs.get(key, at_s).bench, at, path), at_s)

    return _then(request, key, done)


@router.post("/practise/club/{key}/answer")
def answer(
    request: Request,
    key: str,
    claim: Annotated[Sequence[str], Form()] = (),
    sure: Annotated[Sequence[str], Form()] = (),
) -> Response:
    """Keep what a player says."""
    return _then(request, key, lambda clubs, who, at: clubs.answer(key, who, show.claims_in(claim, sure), at))


@router.post("/practise/club/{key}/show")
def reveal(request: Request, key: str, phase: Annotated[str, Form()]) -> Response:
    """Show how the answers spread, or the truth."""
    wanted: Phase = "truth" if phase == "truth" else "spread"
    return _then(request, key, lambda clubs, who, at: clubs.show(key, who, wanted, at))


@router.post("/practise/club/{key}/next")
def next_round(request: Request, key: str, level: Annotated[int, Form(ge=1, le=5)] = 1) -> Response:
    """Go on with another bench."""
    return _then(request, key, lambda clubs, who, at: clubs.next_round(key, who, level, at))


@router.post("/practise/club/{key}/leave")
def leave(request: Request, key: str) -> Response:
    """End a club, or leave it."""
    _clubs(request).leave(key, _who(request))
    return RedirectResponse("/practise", 303)


def _then(request: Request, key: str, done: Callable[[Clubs, str, float], Club]) -> Response:
    """Do something with a club and show how it stands; what is wrong is said in its place."""
    try:
        there = done(_clubs(request), _who(request), time.monotonic())
    except NoClubError:
        raise
    except InputError as cause:
        return _club_shown(request, _clubs(request).get(key, time.monotonic()), wrong=str(cause))
    return _club_shown(request, there) if wants_part(request) else RedirectResponse(_club_at(there.key), 303)


def _clubs(request: Request) -> Clubs:
    found: Clubs = request.app.state.clubs
    return found


def _who(request: Request) -> str:
    return str(request.state.session)


def _club_at(key: str) -> str:
    return f"/practise/club/{quote(key)}"


def _club_shown(request: Request, there: Club, wrong: str = "") -> Response:
    who = _who(request)
    leads = there.leader == who
    over = there.phase == "truth"
    bench, on_screen, choices = show.of_club(there.level, there.seed, there.taken)
    # Whoever leads the screen answers nothing, so the outcome is that of "cannot tell"; each phone has its own.
    mine = there.players.get(who)
    claims = mine.claims if mine and mine.claims else show.claims_in(["cannot tell|"], [])
    outcome = mark_answer(bench, claims) if over else None
    address, picture, alone = _way_in(request, there.key) if leads else ("", "", False)
    found = ClubPage(
        key=there.key,
        leads=leads,
        round=there.round,
        phase=there.phase,
        number=there.version,
        turn=there.turn(who),
        bench=on_screen,
        choices=choices,
        two=there.level == max(LEVELS),
        players=tuple(_player(there, session, who) for session in _ranked(there)),
        answered=there.answered,
        spread=_spread(there, outcome.truth.faults if outcome else None) if there.phase != "answering" else (),
        me=_player(there, who, who) if mine else None,
        mine=tuple((f"{c.kind}|{c.of}", c.sureness) for c in mine.claims) if mine else (),
        address=address,
        picture=picture,
        alone=alone,
        outcome=show.outcome_shown(outcome) if outcome else None,
        code=bench.code if over else "",
        cautions=cautions_of("practise"),
        levels=tuple((level, words.level_words(level)) for level in LEVELS),
        wrong=wrong,
    )
    template = "club_part.html" if wants_part(request) else "club.html"
    status = 422 if wrong and not wants_part(request) else 200
    return page(request, template, found, place=PLACE, title=say("Club {key}", key=there.key), status=status)


def _ranked(there: Club) -> list[str]:
    """Return the players' sessions: by points once the truth is out, else as they came."""
    if there.phase != "truth":
        return list(there.players)
    return sorted(there.players, key=lambda session: -there.players[session].total)


def _player(there: Club, session: str, who: str) -> PlayerRow:
    player = there.players[session]
    told = there.phase == "truth" or session == who
    said = together([words.claim_words(c) for c in player.claims], ", ") if told else ""
    return PlayerRow(player.name, bool(player.claims), said, player.points, player.total, session == who)


def _spread(there: Club, faults: Sequence[HiddenFault] | None) -> tuple[SpreadRow, ...]:
    rows = show.spread_of([p.claims for p in there.players.values()])
    most = max((count for _, count, _ in rows), default=1)
    return tuple(
        SpreadRow(
            together([words.claim_words(c) for c in claims], ", "), count, sure, round(100 * count / most),
            None if faults is None else show.is_right(claims, faults),
        )
        for claims, count, sure in rows
    )  # fmt: skip


def _way_in(request: Request, key: str) -> tuple[str, str, bool]:
    """Return the address phones go to, its picture with the key of the door, and whether only this machine can come."""
    import segno

    settings = request.app.state.settings
    lan = bool(settings.pass_phrase)
    host = settings.names[-1] if lan else "localhost"
    base = f"{settings.scheme}://{host}:{settings.port}"
    way = (
        f"{base}/door?{urlencode({'key': settings.key, 'to': _club_at(key)})}" if settings.key else base + _club_at(key)
    )
    picture = segno.make(way, error="m").svg_inline(omitsize=True, border=3, dark="#23211d", light="#fffdf8")
    return base + _club_at(key), picture, not lan
