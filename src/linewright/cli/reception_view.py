"""Reception on a terminal: what the line costs in signal-to-noise, before and after each remedy."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.cli.layout import bold, groups, items, page, section
from linewright.cli.plan_words import other_remarks, shown
from linewright.cli.table import Table
from linewright.cli.workings_view import workings_view
from linewright.model.extracts import RECEPTION
from linewright.model.plan import BandFinding, Budget, Plan, ReceptionFinding
from linewright.report.plan_words import assumptions, noise_scale, noises
from linewright.units.writing import frequency, interval, plain

HEARD_DB = 0.3
"""A loss of signal-to-noise below this nobody notices; common practice, no source."""
NOTHING_DB = 0.05
COLUMNS = 5
NOTHING = "Nothing can be said of {}: add receiver = {{noise_figure = ...}} to the run, and noise = ... to the station."


def reception(plan: Plan) -> list[str]:
    """Return the loss of signal-to-noise of every run and band, and why where it can be heard."""
    table = Table(("", "noise outside (95 %)", "system noise", "signal-to-noise lost (95 %)"), "rddd")
    found = []
    for budget in plan.budgets:
        heard = _heard(budget)
        if heard and len(plan.budgets) > 1:
            table.part(budget.run)
        for x, r in heard:
            table.add(frequency(x.frequency_hz), *noises(r), _lost(r))
            found.append(r)
    return [*table.lines(), *items(noise_scale(found)), *items(_why(found)), *items(assumptions(plan.budgets))]


def _lost(r: ReceptionFinding) -> str:
    if r.reception_loss_db_high < NOTHING_DB:
        return "0.0 dB"
    return interval(r.reception_loss_db, r.reception_loss_db_low, r.reception_loss_db_high)


def _why(found: Sequence[ReceptionFinding]) -> list[str]:
    said = list(dict.fromkeys(r.why for r in found if r.reception_loss_db >= HEARD_DB))
    quiet = len(found) - sum(r.reception_loss_db >= HEARD_DB for r in found)
    where = "Elsewhere" if said else "Here"
    return [*said, *([f"{where} noise from outside hides what the line takes from reception."] if quiet else [])]


def _heard(budget: Budget) -> list[tuple[BandFinding, ReceptionFinding]]:
    return [(x, x.reception) for x in shown(budget) if x.reception is not None]


def reception_view(plan: Plan, *, explain: bool = False) -> str:
    """Return what runs do to reception, before and after every remedy, for a terminal."""
    found = [r for b in plan.budgets for _, r in _heard(b)]
    deaf = [b.run for b in plan.budgets if not _heard(b)]
    parts = [
        [bold(f"Reception at {plan.station}")],
        items(_why(found)),
        section("Noise at the antenna's terminals", _noise(plan)),
        *(section(f"{b.run}: signal-to-noise lost, dB", _remedies(b)) for b in plan.budgets),
        items([NOTHING.format(", ".join(deaf))] if deaf else []),
        section("Assumed", items(assumptions(plan.budgets))),
        section("Remarks", items(other_remarks(plan))),
        section("Cautions", items(plan.cautions)),
    ]
    if explain:
        parts.append(workings_view([w for b in plan.budgets for w in b.workings if w.figure.startswith(RECEPTION)]))
    return page(parts)


def _noise(plan: Plan) -> list[str]:
    table = Table(("", "outside (95 %)", "system"), "rdd")
    for budget in plan.budgets:
        if _heard(budget) and len(plan.budgets) > 1:
            table.part(budget.run)
        for x, r in _heard(budget):
            table.add(frequency(x.frequency_hz), *noises(r))
    return [*table.lines(), *items(noise_scale(r for b in plan.budgets for _, r in _heard(b)))]


def _remedies(budget: Budget) -> list[str]:
    """Return what is lost with each remedy, a column a band."""
    lines: list[str] = []
    for some in groups(_heard(budget), COLUMNS):
        table = Table(("", *(frequency(x.frequency_hz) for x, _ in some)), "l" + "d" * len(some))
        table.add("as it is", *(plain(r.reception_loss_db, 2) for _, r in some))
        named = list(dict.fromkeys(what for _, r in some for what, _ in r.remedies))
        for what in named:
            left = (dict(r.remedies).get(what) for _, r in some)
            table.add(f"with {what}", *("" if db is None else plain(db, 2) for db in left))
        rows = table.lines()
        lines += [*rows, *items(f"With {what}." for what in named if not any(what in line for line in rows))]
    return lines
