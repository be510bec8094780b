"""A club that practises together: one leads, others answer. It lies in memory, bounded in number and in time."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from linewright.core.errors import CannotError, InputError
from linewright.core.messages import say
from linewright.core.nouns.practice import SEEDS, SIGNS, Claim, PracticeBench, PracticeReading
from linewright.verbs.practise import checked_claims, mark_answer, read_again, take_reading

MOST_CLUBS = 20
"""Clubs at once; a further one has to wait until one is left or forgotten."""
MOST_OF_ONE = 3
"""Clubs that one browser leads at once; its oldest gives way."""
MOST_PLAYERS = 60
IDLE_S = 2 * 3600.0
"""A club nobody has asked after for so long is forgotten."""
MOST_ROUNDS = 50
MOST_SIGNS = 20
"""Characters of a name."""
MADE_UP = (
    ("quiet", "brisk", "early", "patient", "sunny", "steady", "curious", "northern", "silver", "windy"),
    ("heron", "otter", "lark", "badger", "curlew", "hare", "robin", "marten", "plover", "vole"),
)
"""Names are made of these for who types none."""

Phase = Literal["answering", "spread", "truth"]
PHASES: tuple[Phase, ...] = ("answering", "spread", "truth")


@dataclass(frozen=True, slots=True)
class Player:
    """Somebody with a phone: the name, what was said this round, the points of all rounds and of this one."""

    name: str
    claims: tuple[Claim, ...] = ()
    total: int = 0
    points: int | None = None


@dataclass(frozen=True, slots=True)
class Club:
    """A club as it stands.

    ``players`` are known by the session of their browser, so that a reload changes nothing. ``version`` rises with
    every change, ``stage`` with those that all phones show: a reading, the answers, the truth, the next bench.
    """

    key: str
    leader: str
    level: int
    seed: int
    seen_s: float
    taken: tuple[PracticeReading, ...] = ()
    round: int = 1
    phase: Phase = "answering"
    players: Mapping[str, Player] = field(default_factory=dict)
    version: int = 0
    stage: int = 0

    @property
    def bench(self) -> PracticeBench:
        """The bench of this round, with the readings taken."""
        return read_again(self.level, self.seed, self.taken)

    def turn(self, session: str) -> str:
        """Return what changes when a browser's page does: the leader's with every answer, a phone's with its own."""
        return str(self.version) if session == self.leader else f"{self.stage}.{hash(self.players.get(session))}"

    @property
    def answered(self) -> int:
        """How many have answered."""
        return sum(1 for p in self.players.values() if p.claims)


class NoClubError(InputError):
    """There is no such club, or it was left."""


@dataclass(slots=True)
class Clubs:
    """The clubs of one start of the app."""

    _clubs: dict[str, Club] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, leader: str, level: int, at_s: float) -> Club:
        """Begin a club.

        Raises
        ------
        CannotError
            If there are ``MOST_CLUBS`` already.
        """
        with self._lock:
            self._forget(at_s)
            mine = [c for c in self._clubs.values() if c.leader == leader]
            for club in sorted(mine, key=lambda c: c.seen_s)[: max(0, len(mine) - MOST_OF_ONE + 1)]:
                del self._clubs[club.key]
            if len(self._clubs) >= MOST_CLUBS:
                raise CannotError(
                    say(
                        "{most_clubs} clubs practise here already. Leave one, or wait until one is forgotten.",
                        most_clubs=MOST_CLUBS,
                    )
                )
            key = next(k for k in iter(_new_key, "") if k not in self._clubs)
            return self._put(Club(key, leader, level, secrets.randbelow(SEEDS), at_s))

    def get(self, key: str, at_s: float) -> Club:
        """Return a club; whoever asks keeps it from being forgotten.

        Raises
        ------
        NoClubError
            If there is none under this key.
        """
        with self._lock:
            self._forget(at_s)
            club = self._there(key)
            self._clubs[club.key] = club = replace(club, seen_s=at_s)
            return club

    def join(self, key: str, session: str, name: str, at_s: float) -> Club:
        """Let somebody in, or give a player another name."""

        def change(club: Club) -> Club:
            known = club.players.get(session)
            if known is None and len(club.players) >= MOST_PLAYERS:
                raise InputError("club", say("is full: {most_players} people are in it", most_players=MOST_PLAYERS))
            others = {p.name.casefold() for s, p in club.players.items() if s != session}
            called = _free_name(name, others)
            player = Player(called) if known is None else replace(known, name=called)
            return replace(club, players={**club.players, session: player})

        return self._changed(key, at_s, change)

    def read(self, key: str, session: str, wanted: PracticeReading, at_s: float) -> Club:
        """Take a reading; the leader alone may."""

        def change(club: Club) -> Club:
            self._leads(club, session)
            if club.phase == "truth":
                raise InputError("reading", say("comes too late: the truth is out"))
            bench = take_reading(club.bench, wanted.meter, wanted.frequency_hz, wanted.path)
            return replace(club, taken=bench.taken, phase="answering", stage=club.stage + 1)

        return self._changed(key, at_s, change)

    def answer(self, key: str, session: str, claims: Sequence[Claim], at_s: float) -> Club:
        """Keep what a player says; it may be changed until the answers are shown."""

        def change(club: Club) -> Club:
            player = club.players.get(session)
            if player is None:
                raise InputError("name", say("is missing: join the club first"))
            if club.phase != "answering":
                raise InputError("answer", say("comes too late: the answers are shown"))
            player = replace(player, claims=checked_claims(club.bench, claims))
            return replace(club, players={**club.players, session: player})

        return self._changed(key, at_s, change)

    def show(self, key: str, session: str, phase: Phase, at_s: float) -> Club:
        """Show the answers, then the truth, which gives everybody their points."""
        if phase == "truth":
            # The engine's judgement is worked out before anybody has to wait for the lock; it is remembered.
            mark_answer(self.get(key, at_s).bench, (Claim("cannot tell"),))

        def change(club: Club) -> Club:
            self._leads(club, session)
            if PHASES.index(phase) <= PHASES.index(club.phase):
                return club
            players = {s: _paid(club, p) for s, p in club.players.items()} if phase == "truth" else club.players
            return replace(club, phase=phase, players=players, stage=club.stage + 1)

        return self._changed(key, at_s, change)

    def next_round(self, key: str, session: str, level: int, at_s: float) -> Club:
        """Put another bench on the screen; names and totals stay."""

        def change(club: Club) -> Club:
            self._leads(club, session)
            if club.round >= MOST_ROUNDS:
                raise InputError(
                    "round", say("must be one of {known}", known=MOST_ROUNDS), cure=say("Begin another club.")
                )
            players = {s: replace(p, claims=(), points=None) for s, p in club.players.items()}
            seed = secrets.randbelow(SEEDS)
            return replace(
                club,
                level=level,
                seed=seed,
                taken=(),
                phase="answering",
                round=club.round + 1,
                players=players,
                stage=club.stage + 1,
            )

        return self._changed(key, at_s, change)

    def leave(self, key: str, session: str) -> None:
        """Leave a club: the leader ends it, a player is forgotten by it."""
        with self._lock:
            club = self._there(key)
            if club.leader == session:
                del self._clubs[club.key]
            elif session in club.players:
                players = {s: p for s, p in club.players.items() if s != session}
                self._put(replace(club, players=players))

    def _changed(self, key: str, at_s: float, change: Callable[[Club], Club]) -> Club:
        with self._lock:
            self._forget(at_s)
            return self._put(replace(change(self._there(key)), seen_s=at_s))

    def _put(self, club: Club) -> Club:
        self._clubs[club.key] = club = replace(club, version=club.version + 1)
        return club

    def _there(self, key: str) -> Club:
        club = self._clubs.get(key.upper())
        if club is None:
            raise NoClubError("club", "must be one that goes on here", cure="Ask who leads for its letters.")
        return club

    def _leads(self, club: Club, session: str) -> None:
        if club.leader != session:
            raise InputError("club", say("is led by somebody else: only the browser it was begun in can do that"))

    def _forget(self, at_s: float) -> None:
        for key in [k for k, c in self._clubs.items() if at_s - c.seen_s > IDLE_S]:
            del self._clubs[key]


def _new_key() -> str:
    return "".join(secrets.choice(SIGNS) for _ in range(4))


def _paid(club: Club, player: Player) -> Player:
    if not player.claims or player.points is not None:
        return player
    points = mark_answer(club.bench, player.claims).score.points
    return replace(player, points=points, total=player.total + points)


def _free_name(name: str, taken: set[str]) -> str:
    """Return a short name that nobody else has; one is made up where none is given."""
    plain = " ".join("".join(c for c in name[: 10 * MOST_SIGNS] if c.isprintable()).split())[:MOST_SIGNS].strip()
    while not plain:
        made = " ".join(secrets.choice(words) for words in MADE_UP)
        if made not in taken:
            return made
        plain = f"{made} {secrets.randbelow(90) + 10}" if len(taken) > MOST_PLAYERS // 2 else ""
    told, number = plain, 2
    while told.casefold() in taken:
        told, number = f"{plain[: MOST_SIGNS - 3]} {number}", number + 1
    return told
