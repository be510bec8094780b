"""The sharing-out as a mixed-integer program, solved to proven optimality or with its gap."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linewright.choice.covers import can_list, solve_covers
from linewright.choice.program import GAP, MONEY_DB, SHORT_DB_PER_M, SPARE_DB_PER_M, Sharing, Solution
from linewright.errors import CannotError

Floats = NDArray[np.float64]

__all__ = ["MONEY_DB", "SHORT_DB_PER_M", "SPARE_DB_PER_M", "Sharing", "Solution", "solve", "solve_pieces"]


def solve(sharing: Sharing, seconds: float = 10.0) -> Solution:
    """Return the best sharing-out that was found in the time, with a proven bound.

    A piece goes to one run at most and is used whole; a run is bridged by pieces, at most one bought section, and what
    is left short. Where the handfuls of pieces that may bridge a run can be listed, whole covers are chosen among,
    which is far quicker; else single pieces, by the HiGHS solver through ``scipy.optimize.milp`` either way.
    """
    if not can_list(sharing):
        return solve_pieces(sharing, seconds)
    found = solve_covers(sharing, 0.75 * seconds)
    if found is None:
        return solve_pieces(sharing, 0.25 * seconds)
    if not found.short_m.any() or found.objective_db - found.bound_db <= GAP * abs(found.objective_db) + GAP:
        return found
    return _rescued(sharing, found, 0.25 * seconds)


def _rescued(sharing: Sharing, found: Solution, seconds: float) -> Solution:
    """Return what was found, or what single pieces without buying do better: a run may be short for want of time."""
    try:
        plain = _search(_unbought(sharing), seconds)
    except CannotError:
        return found
    best = min(found, plain, key=lambda x: x.objective_db)
    return replace(best, bound_db=found.bound_db)


def _unbought(sharing: Sharing) -> Sharing:
    return replace(sharing, metre_db=np.full_like(sharing.metre_db, np.inf))


def solve_pieces(sharing: Sharing, seconds: float) -> Solution:
    """Return the best sharing-out by a program of single pieces, found in the time, with a proven bound.

    Branch and cut. The program without buying is far easier: it is solved first, and what it finds is kept where buying
    finds nothing better in the time.
    """
    if not np.isfinite(sharing.metre_db).any():
        return _search(sharing, seconds)
    plain = _search(_unbought(sharing), 0.35 * seconds)
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
