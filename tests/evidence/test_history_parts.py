"""Pieces of what is believed of years: densities, what ages, and what goes on."""

from __future__ import annotations

from collections import Counter
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from linewright.catalogue.belief import catalogue_belief
from linewright.catalogue.lines import line_type
from linewright.core.nouns.bench import Piece
from linewright.inference.history import model
from linewright.inference.history.bridges import LoadTest, known_bridges
from linewright.inference.history.fits import _noise, _student, loads_of
from linewright.inference.history.meters import MeterTest, _mixed, known_exponents
from linewright.inference.history.posterior import GoingOn, _changes, going_on, later, p_ages, p_rising, years_until
from linewright.inference.history.sessions import _kernels


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


def explained(*told):
    """Return explanations of some rates and steps, as far as a question about their chances looks."""
    return [
        SimpleNamespace(rate=rate, rate_of=of, step=step, step_after=after, step_of="line")
        for rate, of, step, after in told
    ]


def test_a_loss_rises_by_ageing_or_by_a_step_up_and_not_by_one_down():
    none, ages, up, down = (0.0, 0.0), (0.1, 0.02), (0.45, 0.25), (-0.3, 0.25)
    told = [(none, "line", none, -1), (ages, "line", none, -1), (none, "line", up, 1), (none, "line", down, 1)]
    weight = np.array([0.4, 0.3, 0.2, 0.1])
    post = SimpleNamespace(weight=weight, fits=SimpleNamespace(explanations=explained(*told)))
    assert p_rising(post) == pytest.approx(0.5)


def test_what_ages_goes_on_ageing_in_what_it_aged_in():
    told = [((0.0, 0.0), "line", None, -1), ((0.1, 0.02), "line", None, -1), ((0.1, 0.02), "dielectric", None, -1)]
    draws = np.zeros((6, 4))
    draws[:, -2] = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
    post = SimpleNamespace(
        drawn=np.array([0, 0, 1, 1, 2, 2]), draws=draws, fits=SimpleNamespace(explanations=explained(*told))
    )
    how = going_on(post)
    assert how.line.tolist() == [0.0, 0.0, 0.3, 0.4, 0.0, 0.0]
    assert how.dielectric.tolist() == [0.0, 0.0, 0.0, 0.0, 0.5, 0.6]


def test_a_limit_that_is_passed_already_is_no_years_off_and_one_that_ageing_reaches_so_many():
    """A tenth more a year, as a logarithm: 1.3 times in 2.62 years, found a quarter of a year later at most."""
    belief = catalogue_belief(Piece("blue 7", 7.2, line_type("RG-58C/U")))
    draws, now = belief.draws, belief.loss_db(144.3e6)
    how = GoingOn(np.full(draws, 0.1), np.zeros(draws), np.zeros(draws))
    assert set(years_until(belief, how, 144.3e6, 0.99 * now.min())) == {0.0}
    still = GoingOn(np.zeros(draws), np.zeros(draws), np.zeros(draws))
    assert np.isinf(years_until(belief, still, 144.3e6, 1.01 * now.max())).all()
    one = int(np.argmax(now))
    assert 2.5 < years_until(belief, how, 144.3e6, 1.3 * now[one])[one] <= 3.0


def test_ageing_counts_from_the_first_test_and_creeping_from_midway_between_two():
    problem = SimpleNamespace(years=np.array([2020.0, 2024.0, 2026.0, 2027.0]))
    told = [((0.1, 0.02), "line", (0.0, 0.0), -1), ((0.1, 0.06), "dielectric", (1.0, 0.6), 0)]
    ages, crept = loads_of(problem, explained(*told))
    assert ages[:, 0, 0].tolist() == [0.0, 4.0, 6.0, 7.0]
    assert crept[:, 1, 0].tolist() == [0.0, 2.0, 4.0, 5.0]
    assert crept[:, 0, 1].tolist() == [0.0, 1.0, 1.0, 1.0]


def test_two_tests_of_one_bench_share_half_their_variance_on_a_band_and_two_fifths_of_that_across_bands():
    """By hand: own share, 1.2 % for another day, 3 % of each band's own, and what the tests have in common."""
    f, sd = np.array([14.2e6, 144.3e6]), (0.04, 0.06)
    tests = [model.PieceTest(2020.0 + i, f, np.zeros(2), s**2 * np.eye(2), 20.0) for i, s in enumerate(sd)]
    found = _noise(tests, np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]), 2)
    assert found[0, 0] == pytest.approx(0.04**2 * (0.5 + 0.03 + 0.5) + 0.012**2 + 1e-6)
    assert found[0, 1] == pytest.approx(0.012**2 + 0.5 * 0.4 * 0.04**2)
    assert found[0, 2] == pytest.approx(0.5 * 0.04 * 0.06)
    assert found[0, 3] == pytest.approx(0.5 * 0.4 * 0.04 * 0.06)
    assert found == pytest.approx(found.T)


def test_a_mixture_has_the_mean_and_the_variance_of_its_draws():
    mean, variance = _mixed(0.3, (1.0, 0.04), (2.0, 0.25))
    assert mean == pytest.approx(1.7)
    assert variance == pytest.approx(0.3 * (0.04 + 0.7**2) + 0.7 * (0.25 + 0.3**2))


def test_no_exponent_is_known_better_than_to_a_hundredth():
    sharp = [MeterTest(2024.0, "pocket", 432.1e6, 0.1, 0.001, 0.12)] * 4
    assert known_exponents(sharp, 2024.0)[0].log_sd == pytest.approx(0.012)


@pytest.mark.parametrize("count", [4, 9])
def test_any_of_the_last_sessions_but_the_newest_may_be_odd_and_a_blow_lies_between_two(count):
    tests = [model.PieceTest(2015.0 + i, np.array([14.2e6]), np.zeros(1), np.eye(1), 20.0) for i in range(count)]
    told = list(_kernels(tests, np.arange(count), np.full(count, 14.2e6)))
    kinds = Counter(kind for kind, *_ in told)
    most = min(count - 1, 6)
    assert kinds == {"true": 1, "wandering": 1, "drifting": 1, "blow": most, "odd session": most}
    odd = [int(np.flatnonzero(np.diag(kernel))[0]) for kind, _, kernel in told if kind == "odd session"]
    assert odd == list(range(count - 1 - most, count - 1))


# An SWR meter held against known loads


def swr_meter(*told, year=2024.0, step=0.01):
    (found,) = known_bridges([LoadTest(2024.0, 144.3e6, ohm, swr, step) for ohm, swr in told], year)
    return found


def test_a_bridge_leaks_what_it_shows_of_a_perfect_match():
    """SWR 1.12 of a 50-ohm load is a reflection of 0.0566: 24.9 dB."""
    found = swr_meter((50.0, 1.12))
    assert np.median(found.directivity_db) == pytest.approx(24.9, abs=0.5)
    assert np.quantile(found.directivity_db, 0.95) < 28.5  # the load's own 0.01 weighs beside it
    assert (found.tests, found.agree) == (1, True)
    old = swr_meter((50.0, 1.12), year=2049.0)
    assert np.std(old.directivity_db) > 1.5 * np.std(found.directivity_db)


def test_loads_on_either_side_tell_scale_from_leak_and_are_worth_the_same():
    both = swr_meter((100.0, 2.2), (25.0, 2.2))
    assert np.median(both.scale) == pytest.approx(3 * 1.2 / 3.2, abs=0.03)  # 0.375 shown of a third
    high, low = swr_meter((100.0, 2.2)), swr_meter((25.0, 2.2))
    assert np.std(both.scale) < np.std(high.scale)
    for share in (0.1, 0.5, 0.9):
        assert np.quantile(high.scale, share) == pytest.approx(np.quantile(low.scale, share), abs=0.01)


def test_readings_that_no_bridge_can_have_shown_together_do_not_agree():
    assert not swr_meter((50.0, 1.05), (50.0, 1.9)).agree
