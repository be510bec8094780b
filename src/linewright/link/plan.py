"""The verb: what a run does on each of its frequencies."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.plan import BandFinding, Budget
from linewright.core.nouns.rules import Rules
from linewright.core.nouns.station import NoiseSite, Run
from linewright.link.chain import Walk, antenna_state, walk
from linewright.link.draws import DRAWS, Draws, IntervalByBand, draws_of, median_spread
from linewright.link.figures import RunFigures, figures_of, swr_on
from linewright.link.findings import NO_RULES, band_finding, remarks
from linewright.link.reception import Hearing, hearing, reception_findings
from linewright.link.sections import sections

Explain = Callable[[RunFigures, tuple[BandFinding, ...], Hearing | None], tuple[Working, ...]]

# The verb: what a run does on each of its frequencies


def plan_run(
    run: Run,
    beliefs: Mapping[str, Belief],
    *,
    noise: NoiseSite | None = None,
    draws: int = DRAWS,
    rules: Rules = NO_RULES,
    explain: Explain | None = None,
) -> Budget:
    """Return what a run does on each of its frequencies: power, heat, voltage, reception, exposure, and workings.

    Parameters
    ----------
    run : Run
        Its chain from the radio to the antenna, frequencies in hertz, power in watts.
    beliefs : mapping
        Beliefs of measured pieces by tag; every other line is believed to be as the catalogue has it.
    noise : str, optional
        The kind of site; without it nothing is said of reception, unless the run states a sky temperature.
    draws : int
        How many draws an interval is made of.
    rules : Rules
        One's own limits of exposure, and what one's licence allows.
    explain : callable, optional
        Writes down how each figure was worked out, from the run's figures, the findings and what is heard; on several
        bands that takes as long as all the rest.

    Returns
    -------
    Budget
        A finding for each frequency; the intervals are 95 %.

    Raises
    ------
    InputError
        If a part or the antenna is not known at one of the frequencies, or the antenna takes no power.

    References
    ----------
    The exact chain of two-ports: D. M. Pozar, Microwave Engineering, 4th ed., equation 2.91 and table 4.1. Noise: ITU-R
    P.372. Exposure as of ``exposure_at``.

    >>> from linewright.catalogue import line_type
    >>> from linewright.core.nouns.bench import Piece
    >>> from linewright.core.nouns.station import Antenna, LinePart
    >>> line = LinePart("feeder", Piece("feeder", 30.0, line_type("RG-213/U"), 0))
    >>> band = plan_run(Run("beam", (144e6,), 50.0, (line,), Antenna(swr=((0.0, 1.5),))), {}).bands[0]
    >>> 2.3 < band.matched_loss_db < 2.8 and band.mismatch_loss_db > 0
    True
    """
    walked = walk_run(run, beliefs, np.asarray(run.frequencies_hz, dtype=np.float64), draws)
    found = figures_of(run, walked)
    heard = hearing(found, noise, draws)
    received = reception_findings(found, heard)
    bands = tuple(band_finding(found, i, received[i], rules) for i in range(len(run.frequencies_hz)))
    return Budget(run.name, bands, remarks(found, heard), explain(found, bands, heard) if explain else ())


def walk_run(run: Run, beliefs: Mapping[str, Belief], frequency_hz: Floats, draws: int) -> Walk:
    """Return a run walked at some frequencies (f,)."""
    check_run(run, frequency_hz)
    shared = draws_of(run, beliefs, draws)
    return walk(sections(run, frequency_hz, shared), antenna_state(run.antenna, frequency_hz, shared))


def check_run(run: Run, frequency_hz: Floats) -> None:
    """Refuse a run that cannot be reckoned with."""
    if not (len(frequency_hz) and np.all(np.isfinite(frequency_hz) & (frequency_hz > 0))):
        raise InputError("frequencies", say("must be above zero, and at least one, in the run {name}", name=run.name))
    if not (np.isfinite(run.power_w) and run.power_w > 0):
        raise InputError(
            "power", say("must be above zero in the run {name}; got {value}", name=run.name, value=repr(run.power_w))
        )


# A run over many frequencies: curves with their intervals

AT_ONCE = 65_536
"""Draws times frequencies worked on together: the arrays of a part then stay in the cache."""


@dataclass(frozen=True, slots=True)
class RunSweep:
    """Curves of a run over frequencies (f,). ``parts_db`` has shape (parts, f); its rows add up to the total's middle.

    Losses are in dB with 95 % intervals; the SWR is a median with one. ``delivered_fraction`` is of the power
    that enters the run.
    """

    frequency_hz: Floats
    matched_loss_db: Floats
    total_loss_db: IntervalByBand
    swr_at_radio: IntervalByBand
    parts_db: Floats

    @property
    def delivered_fraction(self) -> IntervalByBand:
        """What arrives at the antenna of what enters the run."""
        middle, low, high = self.total_loss_db
        return IntervalByBand(*(np.asarray(10.0 ** (-x / 10.0)) for x in (middle, high, low)))


def sweep_run(run: Run, beliefs: Mapping[str, Belief], frequency_hz: ArrayLike, draws: int = DRAWS) -> RunSweep:
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
    >>> from linewright.core.nouns.bench import Piece
    >>> from linewright.core.nouns.station import Antenna, LinePart
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
        IntervalByBand(*(np.concatenate(x) for x in zip(*total, strict=True))),
        IntervalByBand(*(np.concatenate(x) for x in zip(*swr, strict=True))),
        np.concatenate(parts, axis=1),
    )


def _walks(run: Run, f: Floats, shared: Draws) -> Iterator[Walk]:
    step = max(1, AT_ONCE // shared.count)
    for start in range(0, len(f), step):
        some = f[start : start + step]
        yield walk(sections(run, some, shared), antenna_state(run.antenna, some, shared))


def _row(walked: Walk) -> tuple[Floats, IntervalByBand, IntervalByBand, Floats]:
    swr = swr_on(walked.states[0], None)
    parts = np.array(walked.parts_db).reshape(len(walked.loss_db), -1)
    return walked.matched_db, walked.whole_db, median_spread(swr), parts
