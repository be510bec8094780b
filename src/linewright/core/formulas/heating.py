"""What heat a line bears: its published rating, carried over to other frequencies and a hotter day."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError

RATED_AT_CELSIUS = 40.0
"""Ambient temperature for which the catalogue's ratings hold."""


def rating_at_w(frequency_hz: ArrayLike, rated_hz: ArrayLike, rated_w: ArrayLike) -> Floats:
    """Return a published rating between its frequencies: straight lines on double logarithmic paper.

    Beyond the published ends the rating goes on with the slope of conductor loss, as ``1/√f`` above the last, and stays
    level below the first. Common practice, no source.

    >>> float(rating_at_w(20e6, [10e6, 50e6], [1000.0, 450.0]).round(0))
    709.0
    """
    f, x, y = (np.asarray(v, dtype=np.float64) for v in (frequency_hz, rated_hz, rated_w))
    if not (np.all(np.diff(x) > 0) and np.all(y > 0)):
        raise InputError("rated_hz", "must rise, with ratings above zero")
    beyond = np.sqrt(x[-1] / np.maximum(f, x[-1]))
    return np.asarray(np.exp(np.interp(np.log(f), np.log(x), np.log(y))) * beyond)


def ambient_factor(
    ambient_celsius: ArrayLike, most_celsius: float, rated_at_celsius: float = RATED_AT_CELSIUS
) -> Floats:
    """Return by what a thermal rating is multiplied at this ambient temperature.

    Linear to zero where the surroundings are as hot as the dielectric bears (common practice; from memory).

    >>> float(ambient_factor(60.0, 80.0)), float(ambient_factor(90.0, 80.0))
    (0.5, 0.0)
    """
    if not most_celsius > rated_at_celsius:
        raise InputError("most_celsius", f"must be above the {rated_at_celsius:g} degrees of the rating")
    t = np.asarray(ambient_celsius, dtype=np.float64)
    return np.asarray(np.maximum(0.0, (most_celsius - t) / (most_celsius - rated_at_celsius)))


def hot_spot_factor(swr: ArrayLike) -> tuple[Floats, Floats]:
    """Return how much hotter than a matched line a mismatched one runs for the same power: at its worst, and mean.

    ``S`` at a current crest where all loss is in the conductors; ``(S + 1/S)/2`` on average over a half wave (from
    memory; both follow from ``|I|² = |I+|² (1 + r² ∓ 2 r cos)``, Pozar, 4th ed., section 2.3).

    >>> worst, mean = hot_spot_factor(2.0)
    >>> float(worst), float(mean)
    (2.0, 1.25)
    """
    s = np.asarray(swr, dtype=np.float64)
    if not np.all(s >= 1.0):
        raise InputError("swr", "must be at least 1", cure="If this is a return loss in dB, convert it first.")
    return s, np.asarray((s + 1.0 / s) / 2.0)


CONDUCTS_PE, CONDUCTS_PVC, CONDUCTS_PTFE = 0.33, 0.17, 0.25
"""Heat conductivities in watts per metre and kelvin. From memory."""
EMISSIVITY = 0.9
"""Of a jacket, for radiated heat. From memory."""
STEFAN_BOLTZMANN = 5.670374e-8


def bearable_heat_w_per_m(
    centre_m: float, core_m: float, jacket_m: float, most_celsius: float, *, ptfe: bool = False
) -> float:
    """Return the heat per metre that brings a coaxial line's centre to its limit in still air of 40 degrees Celsius.

    Seven tenths of the heat are made in the centre and pass the dielectric; all of it passes the jacket and leaves by
    natural convection (``Nu = 0.85 Ra^0.188``, a horizontal cylinder; from memory) and by radiation.

    >>> round(bearable_heat_w_per_m(2.256e-3, 7.25e-3, 10.3e-3, 80.0), 1)
    16.5
    """
    conducts = CONDUCTS_PTFE if ptfe else CONDUCTS_PE
    shield = min(core_m + 1.0e-3, 0.98 * jacket_m)
    inside = 0.7 * np.log(core_m / centre_m) / (2.0 * np.pi * conducts)
    inside += np.log(jacket_m / shield) / (2.0 * np.pi * (CONDUCTS_PTFE if ptfe else CONDUCTS_PVC))
    low, high = RATED_AT_CELSIUS, most_celsius
    for _ in range(60):
        surface = 0.5 * (low + high)
        heat = _given_off_w_per_m(jacket_m, surface)
        low, high = (surface, high) if surface + heat * inside < most_celsius else (low, surface)
    return float(_given_off_w_per_m(jacket_m, 0.5 * (low + high)))


def _given_off_w_per_m(diameter_m: float, surface_celsius: float) -> float:
    """Return what a horizontal cylinder gives off to still air at 40 degrees, watts per metre."""
    rise = surface_celsius - RATED_AT_CELSIUS
    film = 273.15 + 0.5 * (surface_celsius + RATED_AT_CELSIUS)
    viscosity, conducts = 1.6e-5 * (film / 300.0) ** 1.7, 0.0263 * (film / 300.0) ** 0.85
    rayleigh = 0.71 * 9.81 * rise * diameter_m**3 / (film * viscosity**2)
    convected = np.pi * conducts * 0.85 * max(rayleigh, 1e-12) ** 0.188 * rise
    kelvin, around = 273.15 + surface_celsius, 273.15 + RATED_AT_CELSIUS
    return float(convected + EMISSIVITY * STEFAN_BOLTZMANN * np.pi * diameter_m * (kelvin**4 - around**4))
