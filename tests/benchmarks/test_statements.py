"""The judge of statements: what it counts as true, on cases small enough to count by hand."""

import pytest

from bench_families import bench
from bench_families_score import prove
from reception_worlds import Passed, Receiving, cost_db, heard, ratio, world
from reception_worlds import statements as of_reception
from statements import Said, statements, table


def test_a_row_counts_how_often_a_statement_was_said_with_what_and_how_often_it_was_true() -> None:
    found = [Said("x", 0.9, True), Said("x", 0.7, False), Said("y", None, True)]
    assert "| x | 2 | 0.80 | 0.50 | 0.35 |" in table(found)
    assert "| y | 1 | - | 1.00 | 0.00 |" in table(found)


@pytest.mark.parametrize("number", [0, 1])
def test_every_loss_of_a_bench_is_one_statement_and_no_probability_is_beyond_one(number: int) -> None:
    world = bench("sound", number, 101)
    said = prove(world.rig, list(world.reads))
    found = list(statements(world, said))
    assert sum(s.kind == "a loss lies in its interval" for s in found) == len(said["losses"])
    assert all(s.p is None or 0.0 <= s.p <= 1.0 for s in found)


def test_powers_carried_forward_give_what_a_pencil_gives() -> None:
    # 3 dB at 290 K before a receiver of 290 K, 290 K outside: 290 + 290 (L - 1) + 290 L against 290 + 290.
    w = Receiving("", (Passed(-10 * 0.30103, 290.0),), 290.0, 290.0)
    assert 1.0 / ratio(w.parts, 290.0, 290.0) == pytest.approx(290 + 290 + 580)
    assert cost_db(w, w.parts) == pytest.approx(3.0103, abs=1e-4)


@pytest.mark.parametrize("number", range(12))
def test_what_is_said_of_a_receiving_run_is_so(number: int) -> None:
    w = world(number, 77)
    r = heard(w)
    found = list(of_reception(w, r))
    assert [kind for kind, p, _ in found if p] == ["a loss of signal-to-noise lies in its interval"]
    sure = [true for kind, _, true in found if "offered wins" in kind or "nothing loses" in kind]
    assert all(sure)


def test_a_sentence_that_is_the_wrong_way_round_is_found_out() -> None:
    from dataclasses import replace

    lying = [
        true
        for number in range(40)
        for w in [world(number, 5)]
        for r in [heard(w)]
        if r.state == "heard"
        for kind, _, true in of_reception(w, replace(r, state="hidden"))
        if "hides the loss" in kind
    ]
    assert len(lying) > 10
    assert sum(lying) < 0.2 * len(lying)
