"""Sharing out: the best there is, held against every possibility where they can be counted."""

from itertools import product

import numpy as np
import pytest

from linewright.choice.sharing import SHORT_DB_PER_M, Sharing, solve


def instance(pieces, runs, offers, seed, budget=0.0, most=3):
    rng = np.random.default_rng(seed)
    length, route = rng.uniform(3, 40, pieces).round(1), rng.uniform(5, 45, runs).round(1)
    per_m, steep = rng.uniform(0.03, 0.25, pieces), rng.uniform(0.3, 6, runs)
    return Sharing(
        length, route, (per_m * length)[:, None] * steep, 0.05 * steep, 0.1 * steep,
        rng.uniform(0.03, 0.1, offers)[:, None] * steep, rng.uniform(1, 4, offers), np.full(offers, 8.0), budget, most,
    )  # fmt: skip


def every_sharing(s):
    """Yield where each piece goes (-1 for the shelf), all possibilities."""
    return product(range(-1, len(s.route_m)), repeat=len(s.length_m))


def loss_of(s, where):
    """Return the weighted loss of one sharing-out without buying, metres left short counted; inf if not allowed."""
    total = 0.0
    for run, route in enumerate(s.route_m):
        mine = [p for p, r in enumerate(where) if r == run]
        if len(mine) > s.most:
            return np.inf
        total += sum(s.piece_db[p, run] for p in mine) + max(0, len(mine) - 1) * s.joint_db[run]
        total += SHORT_DB_PER_M * max(0.0, route - sum(s.length_m[p] for p in mine))
    return total


@pytest.mark.parametrize("seed", range(12))
def test_nothing_beats_it_among_all_possibilities(seed):
    s = instance(5 + seed % 2, 2 + seed % 2, 0, seed, most=2 + seed % 2)
    found = solve(s)
    least = min(loss_of(s, where) for where in every_sharing(s))
    mine = loss_of(s, [int(np.argmax(row)) if row.any() else -1 for row in found.takes])
    assert mine == pytest.approx(least, abs=0.02)
    assert found.bound_db <= least + 0.02


@pytest.mark.parametrize("seed", range(6))
def test_the_bound_is_below_any_sharing_out_found_by_chance(seed):
    s = instance(14, 5, 0, seed)
    found = solve(s)
    rng = np.random.default_rng(seed)
    chance = min(loss_of(s, rng.integers(-1, 5, 14)) for _ in range(2000))
    assert found.bound_db <= found.objective_db + 1e-6
    assert found.objective_db <= chance + 0.05


def test_money_buys_the_lines_that_save_most_and_never_more_than_there_is():
    poor, rich = (solve(instance(4, 3, 2, 5, budget=b)) for b in (40.0, 400.0))
    assert rich.objective_db < poor.objective_db
    s = instance(4, 3, 2, 5, budget=40.0)
    spent = (poor.bought_m.sum(axis=1) * s.price_per_m + poor.buys.sum(axis=1) * s.plugs_price).sum()
    assert spent <= 40.0 + 1e-6


def test_a_route_nothing_can_bridge_is_left_short_by_what_is_missing():
    s = Sharing(
        np.array([10.0]), np.array([30.0]), np.array([[1.0]]), np.array([0.1]), np.array([0.2]), np.zeros((0, 1)),
        np.zeros(0), np.zeros(0), 0.0,
    )  # fmt: skip
    assert solve(s).short_m == pytest.approx([20.0])


def test_a_piece_barred_from_a_run_never_goes_there():
    s = instance(6, 2, 0, 3)
    barred = s.piece_db.copy()
    barred[:, 0] = np.inf
    found = solve(
        Sharing(s.length_m, s.route_m, barred, s.joint_db, s.plugs_db, s.metre_db, s.price_per_m, s.plugs_price, 0.0)
    )
    assert not found.takes[:, 0].any()


def test_what_may_be_bought_never_leaves_a_run_short_that_pieces_alone_would_bridge():
    found = solve(instance(60, 20, 3, 0, budget=200.0), seconds=60.0)
    assert found.short_m.sum() == 0.0
    assert found.bound_db <= found.objective_db
