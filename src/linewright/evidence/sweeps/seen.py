"""A line as one port sees it: where it ends, and what echoes come back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.sweeps.echoes import Complexes, EchoFit, Floats, Rate
from linewright.evidence.sweeps.line_end import LineEnd, end_by_reflection, means
from linewright.evidence.sweeps.search import find_echoes
from linewright.units.constants import SPEED_OF_LIGHT_M_PER_S

MOST_POINTS = 1000
WIDER = 4.0
"""A thinned sweep keeps a range so many times as long as the line."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How delays become metres: velocity factor, its relative standard uncertainty."""

    velocity_factor: float
    relative_u: float

    @property
    def m_per_s(self) -> float:
        """Return the speed of the wave."""
        return self.velocity_factor * SPEED_OF_LIGHT_M_PER_S


@dataclass(frozen=True, slots=True)
class Seen:
    """The echoes from one port, where the line ends, and whether that end is total (sign of it) or not (0)."""

    fit: EchoFit
    end: LineEnd | None
    total: int


def look(
    frequency_hz: Floats,
    reflection: Complexes,
    through: LineEnd | None,
    rate: Rate | None,
    end_delay_s: float | None,
    *,
    most_s: float | None = None,
) -> Seen:
    """Return the echoes seen from one port.

    Parameters
    ----------
    through : LineEnd or None
        The end as a sweep through the line shows it.
    rate : Rate or None
        The line's attenuation if known; else the sweep's own, if it shows one, or none.
    end_delay_s : float or None
        Delay of the far end if known from elsewhere; used where the sweep does not show the end itself.
    most_s : float, optional
        How far to look, one way, where no end is known.
    """
    mirror = None if through else end_by_reflection(frequency_hz, reflection)
    end = through or mirror
    delay = end.delay_s if end else end_delay_s
    own = end.rate if end else rate
    f, s = thinned(frequency_hz, reflection, delay or most_s)
    fit = find_echoes(f, s, own or Rate(0.0, 0.0), delay, most_s=most_s, total=mirror is not None)
    sign = 0 if mirror is None else (1 if mirror.reflection > 0 else -1)
    return Seen(fit, end, sign)


def thinned(f: Floats, s: Complexes, delay_s: float | None) -> tuple[Floats, Complexes]:
    """Return a sweep of at most some thousand points, or of so many that its range stays well beyond the line."""
    points = MOST_POINTS
    if delay_s:
        points = max(points, int(np.ceil(2.0 * WIDER * delay_s * (f[-1] - f[0]))))
    return means(f, s, delay_s or 0.0, points)
