"""The trade-off of price against loss: which choices no other beats, and which other beats the rest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.int_]


def frontier(price: Floats, loss: Floats) -> Places:
    """Return the places of the choices no other beats, from cheap to dear.

    One beats another that costs no less and loses no less, and is not its equal; of equals the first stays.

    >>> frontier(np.array([1.0, 2.0, 3.0, 2.0]), np.array([3.0, 1.0, 2.0, 1.0]))
    array([0, 1])
    """
    order = np.lexsort((loss, price))
    if not len(order):
        return order
    least = np.minimum.accumulate(loss[order])
    first = np.r_[True, least[1:] < least[:-1]]
    return order[first]


def beaten_by(place: int, best: Places, price: Floats, loss: Floats) -> int:
    """Return the choice of the frontier that beats another: of those that cost no more, the one that loses least."""
    return int(best[np.searchsorted(price[best], price[place], side="right") - 1])
