"""Words that the views of a plan share."""

from __future__ import annotations

from linewright.core.formatting import frequency
from linewright.core.messages import say
from linewright.core.nouns.plan import BandFinding, Budget, Plan
from linewright.present.compose.plan_words import MOST_BANDS, remarks_of, shown, unshown

__all__ = ["MOST_BANDS", "left_out", "other_remarks", "remarks_of", "shown", "title"]


def left_out(plan: Plan) -> list[str]:
    """Return which runs are not shown whole."""
    return list(unshown(plan))


def title(plan: Plan, budget: Budget, x: BandFinding) -> str:
    """Return what to call a band: its frequency, with its run where there are several."""
    at = frequency(x.frequency_hz)
    return at if len(plan.budgets) == 1 else say("{run}, {frequency}", run=budget.run, frequency=at)


def other_remarks(plan: Plan) -> list[str]:
    """Return what is left out, and the runs' remarks that do not speak of exposure."""
    return [*left_out(plan), *remarks_of(plan.budgets, lambda budget: budget.remarks)]
