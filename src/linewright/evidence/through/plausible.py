"""Plausible resonant antennas, and how much their curves move as a bridge at the radio shows them.

Series resonant circuits, ``Z = R (1 + jQ (f/f0 - f0/f))``: Q even in its logarithm from 6 to 40, one in ten as broad
as 3; R around 50 ohms with a spread of 0.35 in its logarithm; resonance, for one half, where the curve and the amateur
band overlap, for the other half in the band or two per cent beyond (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.catalogue.bands import bands
from linewright.evidence.through.antenna import ANALYSER_SCALE, METER_SCALE
from linewright.model.through import Complexes, Floats, Seen
from linewright.physics.mismatch import reflection_from_swr, swr_from_reflection
from linewright.units.constants import TWO_PI

ANTENNAS = 900
Q_FROM, Q_TO, Q_BROADEST, BROAD = 6.0, 40.0, 3.0, 0.1
RESISTANCE_OHM, RESISTANCE_SPREAD = 50.0, 0.35
BESIDE, AT_HOME = 0.02, 0.5
DUMMY_REFLECTS = 0.03


@dataclass(frozen=True, slots=True)
class Plausible:
    """Draws of plausible antennas and of the bridge, shaped (antennas,)."""

    q: Floats
    resonance_hz: Floats
    resistance_ohm: Floats
    leak: Complexes
    leak_delay_s: Floats
    scale: Floats


def plausible(seen: Seen, rng: np.random.Generator) -> Plausible:
    """Return plausible antennas for a curve, and as many bridges."""
    f = np.asarray(seen.frequency_hz)
    low, high = _band_of(float(f[0] + f[-1]) / 2)
    away = (low * (1 - BESIDE), high * (1 + BESIDE))
    home = (max(low, float(f[0])), min(high, float(f[-1])))
    home = home if home[0] < home[1] else away
    broad = rng.random(ANTENNAS) < BROAD
    u = rng.random(ANTENNAS)
    q = np.where(broad, Q_BROADEST * (Q_FROM / Q_BROADEST) ** u, Q_FROM * (Q_TO / Q_FROM) ** u)
    leak = np.sqrt(rng.random(ANTENNAS)) * 10.0 ** (-seen.directivity_db / 20.0)
    return Plausible(
        q,
        np.where(rng.random(ANTENNAS) < AT_HOME, rng.uniform(*home, ANTENNAS), rng.uniform(*away, ANTENNAS)),
        RESISTANCE_OHM * np.exp(RESISTANCE_SPREAD * rng.standard_normal(ANTENNAS)),
        leak * np.exp(1j * TWO_PI * rng.random(ANTENNAS)),
        rng.uniform(2e-8, 3e-7, ANTENNAS),
        np.exp((ANALYSER_SCALE if seen.has_phase else METER_SCALE) * rng.standard_normal(ANTENNAS)),
    )


def _band_of(middle_hz: float) -> tuple[float, float]:
    band = next((b for b in bands() if b.low_hz * (1 - BESIDE) <= middle_hz <= b.high_hz * (1 + BESIDE)), None)
    return (middle_hz, middle_hz) if band is None else (band.low_hz, band.high_hz)


@dataclass(frozen=True, slots=True)
class Spread:
    """Plausible antennas and bridges over some frequencies, (f, antennas): what each reflects itself, and its leak."""

    bare: Complexes
    leak: Complexes
    scale: Floats


def spread_over(some: Plausible, f: Floats) -> Spread:
    """Return the antennas and bridges at some frequencies in hertz."""
    ratio = f[:, None] / some.resonance_hz
    z = some.resistance_ohm * (1.0 + 1j * some.q * (ratio - 1.0 / ratio))
    turned = np.exp(1j * TWO_PI * f[:, None] * some.leak_delay_s)
    return Spread(np.asarray((z - 50.0) / (z + 50.0)), np.asarray(some.leak * turned), some.scale)


def shown_by(over: Spread, loss_db: Floats) -> Floats:
    """Return the magnitudes a bridge shows of each antenna; ``loss_db`` is shaped (f, antennas or 1)."""
    return np.asarray(np.abs(over.bare * (10.0 ** (-loss_db / 10.0) * over.scale) + over.leak))


def dummies_by(over: Spread, loss_db: Floats) -> Floats:
    """Return the magnitudes each bridge shows of a dummy load: its leak against the little that reflects."""
    return np.asarray(np.abs(DUMMY_REFLECTS * (10.0 ** (-loss_db / 10.0) * over.scale) + over.leak))


def moves(shown: Floats, seen: Seen) -> Floats:
    """Return by how much each curve of magnitudes moves, as the scale shows it."""
    low, high = _as_read(seen, np.stack([shown.min(axis=0), shown.max(axis=0)]))
    return np.asarray(high - low)


def shapes(shown: Floats) -> Floats:
    """Return the shape of each curve, (2, antennas): how much of the span its lower half takes, and around where.

    A loss cuts a curve down and leaves its shape. A broad antenna's curve is wide at half its height, a sharp one's
    narrow, so curves of one shape tell what loss has cut them down.
    """
    low, high = shown.min(axis=0), shown.max(axis=0)
    below = shown <= (low + high) / 2.0
    count = below.sum(axis=0)
    place = (below * np.linspace(0.0, 1.0, len(shown))[:, None]).sum(axis=0) / count
    return np.stack([count / len(shown), place])


def _as_read(seen: Seen, shown: Floats) -> Floats:
    """Return magnitudes as the scale shows them: an SWR scale rounds to its step."""
    if seen.swr_step <= 0:
        return shown
    swr = swr_from_reflection(np.minimum(shown, 0.99))
    return reflection_from_swr(np.maximum(np.round(swr / seen.swr_step) * seen.swr_step, 1.0))
