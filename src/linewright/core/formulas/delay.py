"""Delay from phase: how steeply a phase falls with frequency, and which other slopes would look the same."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.quantities import TWO_PI


def _arrays(frequency_hz: ArrayLike, wave: ArrayLike) -> tuple[Floats, Complexes]:
    f, w = np.asarray(frequency_hz, dtype=np.float64), np.asarray(wave, dtype=np.complex128)
    if f.ndim != 1 or len(f) < 2 or f.shape != w.shape:
        raise InputError("frequency_hz", f"must be as many as the waves, two at least; got {f.shape} and {w.shape}")
    if not np.all(np.diff(f) > 0):
        raise InputError("frequency_hz", "must rise", cure="Sort the points by frequency.")
    return f, w


def turned_back(frequency_hz: ArrayLike, wave: ArrayLike, delay_s: float) -> Complexes:
    """Return waves with a delay taken out of their phase, ``w e^(j2πfτ)``, shaped as the input.

    >>> turned_back([1e6, 2e6], [-1j, -1.0], 250e-9).round(6)
    array([1.-0.j, 1.-0.j])
    """
    f, w = _arrays(frequency_hz, wave)
    return np.asarray(w * np.exp(1j * TWO_PI * f * delay_s))


def slope_delay_s(frequency_hz: ArrayLike, wave: ArrayLike) -> float:
    """Return a delay in seconds whose phases step from point to point as the waves' phases do.

    ``τ = -Δφ / (2π Δf)`` over neighbours, weighed by their magnitudes. Unequal spacings are met smallest first: each
    octave of spacings is turned back by the delay found so far, so that a wide step is read only once a narrow one has
    said on which turn it lies. Equal spacings leave a whole number of turns a step open: see ``alias_s``.

    >>> f = np.linspace(1e6, 100e6, 100)
    >>> round(slope_delay_s(f, np.exp(-2j * np.pi * f * 40e-9)) * 1e9, 6)
    40.0
    """
    f, w = _arrays(frequency_hz, wave)
    gap, turn = np.diff(f), w[1:] * np.conj(w[:-1])
    octave = np.floor(np.log2(gap / gap.min()) + 1e-9)
    delay = 0.0
    for one in np.unique(octave):
        mine = octave == one
        rest = turn[mine] * np.exp(1j * TWO_PI * gap[mine] * delay)
        total = rest.sum()
        if total == 0:
            continue
        mean_gap = np.average(gap[mine], weights=np.abs(rest) + 1e-300)
        delay -= float(np.angle(total)) / (TWO_PI * float(mean_gap))
    return delay


def alias_s(frequency_hz: ArrayLike) -> float:
    """Return the delay in seconds that turns the phase once between the nearest neighbours, ``1/Δf``.

    Delays that differ by it give the same phase steps on an equally spaced sweep (sampling theorem).

    >>> alias_s([1e6, 2e6, 3e6])
    1e-06
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    return float(1.0 / np.median(np.diff(f))) if _even(f) else float(1.0 / np.diff(f).min())


def _even(frequency_hz: Floats) -> bool:
    gap = np.diff(frequency_hz)
    return bool(np.ptp(gap) <= 1e-3 * np.median(gap))


def phase_rad(frequency_hz: ArrayLike, wave: ArrayLike, delay_s: float) -> Floats:
    """Return the phase in radians along the sweep, unwrapped about a delay; its first value lies near ``-2πfτ``.

    Only what the delay leaves is unwrapped, so the phase may turn any number of times a step.

    >>> f = np.array([10e6, 20e6, 30e6])
    >>> phase_rad(f, np.exp(-2j * np.pi * f * 0.33e-6), 0.33e-6).round(2)
    array([-20.73, -41.47, -62.2 ])
    """
    f, w = _arrays(frequency_hz, wave)
    rest = np.unwrap(np.angle(turned_back(f, w, delay_s)))
    return np.asarray(rest - TWO_PI * f * delay_s)


def group_delay_s(frequency_hz: ArrayLike, phase: ArrayLike, weight: ArrayLike = 1.0) -> float:
    """Return the group delay over a whole sweep in seconds: the least-squares slope of an unwrapped phase, ``-dφ/dω``.

    ``weight`` is what each point counts for: the width of its bin where points are means over unequal bins.

    >>> round(group_delay_s([1e6, 2e6, 3e6], [-1.0, -2.0, -3.0]) * TWO_PI * 1e6, 9)
    1.0
    """
    f, p = np.asarray(frequency_hz, dtype=np.float64), np.asarray(phase, dtype=np.float64)
    w = np.broadcast_to(np.asarray(weight, dtype=np.float64), f.shape)
    away = f - np.average(f, weights=w)
    return float(-((w * away) @ (p - np.average(p, weights=w))) / ((w * away) @ away) / TWO_PI)
