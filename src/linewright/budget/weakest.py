"""What to replace first, in words."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.model.plan import PartFinding
from linewright.units.decibels import delivered_fraction
from linewright.units.said import say, together
from linewright.units.writing import plain, quantity

LITTLE_DB = 0.3
"""A loss nobody hears: about 7 % of the power (common practice, no source)."""


def weakest(parts: Sequence[PartFinding], total_db: float) -> str:
    """Return a sentence or two: what is over its rating, then which part takes most.

    >>> weakest((), 0.0)
    'There is nothing between radio and antenna.'
    """
    if not parts:
        return say("There is nothing between radio and antenna.")
    return together([*_over(parts), _most(parts, total_db)])


def _over(parts: Sequence[PartFinding]) -> list[str]:
    said = []
    for p in parts:
        if p.voltage_margin is not None and p.voltage_margin < 1.0:
            said.append(_over_voltage(p))
        if p.heat_margin is not None and p.heat_margin < 1.0:
            times = plain(1.0 / p.heat_margin, 1)
            said.append(say("{part} takes up {times} times the heat that its rating allows.", part=p.name, times=times))
    return said


def _over_voltage(p: PartFinding) -> str:
    assert p.voltage_rating_v is not None
    sees, rated = (quantity(plain(volts, 0), "V") for volts in (p.peak_voltage_v, p.voltage_rating_v))
    return say("{part} sees {sees} peak and is rated for {rated}.", part=p.name, sees=sees, rated=rated)


def _most(parts: Sequence[PartFinding], total_db: float) -> str:
    most = max(parts, key=lambda p: p.loss_db)
    total = quantity(plain(total_db, 2), "dB")
    if total_db < LITTLE_DB:
        return say("Nothing here is worth replacing for its loss: {total} in all.", total=total)
    share = quantity(plain(100.0 * (1.0 - delivered_fraction(most.loss_db)), 0), "%")
    takes = say(
        "{part} takes most: {loss} of {total}, {share} of what enters it.",
        part=most.name, loss=plain(most.loss_db, 2), total=total, share=share,
    )  # fmt: skip
    if most.loss_db - most.matched_loss_db <= 0.5 * most.loss_db:
        return takes
    return together([takes, say("Most of that comes with the standing wave: a better match at the antenna saves it.")])
