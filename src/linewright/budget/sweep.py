"""A run over many frequencies: curves with their intervals."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewright.budget.antenna import antenna_state
from linewright.budget.chain import Walk, walk
from linewright.budget.draws import Draws, draws_of
from linewright.budget.figures import swr_on
from linewright.budget.plan import check_run
from linewright.budget.sections import sections
from linewright.budget.spread import Spread, mean_spread, median_spread
from linewright.model.belief import Belief
from linewright.model.station import Run

Floats = NDArray[np.float64]

AT_ONCE = 65_536
"""Draws times frequencies worked on together: the arrays of a part then stay in the cache."""


@dataclass(frozen=True, slots=True)
class RunSweep:
    """Curves of a run over frequencies (f,). ``parts_db`` has shape (parts, f); its rows add up to the total's middle.

    Losses are means in dB with 95 % intervals; the SWR is a median with one. ``delivered_fraction`` is of the power
    that enters the run.
    """

    frequency_hz: Floats
    matched_loss_db: Floats
    total_loss_db: Spread
    swr_at_radio: Spread
    parts_db: Floats

    @property
    def delivered_fraction(self) -> Spread:
        """What arrives at the antenna of what enters the run."""
        middle, low, high = self.total_loss_db
        return Spread(*(np.asarray(10.0 ** (-x / 10.0)) for x in (middle, high, low)))


def sweep_run(run: Run, beliefs: Mapping[str, Belief], frequency_hz: ArrayLike, draws: int = 1000) -> RunSweep:
    """Return a run's losses and the SWR at its radio over frequencies, whatever those of the run are.

    Parameters
    ----------
    run : Run
    beliefs : mapping
        As for ``plan_run``.
    frequency_hz : array_like, (f,)
    draws : int

    Raises
    ------
    InputError
        As ``plan_run``.

    >>> from linewright.catalogue import line_type
    >>> from linewright.model.bench import Piece
    >>> from linewright.model.station import Antenna, LinePart
    >>> line = LinePart("feeder", Piece("feeder", 30.0, line_type("RG-213/U"), 0))
    >>> curve = sweep_run(Run("beam", (144e6,), 50.0, (line,), Antenna(swr=((0.0, 1.5),))), {}, [144e6, 146e6])
    >>> curve.parts_db.shape, bool(curve.total_loss_db.middle[0] < curve.total_loss_db.middle[1])
    ((1, 2), True)
    """
    f = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    check_run(run, f)
    shared = draws_of(run, beliefs, draws)
    rows = [_row(part_of) for part_of in _walks(run, f, shared)]
    matched, total, swr, parts = zip(*rows, strict=True)
    return RunSweep(
        f,
        np.concatenate(matched),
        Spread(*(np.concatenate(x) for x in zip(*total, strict=True))),
        Spread(*(np.concatenate(x) for x in zip(*swr, strict=True))),
        np.concatenate(parts, axis=1),
    )


def _walks(run: Run, f: Floats, shared: Draws) -> Iterator[Walk]:
    step = max(1, AT_ONCE // shared.count)
    for start in range(0, len(f), step):
        some = f[start : start + step]
        yield walk(sections(run, some, shared), antenna_state(run.antenna, some, shared))


def _row(walked: Walk) -> tuple[Floats, Spread, Spread, Floats]:
    swr = swr_on(walked.states[0], None)
    parts = np.array([loss.mean(axis=-1) for loss in walked.loss_db]).reshape(len(walked.loss_db), -1)
    return walked.matched_db.mean(axis=-1), mean_spread(walked.total_db), median_spread(swr), parts
