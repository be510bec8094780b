"""Sessions that were read with one meter: what is not known of it is wrong in all of them alike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence.benches import THIN, sheet_of, true_loss_db
from linewright.core.nouns.belief import MeterDoubt, OneTest
from linewright.core.nouns.bench import Attenuator, Meter, Piece
from linewright.inference.bench.pieces import messages_of
from linewright.inference.history.meters import WALK, common_doubt
from linewright.verbs.combine import combined

BANDS_HZ = (14.2e6, 144.3e6, 432.1e6)
METER = Meter("pocket meter", "watts", 0.001)
"""Nobody says for which bands it was made."""
PADS = (Attenuator("pad 3", 3.0), Attenuator("pad 6", 6.0))


def session(year, exponent, piece, seed, pads=()):
    """Return one yearly test of a piece by itself, its meter showing every decibel ``exponent`` times."""
    rng = np.random.default_rng([seed, round(year)])
    paths = ["reference", piece.tag, *(p.tag for p in pads), "reference"]
    lost = {p.tag: p.loss_db for p in pads}
    rows = []
    for f in BANDS_HZ:
        for path in paths:
            db = exponent * lost.get(path, _loss_db(piece, f) if path == piece.tag else 0.0)
            db += 0.03 * rng.standard_normal()
            rows.append((METER, f, path, round(10.0 * 10.0 ** (-db / 10.0), 3)))
    said = messages_of(sheet_of(rows, [piece], attenuators=pads))
    f, *told = said.losses[piece.tag]
    return OneTest(year, f, said.beliefs[piece.tag], None, (told[0], told[1]), doubt=said.doubts[piece.tag])


def _loss_db(piece, frequency_hz):
    return true_loss_db("blue 7", frequency_hz) * piece.length_m / 7.0


def ends(tests):
    """Return low, middle and high of the loss on each band, (3, bands)."""
    return np.quantile(combined(tests).belief.loss_db(np.array(BANDS_HZ)), [0.025, 0.5, 0.975], axis=1)


def years(exponent, seed, pads=(), sessions=3):
    piece = Piece("black 1", 12.0 + seed, THIN, 2)
    found = [session(2023.0 + k, exponent, piece, seed, PADS if k in pads else ()) for k in range(sessions)]
    return found, np.array([_loss_db(piece, f) for f in BANDS_HZ])


def width(found):
    return np.log(found[2] / found[0])


def test_three_yearly_sessions_with_a_bent_meter_cover_the_loss_as_each_of_them_does():
    """A meter that shows 1.25 dB for one, no pad: what the three have in common must not shrink with their number."""
    inside, apart = [], []
    for seed in range(10):
        tests, true = years(1.25, seed)
        found = ends(tests)
        inside += list((found[0] <= true) & (true <= found[2]))
        apart.append(width(found) / np.mean([width(ends([t])) for t in tests], axis=0))
    assert np.mean(inside) >= 0.93
    assert 0.85 < np.median(apart) < 1.1


def test_taken_as_independent_they_would_be_surer_than_any_of_them():
    tests, _ = years(1.25, 0)
    apart = ends([replace(t, doubt=None) for t in tests])
    assert np.mean(width(apart) / width(ends(tests))) < 0.93


def test_a_session_with_known_pads_narrows_what_the_others_left_open():
    bare, _ = years(1.25, 3)
    proved, true = years(1.25, 3, pads=(2,))
    found = ends(proved)
    assert (found[0] < true).all()
    assert (true < found[2]).all()
    assert (width(found) < 0.75 * width(ends(bare))).all()


def test_a_session_that_reads_exactly_as_predicted_widens_nothing():
    tests, _ = years(1.0, 2, sessions=2)
    known = combined(tests, 2025.0).belief.loss_db(np.array(BANDS_HZ))
    said = replace(tests[1], year=2025.0, log_loss=(np.log(known).mean(axis=1), tests[1].log_loss[1]))
    before = width(np.quantile(known, [0.025, 0.5, 0.975], axis=1))
    assert (width(ends([*tests, said])) <= 1.03 * before).all()  # the ends of a thousand draws are that sure


def test_the_meters_part_of_a_message_is_part_of_it():
    (test, *_), _ = years(1.0, 1, sessions=1)
    own = test.log_loss[1] - test.doubt.of_loss
    assert np.linalg.eigvalsh(own).min() > -1e-9
    assert [f for _, f in test.doubt.meters] == list(BANDS_HZ)
    # A detector that shows more for a decibel leaves less to the cable.
    assert (np.diag(test.doubt.slopes) < 0.0).all()


# What sessions have in common, by hand


def doubt(sd, meter="pocket", bands=1, alike=0.0):
    covariance = sd**2 * ((1.0 - alike) * np.eye(bands) + alike)
    return MeterDoubt(tuple((meter, f) for f in BANDS_HZ[:bands]), -np.eye(bands), covariance)


def test_two_sessions_that_know_nothing_of_their_meter_err_alike_but_for_what_it_wandered():
    found = common_doubt([(2023.0, doubt(0.1), 1), (2024.0, doubt(0.1), 1)])
    assert np.diag(found) == pytest.approx([0.01, 0.01])
    assert found[0, 1] == pytest.approx(0.01**2 / (0.01 + WALK**2))


def test_a_session_that_knows_its_meter_shares_only_what_it_does_not_know():
    found = common_doubt([(2023.0, doubt(0.1), 1), (2023.0, doubt(0.02), 1), (2023.0, doubt(0.02), 1)])
    assert found[0, 1] == pytest.approx(0.02**2)
    assert found[1, 2] == pytest.approx(0.02**2)
    assert found == pytest.approx(found.T)


def test_sessions_of_other_meters_and_sweeps_share_nothing():
    found = common_doubt([(2023.0, doubt(0.1), 1), (2024.0, doubt(0.1, "desk"), 1), (2024.0, None, 2)])
    assert found == pytest.approx(np.diag([0.01, 0.01, 0.0, 0.0]))


def test_a_band_that_is_new_in_a_session_goes_with_the_others_of_its_meter():
    found = common_doubt([(2023.0, doubt(0.1), 1), (2023.0, doubt(0.1, bands=2, alike=0.5), 2)])
    assert found[0, 1:] == pytest.approx([0.01, 0.005])


@given(
    st.lists(st.tuples(st.floats(0.01, 0.4), st.integers(1, 3), st.floats(0.0, 0.95), st.sampled_from("ab")),
             min_size=2, max_size=5),
    st.floats(0.0, 5.0),
)  # fmt: skip
def test_whatever_sessions_know_it_stays_a_covariance_and_each_has_its_own(sessions, gap):
    told = [doubt(sd, meter, bands, alike) for sd, bands, alike, meter in sessions]
    found = common_doubt([(2020.0 + i * gap, d, len(d.meters)) for i, d in enumerate(told)])
    assert np.linalg.eigvalsh(found).min() > -1e-9
    first = 0
    for d in told:
        mine = slice(first, first + len(d.meters))
        assert found[mine, mine] == pytest.approx(d.of_loss)
        first += len(d.meters)
