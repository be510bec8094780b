"""The verb: what a run does on each of its frequencies."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from linewright.budget.antenna import antenna_state
from linewright.budget.chain import Walk, walk
from linewright.budget.draws import draws_of
from linewright.budget.figures import figures_of
from linewright.budget.findings import band_finding
from linewright.budget.reception import hearing, reception_findings
from linewright.budget.remarks import remarks
from linewright.budget.sections import sections
from linewright.budget.workings import workings
from linewright.errors import InputError
from linewright.model.belief import Belief
from linewright.model.plan import Budget
from linewright.model.station import NoiseSite, Run

Floats = NDArray[np.float64]


def plan_run(run: Run, beliefs: Mapping[str, Belief], *, noise: NoiseSite | None = None, draws: int = 1000) -> Budget:
    """Return what a run does on each of its frequencies: power, heat, voltage, reception, exposure, and workings.

    Parameters
    ----------
    run : Run
    beliefs : mapping
        Beliefs of measured pieces by tag; every other line is believed to be as the catalogue has it.
    noise : str, optional
        The kind of site; without it nothing is said of reception, unless the run states a sky temperature.
    draws : int
        How many draws an interval is made of.

    Raises
    ------
    InputError
        If a part or the antenna is not known at one of the frequencies, or the antenna takes no power.

    >>> from linewright.catalogue import line_type
    >>> from linewright.model.bench import Piece
    >>> from linewright.model.station import Antenna, LinePart
    >>> line = LinePart("feeder", Piece("feeder", 30.0, line_type("RG-213/U"), 0))
    >>> band = plan_run(Run("beam", (144e6,), 50.0, (line,), Antenna(swr=((0.0, 1.5),))), {}).bands[0]
    >>> 2.3 < band.matched_loss_db < 2.8 and band.mismatch_loss_db > 0
    True
    """
    walked = walk_run(run, beliefs, np.asarray(run.frequencies_hz, dtype=np.float64), draws)
    found = figures_of(run, walked)
    heard = hearing(found, noise)
    received = reception_findings(found, heard)
    bands = tuple(band_finding(found, i, received[i]) for i in range(len(run.frequencies_hz)))
    return Budget(run.name, bands, remarks(found, heard), workings(found, bands, heard))


def walk_run(run: Run, beliefs: Mapping[str, Belief], frequency_hz: Floats, draws: int) -> Walk:
    """Return a run walked at some frequencies (f,)."""
    check_run(run, frequency_hz)
    shared = draws_of(run, beliefs, draws)
    return walk(sections(run, frequency_hz, shared), antenna_state(run.antenna, frequency_hz, shared))


def check_run(run: Run, frequency_hz: Floats) -> None:
    """Refuse a run that cannot be reckoned with."""
    if not (len(frequency_hz) and np.all(np.isfinite(frequency_hz) & (frequency_hz > 0))):
        raise InputError("frequencies", f"must be above zero, and at least one, in the run {run.name}")
    if not (np.isfinite(run.power_w) and run.power_w > 0):
        raise InputError("power", f"must be above zero in the run {run.name}; got {run.power_w!r}")
