"""Words that the views of a plan share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from linewright.core.formatting import frequency
from linewright.core.nouns.plan import BandFinding, Budget, Plan

MOST_BANDS = 24
"""Nobody reads a table of more frequencies."""


def shown(budget: Budget, most: int = MOST_BANDS) -> list[BandFinding]:
    """Return the bands of a run that are shown: all, or of very many those that lose most."""
    gravest = sorted(range(len(budget.bands)), key=lambda i: -budget.bands[i].total_loss_db)[:most]
    return [budget.bands[i] for i in sorted(gravest)]


def left_out(plan: Plan) -> list[str]:
    """Return which runs are not shown whole."""
    return [
        f"{b.run}: of {len(b.bands)} frequencies the {MOST_BANDS} that lose most are shown; --json has them all."
        for b in plan.budgets
        if len(b.bands) > MOST_BANDS
    ]


def title(plan: Plan, budget: Budget, x: BandFinding) -> str:
    """Return what to call a band: its frequency, with its run where there are several."""
    return (f"{budget.run}, " if len(plan.budgets) > 1 else "") + frequency(x.frequency_hz)


def other_remarks(plan: Plan) -> list[str]:
    """Return what is left out, and the runs' remarks that do not speak of exposure."""
    return [*left_out(plan), *remarks_of(plan.budgets, lambda budget: budget.remarks)]


def remarks_of(budgets: Sequence[Budget], wanted: Callable[[Budget], Iterable[str]]) -> list[str]:
    """Return the remarks that are wanted, each once, with the runs it holds for where it does not hold for all."""
    runs: dict[str, list[str]] = {}
    for budget in budgets:
        for said in wanted(budget):
            runs.setdefault(said, []).append(budget.run)
    return [s if len(names) == len(budgets) else f"{', '.join(names)}: {s}" for s, names in runs.items()]
