"""Tests of several years as one belief: what must hold whatever the figures, and the cases people met."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from linewright.catalogue import line_type
from linewright.core.nouns.belief import Beside
from linewright.core.nouns.bench import Piece
from linewright.inference.history import fits, model, sessions
from linewright.inference.history.meters import (
    BottomTest,
    MeterTest,
    gain_tests,
    known_bottoms,
    known_exponents,
    known_gains,
)
from linewright.inference.history.model import PieceClaim, PieceTest, starts_of
from linewright.inference.history.posterior import (
    belief_of,
    carried,
    changes_of,
    doubted_tests,
    infer,
    rate_draws,
    sessions_off,
)
from linewright.inference.priors import DEFAULT

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
def test_explanations_fitted_in_small_lots_say_the_same(monkeypatch):
    tests = [told(2020.0, 1.0), told(2023.0, 1.3)]
    whole = infer(CLAIM, tests, 2024.0)
    monkeypatch.setattr(fits, "AT_ONCE", 7)
    lots = infer(CLAIM, tests, 2024.0)
    np.testing.assert_allclose(lots.weight, whole.weight, rtol=1e-9)
    np.testing.assert_allclose(lots.fits.mode, whole.fits.mode, atol=1e-9)
    assert lots.fits.explanations == whole.fits.explanations


def test_the_covariance_of_an_explanation_is_that_of_its_unknowns_given_the_tests():
    post = infer(CLAIM, [told(2020.0, 1.0), told(2023.0, 1.02)], 2024.0)
    best = np.array([post.weight.argmax()])
    (found,) = fits.covariances(post.problem, post.fits, best)
    assert np.linalg.eigvalsh(found).min() > -1e-12
    prior = post.problem.starts[post.fits.explanations[best[0]].start].spread[0] ** 2
    # Both tests at 3 % tell the level within 3 %; before, it stood open by some 8.
    assert found[0, 0] < 0.05**2 < prior


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


@pytest.mark.parametrize("step", [0.0, 0.05, 0.2, 0.4])
def test_the_last_digit_of_a_test_moves_no_other_digit_of_the_loss(step):
    told_once, moved = ([told(2020.0 + k, 1.0 + step * k + by) for k in range(3)] for by in (0.0, 1e-12))
    assert loss(moved, 2024.0) == pytest.approx(loss(told_once, 2024.0), rel=1e-9)


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


@pytest.mark.parametrize("ahead", [1.0, 3.0, 4.0])
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
    assert doubted_tests(infer(CLAIM, tests, 2024.0)) == ()
    assert change.rate_low < 0.11 < change.rate_high
    assert change.rate_per_year == pytest.approx(0.11, abs=0.015)
    assert loss(tests)[1] == pytest.approx(1.11**4, rel=0.03)  # today's figure is not the mean of the years


def test_a_step_leaves_no_test_out():
    tests = [told(2021.0 + i, t, 0.02) for i, t in enumerate((1.0, 1.29, 1.29))]  # 3.8 dB, then 4.9 and 4.9
    assert doubted_tests(infer(CLAIM, tests, 2023.0)) == ()


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


def test_a_bad_joint_that_the_last_test_alone_does_not_show_was_mended():
    bad = np.log(1.5 * np.exp(NEW) + 0.8)  # 0.8 dB on all bands alike, on a worn piece
    coarse = np.diag([0.15, 0.08, 0.06]) ** 2 + 0.03**2
    before = [PieceTest(y, F, bad, coarse, 20.0, 0) for y in (2021.0, 2022.0)]
    tests = [*before, told(2023.5, 1.3, 0.07)]
    change = named(tests)
    assert change.kind == "step"
    assert change.p > 0.8
    low, middle, high = loss(tests)
    assert low < 1.3 < high
    assert middle == pytest.approx(1.3, rel=0.06)


def test_a_joint_that_goes_bad_is_a_step_and_no_test_of_another_piece():
    one = PieceClaim(LINE.law, True, 4.0, 0)
    new = np.log(4.0 * LINE.law.db_per_m(F))
    covariance = 0.08**2 * (0.7 * np.ones((3, 3)) + 0.3 * np.eye(3))
    sound, bad = (
        PieceTest(y, F, x, covariance, 4.0, 0) for y, x in ((2024.0, new), (2026.0, np.log(np.exp(new) + 2.8)))
    )
    first = changes_of(infer(one, [sound, bad], 2026.0))[0]
    assert (first.kind, first.p > 0.9) == ("step", True)


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


# How the meters of a session read: a factor that all its pieces show


def on_one_bench(years, mine, others, sd=0.03):
    """Return tests of a piece, each with what the same session says of three others; all as multiples of new."""
    covariance = sd**2 * (0.7 * np.ones((3, 3)) + 0.3 * np.eye(3))
    found = []
    for i, year in enumerate(years):
        beside = [
            Beside(f"grey {k}", 10.0 + k, F, NEW + np.log(0.5 + 0.2 * k) + np.log(times[i]), covariance)
            for k, times in enumerate(others)
        ]
        found.append(replace(told(float(year), mine[i], sd), beside=tuple(beside)))
    return found


YEARS = (2020, 2021, 2022, 2023)


def test_what_all_pieces_of_a_session_show_is_the_meters_and_no_change_of_a_piece():
    off = (1.2, 1.2, 1.2, 1.5)
    alone = [told(float(y), t) for y, t in zip(YEARS, off, strict=True)]
    assert named(alone).kind != "steady"
    tests = on_one_bench(YEARS, off, [(1.0, 1.0, 1.0, 1.25)] * 3)
    assert named(tests).kind == "steady"
    low, middle, high = loss(tests)
    assert low < 1.2 < high
    assert middle == pytest.approx(1.2, rel=0.03)


def test_a_session_whose_meters_read_off_is_told_with_how_much():
    tests = on_one_bench(YEARS, (1.2, 1.2, 1.2, 1.5), [(1.0, 1.0, 1.0, 1.25)] * 3)
    ((session, by),) = sessions_off(infer(CLAIM, tests, 2023.0))
    assert session == 3
    assert by == pytest.approx(np.log(1.25), abs=0.03)
    quiet = on_one_bench(YEARS, (1.2, 1.2, 1.2, 1.5), [(1.0, 1.0, 1.0, 1.0)] * 3)
    assert sessions_off(infer(CLAIM, quiet, 2023.0)) == ()


def test_several_meters_that_agree_are_hardly_off_together():
    tests = on_one_bench(YEARS, (1.2, 1.2, 1.2, 1.7), [(1.0, 1.0, 1.0, 1.4)] * 2)
    several = [replace(t, meters=(2,) * len(F)) for t in tests]
    true = [next(s.log_weight for s in infer(CLAIM, t, 2023.0).problem.meters if s.kind == "true")
            for t in (tests, several)]  # fmt: skip
    assert true[1] > true[0] + np.log(3.0)


def test_tags_exchanged_on_an_evening_are_wrong_in_its_sheet_and_its_sweep():
    mine, grey = (1.05, 1.05, 1.05, 3.0), (6.0, 6.0, 6.0, 2.1)  # grey 0 is half as long: what one lost, the other does
    tests = [*on_one_bench(YEARS, mine, [grey], 0.05), told(2023.0, 3.0, 0.03, source="sweep")]
    assert named(tests).kind == "other piece"
    assert doubted_tests(infer(CLAIM, tests, 2023.0)) == (3, 4)
    low, middle, high = loss(tests)
    assert low < middle < 1.25
    assert high < 1.3  # what stands under the other tag that evening is this piece: no step is left


def test_bad_plugs_that_others_got_rid_of_are_no_blow_to_the_meter():
    tests = on_one_bench(YEARS, (1.2,) * 4, [(6.8, 6.8, 1.0, 1.0), (2.6, 2.6, 1.0, 1.0), (2.0, 2.0, 1.0, 1.0)])
    assert loss(tests)[1] == pytest.approx(1.2, rel=0.05)


def test_a_meter_that_drifts_makes_no_piece_age():
    drift = [1.03**i for i in range(6)]
    years = range(2018, 2024)
    assert named([told(float(y), 1.2 * d) for y, d in zip(years, drift, strict=True)]).kind == "ageing"
    tests = on_one_bench(years, [1.2 * d for d in drift], [drift] * 3)
    assert named(tests).kind == "steady"


def test_a_band_on_which_several_meters_agree_is_hardly_off():
    """Two meters on 14.2 MHz, one on the others: what all pieces show on 14.2 MHz too is no single meter's."""
    tests = on_one_bench(YEARS, (1.2, 1.2, 1.2, 1.7), [(1.0, 1.0, 1.0, 1.4)] * 2)
    posts = [infer(CLAIM, [replace(t, meters=m) for t in tests], 2023.0) for m in ((1, 1, 1), (2, 1, 1))]
    one, two = (next(s.log_weight for s in p.problem.meters if s.kind == "true") for p in posts)
    assert two > one + np.log(3.0)


def test_a_piece_whose_neighbours_age_is_likelier_to_age():
    grown = [[(1.0 + rate) ** i for i in range(6)] for rate in (0.09, 0.12, 0.05)]
    years, mine = range(2018, 2024), (1.0, 1.02, 1.03, 1.05, 1.07, 1.08)
    among_ageing, among_steady = (on_one_bench(years, mine, others) for others in (grown, [(1.0,) * 6] * 3))
    chances = [
        {c.kind: c.p for c in changes_of(infer(CLAIM, t, 2023.0))}["ageing"] for t in (among_ageing, among_steady)
    ]
    assert chances[0] > 1.3 * chances[1]
    both = [
        on_one_bench((2018, 2023), (1.0, 1.5), [(1.0, 1.0 + 0.5 * k) for k in some]) for some in ((1, 1, 1), (0, 0, 0))
    ]
    ages = [{s.kind: s.ages_p for s in infer(CLAIM, t, 2023.0).problem.meters}["true"] for t in both]
    assert ages == [model.AGES_P] * 2  # two tests do not tell ageing from a step
    swept = [*both[0], told(2023.0, 1.5, source="sweep")]
    assert all(s.ages_p == model.AGES_P for s in infer(CLAIM, swept, 2023.0).problem.meters)  # nor do two of one day


def test_two_days_that_are_left_beside_a_wrong_tag_are_carried_on_as_a_step_too():
    """Read on three days, the last a test of another piece: the others, which age, do not make ageing likelier."""
    others = [(1.0, (1.0 + rate) ** 4, (1.0 + rate) ** 5) for rate in (0.12, 0.14, 0.10)]
    tests = on_one_bench((2017, 2021, 2022), (1.0, 2.0, 2.0), others)
    wrong = replace(tests[2], log_loss=tests[2].log_loss + np.array([0.6, 0.1, -0.5]))
    post = infer(CLAIM, [*tests[:2], wrong], 2024.0)
    (true,) = (k for k, s in enumerate(post.problem.meters) if s.kind == "true")
    assert post.problem.meters[true].ages_p > 2.0 * model.AGES_P
    assert doubted_tests(post) == (2,)
    ages = [e.log_weight for e in post.fits.explanations if e.other == (2,) and e.meters == true and not e.rough
            and not e.blank and e.rate == model.RATES[1][:2] and e.rate_of == "line" and e.step_after < 0]  # fmt: skip
    line = model.OTHER_P * model.AGES_P * (1.0 - model.DIELECTRIC_AGES) * model.RATES[1][2]
    assert ages == pytest.approx([np.log(line)] * len(ages))
    assert len(ages) > 0
    assert {c.kind: c.p for c in changes_of(post)}["step"] > 0.3


def test_pieces_that_all_lie_in_the_weather_age_and_the_meter_does_not_drift():
    grown = [[(1.0 + rate) ** i for i in range(6)] for rate in (0.09, 0.06, 0.12, 0.04)]
    assert named(on_one_bench(range(2018, 2024), grown[0], grown[1:])).kind == "ageing"


def test_what_one_piece_of_a_session_shows_alone_is_its_own():
    quiet = [(1.0, 1.0, 1.0, 1.0)] * 3
    assert named(on_one_bench(YEARS, (1.0, 1.0, 1.5, 1.5), quiet)).kind == "step"
    assert named(on_one_bench(YEARS, (1.0, 1.11, 1.23, 1.37), quiet)).kind == "ageing"
    low, _, high = loss(on_one_bench(YEARS, (1.0, 1.0, 1.5, 1.5), quiet))
    assert low < 1.5 < high


def test_another_piece_that_changed_is_no_change_of_the_meters():
    tests = on_one_bench(YEARS, (1.2, 1.2, 1.2, 1.2), [(1, 1, 1, 1), (1, 1, 1, 1), (1, 1, 1.8, 1.8)])
    assert named(tests).kind == "steady"
    assert loss(tests)[1] == pytest.approx(1.2, rel=0.02)


def test_a_test_that_fits_another_piece_of_the_session_is_of_that_one():
    steady = [(1, 1, 1, 1)] * 3
    swapped = (1.2, 1.2, 1.2, 0.7)  # as the second of the others is read in every session
    tests = on_one_bench(YEARS, swapped, steady)
    assert (named(tests).kind, named(tests).first) == ("other piece", 3)
    low, _, high = loss(tests)
    assert low < 1.2 < high
    assert named([replace(t, beside=()) for t in tests]).kind == "step"


def test_a_piece_that_was_read_under_anothers_tag_that_day_was_exchanged_and_did_not_step():
    mine, others = (1.05, 1.05, 2.0), ((4.0, 4.0, 2.1), (4.0, 4.0, 4.0))  # grey 0 is half as long
    chances = []
    for grey in others:
        post = infer(CLAIM, on_one_bench(YEARS[:3], mine, [grey, (1.0,) * 3, (1.0,) * 3], 0.1), 2022.0)
        chances.append({c.kind: c.p for c in changes_of(post)}["other piece"])
    assert chances[0] > 0.7
    assert chances[1] < 0.3


def test_tags_that_others_exchanged_are_no_matter_of_a_piece_that_reads_as_ever():
    # Grey 1 loses what this piece loses; on the last day its tag and that of grey 2 are exchanged.
    grey = [(1.0, 1.0, 1.0), (1.0, 1.0, 2.7 / 0.7), (3.0, 3.0, 0.7 / 0.9)]
    assert named(on_one_bench(YEARS[:3], (0.7, 0.7, 0.7), grey, 0.15)).kind == "steady"


def test_the_pieces_beside_one_may_stand_in_any_order():
    tests = on_one_bench(YEARS, (1.2, 1.2, 1.2, 1.5), [(1, 1, 1, 1.25), (1, 1, 1.02, 1.2), (1, 1, 0.98, 1.3)])
    turned = [replace(t, beside=t.beside[::-1]) for t in tests]
    assert loss(tests) == pytest.approx(loss(turned), rel=1e-9)


def test_a_piece_read_alone_says_nothing_about_the_meters():
    tests = [told(float(y), 1.2) for y in YEARS]
    (state,) = infer(CLAIM, tests, 2023.0).problem.meters
    assert (state.kind, state.log_weight, state.mean.any()) == ("true", 0.0, False)


# The constants, each held by what it does


def test_the_constants_are_those_the_made_up_histories_chose():
    """A change of any of them wants ``benchmarks/histories.py`` run again; the page of the ledger lists them."""
    assert (model.WALK, model.REMADE, model.SHARED, model.SHARED_BANDS, model.UNEVEN) == (0.01, 0.012, 0.5, 0.4, 0.03)
    assert (model.AGES_P, model.DAYS, model.DIELECTRIC_AGES, model.CREEPS) == (0.14, 3, 0.15, 0.5)
    assert (model.STEP_A_YEAR, model.STEP_BETWEEN, model.OTHER_P, model.OTHER_LOG) == (0.035, 0.015, 0.012, 0.7)
    assert (model.OTHER_FREEDOM, model.ROUGH_P, model.ROUGH_LOG) == (4.0, 0.04, 0.12)
    assert model.OTHER_BANDS == ((0.06, 0.4), (0.25, 0.6))
    assert (model.BLANK_P, model.BLANK_LOG) == (0.01, 2.0)
    assert (model.BETWEEN_LOG, model.BEYOND) == (0.05, 0.2)
    assert (model.MENDED_P, model.STEPS["repair"]) == (0.1, ((-0.08, 0.07, 0.12),))
    assert model.STEPS["line"] == ((0.45, 0.25, 0.40), (-0.3, 0.25, 0.08))
    assert model.STEPS["dielectric"] == ((1.0, 0.6, 0.14), (2.0, 0.7, 0.06))
    assert model.STEPS["joint"] == ((1.5, 1.2, 0.20),)
    assert (model.EXCHANGED_P, model.EXCHANGED_LOG, model.OTHER_STEPS_P) == (0.5, 0.04, 0.1)
    assert (fits.AS_EVER_LOG, fits.FAR_LOG) == (0.1, 0.7)
    assert (sessions.WANDERS_P, sessions.WANDERS_LOG) == (0.10, 0.06)
    assert (sessions.DRIFTS_P, sessions.DRIFTS_LOG) == (0.05, 0.03)
    assert (sessions.BLOW_A_YEAR, sessions.BLOW_BETWEEN, sessions.BLOW_LOG) == (0.03, 0.01, 0.18)
    assert (sessions.ODD_P, sessions.ODD_LOG, sessions.ALIKE) == (0.01, 0.15, 0.95)
    assert (sessions.STEP_LOGS, sessions.AGES_LOG) == (((0.5, 0.7), (1.5, 0.3)), 0.06)
    assert (sessions.MOST_OTHERS, sessions.MOST_ELSEWHERE) == (8, 8)
    assert (sessions.SEVERAL, sessions.WEATHER_P, sessions.WEATHER_AGES_P) == (0.5, 0.15, 0.6)


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


@pytest.mark.parametrize(
    ("usual", "before"),
    [(DEFAULT.exponent_in, DEFAULT.exponent_shift_in), (DEFAULT.exponent_out, DEFAULT.exponent_shift_out)],
)
def test_sessions_that_show_what_the_bench_takes_any_meter_for_leave_it_there(usual, before):
    tests = [shown(2020.0 + i, before, 0.6 * usual, usual) for i in range(4)]
    assert known_exponents(tests, 2023.0)[0].log_mean == pytest.approx(before, abs=1e-6)


def test_knowledge_of_a_meter_loosens_with_the_years():
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


# Bottoms: below which level a meter shows nothing


def slept(year, *levels, awake=-3.0, usual=-10.0):
    return BottomTest(year, "pocket", 432.1e6, tuple((v, 0.2) for v in levels), awake, usual)


def test_a_meter_that_showed_nothing_of_a_level_wakes_up_above_it_and_below_what_it_showed():
    (found,) = known_bottoms([slept(2024.0, -6.0, -5.5, awake=-4.0)], 2024.0)
    assert -6.0 < found.level_db < -3.5
    assert found.sd_db < 1.0


def test_a_meter_that_sleeps_on_its_first_step_alone_is_not_told_of():
    assert known_bottoms([slept(2024.0, -12.0)], 2024.0) == ()


def test_one_reading_of_nothing_that_others_contradict_is_a_slip():
    assert known_bottoms([slept(2024.0, -6.0), slept(2024.5, -12.0, awake=-9.5)], 2025.0) == ()


def test_what_is_known_of_a_bottom_loosens_with_the_years_and_later_sessions_say_nothing():
    tests = [slept(2020.0, -6.0, -5.5, awake=-4.0)]
    spreads = [known_bottoms(tests, 2020.0 + y)[0].sd_db for y in (0.0, 2.0, 8.0)]
    assert spreads == sorted(spreads)
    assert known_bottoms(tests, 2019.0) == ()


# Gains: what one meter shows of a power beside another


def side_by_side(shows, rated=(1e6, 60e6), extra=()):
    """A sheet of two meters that read one reference on 14.2 MHz: the first shows ``shows`` watts, the second 10 W."""
    from linewright.core.nouns.bench import BenchSheet, Meter, Reading

    meters = (Meter("pocket", division=0.01, rated_hz=rated), Meter("desk", division=0.01, rated_hz=(1e6, 60e6)))
    read = [("pocket", shows), ("desk", 10.0)] * 2
    rows = tuple(Reading(i, name, 14.2e6, (), watts) for i, (name, watts) in enumerate(read))
    return BenchSheet("side by side", meters, (), (*rows, *extra))


def gains(*sheets, year=2024.0, of="pocket"):
    tests = [t for i, s in enumerate(sheets) for t in gain_tests(s, 2020.0 + i, f"sheet {i}")]
    return [g for g in known_gains(tests, year) if g.meter == of]


def test_a_meter_beside_a_better_one_has_a_gain():
    (found,) = gains(side_by_side(12.59, rated=(100e6, 470e6)), year=2020.0)
    assert (found.against, found.peers) == ("desk", False)
    assert found.gain_db == pytest.approx(1.0, abs=0.01)
    assert 0.15 < found.sd_db < 0.25
    assert gains(side_by_side(12.59, rated=(100e6, 470e6)), of="desk") == []


def test_two_meters_in_their_rated_bands_are_no_yardstick_for_each_other():
    assert [g.peers for of in ("pocket", "desk") for g in gains(side_by_side(12.59), of=of)] == [True, True]


def test_sessions_sharpen_a_gain_and_years_loosen_it():
    sheet = side_by_side(12.59, rated=None)
    once, thrice = gains(sheet, year=2020.0)[0].sd_db, gains(sheet, sheet, sheet, year=2022.0)[0].sd_db
    assert thrice < once < gains(sheet, year=2030.0)[0].sd_db


def test_a_meter_that_was_dropped_shows_its_new_gain():
    sheets = [side_by_side(10.0, rated=None)] * 3 + [side_by_side(5.0, rated=None)]
    (found,) = gains(*sheets, year=2023.1)
    assert found.gain_db == pytest.approx(-3.0, abs=0.3)


def test_a_scale_without_watts_has_no_gain():
    sheet = side_by_side(12.59, rated=None)
    meters = (replace(sheet.meters[0], scale="volts"), sheet.meters[1])
    assert gains(replace(sheet, meters=meters)) == []
