"""How chances and the readings' own share are taken from a bank of configurations."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from types import SimpleNamespace

import numpy as np
import pytest

from evidence.benches import THICK, sheet_of
from linewright.core.nouns.bench import Meter, Piece
from linewright.inference.bench.design import NOTHING, Prior, Spread
from linewright.inference.bench.fit import LONGEST_STEP, _limited, problem_of, refit
from linewright.inference.bench.hypotheses import AGED, MISREAD
from linewright.inference.bench.noise import Noise
from linewright.inference.bench.observations import blocks_of
from linewright.inference.bench.pieces import posterior_of
from linewright.inference.bench.posterior import _chances, without_stock
from linewright.inference.bench.search import Search, SearchedBench
from linewright.inference.priors import DEFAULT


@dataclass(eq=False)
class Told:
    """A search that knows the gain of adding each explanation, and of those that are in."""

    gain: np.ndarray
    held: list[float]

    @property
    def search(self):
        """Return itself."""
        return self

    def see(self, _):
        """Have everything seen already."""

    def look(self, *_):
        """Return what is known."""
        return self


def test_a_chance_is_half_the_share_of_the_bank_and_half_the_odds_over_it():
    """Two configurations of weights 0.7 and 0.3; only the first holds explanation 1. In nats, and by hand."""
    with_it = (Told(np.array([-2.0, 99.0, 1.0]), [3.0]), SimpleNamespace(hyper=0, chosen=(1,)))
    without = (Told(np.array([-1.0, 0.5, -60.0]), []), SimpleNamespace(hyper=0, chosen=()))

    def odds(nats):
        return 1 / (1 + np.exp(-nats))

    found = _chances([with_it, without], np.array([0.7, 0.3]), SimpleNamespace(count=3))
    by_odds = np.array([
        0.7 * odds(-2.0) + 0.3 * odds(-1.0), 0.7 * odds(3.0) + 0.3 * odds(0.5), 0.7 * odds(1.0) + 0.3 * odds(-50.0),
    ])  # fmt: skip
    assert found == pytest.approx(0.5 * (np.array([0.0, 0.7, 0.0]) + by_odds))


def test_without_the_prior_of_a_stock_its_readings_speak_alone():
    """Two unknowns of a prior and of readings, independent: a hundredth of the prior's precision is left."""
    prior_mean, prior_var = np.array([0.2, -0.1]), np.array([0.04, 0.09])
    read_mean, read_var = np.array([0.5, 0.3]), np.array([0.01, 0.25])
    both = 1 / (1 / prior_var + 1 / read_var)
    mode = both * (prior_mean / prior_var + read_mean / read_var)
    post = SimpleNamespace(
        lay=SimpleNamespace(growth=slice(0, 1), wet=slice(1, 2)),
        sites=SimpleNamespace(n_data=0, unknown=np.array([], dtype=int)),
        weight=np.array([1.0]), bank=[SimpleNamespace(chosen=(), rough=0)],
        fits=SimpleNamespace(
            mode=mode[None],
            covariance=[SimpleNamespace(dense=lambda: np.diag(both))],
        ),
        prior=Prior(prior_mean, Spread(prior_var[None], ())),
    )  # fmt: skip
    ((weight, before, freed, wider),) = without_stock(post, 0)
    left = 1 / (0.01 / prior_var + 1 / read_var)
    assert weight == 1.0
    assert before == pytest.approx(mode)
    assert np.diag(wider) == pytest.approx(left)
    assert freed == pytest.approx(left * (0.01 * prior_mean / prior_var + read_mean / read_var))


def tried(behind, misread=0, readings=30):
    """Return which pieces are tried as lines of 75 ohm: two are suspected, the longest comes to rest so far behind."""
    pieces = [SimpleNamespace(length_m=8.0), SimpleNamespace(length_m=3.0)]
    rest = SimpleNamespace(evidence=-20.0, states=[SimpleNamespace(chosen=tuple(range(misread)))])
    kinds = np.full(readings, MISREAD)
    asked = []
    bench = SimpleNamespace(
        lay=SimpleNamespace(suspects={0: 1, 1: 0}, n=readings, sheet=SimpleNamespace(pieces=pieces)),
        sites=SimpleNamespace(count=60, kind=kinds, n_data=readings),
    )
    bench._hopeless = partial(SearchedBench._hopeless, bench)
    bench._as_rivals = lambda rest, some, _: asked.append(some) or SimpleNamespace(evidence=rest.evidence - behind)
    SearchedBench.marked_otherwise(bench, rest, None)
    return asked


def test_all_suspected_pieces_are_tried_as_75_ohm_only_where_the_longest_alone_comes_near():
    assert tried(2.9) == [[0], [0, 1]]
    assert tried(3.1) == [[0]]


def test_nothing_hidden_is_searched_for_behind_readings_of_which_more_than_a_third_are_taken_for_wrong():
    assert tried(3.1, misread=10) == [[0]]
    assert tried(3.1, misread=11) == []


def weakly_read(pieces, division=0.5):
    """Return the posterior of sound pieces of thick cable, 5 m and more, on a scale far too coarse for them."""
    meter = Meter("desk meter", "watts", division, (1.8e6, 60e6))
    grey = [Piece(f"grey {i}", 5.0 + i, THICK, 2) for i in range(pieces)]
    rows = [(meter, f, "reference", 10.0) for f in (7.1e6, 14.2e6)]
    for piece in grey:
        for f in (7.1e6, 14.2e6):
            loss_db = piece.length_m * float(THICK.law.db_per_m(f)) + 2 * 0.0017 * np.sqrt(f / 1e6)
            rows.append((meter, f, piece.tag, round(10.0 * 10 ** (-loss_db / 10.0) / division) * division))
    sheet = sheet_of(rows, grey)
    return posterior_of(sheet, blocks_of(sheet), DEFAULT, None)


def test_a_piece_that_is_hardly_read_may_be_worn_beside_three_others_as_well():
    """Alone it is worn in one draw of three; of four such pieces the likeliest sets have the first worn in none."""
    post = weakly_read(4)
    (worn,) = np.flatnonzero((post.sites.kind == AGED) & (post.sites.target == 0)).tolist()
    share = sum(weight for weight, held in zip(post.weight, post.bank, strict=True) if worn in held.chosen)
    assert share > 0.08


@pytest.mark.parametrize(("pieces", "further"), [(1, 0), (2, 32), (3, 64), (4, 96), (5, 96)])
def test_a_bank_holds_more_configurations_the_more_pieces_it_has(pieces, further):
    assert len(weakly_read(pieces).bank) == 24 + further


def test_further_configurations_are_refitted_to_near_their_modes():
    post = weakly_read(5)
    lay, problem = post.lay, problem_of(post.lay, DEFAULT)
    noise = Noise(lay, DEFAULT)
    weights = [noise.parts(post.point.losses.cell_db[0], np.zeros(lay.n)).weights(s) for s in DEFAULT.noise_scales]
    full = refit(problem, weights, post.point.x, post.bank[24:]).mode
    own = [*range(lay.growth.start, lay.wet.stop), *range(lay.own.start, lay.own.stop)]
    assert np.abs(full - post.fits.mode[24:])[:, own].max() < 0.02


def test_a_fault_that_is_in_no_draw_has_no_size_in_any():
    """The prior of one that is not there is 0.001 wide: of fifteen such faults a loss would have 0.004 dB of noise."""
    post = weakly_read(2)
    sizes = post.draws[:, post.lay.fault]
    there = sizes.any(axis=0)
    assert not there.all()
    assert (sizes[:, there].std(axis=0) > 2.0 * NOTHING).all()


def test_fourteen_additions_to_a_set_are_followed():
    gram = weakly_read(5).search.gram
    search = Search(gram, np.zeros(len(gram)))
    found = search._additions(0, (), -np.inf)
    assert len(found) == 14
    assert {members for (_, members), _ in found} == {(int(s),) for s in np.argsort(-search.look(0, ()).gain)[:14]}
    assert search._additions(0, (), -np.inf) == []


@pytest.mark.parametrize("unknown", ["exponent", "growth", "wet", "departure", "own", "tilt"])
def test_no_logarithm_moves_by_more_than_a_factor_of_e_in_one_step_of_a_fit(unknown):
    """A bench fell over where a piece's own length did: 4.8 in three steps, and a loss of thousands of decibels."""
    meter = Meter("own meter", "watts", 0.01, (1e6, 500e6))
    rows = [(meter, f, path, w) for f in (14.2e6, 28.5e6) for path, w in (("reference", 10.0), ("blue 7", 8.0))]
    bench = posterior_of(sheet := sheet_of(rows), blocks_of(sheet), DEFAULT, None).lay
    step = np.zeros((2, bench.size))
    step[0, getattr(bench, unknown)] = -5.0
    step[1, bench.level] = 5.0
    found = _limited(bench, step)
    assert np.abs(found[0]).max() == pytest.approx(LONGEST_STEP)
    assert pytest.approx(1.0) == LONGEST_STEP
    np.testing.assert_array_equal(found[1], step[1])
