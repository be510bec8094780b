"""What is to be shared out, in figures, and who gets what: the nouns of the program."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SHORT_DB_PER_M = 100.0
"""What a metre not bridged counts: more than any line loses, so that a run is left short only where it must be."""
SPARE_DB_PER_M = 1e-4
MONEY_DB = 1e-3
"""Ties are broken by metres left in coils, and by money: a thousandth of a decibel for the whole budget."""
GAP = 1e-6


@dataclass(frozen=True, slots=True)
class Sharing:
    """The program. ``p`` pieces, ``r`` runs, ``t`` lines on offer; losses are decibels times the weight of the run.

    Attributes
    ----------
    length_m, route_m : (p,), (r,)
    piece_db : (p, r)
        What a piece loses in a run; infinite where it may not go (another impedance).
    joint_db, plugs_db : (r,)
        One joint between sections; the two connectors of a bought section.
    metre_db : (t, r)
        A metre of each line on offer; infinite where it may not go.
    price_per_m, plugs_price : (t,)
    budget : float
    most : int
        Sections joined in one run at most.
    """

    length_m: Floats
    route_m: Floats
    piece_db: Floats
    joint_db: Floats
    plugs_db: Floats
    metre_db: Floats
    price_per_m: Floats
    plugs_price: Floats
    budget: float
    most: int = 3

    @property
    def shape(self) -> tuple[int, int, int]:
        """Numbers of pieces, runs and offers."""
        return len(self.length_m), len(self.route_m), len(self.price_per_m)


@dataclass(frozen=True, slots=True)
class Solution:
    """Who gets what: ``takes`` (p, r) and ``buys`` (t, r) are 0 or 1, ``bought_m`` (t, r), ``short_m`` (r).

    ``bound_db`` is proven: no sharing-out has less weighted loss (penalties for metres not bridged included).
    """

    takes: NDArray[np.bool_]
    buys: NDArray[np.bool_]
    bought_m: Floats
    short_m: Floats
    objective_db: float
    bound_db: float
