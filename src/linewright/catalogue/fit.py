"""An attenuation law from published points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.nouns.line import AttenuationLaw, AttenuationPoint

STEEL_FLOOR_HZ: Final = 5e6
"""Below about 5 MHz a copper-clad steel centre no longer follows √f: the current reaches the steel. Common practice."""

CONSTANT_BELOW_HZ: Final = 10.1e6
"""A constant shows only at the low end; a table that starts higher cannot tell one, and gets none."""

TYPICAL_K2_PER_K1: Final = 0.0095
"""k2/k1 at 1 MHz of braided solid-polyethylene lines: the middle of the built-in ones. Common practice, no source."""

FLOORS: Final = {"read": 0.04, "person": 0.04, "memory": 0.06, "class": 0.08}
"""Least relative spread by how a table is known; chosen here, from how far tables of one type differ."""

MAXIMUM_FLOOR: Final = 0.10
"""Least spread of a law fitted to specified maxima: good pieces lie some 10 % below them."""


def least_squares(design: Floats, target: Floats) -> Floats:
    """Return the coefficients, none below zero, that fit ``design @ k`` to ``target`` with least squares.

    Lawson and Hanson's active-set method (Solving Least Squares Problems, 1974, chapter 23), by SciPy. Where no
    coefficient touches zero this is ordinary least squares.

    >>> least_squares(np.array([[1.0], [2.0]]), np.array([2.0, 4.0]))
    array([2.])
    """
    from scipy.optimize import nnls

    return np.asarray(nnls(design, target)[0], dtype=np.float64)


def coefficients(frequency_hz: Floats, attenuation_db_per_m: Floats) -> tuple[float, float, float]:
    """Return (k0, k1, k2) of ``k0 + k1 √f + k2 f`` in dB/m at 1 MHz, none below zero, least relative squares.

    The constant is fitted only where there are three points or more and they reach down to 10 MHz. One point cannot
    tell a shape: it takes that of braided solid-polyethylene line.

    >>> f = np.array([10e6, 100e6, 400e6, 1000e6])
    >>> [round(k, 6) for k in coefficients(f, 0.005 * np.sqrt(f / 1e6) + 4e-5 * f / 1e6)]
    [0.0, 0.005, 4e-05]
    """
    mhz = frequency_hz / 1e6
    if len(mhz) == 1:
        k1 = float(attenuation_db_per_m[0] / (np.sqrt(mhz[0]) + TYPICAL_K2_PER_K1 * mhz[0]))
        return 0.0, k1, TYPICAL_K2_PER_K1 * k1
    columns = np.column_stack([np.ones_like(mhz), np.sqrt(mhz), mhz])
    first = 0 if len(mhz) >= 3 and frequency_hz.min() <= CONSTANT_BELOW_HZ else 1
    k = least_squares(columns[:, first:] / attenuation_db_per_m[:, None], np.ones_like(mhz))
    return (0.0 if first else float(k[0])), float(k[-2]), float(k[-1])


def fit_law(
    points: Sequence[AttenuationPoint],
    *,
    steel_centre: bool = False,
    others: Sequence[AttenuationPoint] = (),
    least_spread: float = 0.0,
) -> AttenuationLaw:
    """Return the attenuation law of published points, with the spread of what is published.

    Parameters
    ----------
    points : sequence of AttenuationPoint
        The points the law is fitted to: least relative squares, no coefficient below zero.
    steel_centre : bool
        Whether the centre conductor is copper-clad steel; the √f law is then not trusted below 5 MHz.
    others : sequence of AttenuationPoint
        Points of other tables of the same type. They do not move the law, but widen it where they differ.
    least_spread : float
        A floor the caller knows of; the floors of the points' grades hold as well.

    Returns
    -------
    AttenuationLaw
        ``spread`` is the root mean square of the relative departures from the law of all points given (see
        ``departure``), and never below the floor of its grades. ``valid_hz`` is what ``points`` span.

    Raises
    ------
    InputError
        If there is no point, or one is not a frequency and attenuation above zero and finite.

    >>> from linewright.core.nouns.line import Provenance
    >>> sheet = Provenance("person", "a data sheet")
    >>> pairs = [(10e6, 0.020), (100e6, 0.066), (400e6, 0.14)]
    >>> law = fit_law([AttenuationPoint(f, a, sheet) for f, a in pairs])
    >>> float(law.db_per_m(144e6).round(3)), law.valid_hz
    (0.08, (10000000.0, 400000000.0))
    """
    check(points)
    f, a = _arrays(points)
    k0, k1, k2 = coefficients(f, a)
    span = (float(f.min()), float(f.max()))
    law = AttenuationLaw(k1, k2, k0, 0.0, span, STEEL_FLOOR_HZ if steel_centre else 0.0)
    return replace(law, spread=max(departure(law, [*points, *others]), floor(points), least_spread))


def departure(law: AttenuationLaw, points: Sequence[AttenuationPoint]) -> float:
    """Return the root mean square of ``ln(point / law)`` over tables, within the law's frequencies.

    Tables of three points or more count alike, however long; a lone point counts a third. Specified maxima are left
    out unless there is nothing else: they bound a line, they do not describe it.
    """
    low, high = law.valid_hz
    seen = [p for p in points if low * 0.999 <= p.frequency_hz <= high * 1.001]
    seen = [p for p in seen if p.kind != "max"] or seen
    tables: dict[str, list[AttenuationPoint]] = {}
    for p in seen:
        tables.setdefault(p.table, []).append(p)
    squares, weights = [], []
    for group in tables.values():
        f, a = _arrays(group)
        squares.append(float(np.mean(np.log(a / law.db_per_m(f)) ** 2)))
        weights.append(min(len(group), 3))
    return float(np.sqrt(np.average(squares, weights=weights))) if squares else 0.0


def floor(points: Sequence[AttenuationPoint]) -> float:
    """Return the least spread that points of these grades and kinds deserve."""
    least = max(FLOORS[p.provenance.grade] for p in points)
    if all(p.kind == "max" for p in points):
        least = max(least, MAXIMUM_FLOOR)
    return 0.25 if len(points) == 1 else least


def _arrays(points: Sequence[AttenuationPoint]) -> tuple[Floats, Floats]:
    pairs = np.array([(p.frequency_hz, p.attenuation_db_per_m) for p in points], dtype=np.float64)
    return pairs[:, 0], pairs[:, 1]


def check(points: Sequence[AttenuationPoint]) -> None:
    """Refuse an empty table and any point that is not above zero and finite."""
    if not points:
        raise InputError("points", "must hold at least one point", cure="Give frequencies and their attenuation.")
    for i, p in enumerate(points, start=1):
        for name, value in (("frequency_hz", p.frequency_hz), ("attenuation_db_per_m", p.attenuation_db_per_m)):
            if not (np.isfinite(value) and value > 0):
                raise InputError(name, f"must be above zero and finite; got {value:g} in point {i}")
