"""The search of the header: pieces, meters, runs, sessions, sweeps, types and pages of help that hold some words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from linewright.catalogue import line_types
from linewright.catalogue.names import key
from linewright.core.messages import say
from linewright.store.ledger import Ledger
from linewright.verbs.shelf import all_kept, kept_runs
from linewright.verbs.shelf_nouns import own_lines_of
from linewright.web.language import spoken
from linewright.web.ledgers import ledger_of
from linewright.web.pages.help import LONGEST_WORDS, search
from linewright.web.rendering import page
from linewright.web.run_state import RunState, address
from linewright.web.stations import KEPT

router = APIRouter(include_in_schema=False)
MOST = 8
"""Of each kind."""
PLACES: tuple[tuple[str, str], ...] = (
    ("/settings", say("Settings: language, feet, decimal mark, light or dark, paper")),
    ("/decibel", say("A decibel: S units, power, range")),
    ("/lines", say("Line types")),
    ("/lines/new", say("A line type of your own")),
    ("/lines/loss", say("Loss of a line")),
    ("/lines/dimensions", say("A line by its dimensions: impedance")),
    ("/connectors", say("Connectors and adapters")),
    ("/sheets", say("A blank sheet to fill in")),
    ("/labels", say("Labels to print, with codes")),
    ("/exposure", say("Exposure: how far to keep away from an antenna")),
    ("/sweeps/one-end", say("A cable tested from one end")),
    ("/sweeps/through", say("SWR seen through a line")),
    ("/sweeps/cut", say("Where to cut: lines, stubs, pairs")),
    ("/bench/new", say("New bench session")),
    ("/practise", say("Practise on an invented bench, alone or with a club")),
    ("/shelf/check", say("Check of the ledger")),
)
"""Pages that a person may look for by what they do."""


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing found: its name, more of it in words, where it is."""

    name: str
    more: str
    href: str


@dataclass(frozen=True, slots=True)
class FindPage:
    """What was sought, and what was found, kind by kind."""

    sought: str
    groups: tuple[tuple[str, tuple[Hit, ...]], ...]
    ways: tuple[tuple[str, str], ...]


@router.get("/find")
def find(request: Request) -> Response:
    """Show what holds the words sought; without any, where one may go."""
    sought = " ".join(request.query_params.get("q", "")[:LONGEST_WORDS].split())
    groups = found_in(ledger_of(request), sought) if sought else ()
    title = say("Find: {words}", words=sought) if sought else say("Find")
    return page(request, "find.html", FindPage(sought, groups, PLACES), place="find", title=title)


def found_in(ledger: Ledger, sought: str) -> tuple[tuple[str, tuple[Hit, ...]], ...]:
    """Return what holds all the words sought, kind by kind; what begins with them comes first."""
    words = sought.casefold().split()
    kinds: tuple[tuple[str, Iterable[Hit]], ...] = (
        (say("Pieces"), _kept(ledger, "piece", "/shelf/piece/", ("line", "stock", "note"))),
        (say("Meters"), _kept(ledger, "meter", "/shelf/change/meter/", ("rated",))),
        (say("Runs"), _runs(ledger)),
        (say("Sessions"), _sessions(ledger)),
        (say("Sweeps"), _sweeps(ledger)),
        (say("Line types"), _types(ledger)),
        (say("Pages"), (Hit(name, "", href) for href, name in PLACES)),
    )
    found = [(kind, _best(hits, words)) for kind, hits in kinds]
    found.append(
        (say("Help"), tuple(Hit(f.title, f.around, f.address) for f in search(sought, spoken().language)[:MOST]))
    )
    return tuple((kind, hits) for kind, hits in found if hits)


def _best(hits: Iterable[Hit], words: list[str]) -> tuple[Hit, ...]:
    mine = [h for h in hits if all(_holds(h, w) for w in words)]
    return tuple(sorted(mine, key=lambda h: (not h.name.casefold().startswith(words[0]), h.name.casefold()))[:MOST])


def _holds(hit: Hit, word: str) -> bool:
    """Return whether a hit holds a word; a type's name also without its hyphens and strokes: "rg213"."""
    bare = key(word)
    return word in f"{hit.name} {hit.more}".casefold() or (bool(bare) and bare in key(hit.name))


def _kept(ledger: Ledger, kind: str, at: str, fields: tuple[str, ...]) -> Iterator[Hit]:
    for item in all_kept(ledger, kind):  # type: ignore[arg-type]
        more = " · ".join(str(item.body[f]) for f in ("length", *fields) if item.body.get(f))
        yield Hit(item.key, more, at + quote(item.key))


def _runs(ledger: Ledger) -> Iterator[Hit]:
    for run in kept_runs(ledger).runs:
        more = " · ".join((run.station, *run.frequencies, *run.pieces))
        yield Hit(run.run, more, address(RunState(KEPT + run.station, run.run)))


def _sessions(ledger: Ledger) -> Iterator[Hit]:
    for item in all_kept(ledger, "sheet"):
        yield Hit(str(item.body["title"]), str(item.body["measured_on"]), f"/bench/at/{quote(item.key)}")


def _sweeps(ledger: Ledger) -> Iterator[Hit]:
    for item in all_kept(ledger, "sweep"):
        of = " ".join(
            str(item.body[k]) for k in ("piece", "meter", "of", "name", "file") if isinstance(item.body.get(k), str)
        )
        yield Hit(
            item.key, of, "/sweeps/kept?" + urlencode({"piece": item.body["piece"]} if item.body.get("piece") else {})
        )


def _types(ledger: Ledger) -> Iterator[Hit]:
    with ledger.reads() as snapshot:
        own = own_lines_of(snapshot)
    for kind in (*own, *line_types()):
        yield Hit(kind.designator, f"{kind.impedance_ohm:g} ohm", f"/lines?{urlencode({'type': kind.designator})}")
