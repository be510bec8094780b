"""What an antenna's curve says: its best SWR, its resonance and its bandwidth, draw by draw.

A series resonant circuit has ``1/(1 - |Γ|²) = ((R + R0)² + X²)/(4 R R0)``: with X linear in frequency, a parabola, from
which the bottom is read. It need hold near the bottom only.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.formulas.mismatch import reflection_from_swr, swr_from_reflection
from linewright.core.frozen import dataclass

WIDTH_SWR = 2.0
DEEPEST, NEAR = 0.35, 0.75
"""The parabola is laid through points whose |Γ| lies so little above the bottom, and below this."""
MOST = 0.9999


@dataclass(frozen=True, slots=True)
class Features:
    """Draws shaped (draws,); not a number where a draw's curve does not show the thing within its span."""

    best_swr: Floats
    resonance_hz: Floats
    bandwidth_hz: Floats
    zero_reactance_hz: Floats


def features(f: Floats, reflection: Floats, impedance_ohm: Complexes | None, rng: np.random.Generator) -> Features:
    """Return the features of draws of a curve.

    Parameters
    ----------
    f : ndarray, shape (f,)
        Rising frequencies, hertz; three or more.
    reflection : ndarray, shape (f, draws)
        Magnitudes referred to the system impedance.
    impedance_ohm : ndarray, shape (f, draws), or None
    rng : numpy.random.Generator
    """
    between = rng.permutation(np.linspace(-0.5, 1.5, reflection.shape[1]))
    bent = 1.0 / (1.0 - np.minimum(reflection, MOST) ** 2)
    middle = np.sqrt(1.0 - 1.0 / _smooth(np.median(bent, axis=1)))
    bottom = int(np.argmin(middle))
    resonance, least = _vertex(f, bent, middle, bottom, between)
    g = np.sqrt(np.clip(1.0 - 1.0 / np.maximum(least, 1.0), 0.0, 1.0))
    zero = np.full_like(resonance, np.nan) if impedance_ohm is None else _zero_near(f, impedance_ohm.imag, resonance)
    return Features(swr_from_reflection(g), resonance, _bandwidth(f, bent, bottom), zero)


def _smooth(curve: Floats) -> Floats:
    """Return a running mean over three points; a rounded scale has a flat bottom."""
    if len(curve) < 7:
        return curve
    inside = (curve[:-2] + curve[1:-1] + curve[2:]) / 3.0
    return np.concatenate([curve[:1], inside, curve[-1:]])


def _vertex(f: Floats, bent: Floats, middle: Floats, bottom: int, between: Floats) -> tuple[Floats, Floats]:
    """Return the frequency of the bottom (not a number outside the span) and the curve's value there, by draw.

    A cubic is laid through the same points: how far its bottom lies from the parabola's is how little the model holds.
    Each draw takes a share ``between`` the two, from half their distance before the one to as much beyond the other.
    """
    rows = _around(middle, bottom)
    centre, half = f[bottom], max(np.ptp(f[rows]) / 2.0, 1.0)
    x = (f[rows] - centre) / half
    sure = (1.0 - middle[rows] ** 2) ** 2 / (2.0 * middle[rows] + 0.05)
    at, least = _lowest(x, bent[rows], sure, 2)
    if len(rows) >= 6:
        other, least_other = _lowest(x, bent[rows], sure, 3)
        at, least = at + between * (other - at), least + between * (least_other - least)
    with np.errstate(invalid="ignore"):
        found = np.isfinite(at) & (centre + half * at >= f[0]) & (centre + half * at <= f[-1])
    # Half the draws take the curve's own value at its lowest point: the models may dip deeper than the antenna does.
    own = ~found | (np.arange(at.size) % 2 == 0)
    return np.where(found, centre + half * at, np.nan), np.where(own, bent[bottom], least)


def _lowest(x: Floats, y: Floats, sure: Floats, degree: int) -> tuple[Floats, Floats]:
    """Return where a polynomial laid through weighted points is lowest, and its value there, by draw."""
    c = np.linalg.pinv(np.vander(x, degree + 1, increasing=True) * sure[:, None]) @ (y * sure[:, None])
    c3 = c[3] if degree == 3 else np.zeros_like(c[0])
    with np.errstate(divide="ignore", invalid="ignore"):
        # The lower root of 3 c3 x² + 2 c2 x + c1, in the form that holds for c3 = 0.
        at = -c[1] / (c[2] + np.sqrt(c[2] ** 2 - 3.0 * c3 * c[1]))
        at = np.where((c[2] > 0) | (np.abs(at) <= 1.0), at, np.nan)
        return at, c[0] + c[1] * at + c[2] * at**2 + c3 * at**3


def _around(middle: Floats, bottom: int) -> NDArray[np.int_]:
    """Return the rows around the bottom through which a parabola may be laid: five or more where there are so many."""
    most = min(middle[bottom] + DEEPEST, max(NEAR, middle[bottom] + 0.02))
    low = high = bottom
    while low > 0 and (middle[low - 1] <= most or bottom - low < 2):
        low -= 1
    while high < len(middle) - 1 and (middle[high + 1] <= most or high - bottom < 2):
        high += 1
    return np.arange(low, high + 1)


def _bandwidth(f: Floats, bent: Floats, bottom: int) -> Floats:
    """Return how far the curve stays below SWR 2 around its bottom, by draw; not a number where it never does."""
    limit = 1.0 / (1.0 - float(reflection_from_swr(WIDTH_SWR)) ** 2)
    right = _crossing(f[bottom:], bent[bottom:], limit)
    left = _crossing(f[: bottom + 1][::-1], bent[: bottom + 1][::-1], limit)
    return np.where(bent[bottom] > limit, np.nan, right - left)


def edges(f: Floats, reflection: Floats, bottom: int, swr: float) -> tuple[Floats, Floats]:
    """Return where the curve rises through an SWR below and above its bottom, by draw; not a number where it does not.

    ``reflection`` is shaped (f, draws).
    """
    bent = 1.0 / (1.0 - np.minimum(reflection, MOST) ** 2)
    limit = 1.0 / (1.0 - float(reflection_from_swr(swr)) ** 2)
    right = _crossing(f[bottom:], bent[bottom:], limit)
    left = _crossing(f[: bottom + 1][::-1], bent[: bottom + 1][::-1], limit)
    out = bent[bottom] > limit
    return np.where(out, np.nan, left), np.where(out, np.nan, right)


def _crossing(f: Floats, bent: Floats, limit: float) -> Floats:
    """Return where each draw first rises through a limit, walking away from the bottom; not a number if never."""
    over = bent > limit
    k = np.argmax(over, axis=0)
    crossed = over.any(axis=0) & (k > 0)
    k = np.where(crossed, k, min(1, len(f) - 1))
    draws = np.arange(bent.shape[1])
    before, after = bent[np.maximum(k - 1, 0), draws], bent[k, draws]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (limit - before) / (after - before)
        return np.where(crossed, f[np.maximum(k - 1, 0)] + share * (f[k] - f[np.maximum(k - 1, 0)]), np.nan)


def _zero_near(f: Floats, reactance: Floats, resonance_hz: Floats) -> Floats:
    """Return the zero of the reactance nearest to each draw's resonance; not a number where there is none."""
    before, after = reactance[:-1], reactance[1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        at = f[:-1, None] - before / (after - before) * np.diff(f)[:, None]
    at = np.where((before * after <= 0) & np.isfinite(at), at, np.nan)
    near = np.where(np.isnan(resonance_hz), np.mean(f), resonance_hz)
    away = np.where(np.isnan(at), np.inf, np.abs(at - near))
    chosen = np.argmin(away, axis=0)
    return np.asarray(at[chosen, np.arange(at.shape[1])])
