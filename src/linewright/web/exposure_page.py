"""Exposure on a page: the document's words, with figures that open, and the zone to keep clear drawn."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from linewright.core.messages import mark, say
from linewright.core.nouns.bench_result import Key, Working
from linewright.core.nouns.exposure import ExposureFinding
from linewright.core.nouns.plan import EXPOSURE, Plan, belonging
from linewright.core.nouns.rules import Rules
from linewright.core.nouns.station import Run
from linewright.present.compose import exposure as compose
from linewright.present.compose.exposure_words import all_at_once, exempt_from, farthest
from linewright.present.compose.figures import zone_of
from linewright.present.document import Table
from linewright.web import exposure_form as form
from linewright.web.pictures import Drawable
from linewright.web.workings import OpenTable, open_table

ABOUT = mark("The zone to keep clear around the antenna, from above and from the side; the tables have the distances.")


@dataclass(frozen=True, slots=True)
class ShownTable:
    """A table with its heading and what stands below it."""

    key: str
    title: str
    table: OpenTable
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ExposureShown:
    """How far to keep away from one antenna, as its page shows it."""

    verdict: tuple[str, ...]
    tables: tuple[ShownTable, ...]
    licence: tuple[str, ...]
    over_licence: bool
    exempt: tuple[str, ...]
    terms: tuple[str, ...]
    charts: tuple[Drawable, ...]
    cautions: tuple[str, ...]
    workings: tuple[Working, ...]


def told(given: Mapping[str, str], limits: Sequence[str]) -> ExposureShown:
    """Return what the form's antenna asks of people.

    Raises
    ------
    InputError
        If something cannot be read.
    """
    from linewright.verbs.exposure import exposure_of_antenna, run_as_written

    run = run_as_written(form.asked(given, limits))
    own = form.rules(given, run.frequencies_hz)
    return shown(exposure_of_antenna(run, own), run, own)


def shown(plan: Plan, run: Run, rules: Rules) -> ExposureShown:
    """Return a plan of one run without a line, as the page shows it."""
    workings = [w for b in plan.budgets for w in belonging(b, EXPOSURE)]
    titles: tuple[tuple[str, str, Table, Sequence[Sequence[Key]]], ...] = (
        ("distances", say("Distance at which the limit is reached"), compose.distances(plan), _distance_keys(plan)),
        ("radiated", say("EIRP and ERP"), compose.on_the_air(plan), _radiated_keys(plan)),
        ("ground", say("Where people stand"), compose.on_the_ground(plan), _distance_keys(plan)),
        ("window", say("At the window"), compose.at_the_window(plan), _distance_keys(plan)),
        ("used", say("At that distance"), compose.at_a_distance(plan), []),
        ("fields", say("Fields at that distance"), compose.fields(plan), []),
        ("limits", say("Limits"), compose.limits(plan), []),
    )
    found = tuple(ShownTable(key, title, open_table(table, workings, keys), table.notes)
                  for key, title, table, keys in titles if table.parts)  # fmt: skip
    band = [x for b in plan.budgets for x in b.bands]
    return ExposureShown(
        tuple(compose.headlines(plan)), found, tuple(compose.licensed(plan)),
        any(c.verdict == "over" for x in band for c in x.licence),
        (*exempt_from((b.run, x.frequency_hz, e) for b in plan.budgets for x in b.bands for e in x.exposure),
         *all_at_once(plan.together)),
        compose.terms(plan), tuple(zones(plan, run, rules)), plan.cautions, tuple(workings),
    )  # fmt: skip


def _distance_keys(plan: Plan) -> list[tuple[Key, ...]]:
    """Return what the working of each distance is of, row by row."""
    kinds, keys = compose.kinds_of(plan), []
    for b in plan.budgets:
        for x in compose.shown(b):
            at = [compose.of_kind(x, kind) for kind in kinds]
            keys.append(((), *(_distance_key(farthest(some), x.frequency_hz) if some else () for some in at)))
    return keys


def _distance_key(e: ExposureFinding, frequency_hz: float) -> Key:
    return ("distance", e.limit, e.who, frequency_hz)


def _radiated_keys(plan: Plan) -> list[tuple[Key, ...]]:
    return [((), ("EIRP", x.frequency_hz)) for b in plan.budgets for x in compose.shown(b)]


def zones(plan: Plan, run: Run, rules: Rules) -> Iterator[Drawable]:
    """Yield the drawing of the zone of a run whose lengths are known."""
    (budget,) = plan.budgets
    draw = zone_of(run, budget, rules)
    if draw is not None:
        yield Drawable("zone", say(ABOUT), draw)
