"""An interval drawn beside its figure: a small bar on a scale that a whole table shares, as SVG text.

The inks are those of the page it stands on, by the names of its style sheet; the shapes differ as well: a bar for what
is believed, a stroke for its middle, a tick that stands out above and below for what a new piece would lose.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

WIDE, DEEP = 160.0, 18.0
LEAST = 2.0
"""No bar is shorter: an interval that is very narrow can still be seen."""


@dataclass(frozen=True, slots=True)
class Scale:
    """The values at the left and right end of every bar of a table."""

    low: float
    high: float

    def at(self, value: float) -> float:
        """Return where a value lies, kept within the drawing."""
        reach = (self.high - self.low) or 1.0
        return min(max((value - self.low) / reach, 0.0), 1.0) * (WIDE - 4.0) + 2.0


def scale_of(values: Iterable[float]) -> Scale:
    """Return a scale from 0 to a round number that holds every value.

    >>> scale_of([0.4, 3.7]), scale_of([])
    (Scale(low=0.0, high=4.0), Scale(low=0.0, high=1.0))
    """
    finite = [v for v in values if math.isfinite(v)]
    top, bottom = max(finite, default=0.0), min(finite, default=0.0)
    return Scale(-_round_up(-bottom) if bottom < 0 else 0.0, _round_up(top) if top > 0 else 1.0)


def _round_up(value: float) -> float:
    unit = 10.0 ** math.floor(math.log10(value))
    return next(m * unit for m in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if m * unit >= value * 0.999)


def bar(
    scale: Scale, low: float, middle: float, high: float, *, new: float | None = None, doubted: bool = False
) -> str:
    """Return an interval as a small drawing; its words stand beside it, so it is hidden from readers aloud.

    Parameters
    ----------
    scale : Scale
        The scale of the table.
    low, middle, high : float
        The interval and its middle.
    new : float, optional
        What is compared with: a tick.
    doubted : bool
        Drawn hollow.

    >>> bar(Scale(0, 4), 1.0, 2.0, 3.0)[:40]
    '<svg class="bar" viewBox="0 0 160 18" pr'
    """
    left, right = scale.at(low), scale.at(high)
    width = max(right - left, LEAST)
    kind = "held doubted" if doubted else "held"
    tick = "" if new is None else f'<path class="new" d="M{scale.at(new):.1f} 1V17"/>'
    return (
        f'<svg class="bar" viewBox="0 0 {WIDE:.0f} {DEEP:.0f}" preserveAspectRatio="none"'
        ' aria-hidden="true" focusable="false">'
        f'<path class="base" d="M2 {DEEP / 2:.0f}H{WIDE - 2:.0f}"/>'
        f'<rect class="{kind}" x="{left:.1f}" y="5" width="{width:.1f}" height="8"/>'
        f'<path class="mid" d="M{scale.at(middle):.1f} 3V15"/>{tick}</svg>'
    )
