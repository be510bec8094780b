"""Types of the arrays that formulas and engines pass round. Frequency is the first axis, draws the next."""

import math
from collections.abc import Sequence
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complex128]
Integers: TypeAlias = NDArray[np.int64]
Number = TypeVar("Number", np.float64, np.int64)


def distinct(values: NDArray[Number]) -> NDArray[Number]:
    """Return the different values, rising, as ``numpy.unique`` does, which imports masked arrays to look for masks.

    >>> distinct(np.array([3, 1, 3]))
    array([1, 3])
    """
    rising = np.sort(values, axis=None)
    return rising[np.concatenate([[True], rising[1:] != rising[:-1]])] if rising.size else rising


def median(values: ArrayLike, axis: int | None = None) -> Floats:
    """Return what ``numpy.median`` returns of numbers without a NaN; that, too, imports masked arrays.

    >>> float(median([3.0, 1.0, 2.0, 8.0]))
    2.5
    """
    given = np.asarray(values, dtype=np.float64)
    given = given.ravel() if axis is None else np.moveaxis(given, axis, -1)
    count = given.shape[-1]
    low, high = (count - 1) // 2, count // 2
    parted = np.partition(given, [low, high], axis=-1)
    return np.asarray(0.5 * (parted[..., low] + parted[..., high]))


def quantile(values: ArrayLike, shares: Sequence[float], axis: int | None = None) -> Floats:
    """Return what ``numpy.quantile`` returns, (shares, ...), of numbers without a NaN; see ``median``.

    >>> quantile([1.0, 2.0, 4.0], [0.25, 0.5])
    array([1.5, 2. ])
    """
    given = np.asarray(values, dtype=np.float64)
    given = np.sort(given.ravel() if axis is None else np.moveaxis(given, axis, -1), axis=-1)
    places = np.asarray(shares) * (given.shape[-1] - 1)
    below = np.floor(places).astype(np.int64)
    part = places - below
    low, high = given[..., below], given[..., np.minimum(below + 1, given.shape[-1] - 1)]
    found = np.where(part < 0.5, low + (high - low) * part, high - (high - low) * (1.0 - part))
    return np.moveaxis(found, -1, 0)


_ERFC = np.frompyfunc(math.erfc, 1, 1)
TAIL = -35.0
"""Below it the complementary error function nears the least number there is, and its series is exact."""


def normal_cdf(x: Floats) -> Floats:
    """Return Φ(x) of the standard normal distribution.

    >>> np.round(normal_cdf(np.array([-1.0, 0.0, 1.96])), 4)
    array([0.1587, 0.5   , 0.975 ])
    """
    return 0.5 * np.asarray(_ERFC(-np.asarray(x) / math.sqrt(2.0)), dtype=np.float64)


def log_normal_cdf(x: Floats) -> Floats:
    """Return log Φ(x) of the standard normal distribution, exact in both tails.

    Importing ``scipy.special`` for it would take longer than most benches take to be judged. The far tail is the
    asymptotic series of Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.12.

    >>> np.round(log_normal_cdf(np.array([-40.0, -1.0, 0.0, 9.0])), 4)
    array([-8.046084e+02, -1.841000e+00, -6.931000e-01, -0.000000e+00])
    """
    tail = np.asarray(_ERFC(np.abs(np.maximum(x, TAIL)) * math.sqrt(0.5)), dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        near = np.where(x > 0.0, np.log1p(-0.5 * tail), np.log(0.5 * tail))
        square = 1.0 / (x * x)
        series = 1.0 - square * (1.0 - 3.0 * square * (1.0 - 5.0 * square * (1.0 - 7.0 * square)))
        far = -0.5 * x * x - np.log(-x * math.sqrt(2.0 * math.pi)) + np.log(series)
    out: Floats = np.where(x < TAIL, far, near)
    return out
