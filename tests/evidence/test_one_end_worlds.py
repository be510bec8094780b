"""Tests of simulated lines: intervals hold the truth as often as they say, and points beat the plain formula."""

from __future__ import annotations

import numpy as np
import pytest

from examples import THOROUGH
from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from one_end import KINDS, measure, plain_db, scores
from one_end_worlds import world


@pytest.mark.parametrize("kind", KINDS)
def test_intervals_hold_the_truth_and_points_beat_the_plain_formula(kind):
    found = scores(measure(kind, 100 if THOROUGH else 20, 5, analyser=True, several=True).losses)
    assert found["coverage"] > 0.85
    assert found["median error"] < 1.05 * found["median error by hand"]


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_generator_gives_the_same_world(kind):
    one, other = (world(np.random.default_rng(3), kind, analyser=True, several=True) for _ in range(2))
    assert one == other
    assert all(0.0 < loss < 30.0 for loss in one.loss_db.values())


def test_without_errors_the_worlds_plain_figure_is_the_published_one():
    reading = OneEndReading(1, "open", 144e6, "swr", 9.0)
    assert plain_db(reading, OneEndTest((reading,))) == pytest.approx(0.97, abs=0.005)
