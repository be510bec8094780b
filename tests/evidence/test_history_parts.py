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
from linewright.inference.history.posterior import GoingOn, later, p_ages


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
