"""How long a line may be, alone from end to end, before the whole run loses more than its limit."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from linewright.choice.candidates import Candidate, Source
from linewright.choice.walks import Span, back
from linewright.model.choose import LongestRun
from linewright.physics.line_input import impedance_skew
from linewright.physics.two_port import State, through_line
from linewright.units.constants import DB_PER_NEPER

Floats = NDArray[np.float64]
Summary = Callable[[Floats], Floats]

CUTS = 7
LEAST_M = 1e-3
METRE = 1.0


def longest_runs(span: Span, sources: Sequence[Source], limit_db: Floats) -> tuple[LongestRun, ...]:
    """Return how long each new line may be at each frequency of the run, (f,) limits given."""
    new = [s for s in sources if s.belief is None]
    if not new:
        return ()
    loss = span.once("lengths", lambda: _Lengths(span, new))
    middle = loss.at_limit(limit_db, lambda x: x.mean(axis=-1))
    low = np.minimum(middle, loss.at_limit(limit_db, lambda x: np.quantile(x, 0.975, axis=-1)))
    high = np.maximum(middle, loss.at_limit(limit_db, lambda x: np.quantile(x, 0.025, axis=-1)))
    return tuple(
        LongestRun(s.name, f, float(limit_db[j]), float(middle[i, j]), float(low[i, j]), float(high[i, j]))
        for i, s in enumerate(new)
        for j, f in enumerate(span.run.frequencies_hz)
    )


class _Lengths:
    """The loss of the whole run with each line as long as one likes."""

    def __init__(self, span: Span, new: Sequence[Source]) -> None:
        self._before, behind, self._ways = span.split(Candidate(new[0], METRE))
        self._lines = [span.sections_of(s, METRE) for s in new]
        (_, joint) = self._lines[0]
        self._behind = joint.back(behind)
        lines = [found[0].line for found in self._lines]
        self._conductor = np.stack([x.conductor_db for x in lines if x])
        self._dielectric = np.stack([x.dielectric_db for x in lines if x])
        self._phase = np.stack([x.phase_rad for x in lines if x])
        self._ohm = np.array([x.impedance_ohm for x in lines if x])[:, None, None]
        self._skew = impedance_skew(self._conductor, self._dielectric, self._phase)

    def loss_db(self, length_m: Floats) -> Floats:
        """Return the loss of the whole run, (line, f, draws), for lengths (line, f)."""
        length = length_m[..., None]
        nepers = (self._conductor + self._dielectric) * length / DB_PER_NEPER
        turn = np.exp(1j * self._phase * length)
        state: State = through_line(self._behind, nepers, turn, self._ohm, self._skew)  # type: ignore[arg-type]
        return np.asarray(10.0 * np.log10(back(self._before, state).power / self._ways))

    def at_limit(self, limit_db: Floats, summary: Summary) -> Floats:
        """Return the lengths at which a summary of the loss reaches the limit; 0 where none does.

        Bisection by the rule of false position: loss grows nearly straight with length, so each cut gains a figure.
        """
        slowest = (self._conductor + self._dielectric).min(axis=-1)
        low, high = np.full_like(slowest, LEAST_M), np.maximum(1.1 * limit_db / slowest, 2.0 * LEAST_M)
        under, over = (summary(self.loss_db(x)) - limit_db for x in (low, high))
        none = under > 0
        middle = low
        for _ in range(CUTS):
            share = np.clip(under / np.where(under == over, -1.0, under - over), 0.02, 0.98)
            middle = low + share * (high - low)
            here = summary(self.loss_db(middle)) - limit_db
            fits = here <= 0
            low, high = np.where(fits, middle, low), np.where(fits, high, middle)
            under, over = np.where(fits, here, under / 2.0), np.where(fits, over / 2.0, here)
        return np.where(none, 0.0, middle)
