"""Sharing out by whole covers: each handful of pieces that may bridge a run is a column of a set-partitioning program.

The relaxation over columns lies far nearer to the truth than that over single pieces. Its columns are generated as
they are priced (Gilmore and Gomory 1961, from memory); what cannot be part of anything better than the best found, by
its reduced cost, is left out.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb
from threading import Lock
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linewright.choice.program import GAP, MONEY_DB, SHORT_DB_PER_M, SPARE_DB_PER_M, Sharing, Solution

Floats = NDArray[np.float64]
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
class Table:
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


def table_of(s: Sharing) -> Table:
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
    return Table(s, pieces, rest, cost, money)


def _program(table: Table, columns: Columns) -> tuple[Floats, Any, Floats]:
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


def _reduced(table: Table, dual: Floats) -> list[Floats]:
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


def relaxed(table: Table, until: float) -> tuple[Columns, list[Floats], float]:
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


def _within(table: Table, reduced: list[Floats], gap_db: float) -> tuple[Columns, float]:
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
    """Keep the standard output clean: the solver writes a line of its own there now and then, whatever it is told."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def _chosen(table: Table, columns: Columns, seconds: float, gap: float = GAP) -> tuple[float, float, Solution] | None:
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


def _as_solution(table: Table, columns: Columns, picked: NDArray[np.bool_], less_m: Floats) -> Solution:
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
    return Solution(takes, buys, np.round(bought, 6), np.round(short, 6), 0.0, 0.0)


def solve_covers(s: Sharing, seconds: float) -> Solution | None:
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
