"""Exposure on a terminal: distances to limits, each with its source, and the cautions that go with them."""

from __future__ import annotations

from collections.abc import Iterable

from linewright.cli.layout import bold, items, page, section
from linewright.cli.plan_words import TERMS, left_out, remarks_of, shown
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.extracts import EXPOSURE
from linewright.model.plan import BandFinding, Budget, ExposureFinding, Plan
from linewright.report.plan_words import distance, distance_notes
from linewright.units.writing import frequency

SHORT = {"ICNIRP 2020": "ICNIRP", "47 CFR 1.1310": "47 CFR", "occupational": "occup."}


def exposure(plan: Plan) -> list[str]:
    """Return distances, what they are reckoned with, and whose limits they are."""
    limits = dict.fromkeys(e.limit for b in plan.budgets for x in b.bands for e in x.exposure)
    whose = f"Limits of {' and '.join(limits)}; the command linewright exposure shows each with its source."
    return [*distances(plan), *items([*_terms(plan), whose])] if limits else []


def distances(plan: Plan) -> list[str]:
    """Return the distances of every run and band, a column a limit."""
    kinds = list(dict.fromkeys((e.limit, e.who) for b in plan.budgets for x in b.bands for e in x.exposure))
    heads = [f"{SHORT.get(limit, limit)}, {SHORT.get(who, who)}" for limit, who in kinds]
    table = Table(("", "EIRP", *heads), "rr" + "r" * len(kinds))
    for budget in plan.budgets:
        shown = _shown(budget)
        if shown and len(plan.budgets) > 1:
            table.part(budget.run)
        for x in shown:
            at = {(e.limit, e.who): e for e in x.exposure}
            cells = (distance(at[kind]) if kind in at else "" for kind in kinds)
            table.add(frequency(x.frequency_hz), _watts(x.eirp_w or 0.0), *cells)
    return [*table.lines(), *items(distance_notes(e for b in plan.budgets for x in b.bands for e in x.exposure))]


def _shown(budget: Budget) -> list[BandFinding]:
    return [x for x in shown(budget) if x.exposure]


def _watts(value: float) -> str:
    return f"{value:.0f} W" if value >= 100.0 else f"{value:.3g} W"


def exposure_view(plan: Plan, *, explain: bool = False) -> str:
    """Return how far to keep away, for a terminal; the cautions always stand below."""
    unknown = [b.run for b in plan.budgets if not _shown(b)]
    missing = f"Nothing can be said of {', '.join(unknown)}: no gain is stated, or no limit holds there."
    parts = [
        [bold(f"Exposure at {plan.station}")],
        section("Distance at which the limit is reached, in the main lobe", distances(plan)),
        items([missing] if unknown else []),
        section("Limits", _limits(plan)),
        section("Reckoned with", items([*_terms(plan), *left_out(plan)])),
        section("Cautions", items(plan.cautions)),
    ]
    if explain:
        parts.append(workings_view([w for b in plan.budgets for w in b.workings if w.figure.startswith(EXPOSURE)]))
    return page(parts)


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
    return remarks_of(plan.budgets, lambda said: said.startswith(TERMS))
