"""What to replace first, in words."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.model.plan import PartFinding
from linewright.units.decibels import delivered_fraction

LITTLE_DB = 0.3
"""A loss nobody hears: about 7 % of the power (common practice, no source)."""


def weakest(parts: Sequence[PartFinding], total_db: float) -> str:
    """Return a sentence or two: what is over its rating, then which part takes most.

    >>> weakest((), 0.0)
    'There is nothing between radio and antenna.'
    """
    if not parts:
        return "There is nothing between radio and antenna."
    return " ".join([*_over(parts), _most(parts, total_db)])


def _over(parts: Sequence[PartFinding]) -> list[str]:
    said = []
    for p in parts:
        if p.voltage_margin is not None and p.voltage_margin < 1.0:
            said.append(f"{p.name} sees {p.peak_voltage_v:.0f} V peak and is rated for {p.voltage_rating_v:.0f} V.")
        if p.heat_margin is not None and p.heat_margin < 1.0:
            said.append(f"{p.name} runs {1.0 / p.heat_margin:.1f} times hotter than its rating allows.")
    return said


def _most(parts: Sequence[PartFinding], total_db: float) -> str:
    most = max(parts, key=lambda p: p.loss_db)
    share = 100.0 * (1.0 - delivered_fraction(most.loss_db))
    if total_db < LITTLE_DB:
        return f"Nothing here is worth replacing for its loss: {total_db:.2f} dB in all."
    extra = most.loss_db - most.matched_loss_db
    standing = extra > 0.5 * most.loss_db
    why = " Most of that comes with the standing wave: a better match at the antenna saves it." if standing else ""
    return f"{most.name} takes most: {most.loss_db:.2f} of {total_db:.2f} dB, {share:.0f} % of what enters it.{why}"
