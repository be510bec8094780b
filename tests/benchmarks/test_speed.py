"""The engine and the by-hand figure side by side: times are measured by pytest-benchmark when it is enabled."""

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from by_hand import plain_losses
from linewright.inference.bench.prove import prove
from scaling import grown

SIZES = (20, 50, 200)


@pytest.mark.parametrize("readings", SIZES)
def test_engine(benchmark: BenchmarkFixture, readings: int) -> None:
    benchmark.group = f"{readings} readings"
    sheet = grown(readings, "pieces")
    result = benchmark(prove, sheet)
    assert {f.piece for f in result.losses} == {p.tag for p in sheet.pieces}


@pytest.mark.parametrize("readings", SIZES)
def test_by_hand(benchmark: BenchmarkFixture, readings: int) -> None:
    benchmark.group = f"{readings} readings"
    sheet = grown(readings, "pieces")
    assert benchmark(plain_losses, sheet)
