"""Pieces of what is believed of years: densities, what ages, and what goes on."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from linewright.catalogue.belief import catalogue_belief
from linewright.catalogue.lines import line_type
from linewright.core.nouns.bench import Piece
from linewright.inference.history import model
from linewright.inference.history.fits import _student
from linewright.inference.history.posterior import GoingOn, _changes, later, p_ages


@pytest.mark.parametrize("freedom", [1.0, 3.0, 30.0])
def test_a_wide_tail_is_that_of_another_library(freedom):
    spread = np.array([[0.04, 0.01, 0.0], [0.01, 0.09, 0.02], [0.0, 0.02, 0.02]])
    off = np.array([0.3, -0.2, 0.1])
    theirs = stats.multivariate_t(np.zeros(3), spread, df=freedom).logpdf(off)
    assert _student(off, spread, freedom) == pytest.approx(theirs + 1.5 * np.log(2 * np.pi))


def test_what_goes_on_grows_with_the_years():
    belief = catalogue_belief(Piece("blue 7", 7.2, line_type("RG-58C/U")))
    draws = belief.draws
    still = np.zeros(draws)
    how = GoingOn(np.full(draws, 0.1), np.full(draws, 0.05), still)
    on = later(belief, how, 4.0)
    np.testing.assert_allclose(on.growth / belief.growth, np.exp(0.4))
    np.testing.assert_allclose(on.wet / belief.wet, np.exp(0.2))
    walked = later(belief, GoingOn(still, still, np.ones(draws)), 4.0)
    np.testing.assert_allclose(walked.growth / belief.growth, np.exp(2.0 * model.WALK))
    assert later(belief, how, 0.0) is belief


def test_a_piece_ages_by_the_weight_of_what_ages_and_does_not_step():
    told = [((0.0, 0.0), -1), ((0.1, 0.02), -1), ((0.1, 0.02), 2), ((0.0, 0.0), 1)]
    explanations = [SimpleNamespace(rate=rate, step_after=after) for rate, after in told]
    post = SimpleNamespace(weight=np.array([0.5, 0.3, 0.15, 0.05]), fits=SimpleNamespace(explanations=explanations))
    assert p_ages(post) == pytest.approx(0.3)


def test_a_step_is_likelier_the_longer_the_time_between_two_tests():
    """1.5 % between any two days and 3.5 % a year besides, of what does not age; half is the most."""
    problem = SimpleNamespace(
        years=np.array([2020.0, 2021.0, 2025.0, 2025.0, 2055.0, 2055.0]), tests=[None] * 5,
        meters=(SimpleNamespace(ages_p=0.2),), starts=(SimpleNamespace(mean=(0.0,) * 4),),
    )  # fmt: skip
    told = list(_changes(problem, model.Explanation(0, 0.0)))
    chance = {k: sum(np.exp(e.log_weight) for e in told if e.step_after == k) for k in range(5)}
    assert chance == pytest.approx({0: 0.8 * 0.05, 1: 0.8 * 0.155, 2: 0.0, 3: 0.8 * 0.5, 4: 0.0})
    assert sum(np.exp(e.log_weight) for e in told if e.step_after < 0) == pytest.approx(1.0)


def test_a_piece_of_unknown_type_is_neither_better_nor_worse_than_a_middling_one_and_one_joint_in_it_may_be_bad():
    claim = model.PieceClaim(line_type("RG-58C/U").law, False, 20.0, 2)
    starts, p = model.starts_of(claim), claim.priors
    assert {start.mean[:2] for start in starts} == {(0.0, 0.0)}
    assert [start.mean[2:] for start in starts] == [(0.0, 0.0), (2.0 * p.joint_db, 0.0), (0.0, p.joint_db)]
    assert [np.exp(start.log_weight) for start in starts] == pytest.approx([1 - 2 * p.joint_p, p.joint_p, p.joint_p])
