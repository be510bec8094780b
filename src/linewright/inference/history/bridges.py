"""An SWR meter held against known loads: how much its bridge leaks, and how long it shows a reflection."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.formulas.mismatch import reflection_from_swr
from linewright.core.formulas.sparameters import reflection_from_impedance
from linewright.core.frozen import dataclass
from linewright.core.nouns.bench import SAME_BAND

DRAWS, SEED = 40_000, 20_261_130
DIRECTIVITY_DB, DIRECTIVITY_SPREAD_DB = 25.0, 7.0
"""Before any load: directivity of an SWR meter (manual of a through-line element; the spread is a guess of ours)."""
SCALE_LOG = 0.08
"""Before any load: log spread of shown over true reflection (a guess of ours)."""
LOAD = 0.01
"""What a resistor on a connector adds to its nominal reflection (common practice, no source)."""
WALK = 0.01
"""By how much a reading ages in a root year, as a reflection."""
LEAST_EFFECTIVE = 100.0
"""With fewer effective draws the readings contradict each other."""


@dataclass(frozen=True, slots=True)
class LoadTest:
    """What an SWR meter showed of a load: half a step to either side of ``swr``."""

    year: float
    frequency_hz: float
    load_ohm: complex
    swr: float
    step: float = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class KnownBridge:
    """What is known of an SWR meter on a band.

    Attributes
    ----------
    frequency_hz : float
        The band.
    directivity_db, scale : ndarray, shape (draws,)
        Directivity, and shown over true reflection.
    tests : int
        How many readings that comes from.
    agree : bool
        Whether one bridge can have shown them all.
    """

    frequency_hz: float
    directivity_db: Floats
    scale: Floats
    tests: int
    agree: bool


def known_bridges(tests: Iterable[LoadTest], year: float) -> tuple[KnownBridge, ...]:
    """Return what is known of an SWR meter on a day, band by band.

    It shows |s Γ + d|: Γ the load's reflection, s the scale, d the leak of the bridge, of any phase, alike for all
    loads on the band. Two loads on either side of 50 ohms tell the two apart. Draws of s and d are weighted by the
    readings.

    Parameters
    ----------
    tests : iterable of LoadTest
        In any order; those after the day are left out.
    year : float
        The day.
    """
    found: dict[float, list[LoadTest]] = {}
    for t in sorted(tests, key=lambda t: (t.frequency_hz, t.year, t.swr)):
        if t.year <= year:
            near = (f for f in found if abs(t.frequency_hz / f - 1.0) < SAME_BAND)
            found.setdefault(next(near, t.frequency_hz), []).append(t)
    return tuple(_known(f, rows, year) for f, rows in found.items())


def _known(frequency_hz: float, tests: Sequence[LoadTest], year: float) -> KnownBridge:
    rng = np.random.default_rng(SEED)
    directivity = DIRECTIVITY_DB + DIRECTIVITY_SPREAD_DB * rng.standard_normal(DRAWS)
    scale = np.exp(SCALE_LOG * rng.standard_normal(DRAWS))
    leak = 10.0 ** (-directivity / 20.0) * np.exp(2j * np.pi * rng.random(DRAWS))
    score = np.zeros(DRAWS)
    for t in tests:
        ends = reflection_from_swr(np.array([max(t.swr - t.step / 2, 1.0), t.swr + t.step / 2]))
        shown = np.abs(scale * reflection_from_impedance(t.load_ohm, 50.0) + leak)
        spread = np.sqrt((ends[1] - ends[0]) ** 2 / 12.0 + LOAD**2 + WALK**2 * (year - t.year))
        score -= 0.5 * ((shown - ends.mean()) / spread) ** 2
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    rows = np.searchsorted(np.cumsum(weight), (np.arange(1000) + 0.5) / 1000.0).clip(0, DRAWS - 1)
    agree = bool(score.max() > -2.0 * len(tests) and 1.0 / np.sum(weight**2) > LEAST_EFFECTIVE)
    return KnownBridge(frequency_hz, directivity[rows], scale[rows], len(tests), agree)
