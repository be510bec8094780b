"""Exposure on a terminal: distances to limits, each with its source, and the cautions that go with them."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from linewright.cli.plan_words import left_out, remarks_of, shown
from linewright.cli.text import Table, bold, items, page, section, workings_view
from linewright.core.formatting import frequency, metres, percent
from linewright.core.nouns.exposure import DensityFinding, ExposureFinding
from linewright.core.nouns.plan import EXPOSURE, BandFinding, Budget, Plan, belonging
from linewright.present.compose.exposure_words import (
    all_at_once,
    distance,
    distance_notes,
    exemption,
    farthest,
    level_distance,
    licence,
    most_power,
    most_used,
    used,
)

SHORT = {"ICNIRP 2020": "ICNIRP", "ICNIRP 2010": "ICNIRP", "47 CFR 1.1310": "47 CFR", "occupational": "occup."}


LETTER = {"electric field": "E", "magnetic field": "H", "power density": "S"}
LETTERS = "E, H or S: the electric field, the magnetic field or the power density reaches its limit farthest out."
BOTH = "ICNIRP: whichever reaches farther, the levels of 2020 or those of 2010 below 10 MHz, which are not averaged."


def exposure(plan: Plan) -> list[str]:
    """Return distances, what they are reckoned with, and whose limits they are."""
    limits = dict.fromkeys(e.limit for b in plan.budgets for x in b.bands for e in x.exposure)
    whose = f"Limits of {' and '.join(limits)}; the command linewright exposure shows each with its source."
    return [*distances(plan), *items([*_terms(plan), whose])] if limits else []


def distances(plan: Plan) -> list[str]:
    """Return the distances of every run and band, a column a set of limits; ICNIRP's two sets share one."""
    found = [e for b in plan.budgets for x in b.bands for e in x.exposure]
    both = {"ICNIRP 2020", "ICNIRP 2010"} <= {e.limit for e in found}
    notes = [BOTH] if both else []
    letters = [LETTERS] if any(e.distance_m is not None for e in found) else []
    return [
        *_table(plan, _distance, eirp=True).lines(),
        *items([*distance_notes(found), *notes, *letters]),
    ]


def _distance(e: ExposureFinding) -> str:
    letter = "" if e.distance_m is None else f" {LETTER[e.quantity]}"
    return f"{distance(e)}{letter}"


def on_the_ground(plan: Plan) -> list[str]:
    """Return how far from the feed, level, the limits reach where people stand; nothing without a near field."""
    if all(e.ground_distance_m is None for b in plan.budgets for x in b.bands for e in x.exposure):
        return []
    said = "Level from below the feed, 0.1 to 2 m above ground, at the power that is believed."
    return [*_table(plan, lambda e: level_distance(e.ground_distance_m)).lines(), *items([said])]


def at_the_window(plan: Plan) -> list[str]:
    """Return the same at the height of a window; nothing where no run names one."""
    if all(e.window_distance_m is None for b in plan.budgets for x in b.bands for e in x.exposure):
        return []
    return _table(plan, lambda e: level_distance(e.window_distance_m)).lines()


def _table(plan: Plan, cell: Callable[[ExposureFinding], str], *, eirp: bool = False) -> Table:
    found = [e for b in plan.budgets for x in b.bands for e in x.exposure]
    kinds = list(dict.fromkeys((_family(e.limit), e.who) for e in found))
    heads = [_head(*kind) for kind in kinds]
    table = Table(("", *(["EIRP"] if eirp else []), *heads), "r" + "r" * (len(kinds) + eirp))
    for budget in plan.budgets:
        shown = _shown(budget) if eirp else [x for x in _shown(budget) if any(map(cell, x.exposure))]
        if shown and len(plan.budgets) > 1:
            table.part(budget.run)
        for x in shown:
            at = {kind: [e for e in x.exposure if (_family(e.limit), e.who) == kind] for kind in kinds}
            cells = (cell(farthest(some)) if some else "" for some in at.values())
            radiated = [] if not eirp else ["" if x.eirp_w is None else _watts(x.eirp_w)]
            table.add(frequency(x.frequency_hz), *radiated, *cells)
    return table


def _head(limit: str, who: str) -> str:
    return f"{limit}, {SHORT.get(who, who)}"


def _family(limit: str) -> str:
    return SHORT.get(limit, limit)


def _shown(budget: Budget) -> list[BandFinding]:
    return [x for x in shown(budget) if x.exposure]


def _watts(value: float) -> str:
    return f"{value:.0f} W" if value >= 100.0 else f"{value:.3g} W"


def exposure_view(plan: Plan, *, explain: bool = False) -> str:
    """Return how far to keep away, for a terminal; the cautions always stand below."""
    unknown = [b.run for b in plan.budgets if not _shown(b)]
    missing = f"Nothing can be said of {', '.join(unknown)}: no limit that was asked for holds there."
    parts = [
        [bold(f"Exposure at {plan.station}")],
        section("Distance at which the limit is reached", distances(plan)),
        items([missing] if unknown else []),
        section("Where people stand", on_the_ground(plan)),
        section("At the window", at_the_window(plan)),
        section("At a distance", at_a_distance(plan)),
        section("All on the air at once", items([all_at_once(s) for s in plan.together])),
        section("Licence", licensed(plan)),
        section("Limits", _limits(plan)),
        section("Reckoned with", items([*_terms(plan), *left_out(plan)])),
        section("Cautions", items(plan.cautions)),
    ]
    if explain:
        parts.append(workings_view([w for b in plan.budgets for w in belonging(b, EXPOSURE)]))
    return page(parts)


def at_a_distance(plan: Plan) -> list[str]:
    """Return what is used up of each limit where people are."""
    rows = [(b.run, x.frequency_hz, d) for b in plan.budgets for x in _shown(b) for d in x.density]
    if not rows:
        return []
    kinds = list(dict.fromkeys((_family(d.limit), d.who) for *_, d in rows))
    table = Table(("", *(_head(*kind) for kind in kinds), "most power"), "r" + "r" * (len(kinds) + 1))
    for budget in plan.budgets:
        near = [d for x in _shown(budget) for d in x.density]
        if near:
            table.part(f"{budget.run}, {metres(near[0].distance_m)} away")
        for x in (x for x in _shown(budget) if x.density):
            at = [[d for d in x.density if (_family(d.limit), d.who) == kind] for kind in kinds]
            powers = [d.max_power_w for d in x.density if d.max_power_w is not None]
            table.add(
                frequency(x.frequency_hz),
                *(_share(most_used(some)) if some else "" for some in at), most_power(min(powers)) if powers else "",
            )  # fmt: skip
    exempt = dict.fromkeys(exemption(f, d) for _, f, d in rows)
    return [*table.lines(), *items([USED, *used(rows, over_only=True), *filter(None, exempt)])]


def _share(d: DensityFinding) -> str:
    return "no figure" if d.fraction_high is None else percent(d.fraction_high)


def licensed(plan: Plan) -> list[str]:
    """Return what the licence allows against what there is."""
    several = len(plan.budgets) > 1
    found = [(b.run, licence(x.frequency_hz, c)) for b in plan.budgets for x in _shown(b) for c in x.licence]
    return items([f"{run}: {said}" if several else said for run, said in found])


USED = (
    "Of the limit: at the upper end of the power's interval. Levels that are not averaged count the field, all others"
    " the power. The most power is the transmitter's, for the strictest of them."
)


def _limits(plan: Plan) -> list[str]:
    """Return what each limit is on each band, and where it stands."""
    table = Table(("", "", "", ""), "rllr")
    found: dict[tuple[float, str, str], ExposureFinding] = {}
    for budget in plan.budgets:
        for x in _shown(budget):
            found |= {(x.frequency_hz, e.limit, e.who): e for e in x.exposure}
    last = 0.0
    for (f, limit, who), e in sorted(found.items(), key=lambda pair: pair[0][0]):
        table.add("" if f == last else frequency(f), limit, who, f"{e.limit_value:.3g} {e.unit}")
        last = f
    return [*table.lines(), *items(_sources(found.values()))]


def _sources(found: Iterable[ExposureFinding]) -> list[str]:
    who: dict[tuple[str, str], dict[str, None]] = {}
    for e in found:
        who.setdefault((e.limit, e.source), {})[e.who] = None
    return [_source(limit, source, " and ".join(names)) for (limit, source), names in who.items()]


def _source(limit: str, source: str, who: str) -> str:
    _, _, text = source.partition(": ")
    return f"{limit}, {who}: {text.removeprefix(f'{limit}, ')}."


def _terms(plan: Plan) -> list[str]:
    return remarks_of(plan.budgets, lambda budget: budget.terms)
