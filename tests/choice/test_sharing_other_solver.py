"""Sharing out held against another solver: the program written afresh from its nouns and solved by CBC through PuLP.

The second formulation differs where it may: a piece counts its whole length, and a joint is a variable of its own.
"""

from __future__ import annotations

import numpy as np
import pytest

from choice.test_sharing import instance
from linewright.choice.sharing import (
    MONEY_DB,
    SHORT_DB_PER_M,
    SPARE_DB_PER_M,
    Sharing,
    can_list,
    solve,
    solve_covers,
    solve_pieces,
)

pulp = pytest.importorskip("pulp")

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")
"""PuLP announces its next version at every call."""

SECONDS = 20


def _grid(name, rows, columns, allowed, **kind):
    return {
        (i, j): pulp.LpVariable(f"{name}_{i}_{j}", 0, **kind)
        for i in range(rows)
        for j in range(columns)
        if allowed(i, j)
    }


def least_by_cbc(s: Sharing) -> float:
    """Return the least weighted loss, penalties and the breaking of ties counted, as CBC finds it."""
    p, r, t = s.shape
    program = pulp.LpProblem("sharing", pulp.LpMinimize)
    take = _grid("take", p, r, lambda i, j: np.isfinite(s.piece_db[i, j]), cat="Binary")
    buy = _grid("buy", t, r, lambda k, j: np.isfinite(s.metre_db[k, j]), cat="Binary")
    metre = {at: pulp.LpVariable(f"metre_{at[0]}_{at[1]}", 0, s.route_m[at[1]]) for at in buy}
    short = [pulp.LpVariable(f"short_{j}", 0, s.route_m[j]) for j in range(r)]
    joints = [pulp.LpVariable(f"joints_{j}", 0) for j in range(r)]
    spent = pulp.lpSum(metre[k, j] * s.price_per_m[k] + buy[k, j] * s.plugs_price[k] for k, j in buy)
    laid = pulp.lpSum(take[i, j] * s.length_m[i] for i, j in take)
    program += (
        pulp.lpSum(take[i, j] * s.piece_db[i, j] for i, j in take)
        + pulp.lpSum(metre[k, j] * s.metre_db[k, j] + buy[k, j] * s.plugs_db[j] for k, j in buy)
        + pulp.lpSum(joints[j] * s.joint_db[j] + short[j] * SHORT_DB_PER_M for j in range(r))
        + SPARE_DB_PER_M * laid
        + (MONEY_DB / s.budget * spent if s.budget > 0 else 0.0)
    )
    program += spent <= s.budget
    for i in range(p):
        program += pulp.lpSum(take[i, j] for j in range(r) if (i, j) in take) <= 1
    for j in range(r):
        pieces = [i for i in range(p) if (i, j) in take]
        offers = [k for k in range(t) if (k, j) in buy]
        sections = pulp.lpSum(take[i, j] for i in pieces) + pulp.lpSum(buy[k, j] for k in offers)
        reach = pulp.lpSum(take[i, j] * s.length_m[i] for i in pieces) + pulp.lpSum(metre[k, j] for k in offers)
        program += reach + short[j] >= s.route_m[j]
        program += sections <= s.most
        program += sections - 1 <= joints[j]
        program += pulp.lpSum(buy[k, j] for k in offers) <= 1
        for k in offers:
            program += metre[k, j] <= s.route_m[j] * buy[k, j]
    program.solve(pulp.PULP_CBC_CMD(msg=False, timeLimit=SECONDS, gapRel=1e-9, gapAbs=1e-7))
    assert pulp.LpStatus[program.status] == "Optimal"
    return float(pulp.value(program.objective))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("pieces", "runs", "offers", "budget"), [(10, 4, 0, 0.0), (12, 4, 2, 60.0), (8, 3, 3, 150.0)])
def test_another_solver_finds_the_same_least_loss(pieces, runs, offers, budget, seed):
    s = instance(pieces, runs, offers, seed, budget=budget)
    found = solve(s)
    assert found.objective_db == pytest.approx(least_by_cbc(s), rel=2e-6, abs=1e-4)
    assert found.bound_db <= found.objective_db + 1e-6


@pytest.mark.parametrize("seed", range(3))
def test_they_agree_where_pieces_and_lines_are_barred_and_runs_left_short(seed):
    s = instance(7, 4, 2, seed, budget=20.0, most=2)
    rng = np.random.default_rng(seed)
    piece = np.where(rng.random(s.piece_db.shape) < 0.3, np.inf, s.piece_db)
    metre = np.where(rng.random(s.metre_db.shape) < 0.5, np.inf, s.metre_db)
    s = Sharing(
        s.length_m, s.route_m, piece, s.joint_db, s.plugs_db, metre, s.price_per_m, s.plugs_price, s.budget, s.most
    )
    assert solve(s).objective_db == pytest.approx(least_by_cbc(s), rel=2e-6, abs=1e-4)


@pytest.mark.parametrize(
    "seed", [pytest.param(0, marks=pytest.mark.slow), 1, 2, pytest.param(3, marks=pytest.mark.slow)]
)
@pytest.mark.parametrize(("pieces", "runs", "offers", "budget"), [(16, 5, 2, 50.0), (9, 6, 1, 25.0), (20, 5, 0, 0.0)])
def test_whole_covers_and_single_pieces_make_the_same_of_it(pieces, runs, offers, budget, seed):
    s = instance(pieces, runs, offers, seed, budget=budget)
    covers, singly = solve_covers(s, 10.0), solve_pieces(s, 20.0)
    assert covers.objective_db == pytest.approx(singly.objective_db, rel=3e-6, abs=1e-4)
    assert covers.bound_db <= singly.objective_db + 1e-4
    assert singly.bound_db <= covers.objective_db + 1e-4


def test_with_no_time_the_bound_is_still_below_what_is_found():
    s = instance(40, 12, 3, 1, budget=200.0)
    hasty, patient = solve(s, 0.3), solve(s, 10.0)
    assert hasty.bound_db <= patient.objective_db + 1e-4
    assert patient.objective_db <= hasty.objective_db + 1e-4


def test_many_choices_of_cover_fall_back_to_single_pieces():
    s = instance(60, 3, 0, 0, most=5)
    assert not can_list(s)
    assert solve(s, 5.0).short_m.sum() == 0.0
