"""The judge of statements: what it counts as true, on cases small enough to count by hand."""

import pytest

from bench_families import bench
from bench_families_score import prove
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
