"""Tests of several years as one belief, and the drift they show, held against closed forms and known truth."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.catalogue import line_type
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.shelf import Evidence
from linewright.verbs.combine import AGEING, LEAST_U, OneTest, combined
from linewright.verbs.history import REMADE, disagreement, drift_of

PIECE = Piece("blue 7", 20.0, line_type("RG-58C/U"), 0)
F = np.array([14.2e6])
DRAWS = 4000


def belief(middle, spread, seed=0):
    """Return a belief whose log loss is normal about ln ``middle`` times new, at every frequency alike."""
    even = np.random.default_rng(seed).standard_normal(DRAWS)
    even = (even - even.mean()) / even.std()
    one, none = np.ones(DRAWS), np.zeros(DRAWS)
    return Belief(PIECE, PIECE.line.law, middle * np.exp(spread * even), one, one, none, none, none)


def log_loss(found):
    y = np.log(found.loss_db(F)[0] / (20.0 * float(PIECE.line.law.db_per_m(F[0]))))
    return float(y.mean()), float(y.std())


def shown(year, middle, spread, prior=None, seed=0):
    return OneTest(year, F, belief(middle, spread, seed), None if prior is None else belief(*prior, seed=99))


def test_one_test_is_taken_as_it_is():
    only = shown(2026.0, 1.2, 0.05)
    assert (combined([only]).belief, combined([only]).left_out) == (only.belief, ())


def test_a_test_that_taught_nothing_moves_nothing():
    newest = shown(2026.0, 1.2, 0.05)
    silent = OneTest(2026.0, F, belief(1.5, 0.4), belief(1.5, 0.4))
    joint = combined([silent, newest])
    found, left_out = joint.belief, joint.left_out
    assert log_loss(found) == log_loss(newest.belief)
    assert left_out == ()


@pytest.mark.parametrize("years", [0.0, 1.0, 4.0])
def test_two_tests_join_as_normal_distributions_do(years):
    # Products of normal densities: precisions add (any textbook of statistics); the older test's own precision is
    # its posterior's less its prior's, and the years add variance.
    prior, old, new = (1.5, 0.40), (1.30, 0.06), (1.36, 0.05)
    joint = combined([shown(2026.0 - years, *old, prior, seed=1), shown(2026.0, *new, seed=2)])
    found, left_out = joint.belief, joint.left_out
    told, before = 1 / (old[1] ** 2 + LEAST_U**2), 1 / (prior[1] ** 2 + LEAST_U**2)
    own = told - before
    says = (told * np.log(old[0]) - before * np.log(prior[0])) / own
    weight = np.array([1 / new[1] ** 2, 1 / (1 / own + AGEING**2 * years)])
    middle = float(weight @ [np.log(new[0]), says] / weight.sum())
    assert left_out == ()
    assert log_loss(found)[0] == pytest.approx(middle, abs=0.004)
    assert log_loss(found)[1] == pytest.approx(weight.sum() ** -0.5, rel=0.06)


def test_a_test_that_contradicts_is_left_out_and_named():
    newest = shown(2026.0, 2.0, 0.03)
    found = combined([shown(2025.0, 1.0, 0.03, seed=1), newest])
    assert (found.left_out, found.at_odds) == ((0,), ())
    assert found.belief is newest.belief


def test_of_two_tests_of_one_day_that_contradict_each_other_neither_goes_first():
    # The variances grow by chi-square over degrees (Birge): two tests of one spread meet in the middle, and with a
    # difference d each is as wide as d / sqrt(2), the two together as d / 2.
    low, high = shown(2026.0, 1.0, 0.03, seed=1), shown(2026.0, 2.0, 0.03)
    for tests in ([low, high], [high, low]):
        found = combined(tests)
        middle, spread = log_loss(found.belief)
        assert (found.left_out, found.at_odds) == ((), (0,))
        assert middle == pytest.approx(0.5 * np.log(2.0), abs=0.03)
        assert spread == pytest.approx(0.5 * np.log(2.0), rel=0.08)


def test_twenty_years_forgive_what_one_year_does_not():
    old, new = (1.0, 0.03), (1.35, 0.03)
    assert combined([shown(2025.0, *old, seed=1), shown(2026.0, *new)]).left_out == (0,)
    assert combined([shown(2006.0, *old, seed=1), shown(2026.0, *new)]).left_out == ()


def _years(years, rise, spread, rng):
    """Return tests of a piece whose log loss rises by ``rise`` a year, each off by its own spread."""
    found = []
    for i, year in enumerate(years):
        middle = np.exp(rise * (year - years[0]) + np.hypot(spread, REMADE) * rng.standard_normal())
        evidence = Evidence("sheet", f"{year}", f"{int(year)}-01-01", "")
        found.append((evidence, shown(year, middle, spread, seed=i)))
    return found


@pytest.mark.parametrize("rise", [0.0, 0.04])
@pytest.mark.parametrize("years", [(2020.0, 2026.0), (2018.0, 2020.5, 2023.0, 2026.0)])
def test_the_interval_of_a_drift_covers_the_truth_as_often_as_it_says(rise, years):
    rng = np.random.default_rng(7)
    covered = risen = 0
    for _ in range(200):
        drift, _ = drift_of(_years(years, rise, 0.03, rng), float(F[0]))
        truth = 100.0 * np.expm1(rise)
        covered += drift.percent_per_year_low <= truth <= drift.percent_per_year_high
        risen += drift.verdict == "rising"
    # 95 % of 200 is 190; three standard deviations of a binomial below that is 181.
    assert covered >= 181
    assert risen <= 14 if rise == 0.0 else risen > 190


def test_one_day_tells_no_drift():
    rng = np.random.default_rng(1)
    assert drift_of(_years((2026.0, 2026.0), 0.0, 0.03, rng), float(F[0])) == (None, ())
    assert drift_of(_years((2026.0,), 0.0, 0.03, rng), float(F[0])) == (None, ())


def test_tests_that_scatter_more_than_they_admit_make_the_drift_less_sure():
    tests = _years((2020.0, 2022.0, 2024.0, 2026.0), 0.03, 0.01, np.random.default_rng(3))
    smooth, rough = (
        [(e, shown(t.year, m, 0.01)) for (e, t), m in zip(tests, levels, strict=True)]
        for levels in ((1.0, 1.01, 1.02, 1.03), (1.0, 1.05, 1.0, 1.06))
    )
    narrow, wide = (drift_of(x, float(F[0]))[0] for x in (smooth, rough))
    assert wide.percent_per_year_high - wide.percent_per_year_low > 1.3 * (
        narrow.percent_per_year_high - narrow.percent_per_year_low
    )
    assert wide.verdict == "cannot tell"


def _told(years, levels, spread=0.02):
    """Return whether a rate is told of tests of these multiples of new, and what is said where they do not agree."""
    tests = [
        (Evidence("sheet", str(i), f"{int(year)}-{1 + int(12 * (year % 1)):02}-01", ""), shown(year, level, spread))
        for i, (year, level) in enumerate(zip(years, levels, strict=True))
    ]
    drift, workings = drift_of(tests, float(F[0]))
    assert (drift is None) == (workings == ())
    return drift is not None, disagreement(tests, float(F[0]))


@pytest.mark.parametrize(
    ("years", "levels", "first", "last"),
    [
        ((2026.2, 2026.75), (1.0, 1.98), "2026-03-01", "2026-10-01"),  # a sweep of quite another cable
        ((2020, 2021, 2022, 2023), (1.0, 1.0, 1.0, 2.0), "2022-01-01", "2023-01-01"),  # flat, then doubled
        ((2021, 2022, 2023), (3.8, 4.9, 4.9), "2021-01-01", "2022-01-01"),
        ((2021, 2022), (3.8, 4.9), "2021-01-01", "2022-01-01"),
        ((2020, 2021, 2022, 2023, 2024), (1.0, 1.0, 1.5, 1.0, 1.0), "2021-01-01", "2023-01-01"),  # one of another piece
        ((2020, 2022, 2024, 2026), (1.0, 1.3, 0.95, 1.25), "2022-01-01", "2024-01-01"),  # up and down
    ],
)
def test_no_rate_is_told_where_tests_jump_and_the_days_between_are(years, levels, first, last):
    told, said = _told(years, levels)
    assert not told
    assert said.startswith(f"These tests do not agree: another piece, or a change between {first} and {last}.")
    assert "%" not in said


def test_tests_of_one_day_that_do_not_agree_are_said_to_be_wrong_or_of_another_piece():
    told, said = _told((2026, 2026), (1.0, 1.0))
    assert (told, said) == (False, "")
    assert "one of them is wrong, or of another piece" in _told((2026, 2026), (1.0, 1.5))[1]


@pytest.mark.parametrize(
    ("years", "levels"),
    [((2020, 2021, 2022, 2023), (1.0, 1.11, 1.23, 1.37)), ((2023, 2026), (1.0, 1.35)), ((2020, 2026), (1.0, 1.02))],
)
def test_steady_ageing_is_no_disagreement(years, levels):
    assert _told(years, levels) == (True, "")


FIVE_YEARS = (2020.0, 2021.0, 2022.0, 2023.0, 2024.0)


@pytest.mark.parametrize("rise", [0.0, 0.04, 0.10])
def test_fewer_than_one_steady_history_in_fifty_is_said_not_to_agree(rise):
    rng = np.random.default_rng(5)
    wrong = sum(bool(disagreement(_years(FIVE_YEARS, rise, 0.03, rng), float(F[0]))) for _ in range(300))
    assert wrong <= 6


def test_nine_steps_of_a_third_in_ten_are_seen():
    # Six standard uncertainties of the difference: REMADE and 3 % together, of three tests before and two after.
    rng = np.random.default_rng(5)
    seen = 0
    for _ in range(300):
        tests = _years(FIVE_YEARS, 0.0, 0.03, rng)
        later = [(e, OneTest(t.year, F, t.belief.at_state(t.belief.state() + _rise(t)), None)) for e, t in tests]
        seen += bool(disagreement(later, float(F[0])))
    assert seen >= 276


def _rise(test):
    """Return what lifts the log loss of a test after the middle of 2022 by 0.3."""
    lift = np.zeros((test.belief.state().shape[0], 1))
    lift[3] = 0.3 * (test.year > 2022.5)
    return lift
