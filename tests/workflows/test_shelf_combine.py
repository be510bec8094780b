"""Tests of several years as one belief: what is said of it, and what a single test gives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from linewright.catalogue import line_type
from linewright.cli.short import short_piece
from linewright.core.nouns.belief import Belief, Beside, Elsewhere, OneTest
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.shelf import Evidence
from linewright.inference.bench.design import law_of
from linewright.inference.history.model import PieceClaim
from linewright.inference.history.posterior import infer, p_rising, rate_draws
from linewright.present.compose.shelf import history_document
from linewright.present.writers.terminal import terminal
from linewright.verbs.combine import LEAST_U, LEAST_WEIGHT, combined, message_of
from linewright.verbs.examples import example_ledger
from linewright.verbs.history import changes_in, drift_of, history_of
from linewright.web.pages.shelf import drift_told

PIECE = Piece("blue 7", 20.0, line_type("RG-58C/U"), 0)
F = np.array([14.2e6, 144.3e6])
DRAWS = 1000


def belief(middle, spread, seed=0):
    """Return a belief whose log loss is normal about ln ``middle`` times new, at every frequency alike."""
    even = np.random.default_rng(seed).standard_normal(DRAWS)
    even = (even - even.mean()) / even.std()
    one, none = np.ones(DRAWS), np.zeros(DRAWS)
    return Belief(PIECE, PIECE.line.law, middle * np.exp(spread * even), one, one, none, none, none)


def shown(year, middle, spread, seed=0):
    return OneTest(year, F, belief(middle, spread, seed))


def dated(years, levels, spread=0.02):
    return [
        (Evidence("sheet", str(i), f"{int(year)}-{1 + int(12 * (year % 1)):02}-01", ""), shown(year, level, spread, i))
        for i, (year, level) in enumerate(zip(years, levels, strict=True))
    ]


def said_of(years, levels):
    """Return the drift that is told of tests, what speaks against any, and what happened first of all."""
    tests = dated(years, levels)
    found = combined([t for _, t in tests])
    drift, workings, against = drift_of(found, tests, float(F[1]))
    assert (drift is None) == (workings == ())
    return drift, against, changes_in(found, tests)[0]


def test_one_test_is_taken_as_it_is_on_its_day():
    only = shown(2026.0, 1.2, 0.05)
    assert combined([only]).belief is only.belief


def among_others(read):
    """Return the only test of a piece in whose session two others, the same for three years before, read ``read``."""

    def others(times):
        new = np.log(20.0 * PIECE.line.law.db_per_m(F) * times)
        return tuple(Beside(f"grey {k}", 20.0, F, new, 0.03**2 * np.eye(2)) for k in range(2))

    before = tuple(Elsewhere(f"sheet {y}", y, "bench", F, (), others(1.0)) for y in (2022.0, 2023.0, 2024.0))
    return replace(
        shown(2026.0, 1.2, 0.05), log_loss=(np.log(1.2 * np.exp(before[0].beside[0].log_loss)), 0.05**2 * np.eye(2)),
        beside=others(read), elsewhere=before,
    )  # fmt: skip


def test_one_test_hears_of_its_meters_where_others_make_it_less_likely_that_they_read_true():
    # Before, 0.67; true with 0.96, with 0.78 and with 0.10.
    sure, likelier, unsure = among_others(1.03), among_others(1.05), among_others(1.08)
    assert combined([sure]).belief is sure.belief
    assert combined([likelier]).belief is likelier.belief
    middles = [float(np.median(t.belief.loss_db(F[1]))) for t in (unsure, combined([unsure]))]
    assert middles[1] == pytest.approx(middles[0] / 1.08, rel=0.005)
    # Where its meters read true, what it says of the piece stays as it was.
    assert np.isin(combined([unsure]).belief.growth, unsure.belief.growth).mean() == pytest.approx(0.10, abs=0.02)


def test_a_test_that_speaks_alone_says_what_its_belief_says():
    message = message_of(shown(2026.0, 1.2, 0.05))
    assert message.covariance[0, 1] == pytest.approx(0.05**2, rel=0.01)
    assert message.covariance[0, 0] == pytest.approx(0.05**2 + LEAST_U**2, rel=0.01)
    assert (message.length_m, message.connectors) == (20.0, 0)


@pytest.mark.parametrize(
    ("years", "levels", "kind", "first", "last"),
    [
        ((2020, 2021, 2022, 2023), (1.0, 1.0, 1.0, 2.0), "step", "2022-01-01", "2023-01-01"),
        ((2021, 2022, 2023), (1.0, 1.29, 1.29), "step", "2021-01-01", "2022-01-01"),
        ((2020, 2021, 2022, 2023, 2024), (1.0, 1.0, 2.2, 1.0, 1.0), "other piece", "2022-01-01", "2022-01-01"),
    ],
)
def test_no_rate_is_told_where_tests_jump_and_the_days_between_are(years, levels, kind, first, last):
    drift, against, change = said_of(years, levels)
    assert drift is None
    assert (change.kind, change.first_on, change.last_on) == (kind, first, last)
    assert against == change.why
    assert first in against
    assert "%" not in against


def test_a_step_that_one_test_alone_shows_asks_for_another():
    assert "test again" in said_of((2020, 2021, 2022, 2023), (1.0, 1.0, 1.0, 2.0))[1]
    assert "test again" not in said_of((2020, 2021, 2022, 2023), (1.0, 1.0, 2.0, 2.0))[1]


def test_tests_of_one_day_that_do_not_agree_are_doubted():
    tests = [shown(2026.0, 1.0, 0.02), shown(2026.0, 1.02, 0.02, 1), shown(2026.0, 2.0, 0.02, 2)]
    assert combined(tests).doubted == (2,)


def test_steady_ageing_has_a_rate_and_its_interval():
    drift, against, change = said_of((2020, 2021, 2022, 2023), (1.0, 1.11, 1.23, 1.37))
    assert (drift.verdict, against, change.kind) == ("rising", "", "ageing")
    assert drift.percent_per_year_low < 11.0 < drift.percent_per_year_high
    assert "11 % a year" in change.why
    plain = change.to_dict()
    assert (plain["kind"], plain["from"], plain["to"]) == ("ageing", "2020-01-01", "2023-01-01")
    assert plain["rate_low"] < plain["rate_per_year"] < plain["rate_high"]


def test_the_rate_of_a_drift_is_said_once_on_page_and_terminal():
    drift, _, _ = said_of((2020, 2021, 2022, 2023), (1.0, 1.11, 1.23, 1.37))
    assert "steadily over 3.0 years, at 144.3 MHz" in drift.why
    with example_ledger() as ledger:
        known = replace(history_of(ledger, "blue 7"), drift=drift)
    for told in (drift_told(known), terminal(history_document(known, 0)), short_piece(known)):
        assert told.count("% (") == told.count(" a year") == 1
        assert " ".join(told.split()).count("probability 1.000") == 1


def test_a_quiet_history_tells_no_drift_and_says_so():
    drift, _, change = said_of((2020, 2022, 2024), (1.2, 1.21, 1.2))
    assert (drift.verdict, change.kind) == ("cannot tell", "steady")
    assert drift.percent_per_year_low <= 0.0 <= drift.percent_per_year_high
    assert change.why.startswith("Nothing shows that its loss changed between 2020-01-01 and 2024-01-01")


@pytest.mark.parametrize("levels", [(1.0, 1.03, 1.08), (1.0, 1.05, 1.1), (1.0, 1.0, 1.09), (1.0, 1.08, 1.08)])
def test_the_interval_of_a_drift_holds_nought_where_it_cannot_be_told(levels):
    drift, _, _ = said_of((2020, 2022, 2024), levels)
    if drift is not None:
        assert (drift.verdict == "cannot tell") <= (drift.percent_per_year_low <= 0.0)
        assert (drift.percent_per_year_low > 0.0) <= (drift.verdict == "rising")


def test_a_rise_that_may_be_a_step_or_steady_says_so_and_tells_no_rate():
    found = [said_of((2020, 2023), (1.0, level))[0] for level in np.arange(1.2, 1.7, 0.05)]
    unsure = [d for d in found if d is not None and d.verdict == "rising" and d.percent_per_year_low <= 0.0]
    assert all("whether steadily or in one step" in d.why for d in unsure)
    assert all("% a year" not in d.why for d in unsure)


def test_an_explanation_below_even_odds_is_called_possible():
    tests = dated((2020, 2022, 2024), (1.0, 1.05, 1.1))
    for change in changes_in(combined([t for _, t in tests]), tests):
        doubtful = change.kind != "steady" and change.p < 0.5
        assert (" may " in change.why) == doubtful, change.why
        assert not doubtful or "% a year" not in change.why


def test_one_day_tells_no_drift():
    tests = dated((2026.0, 2026.0), (1.0, 1.0))
    assert drift_of(combined([t for _, t in tests]), tests, float(F[0])) == (None, (), "")
    assert drift_of(combined([tests[0][1]]), tests[:1], float(F[0])) == (None, (), "")


def test_what_is_remembered_of_a_history_is_smaller_and_says_the_same():
    tests = [t for _, t in dated((2020, 2021, 2022, 2023), (1.0, 1.11, 1.23, 1.37))]
    claim = PieceClaim(law_of(PIECE), True, PIECE.length_m, PIECE.connectors)
    whole, kept = infer(claim, [message_of(t) for t in tests], 2023.0), combined(tests).history
    assert len(kept.weight) < len(whole.weight) / 2
    assert kept.weight.sum() == pytest.approx(1.0, abs=1e-5)
    assert kept.weight.min() > LEAST_WEIGHT
    assert p_rising(kept) == pytest.approx(p_rising(whole), abs=1e-5)
    assert np.array_equal(rate_draws(kept), rate_draws(whole))
    named = [whole.fits.explanations[k] for k in whole.drawn[:50]]
    assert [kept.fits.explanations[k] for k in kept.drawn[:50]] == named
