"""The scores are right where the answer can be counted on fingers."""

import numpy as np
import pytest

from run import TARGETS, target_table
from score import LOSS, Tally, auc, coverage, reliability, rmse, scores, verdict_table


def test_auc_counts_pairs() -> None:
    # Pairs (positive, negative): .8 beats .1 and .4; .35 beats .1, loses to .4: 3 of 4 right.
    assert auc([0.1, 0.4, 0.35, 0.8], [0, 0, 1, 1]) == pytest.approx(0.75)


def test_auc_gives_half_for_a_tie_and_nothing_for_one_class() -> None:
    assert auc([0.5, 0.5], [0, 1]) == pytest.approx(0.5)
    assert np.isnan(auc([0.1, 0.2], [1, 1]))


def test_coverage_counts_only_intervals_that_exist() -> None:
    truth = np.array([1.0, 2.0, 3.0, 4.0])
    low, high = np.array([0.5, 2.5, 2.0, np.nan]), np.array([1.0, 3.0, 4.0, 5.0])
    assert coverage(truth, low, high) == pytest.approx(2 / 3)


def test_rmse_of_three_and_four() -> None:
    assert rmse(np.array([3.0, -4.0])) == pytest.approx(np.sqrt(12.5))


def _losses(rows: list[dict[str, float]]) -> Tally:
    base = dict.fromkeys(LOSS, 1.0)
    table = np.array([list((base | row).values()) for row in rows])
    readings = np.array([[2.0, 0.9, 1, 0], [0.0, 0.6, 1, 1], [0.3, 0.9, 1, 0], [0.0, 0.1, 1, 0], [1.0, 0.2, 0, np.nan]])
    pieces = np.array([[1.0, 0, 1.0, 0.1], [1.5, 1, 1.6, 0.99], [3.0, 2, 3.0, 1.0], [1.02, 3, 1.08, 0.96]])
    return Tally(table, readings, pieces, np.array([[1.0, 0.9, 1.1]]))


def test_scores_of_a_small_case() -> None:
    t = _losses(
        [
            {"ratio": 1.0, "p11": 0.97, "truth": 1.0, "loss": 1.1, "low": 0.9, "high": 1.3, "plain": 2.0},
            {"ratio": 1.08, "p11": 0.02, "truth": 1.0, "loss": 1.1, "low": 1.05, "high": 1.3, "plain": 0.0},
            {"ratio": 1.5, "p11": 0.99, "truth": 1.0, "loss": 0.9, "low": 0.8, "high": 1.3, "plain": 2.0},
            {"ratio": 1.5, "p11": 0.50, "truth": 1.0, "loss": 0.9, "low": 0.8, "high": 1.3, "plain": 0.0},
        ]
    )
    s = scores(t)
    assert s["coverage"] == pytest.approx(0.75)
    assert s["rmse over by hand"] == pytest.approx(0.1)
    assert s["false worse, ratio to 1.10"] == pytest.approx(0.5)
    assert s["false worse, ratio to 1.05"] == pytest.approx(1.0)
    assert s["power 1.4 to 1.6"] == pytest.approx(0.5)
    assert s["power 1.4 to 1.6, by piece"] == pytest.approx(1.0)
    assert s["false worse, by piece"] == pytest.approx(0.5)
    # Of readings: two true blunders, one found; two flagged that count, one true; the 0.3 dB slip counts as neither.
    assert s["blunder recall"] == pytest.approx(0.5)
    assert s["blunder precision"] == pytest.approx(0.5)
    assert s["right readings flagged"] == pytest.approx(0.5)
    assert s["right readings as expected"] == pytest.approx(0.5)
    assert s["wrong readings as expected"] == 0.0
    assert s["blunder auc, checked"] == pytest.approx(1.0)


def test_reliability_and_verdicts() -> None:
    t = _losses([{"ratio": 1.5, "p11": 0.9}, {"ratio": 1.0, "p11": 0.9}, {"ratio": 1.0, "p11": 0.01}])
    assert reliability(t) == [("0.00 to 0.05", 1, 0.01, 0.0), ("0.80 to 0.95", 2, 0.9, 0.5)]
    assert verdict_table(t).tolist() == [[1, 0, 0, 1], [0, 0, 0, 0], [0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]]


def test_a_target_missed_is_called_missed() -> None:
    s = {key: 0.5 for _, key, _, _ in TARGETS} | {"coverage": 0.96, "rmse over by hand": 0.3, "blunder precision": 0.94}
    lines = {line.split(" | ")[0].strip("| "): line for line in target_table(s)}
    assert lines["coverage of the 95 % interval"].endswith("| met |")
    assert lines["RMSE over by hand"].endswith("| met |")
    assert lines["blunder precision"].endswith("| NOT MET |")
