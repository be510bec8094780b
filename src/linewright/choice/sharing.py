"""The sharing-out as a mixed-integer program, solved to proven optimality or with its gap."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linewright.errors import CannotError

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


def solve(sharing: Sharing, seconds: float = 10.0) -> Solution:
    """Return the best sharing-out that was found in the time, with a proven bound.

    Branch and cut by the HiGHS solver through ``scipy.optimize.milp``. A piece goes to one run at most and is used
    whole; a run is bridged by pieces, at most one bought section, and what is left short. The program without buying is
    far easier: it is solved first, and what it finds is kept where buying finds nothing better in the time.
    """
    if not np.isfinite(sharing.metre_db).any():
        return _search(sharing, seconds)
    plain = _search(replace(sharing, metre_db=np.full_like(sharing.metre_db, np.inf)), 0.35 * seconds)
    try:
        bought = _search(sharing, 0.65 * seconds)
    except CannotError:
        return replace(plain, bound_db=-float(sharing.joint_db.sum()))
    best = min(plain, bought, key=lambda found: found.objective_db)
    return replace(best, bound_db=bought.bound_db)


def _search(sharing: Sharing, seconds: float) -> Solution:
    from scipy.optimize import Bounds, LinearConstraint, milp

    p, r, t = sharing.shape
    # Variables, in blocks: pieces taken, sections bought, metres bought, metres short, and whether a run is empty.
    sizes = (p * r, t * r, t * r, r, r)
    ends = np.cumsum((0, *sizes))
    takes, buys, metres, short, empty = (slice(a, b) for a, b in pairwise(ends))
    cost, upper = np.zeros(ends[-1]), np.ones(ends[-1])
    for block, db in ((takes, sharing.piece_db + sharing.joint_db), (metres, sharing.metre_db)):
        barred = ~np.isfinite(db).ravel()
        cost[block] = np.where(barred, 0.0, db.ravel())
        upper[block][barred] = 0.0
    reach = np.broadcast_to(sharing.route_m, (t, r)).ravel()
    upper[metres] = np.where(upper[metres] > 0, reach, 0.0)
    upper[buys] = upper[metres] > 0
    upper[short] = sharing.route_m
    cost[takes] += SPARE_DB_PER_M * np.repeat(sharing.length_m, r)
    cost[buys] = np.broadcast_to(sharing.plugs_db + sharing.joint_db, (t, r)).ravel()
    money = np.zeros(ends[-1])
    money[metres] = np.repeat(sharing.price_per_m, r)
    money[buys] = np.repeat(sharing.plugs_price, r)
    cost += money * (MONEY_DB / sharing.budget if sharing.budget > 0 else 0.0)
    cost[short] = SHORT_DB_PER_M
    cost[empty] = sharing.joint_db
    kinds = np.ones(ends[-1])
    kinds[metres], kinds[short] = 0, 0
    matrix, low, high = _rules(sharing, (takes, buys, metres, short, empty), money)
    options = {"time_limit": seconds, "mip_rel_gap": GAP}
    found = milp(
        cost,
        integrality=kinds,
        bounds=Bounds(0, upper),
        constraints=LinearConstraint(matrix, low, high),
        options=options,
    )
    if found.x is None:
        raise CannotError(f"the solver found no sharing-out in {seconds:g} s ({found.message})")
    joints = float(sharing.joint_db.sum())
    return _solution(sharing, found, (takes, buys, metres, short), joints)


def _rules(sharing: Sharing, blocks: tuple[slice, ...], money: Floats) -> tuple[Any, Floats, Floats]:
    from scipy.sparse import coo_array

    p, r, t = sharing.shape
    takes, buys, metres, short, empty = (np.arange(b.start, b.stop) for b in blocks)
    rows: list[tuple[NDArray[np.integer[Any]], Floats, float, float]] = []
    of_piece, of_offer = takes.reshape(p, r), buys.reshape(t, r)
    metre = metres.reshape(t, r)
    for i in range(p):
        rows.append((of_piece[i], np.ones(r), 0.0, 1.0))
    for j in range(r):
        route = float(sharing.route_m[j])
        # A piece longer than the route bridges no more than the route: the tighter program is solved sooner.
        bridged = np.minimum(sharing.length_m, route)
        rows.append((np.r_[of_piece[:, j], metre[:, j], short[j]], np.r_[bridged, np.ones(t + 1)], route, np.inf))
        rows.append((np.r_[of_piece[:, j], of_offer[:, j]], np.ones(p + t), 0.0, sharing.most))
        rows.append((of_offer[:, j], np.ones(t), 0.0, 1.0))
        rows.append((np.r_[of_piece[:, j], of_offer[:, j], empty[j]], np.ones(p + t + 1), 1.0, np.inf))
        for k in range(t):
            rows.append((np.array([metre[k, j], of_offer[k, j]]), np.array([1.0, -route]), -np.inf, 0.0))
    paid = np.flatnonzero(money)
    rows.append((paid, money[paid], 0.0, sharing.budget))
    index = np.repeat(np.arange(len(rows)), [len(row[0]) for row in rows])
    columns = np.concatenate([row[0] for row in rows]).astype(int)
    values = np.concatenate([row[1] for row in rows])
    matrix = coo_array((values, (index, columns)), shape=(len(rows), len(money))).tocsr()
    return matrix, np.array([row[2] for row in rows]), np.array([row[3] for row in rows])


def _solution(sharing: Sharing, found: Any, blocks: tuple[slice, ...], joints: float) -> Solution:
    p, r, t = sharing.shape
    takes, buys, metres, short = (found.x[b] for b in blocks)
    bound = found.mip_dual_bound if found.mip_dual_bound is not None else found.fun
    return Solution(
        takes.reshape(p, r) > 0.5,
        buys.reshape(t, r) > 0.5,
        np.round(metres.reshape(t, r), 6),
        np.round(short, 6),
        float(found.fun) - joints,
        float(bound) - joints,
    )
