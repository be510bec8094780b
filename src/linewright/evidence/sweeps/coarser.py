"""Very long sweeps as shorter ones that say the same: neighbouring points averaged where the phase hardly moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from linewright.model.sweep import Sweep

MANY, ENOUGH = 25_000, 10_000
"""From how many points on a sweep is averaged, and how many are left at least."""
TURN_RAD = 0.1
"""How far the phase may turn over the points averaged: the mean then loses less than a part in two thousand."""


def coarser(sweep: Sweep) -> Sweep:
    """Return the sweep itself, or the means of so many neighbours that their phases differ by no more than 0.1 rad.

    The phase step is that of the strongest column, taken twice for a transmission, since reflections pass the line
    twice. Noise falls as the mean of independent points has it.
    """
    points = len(sweep.frequency_hz)
    if points < MANY:
        return sweep
    i, j = np.unravel_index(int(np.argmax(np.abs(sweep.s[::50]).mean(axis=0))), sweep.s.shape[1:])
    wave = sweep.s[:, i, j]
    step = float(np.quantile(np.abs(np.angle(wave[1::7] * np.conj(wave[:-1:7]))), 0.9)) * (2.0 if i != j else 1.0)
    together = min(int(TURN_RAD / max(step, 1e-9)), points // ENOUGH)
    if together < 2:
        return sweep
    kept = points // together * together
    ports = sweep.s.shape[1:]
    return replace(
        sweep,
        frequency_hz=sweep.frequency_hz[:kept].reshape(-1, together).mean(axis=1),
        s=sweep.s[:kept].reshape(-1, together, *ports).mean(axis=1),
    )
