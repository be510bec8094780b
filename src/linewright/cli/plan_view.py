"""The terminal view of a plan: what reaches the antenna first, then the figures."""

from __future__ import annotations

from linewright.cli.cells import WIDEST, clean, cut, wrapped
from linewright.cli.exposure_view import exposure
from linewright.cli.layout import bold, items, page, section
from linewright.cli.plan_tables import bands, cuts, parts, ratings
from linewright.cli.plan_words import other_remarks, shown
from linewright.cli.reception_view import reception
from linewright.cli.workings_view import workings_view
from linewright.model.plan import BandFinding, Plan
from linewright.report.plan_words import arrival
from linewright.units.writing import frequency

MOST_VERDICTS = 12
"""Nobody reads more of them in one run."""


def plan_view(plan: Plan, *, explain: bool = False) -> str:
    """Return a plan for a terminal, no line wider than 100 columns."""
    return page([
        [bold(cut(plan.station, WIDEST))],
        verdicts(plan),
        section("Losses, power at the antenna, SWR at radio and antenna", bands(plan)),
        section("Where the power goes", parts(plan)),
        section("Voltage and heat against ratings", ratings(plan)),
        section("Lengths to cut", cuts(plan)),
        section("Reception", reception(plan)),
        section("Exposure", exposure(plan)),
        section("Remarks", items([*other_remarks(plan), *plan.remarks])),
        section("Cautions", items(plan.cautions)),
        workings_view([w for budget in plan.budgets for w in budget.workings]) if explain else [],
    ])  # fmt: skip


def verdicts(plan: Plan, most: int = MOST_VERDICTS) -> list[str]:
    """Return a sentence a run and band: what reaches the antenna, and what to look at first.

    Of more than ``most`` bands in a run, those that lose most.
    """
    return [line for budget in plan.budgets for x in shown(budget, most) for line in _verdict(budget.run, x)]


def _verdict(run: str, x: BandFinding) -> list[str]:
    lead = clean(f"{run} at {frequency(x.frequency_hz)}:")
    lines = wrapped(f"{lead} {arrival(x)} {x.weakest}", rest="  ")
    if lines[0].startswith(lead):
        lines[0] = bold(lead) + lines[0][len(lead) :]
    return lines
