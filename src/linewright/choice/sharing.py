"""The sharing-out as a mixed-integer program, solved to proven optimality or with its gap."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import combinations, pairwise
from math import comb
from threading import Lock
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Floats
from linewright.core.errors import CannotError
from linewright.core.frozen import dataclass

# What is to be shared out, in figures, and who gets what: the nouns of the program

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
class SharingSolution:
    """Who gets what: ``takes`` (p, r) and ``buys`` (t, r) are 0 or 1, ``bought_m`` (t, r), ``short_m`` (r).

    ``bound_db`` is proven: no sharing-out has less weighted loss (penalties for metres not bridged included).
    """

    takes: NDArray[np.bool_]
    buys: NDArray[np.bool_]
    bought_m: Floats
    short_m: Floats
    objective_db: float
    bound_db: float


# Sharing out by whole covers: each handful of pieces that may bridge a run is a column of a set-partitioning program

Ints = NDArray[np.intp]

MOST_COVERS = 60_000
MOST_COLUMNS = 25_000
EACH = 15
"""Columns taken up a run and offer at one pricing."""
CLOSE = 1e-6
ONE_AT_A_TIME = Lock()
"""The standard output is one for the whole process."""
ROUGH = 3e-3
"""How near to the best of its columns the first pick need be: it only tells which columns may matter."""


@dataclass(frozen=True, slots=True)
class ColumnTable:
    """All columns. ``pieces`` (n, most) are indices, p for none; costs and money (n, r) by offer, 0: nothing bought."""

    sharing: Sharing
    pieces: Ints
    rest_m: Floats
    cost: list[Floats]
    money: list[Floats]


@dataclass(frozen=True, slots=True)
class Columns:
    """Some columns of the table, each by offer, cover and run."""

    offer: Ints
    cover: Ints
    run: Ints


def can_list(s: Sharing) -> bool:
    """Return whether all covers can be listed, and nothing is gained by a piece or a metre too many."""
    p, _, _ = s.shape
    covers = sum(comb(p, size) for size in range(s.most + 1))
    figures = (s.piece_db, s.joint_db, s.plugs_db, s.metre_db, s.price_per_m, s.plugs_price)
    dear = np.where(np.isfinite(s.metre_db), s.metre_db, 0.0) < 0.9 * SHORT_DB_PER_M
    return covers <= MOST_COVERS and all((x >= 0).all() for x in figures) and bool(dear.all())


def table_of(s: Sharing) -> ColumnTable:
    """Return every column: covers with no piece too many, and what falls short, with the rest bought or missing."""
    p, r, t = s.shape
    some = [c + (p,) * (s.most - len(c)) for size in range(s.most + 1) for c in combinations(range(p), size)]
    pieces = np.array(some, dtype=np.intp)
    length, piece_db = np.append(s.length_m, 0.0), np.vstack([s.piece_db, np.zeros(r)])
    size, laid = (pieces < p).sum(axis=1), length[pieces].sum(axis=1)
    shortest = np.where(pieces < p, length[pieces], np.inf).min(axis=1)
    rest = np.maximum(s.route_m - laid[:, None], 0.0)
    own = piece_db[pieces].sum(axis=1) + np.maximum(size - 1, 0)[:, None] * s.joint_db + SPARE_DB_PER_M * laid[:, None]
    own = np.where((laid - shortest)[:, None] >= s.route_m, np.inf, own)
    cost, money = [own + SHORT_DB_PER_M * rest], [np.zeros_like(own)]
    fewer = size < s.most
    eps = MONEY_DB / s.budget if s.budget > 0 else 0.0
    for k in range(t):
        paid = s.price_per_m[k] * rest[fewer] + s.plugs_price[k]
        joined = np.where(size[fewer][:, None] > 0, s.joint_db, 0.0)
        may = np.isfinite(s.metre_db[k]) & (rest[fewer] > 0)
        metre = np.where(np.isfinite(s.metre_db[k]), s.metre_db[k], 0.0)
        with_it = np.where(may, own[fewer] + joined + s.plugs_db + metre * rest[fewer], np.inf)
        cost.append(with_it + eps * paid)
        money.append(paid)
    return ColumnTable(s, pieces, rest, cost, money)


def _program(table: ColumnTable, columns: Columns) -> tuple[Floats, Any, Floats]:
    """Return costs, the matrix (pieces, runs, money) and the money of some columns."""
    from scipy.sparse import coo_array

    p, r, _ = table.sharing.shape
    n = len(columns.run)
    at = list(zip(columns.offer, columns.cover, columns.run, strict=True))
    cost = np.array([table.cost[o][c, j] for o, c, j in at])
    money = np.array([table.money[o][c, j] for o, c, j in at])
    members = table.pieces[columns.cover]
    column, slot = np.nonzero(members < p)
    rows = np.r_[members[column, slot], p + columns.run, np.full(n, p + r)]
    index = np.r_[column, np.arange(n), np.arange(n)]
    values = np.r_[np.ones(len(column) + n), money]
    return cost, coo_array((values, (rows, index)), shape=(p + r + 1, n)).tocsr(), money


def _reduced(table: ColumnTable, dual: Floats) -> list[Floats]:
    p, r, _ = table.sharing.shape
    piece = np.append(dual[:p], 0.0)[table.pieces].sum(axis=1)
    return [
        cost - piece[: len(cost), None] - dual[p : p + r] - dual[p + r] * money
        for cost, money in zip(table.cost, table.money, strict=True)
    ]


def _joined(*some: Columns) -> Columns:
    stacked = np.unique(np.vstack([np.c_[c.offer, c.cover, c.run] for c in some]), axis=0)
    return Columns(stacked[:, 0], stacked[:, 1], stacked[:, 2])


def _cheapest(reduced: list[Floats]) -> Columns:
    """Return the columns of least reduced cost, of each offer and run, where it is below zero."""
    found = []
    for offer, costs in enumerate(reduced):
        each = min(EACH, len(costs))
        best = np.argpartition(costs, each - 1, axis=0)[:each]
        cover, run = best.ravel(), np.tile(np.arange(costs.shape[1]), each)
        keep = costs[cover, run] < -CLOSE
        found.append(np.c_[np.full(keep.sum(), offer), cover[keep], run[keep]])
    stacked = np.vstack(found).astype(np.intp)
    return Columns(stacked[:, 0], stacked[:, 1], stacked[:, 2])


def relaxed(table: ColumnTable, until: float) -> tuple[Columns, list[Floats], float]:
    """Return the columns that were priced in, the reduced costs under the best duals, and the bound those prove."""
    from scipy.optimize import linprog

    p, r, _ = table.sharing.shape
    none = np.zeros(r, dtype=np.intp)
    columns, bound, best = Columns(none, none, np.arange(r)), -np.inf, []
    limits = np.r_[np.ones(p), table.sharing.budget]
    while True:
        cost, matrix, _ = _program(table, columns)
        shared = np.r_[np.arange(p), p + r]
        got = linprog(cost, matrix[shared], limits, matrix[p : p + r], np.ones(r), method="highs")
        dual = np.r_[got.ineqlin.marginals[:p], got.eqlin.marginals, got.ineqlin.marginals[p:]]
        reduced = _reduced(table, dual)
        least = np.minimum(np.min([x.min(axis=0) for x in reduced], axis=0), 0.0).sum()
        if got.fun + least > bound:
            bound, best = float(got.fun + least), reduced
        if least > -CLOSE * r or time.monotonic() > until:
            return columns, best, bound
        columns = _joined(columns, _cheapest(reduced))


def _within(table: ColumnTable, reduced: list[Floats], gap_db: float) -> tuple[Columns, float]:
    """Return the columns that a better sharing-out may use, and what any with another costs over the bound at least.

    A section bought in part costs no less than the mean of buying all the rest and none of it.
    """
    keys = [np.minimum(costs, reduced[0][: len(costs)]) for costs in reduced]
    every = np.concatenate([key.ravel() for key in keys])
    reach = gap_db + CLOSE
    if np.count_nonzero(every <= reach) > MOST_COLUMNS:
        reach = float(np.partition(every, MOST_COLUMNS)[MOST_COLUMNS])
    found = [np.c_[np.full(len(at), o), at] for o, key in enumerate(keys) for at in [np.argwhere(key <= reach)]]
    finite = [at[np.isfinite(table.cost[o][at[:, 1], at[:, 2]])] for o, at in enumerate(found)]
    stacked = np.vstack(finite).astype(np.intp)
    return Columns(stacked[:, 0], stacked[:, 1], stacked[:, 2]), reach


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the standard output clean: the solver sometimes prints a line there, whatever its settings."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def _chosen(
    table: ColumnTable, columns: Columns, seconds: float, gap: float = GAP
) -> tuple[float, float, SharingSolution] | None:
    """Return the objective, the bound and the sharing-out of the best pick among some columns."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array, hstack, vstack

    s = table.sharing
    p, r, t = s.shape
    cost, matrix, _ = _program(table, columns)
    n, eps = len(cost), MONEY_DB / s.budget if s.budget > 0 else 0.0
    bought = np.flatnonzero(columns.offer > 0)
    place = (columns.offer[bought] - 1) * r + columns.run[bought]
    # A bought section may be cut shorter than the rest, where the money ends.
    metre = np.where(np.isfinite(s.metre_db), s.metre_db, 0.0)
    less = (SHORT_DB_PER_M - metre - eps * s.price_per_m[:, None]).ravel()
    refund = coo_array(
        (-np.repeat(s.price_per_m, r), (np.full(t * r, p + r), np.arange(t * r))), shape=(p + r + 1, t * r)
    )
    rest = table.rest_m[columns.cover[bought], columns.run[bought]]
    link = hstack([coo_array((-rest, (place, bought)), shape=(t * r, n)), coo_array(np.eye(t * r))])
    low = np.r_[np.zeros(p), np.ones(r), -np.inf, np.full(t * r, -np.inf)]
    high = np.r_[np.ones(p + r), s.budget, np.zeros(t * r)]
    with ONE_AT_A_TIME, _quiet():
        found = milp(
            np.r_[cost, less], integrality=np.r_[np.ones(n), np.zeros(t * r)],
            bounds=Bounds(0, np.r_[np.ones(n), np.tile(s.route_m, t)]),
            constraints=LinearConstraint(vstack([hstack([matrix, refund]), link]).tocsr(), low, high),
            options={"time_limit": seconds, "mip_rel_gap": gap},
        )  # fmt: skip
    if found.x is None:
        return None
    bound = float(found.fun if found.mip_dual_bound is None else found.mip_dual_bound)
    return float(found.fun), bound, _as_solution(table, columns, found.x[:n] > 0.5, found.x[n:].reshape(t, r))


def _as_solution(table: ColumnTable, columns: Columns, picked: NDArray[np.bool_], less_m: Floats) -> SharingSolution:
    p, r, t = table.sharing.shape
    takes, buys = np.zeros((p, r), dtype=bool), np.zeros((t, r), dtype=bool)
    bought, short = np.zeros((t, r)), np.zeros(r)
    for i in np.flatnonzero(picked):
        offer, cover, j = columns.offer[i], columns.cover[i], columns.run[i]
        members = table.pieces[cover]
        takes[members[members < p], j] = True
        rest = table.rest_m[cover, j]
        if offer:
            buys[offer - 1, j] = True
            bought[offer - 1, j] = rest - less_m[offer - 1, j]
            rest = less_m[offer - 1, j]
        short[j] = rest
    return SharingSolution(takes, buys, np.round(bought, 6), np.round(short, 6), 0.0, 0.0)


def solve_covers(s: Sharing, seconds: float) -> SharingSolution | None:
    """Return the best sharing-out found in the time, with its proven bound; None where none was found."""
    until = time.monotonic() + seconds
    table = table_of(s)
    columns, reduced, bound = relaxed(table, until - 0.7 * seconds)
    first = _chosen(table, columns, 0.5 * seconds, ROUGH)
    if first is None:
        return None
    near, reach = _within(table, reduced, first[0] - bound)
    last = _chosen(table, _joined(columns, near), max(0.1, until - time.monotonic()))
    objective, _, best = min((x for x in (first, last) if x), key=lambda x: x[0])
    sure = min(last[1], bound + reach) if last else bound
    return replace(best, objective_db=objective, bound_db=min(objective, max(bound, sure)))


# The sharing-out as a mixed-integer program, solved to proven optimality or with its gap


__all__ = ["MONEY_DB", "SHORT_DB_PER_M", "SPARE_DB_PER_M", "Sharing", "SharingSolution", "solve", "solve_pieces"]


def solve(sharing: Sharing, seconds: float = 10.0) -> SharingSolution:
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


def _rescued(sharing: Sharing, found: SharingSolution, seconds: float) -> SharingSolution:
    """Return what was found, or what single pieces without buying do better: a run may be short for want of time."""
    try:
        plain = _search(_unbought(sharing), seconds)
    except CannotError:
        return found
    best = min(found, plain, key=lambda x: x.objective_db)
    return replace(best, bound_db=found.bound_db)


def _unbought(sharing: Sharing) -> Sharing:
    return replace(sharing, metre_db=np.full_like(sharing.metre_db, np.inf))


def solve_pieces(sharing: Sharing, seconds: float) -> SharingSolution:
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


def _search(sharing: Sharing, seconds: float) -> SharingSolution:
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


def _solution(sharing: Sharing, found: Any, blocks: tuple[slice, ...], joints: float) -> SharingSolution:
    p, r, t = sharing.shape
    takes, buys, metres, short = (found.x[b] for b in blocks)
    bound = found.mip_dual_bound if found.mip_dual_bound is not None else found.fun
    return SharingSolution(
        takes.reshape(p, r) > 0.5,
        buys.reshape(t, r) > 0.5,
        np.round(metres.reshape(t, r), 6),
        np.round(short, 6),
        float(found.fun) - joints,
        float(bound) - joints,
    )
