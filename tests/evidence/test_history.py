"""Tests of several years as one belief: what must hold whatever the figures, and the cases people met."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from linewright.catalogue import line_type
from linewright.core.nouns.bench import Piece
from linewright.inference.history import model
from linewright.inference.history.meters import MeterTest, known_exponents
from linewright.inference.history.model import PieceClaim, PieceTest, starts_of
from linewright.inference.history.posterior import belief_of, carried, changes_of, infer, rate_draws

LINE = line_type("RG-58C/U")
PIECE = Piece("black 20", 20.0, LINE, 0)
CLAIM = PieceClaim(LINE.law, True, 20.0, 0)
F = np.array([14.2e6, 144.3e6, 432.1e6])
NEW = np.log(20.0 * LINE.law.db_per_m(F))


def told(year, times, sd=0.03, *, source="bench", f=slice(None)):
    """Return a test that says the loss is ``times`` that of new line; a third of its variance is each band's own."""
    n = len(F[f])
    covariance = sd**2 * (0.7 * np.ones((n, n)) + 0.3 * np.eye(n))
    return PieceTest(year, F[f], NEW[f] + np.log(times), covariance, 20.0, 0, source)


def loss(tests, year=None, hz=144.3e6):
    """Return low, middle and high of the loss of the day as multiples of new."""
    found = belief_of(infer(CLAIM, tests, tests[-1].year if year is None else year), PIECE)
    return np.quantile(found.loss_db(hz), [0.025, 0.5, 0.975]) / np.exp(NEW[1])


def named(tests):
    return changes_of(infer(CLAIM, tests, tests[-1].year))[0]


# What must hold whatever the figures


def test_tests_of_one_day_count_alike_in_any_order():
    tests = [told(2026.0, 1.2), told(2026.0, 1.26), told(2026.0, 1.23, 0.05)]
    found = [loss(list(order)) for order in itertools.permutations(tests)]
    assert np.allclose(found, found[0], rtol=0.01)


def test_a_test_that_reads_exactly_as_predicted_widens_nothing():
    tests = [told(2022.0, 1.2), told(2024.0, 1.2)]
    predicted = belief_of(infer(CLAIM, tests, 2026.0), PIECE).loss_db(F)
    said = PieceTest(2026.0, F, np.log(predicted).mean(axis=1), 0.03**2 * np.eye(3), 20.0, 0)
    (low, _, high), (low_after, _, high_after) = loss(tests, 2026.0), loss([*tests, said])
    assert high_after - low_after < high - low


@pytest.mark.parametrize("where", [0, 1, 2, 3])
def test_a_test_of_another_piece_moves_the_loss_by_under_a_tenth_of_its_interval(where):
    tests = [told(2022.0 + i, 1.2) for i in range(4)]
    day = 2025.5
    before = loss(tests, day)
    foreign = told(2021.5 + where, 2.6, 0.03)
    wrong = replace(foreign, log_loss=foreign.log_loss + np.array([0.25, 0.0, -0.2]))
    after = loss(sorted([*tests, wrong], key=lambda t: t.year), day)
    assert abs(after[1] - before[1]) < 0.1 * (before[2] - before[0])


def test_the_newest_test_has_no_privilege():
    low, _, high = loss([told(2022.0, 1.2), told(2023.0, 1.2), told(2024.0, 1.2), told(2025.0, 1.2, 0.10)])
    assert low < 1.2 < high
    off = loss([told(2022.0, 1.2), told(2023.0, 1.2), told(2024.0, 1.2), told(2025.0, 1.45, 0.12)])
    assert abs(off[1] - 1.2) < abs(off[1] - 1.45)


def test_several_sheets_do_not_count_as_independent():
    one, ten = loss([told(2026.0, 1.2, 0.06)]), loss([told(2025.99 + i / 1000, 1.2, 0.06) for i in range(10)])
    # Half of the variance is shared: ten tests can never be surer than its root.
    assert (ten[2] - ten[0]) / (one[2] - one[0]) > 0.6


# Ageing is carried forward


@pytest.mark.parametrize("ahead", [1.0, 3.0])
def test_ageing_is_carried_forward_to_the_day_asked_for(ahead):
    rate = np.log(1.12)
    tests = [told(2020.0 + i, np.exp(rate * i), 0.02) for i in range(5)]
    low, middle, high = loss(tests, 2024.0 + ahead)
    truth = np.exp(rate * (4 + ahead))
    assert low < truth < high
    assert middle == pytest.approx(truth, rel=0.06)


def test_a_belief_grows_wider_with_every_year_without_a_test():
    tests = [told(2020.0, 1.1), told(2022.0, 1.1)]
    widths = [float(np.ptp(loss(tests, 2022.0 + years))) for years in (0, 1, 3, 8)]
    assert widths == sorted(widths)


def test_a_piece_tested_once_is_believed_as_that_test_says_on_its_day():
    belief = belief_of(infer(CLAIM, [told(2026.0, 1.2)], 2026.0), PIECE)
    assert carried(belief, 0.0) is belief
    years_on = carried(belief, 4.0).loss_db(144.3e6)
    assert np.median(years_on) >= np.median(belief.loss_db(144.3e6)) * 0.995
    assert np.ptp(np.quantile(years_on, [0.025, 0.975])) > np.ptp(np.quantile(belief.loss_db(144.3e6), [0.025, 0.975]))


# What happened is named


@pytest.mark.parametrize(
    ("years", "times", "kind", "between"),
    [
        ((2020, 2021, 2022, 2023), (1.0, 1.0, 1.0, 2.0), "step", (2, 3)),  # flat for three years, then doubled
        ((2021, 2022, 2023), (1.0, 1.29, 1.29), "step", (0, 1)),  # 3.8, 4.9 and 4.9 dB
        ((2020, 2021, 2022, 2023), (1.0, 1.11, 1.23, 1.37), "ageing", (0, 3)),  # a steady 11 % a year
        ((2020, 2021, 2022, 2023, 2024), (1.0, 1.0, 2.2, 1.0, 1.0), "other piece", (2, 2)),
        ((2020, 2021, 2022, 2023), (1.2, 1.2, 1.2, 1.2), "steady", (0, 3)),
        ((2020, 2026), (1.0, 1.02), "steady", (0, 1)),
    ],
)
def test_what_happened_is_named(years, times, kind, between):
    change = named([told(float(y), t, 0.02) for y, t in zip(years, times, strict=True)])
    assert (change.kind, (change.first, change.last)) == (kind, between)


def test_a_steady_eleven_per_cent_a_year_has_that_rate_and_loses_no_test():
    tests = [told(2020.0 + i, 1.11**i, 0.02) for i in range(5)]
    change = named(tests)
    assert change.rate_low < 0.11 < change.rate_high
    assert change.rate_per_year == pytest.approx(0.11, abs=0.015)
    assert loss(tests)[1] == pytest.approx(1.11**4, rel=0.03)  # today's figure is not the mean of the years


def test_three_that_agree_are_not_outvoted_by_one_that_does_not():
    shape = np.array([0.4, 0.0, -0.3])
    odd = told(2024.0, 1.5, 0.03)
    low, _, high = loss([told(2021.0, 1.2), told(2022.0, 1.2), told(2023.0, 1.2),
                         replace(odd, log_loss=odd.log_loss + shape)])  # fmt: skip
    assert low < 1.2 < high


def test_a_joint_made_anew_is_a_step_and_leaves_a_good_piece():
    bad = np.log(np.exp(NEW) + 1.5)  # 1.5 dB on all bands alike
    covariance = 0.03**2 * np.eye(3)
    before = [PieceTest(y, F, bad, covariance, 20.0, 0) for y in (2020.0, 2021.0)]
    after = [PieceTest(y, F, NEW, covariance, 20.0, 0) for y in (2022.0, 2023.0)]
    assert named([*before, *after]).kind == "step"
    low, _, high = loss([*before, *after])
    assert low < 1.0 < high


def test_fewer_than_one_quiet_history_in_fifty_is_said_to_have_changed():
    rng = np.random.default_rng(11)
    wrong = 0
    for _ in range(40):
        shared = 0.02 * rng.standard_normal()
        tests = [told(2020.0 + i, np.exp(shared + 0.02 * rng.standard_normal()), 0.03) for i in range(4)]
        wrong += named(tests).kind != "steady"
    assert wrong <= 1


def test_the_interval_of_a_rate_covers_the_truth():
    rng = np.random.default_rng(12)
    covered = 0
    for _ in range(25):
        rate = 0.1
        tests = [told(2020.0 + i, np.exp(rate * i + 0.02 * rng.standard_normal()), 0.03) for i in range(4)]
        low, high = np.quantile(rate_draws(infer(CLAIM, tests, 2023.0)), [0.025, 0.975])
        covered += low < rate < high
    assert covered >= 21


def test_bands_that_one_test_leaves_out_are_known_from_the_others():
    tests = [told(2022.0, 1.3, f=slice(0, 2)), told(2023.0, 1.3, f=slice(1, 3))]
    for hz in F:
        low, _, high = np.quantile(belief_of(infer(CLAIM, tests, 2023.0), PIECE).loss_db(hz), [0.025, 0.5, 0.975])
        assert low < 1.3 * 20.0 * LINE.law.db_per_m(hz) < high


def test_a_piece_that_was_cut_is_as_long_as_it_is_now():
    long = PieceTest(2020.0, F, NEW + np.log(1.5), 0.03**2 * np.eye(3), 30.0, 0)  # 30 m of new line
    low, _, high = loss([long, told(2022.0, 1.0)])
    assert low < 1.0 < high
    assert named([long, told(2022.0, 1.0)]).kind == "steady"


# The constants, each held by what it does


def test_the_constants_are_those_the_made_up_histories_chose():
    """A change of any of them wants ``benchmarks/histories.py`` run again; the page of the ledger lists them."""
    assert (model.WALK, model.REMADE, model.SHARED, model.SHARED_BANDS, model.UNEVEN) == (0.01, 0.012, 0.5, 0.4, 0.03)
    assert (model.AGES_P, model.DIELECTRIC_AGES, model.CREEPS, model.AGED_P) == (0.3, 0.15, 0.5, 0.5)
    assert (model.STEP_A_YEAR, model.STEP_BETWEEN, model.OTHER_P, model.OTHER_LOG) == (0.035, 0.015, 0.012, 0.7)
    assert (model.OTHER_BAND, model.OTHER_FREEDOM, model.ROUGH_P, model.ROUGH_LOG) == (0.25, 4.0, 0.04, 0.12)
    assert (model.BLANK_P, model.BLANK_LOG) == (0.01, 2.0)


def test_the_weights_of_all_that_may_happen_sum_to_one():
    assert sum(w for *_, w in model.RATES) == pytest.approx(1.0)
    assert sum(w for *_, w in model.WET_RATES) == pytest.approx(1.0)
    assert sum(w for steps in model.STEPS.values() for *_, w in steps) == pytest.approx(1.0)
    assert sum(np.exp(s.log_weight) for s in starts_of(CLAIM)) == pytest.approx(1.0)
    # The rates are an exponential of 5 % a year: their mean and that of an exponential beside a lump agree roughly.
    assert sum(m * w for m, _, w in model.RATES) == pytest.approx(0.05, abs=0.015)


# Meters


def shown(year, mean, sd, usual=0.12):
    return MeterTest(year, "pocket", 432.1e6, mean, sd, usual)


def test_an_exponent_that_pads_proved_is_the_prior_of_the_next_session():
    (found,) = known_exponents([shown(2024.0, np.log(1.38), 0.02)], 2024.1)
    assert (found.meter, found.frequency_hz) == ("pocket", 432.1e6)
    assert found.log_mean == pytest.approx(np.log(1.38), abs=0.02)
    assert found.log_sd < 0.03


def test_what_is_known_of_a_meter_loosens_with_the_years():
    spreads = [known_exponents([shown(2020.0, 0.1, 0.02)], 2020.0 + y)[0].log_sd for y in (0.1, 1.0, 4.0, 9.0)]
    assert spreads == sorted(spreads)
    assert spreads[3] ** 2 - spreads[0] ** 2 == pytest.approx(0.02**2 * 8.9, rel=0.05)


def test_a_session_that_shows_nothing_of_a_meter_leaves_no_prior():
    assert known_exponents([shown(2024.0, 0.01, 0.115)], 2025.0) == ()


def test_sessions_after_the_day_say_nothing():
    assert known_exponents([shown(2024.0, 0.3, 0.02)], 2023.0) == ()


def test_a_meter_that_was_dropped_is_known_as_it_reads_since():
    quiet = [shown(2020.0 + y, 0.0, 0.02) for y in range(3)]
    (found,) = known_exponents([*quiet, shown(2023.0, -0.35, 0.02)], 2023.1)
    assert found.log_mean == pytest.approx(-0.35, abs=0.05)


def test_meters_are_heard_in_any_order():
    tests = [shown(2020.0, 0.1, 0.03), shown(2021.0, 0.12, 0.02), shown(2022.0, 0.09, 0.04)]
    assert known_exponents(tests, 2023.0) == known_exponents(tests[::-1], 2023.0)
