"""The engine's shortcuts agree with the long way round: dense normal densities and finite differences."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from evidence.benches import BLUE_7, BLUE_18, DESK, PATHS, POCKET, read, sheet_of
from linewright.catalogue import line_type
from linewright.core.nouns.bench import Attenuator, BenchSheet, Piece, Reference
from linewright.inference.bench.censored import bottom_of
from linewright.inference.bench.curvature import FEW, LOOSE, Bands, Leap, Pattern
from linewright.inference.bench.design import (
    Layout,
    Prior,
    cell_slopes,
    expected_db,
    features,
    feelings,
    lay_out,
    losses,
    prior_of,
    slopes,
)
from linewright.inference.bench.fit import Configuration, Problem, point_at, refit
from linewright.inference.bench.gains import WHOLE, Gram, gains, gains_without, weighed
from linewright.inference.bench.hypotheses import (
    BENT,
    BREAK,
    LENGTH,
    MISREAD,
    OTHER,
    SHARED_BEND,
    WET,
    WILD,
    Sites,
    sites_of,
)
from linewright.inference.bench.insertion import rival_log
from linewright.inference.bench.noise import Noise, Parts
from linewright.inference.bench.observations import blocks_of
from linewright.inference.bench.posterior import low_middle_high
from linewright.inference.priors import DEFAULT

ROUGH_AND_NOISY = 3
"""The setting of the second noise scale on a rough bench."""


def _sheet() -> BenchSheet:
    rows = [
        *read(DESK, 14.2e6, PATHS, 1.4), *read(DESK, 28.5e6, PATHS, 1.4),
        *read(POCKET, 144.3e6, (*PATHS, "blue 7+blue 18"), 1.4),
        (DESK, 14.2e6, "pad", 5.01),
    ]  # fmt: skip
    rows[2] = (DESK, 14.2e6, "blue 18", 3.3)
    return sheet_of(rows, attenuators=[Attenuator("pad", 3.0)], reference=Reference(BLUE_7.line, 0.9))


@pytest.fixture(scope="module")
def bench() -> tuple[Layout, Sites, Prior, Parts]:
    blocks = blocks_of(_sheet())
    lay = lay_out(_sheet(), blocks, DEFAULT)
    prior = prior_of(lay, DEFAULT)
    parts = Noise(lay, DEFAULT).parts(losses(lay, prior.mean[None]).cell_db[0], np.zeros(lay.n))
    return lay, sites_of(lay, DEFAULT), prior, parts


def _normal_log_density(e: np.ndarray, v: np.ndarray) -> float:
    return float(-0.5 * (e @ np.linalg.solve(v, e) + np.linalg.slogdet(v)[1]))


def _own(parts: Parts, scale: float) -> np.ndarray:
    n, at = sum(len(fixed) for fixed in parts.fixed), 0
    v = np.zeros((n, n))
    for scaled, fixed in zip(parts.scaled, parts.fixed, strict=True):
        rows = slice(at, at + len(fixed))
        v[rows, rows] = scale**2 * scaled + fixed
        at += len(fixed)
    return v


def _whole(sites: Sites, prior: Prior, parts: Parts, jacobian: np.ndarray, chosen: tuple[int, ...]) -> np.ndarray:
    """Return the covariance of all readings the long way: every block's own noise, the prior, the explanations."""
    v = _own(parts, 1.0) + jacobian @ prior.covariance.dense()[0] @ jacobian.T
    for s in chosen:
        direction = sites.directions([s])[:, 0] if s < sites.n_data else jacobian[:, sites.unknown[s - sites.n_data]]
        v += sites.variance[s] * np.outer(direction, direction)
    return v


def test_slopes_are_the_finite_differences_of_the_mean(bench: tuple[Layout, Sites, Prior, Parts]) -> None:
    lay = bench[0]
    x = np.random.default_rng(3).normal(0.0, 0.2, (2, lay.size))
    step = 1e-6
    got = losses(lay, x)
    exact = slopes(lay, cell_slopes(lay, x, got), got)
    for u in range(lay.size):
        up, down = x.copy(), x.copy()
        up[:, u] += step
        down[:, u] -= step
        near = (expected_db(lay, up) - expected_db(lay, down)) / (2 * step)
        np.testing.assert_allclose(exact[:, :, u], near, atol=1e-7, rtol=1e-6)


def test_curvature_by_bands_is_that_of_the_whole_jacobian(bench: tuple[Layout, Sites, Prior, Parts]) -> None:
    lay, _, prior, parts = bench
    x = prior.mean + 0.1 * np.random.default_rng(8).standard_normal((3, lay.size))
    got, weights, bands = losses(lay, x), parts.weights(1.8), Bands(lay)
    law, v = cell_slopes(lay, x, got), np.random.default_rng(9).standard_normal((3, lay.n, 2))
    whole, weighed = slopes(lay, law, got), weights.of(v)
    moved, sharp = features(lay, law), bands.weighed(bands.kernels(weights), got)
    curved, toward = whole.transpose(0, 2, 1) @ weights.of(whole), whole.transpose(0, 2, 1) @ weighed
    np.testing.assert_allclose(feelings(lay, got) @ moved, whole, rtol=1e-12)
    np.testing.assert_allclose(moved.transpose(0, 2, 1) @ sharp @ moved, curved, rtol=1e-9, atol=1e-7)
    np.testing.assert_allclose(moved.transpose(0, 2, 1) @ bands.felt(got, weighed), toward, rtol=1e-9, atol=1e-8)
    covariance = prior.covariance[[0, 0, 0]]
    for loose in ((), (lay.growth.start, lay.wet.start)):
        pattern = Pattern(lay, loose)
        entries = pattern.slopes(x, got)
        np.testing.assert_allclose(pattern.dense(entries)[:, : moved.shape[1]], moved, rtol=1e-12)
        np.testing.assert_array_equal(pattern.dense(entries)[:, moved.shape[1] :], [np.eye(lay.size)[list(loose)]] * 3)
        precision = np.linalg.inv(prior.covariance.dense()[0])
        firm = np.linalg.slogdet(precision)[1]
        precision[loose, loose] *= LOOSE
        dense = curved + precision
        leap = Leap.of(pattern, (covariance, np.zeros((3, 0))), entries, sharp)
        inverse = np.linalg.inv(dense)
        found = leap.inverses()
        np.testing.assert_allclose([of_one.dense() for of_one in found], inverse, rtol=1e-6, atol=1e-9)
        some = np.array([lay.growth.start, lay.departure.start, lay.joint.stop - 1])
        np.testing.assert_allclose(found[1].variances(some), inverse[1, some, some], rtol=1e-6)
        steps = np.linalg.solve(dense, toward[:, :, :1])[:, :, 0]
        np.testing.assert_allclose(leap.step(toward[:, :, 0]), steps, rtol=1e-6, atol=1e-9)
        np.testing.assert_allclose(leap.logdet(), np.linalg.slogdet(dense)[1] - firm, rtol=1e-9)


def test_evidence_of_explanations_equals_the_dense_density(bench: tuple[Layout, Sites, Prior, Parts]) -> None:
    lay, sites, prior, parts = bench
    point = point_at(lay, prior.mean)
    gram = Gram(Pattern(lay), sites, prior, [parts.weights(1.0)], point)
    departure = point.residual_db
    for chosen in [(), (2,), (2, sites.n_data + 1), (0, 5, sites.count - 1), (1, sites.count - 2, sites.count - 1)]:
        shift = sum(
            (sites.mean[s] * point.jacobian[:, sites.unknown[s - sites.n_data]] for s in chosen if s >= sites.n_data),
            np.zeros(lay.n),
        )
        dense = _normal_log_density(departure - shift, _whole(sites, prior, parts, point.jacobian, chosen))
        found = gains(gram, [(0, chosen)])[0].evidence
        assert found - gram.logit[0][list(chosen)].sum() == pytest.approx(dense, abs=1e-5)


def test_gain_of_an_addition_is_the_difference_of_evidences(bench: tuple[Layout, Sites, Prior, Parts]) -> None:
    lay, sites, prior, parts = bench
    gram = Gram(Pattern(lay), sites, prior, [parts.weights(1.0), parts.weights(1.8)], point_at(lay, prior.mean))
    for base in [(), (3,), (3, sites.count - 1)]:
        here = gains(gram, [(ROUGH_AND_NOISY, base)])[0]
        others = sorted(set(range(sites.count)) - set(base))
        grown = gains(gram, [(ROUGH_AND_NOISY, tuple(sorted((*base, s)))) for s in others])
        for s, after in zip(others, grown, strict=True):
            assert here.evidence + here.gain[s] == pytest.approx(after.evidence, abs=1e-6)
            assert after.held[sorted((*base, s)).index(s)] == pytest.approx(here.gain[s], abs=1e-6)


def test_sets_less_a_member_are_solved_from_the_whole_set(bench: tuple[Layout, Sites, Prior, Parts]) -> None:
    """Gains around a set that lost a member, and evidence alone, against each set solved by itself."""
    lay, sites, prior, parts = bench
    gram = Gram(Pattern(lay), sites, prior, [parts.weights(1.0), parts.weights(1.8)], point_at(lay, prior.mean))
    seat = int(np.flatnonzero(sites.side)[0])
    sets = [(ROUGH_AND_NOISY, (1, 3, seat)), (0, (2, 4, sites.count - 1)), (1, (5,))]
    asked = [(setting, chosen, range(len(chosen))) for setting, chosen in sets]
    for (setting, chosen), found in zip(sets, gains_without(gram, asked), strict=True):
        rests = [(setting, chosen[:k] + chosen[k + 1 :]) for k in range(len(chosen))]
        for left, alone, of_one in zip(found, weighed(gram, rests), gains(gram, rests), strict=True):
            assert left.evidence == pytest.approx(of_one.evidence, abs=1e-8)
            assert alone.evidence == pytest.approx(of_one.evidence, abs=1e-8)
            for part in ("gain", "a", "b", "held"):
                mine, theirs = getattr(left, part), getattr(of_one, part)
                np.testing.assert_allclose(mine, theirs, rtol=1e-8, atol=1e-8)
            np.testing.assert_allclose(alone.held, of_one.held, atol=1e-8)


@pytest.mark.parametrize(("whole", "few"), [(WHOLE, FEW), (0, 3)])
def test_what_the_search_looks_up_is_what_the_dense_matrices_say(
    bench: tuple[Layout, Sites, Prior, Parts], monkeypatch: pytest.MonkeyPatch, whole: int, few: int
) -> None:
    """G, w and the evidence by features, all bands together or each by itself, against V⁻¹ the long way round."""
    lay, sites, prior, parts = bench
    monkeypatch.setattr("linewright.inference.bench.gains.WHOLE", whole)
    monkeypatch.setattr("linewright.inference.bench.curvature.FEW", few)
    point, scales, every = point_at(lay, prior.mean), (1.0, 1.8), list(range(sites.count))
    gram = Gram(Pattern(lay), sites, prior, [parts.weights(scale) for scale in scales], point)
    c = np.concatenate([sites.directions(range(sites.n_data)), point.jacobian[:, sites.unknown]], axis=1)
    for setting, (scale, rough) in enumerate(itertools.product(scales, (0, 1))):
        v = _own(parts, scale) + point.jacobian @ prior.covariance.dense()[rough] @ point.jacobian.T
        g, w = c.T @ np.linalg.solve(v, c), c.T @ np.linalg.solve(v, point.residual_db)
        np.testing.assert_allclose(gram.whole(setting, every[::-1])[::-1], g, rtol=1e-6, atol=1e-6)
        np.testing.assert_allclose(gram.diagonal[setting, sites.column], np.diag(g), rtol=1e-6, atol=1e-6)
        np.testing.assert_allclose(gram.w[setting, sites.column], w, rtol=1e-6, atol=1e-6)
        assert gram.evidence[setting] == pytest.approx(_normal_log_density(point.residual_db, v), abs=1e-6)


def test_laplace_evidence_is_exact_where_the_bench_is_linear(bench: tuple[Layout, Sites, Prior, Parts]) -> None:
    """With no cable in line only levels and pads are unknown: the model is linear, and Laplace no approximation."""
    pad = [Attenuator("pad", 3.0)]
    rows = [(DESK, 14.2e6, "reference", 10.0), (DESK, 14.2e6, "pad", 5.2), (DESK, 14.2e6, "reference", 9.9)]
    sheet = sheet_of(rows, attenuators=pad)
    lay = lay_out(sheet, blocks_of(sheet), DEFAULT)
    sites, prior = sites_of(lay, DEFAULT), prior_of(lay, DEFAULT)
    stiff = Prior(prior.mean, prior.covariance[[0, 1]])
    for at in (lay.exponent.start, lay.bend):
        for rough in (0, 1):
            stiff.covariance.vary(rough, at, 1e-12 - stiff.covariance.own[rough, at])
    parts = Noise(lay, DEFAULT).parts(losses(lay, prior.mean[None]).cell_db[0], np.zeros(lay.n))
    point = point_at(lay, prior.mean)
    for chosen in [(), (1,), (0, 1)]:
        problem = Problem(lay, sites, stiff, DEFAULT, bottom_of(lay))
        found = refit(problem, [parts.weights(1.0)], prior.mean, [Configuration(0, 0, chosen)])
        gram = Gram(Pattern(lay), sites, stiff, [parts.weights(1.0)], point)
        assert found.evidence[0] == pytest.approx(gains(gram, [(0, chosen)])[0].evidence, abs=1e-4)


def test_pieces_of_one_stock_share_their_law(bench: tuple[Layout, Sites, Prior, Parts]) -> None:
    lay = bench[0]
    x = np.zeros((1, lay.size))
    x[0, lay.growth] = np.log(1.5)
    plain, aged = losses(lay, np.zeros((1, lay.size))), losses(lay, x)
    np.testing.assert_allclose(aged.strand_db, 1.5 * plain.strand_db)
    for f in (14.2e6, 28.5e6, 144.3e6):
        short, long = (aged.strand_db[0, lay.strand_of[p.tag, f]] for p in (BLUE_7, BLUE_18))
        assert long / short == pytest.approx(18.0 / 7.0)


def test_every_pair_of_blocks_is_independent_in_its_own_noise(bench: tuple[Layout, Sites, Prior, Parts]) -> None:
    lay, _, _, parts = bench
    assert [len(f) for f in parts.fixed] == [len(b.observations) for b in lay.blocks]
    for scaled, fixed in zip(parts.scaled, parts.fixed, strict=True):
        assert np.linalg.eigvalsh(scaled + fixed).min() > 0.0
    assert all(a.stop == b.start for a, b in itertools.pairwise(lay.slice_of(i) for i in range(len(lay.blocks))))


def test_a_reading_that_was_repeated_is_half_as_likely_misread_for_each_time() -> None:
    """Codes that agree three times are misread together with a quarter of the chance, and of one path inserted once."""
    rows = [*read(DESK, 14.2e6, ("reference", "blue 7", "blue 7", "blue 7")), (DESK, 14.2e6, "blue 18", 7.0)]
    lay = lay_out(sheet_of(rows), blocks_of(sheet_of(rows)), DEFAULT)
    sites = sites_of(lay, DEFAULT)
    chance = 1 / (1 + np.exp(-sites.logit[0]))
    misread = {lay.count[int(t)]: chance[s] for s, t in enumerate(sites.target) if sites.kind[s] == MISREAD}
    assert misread[3] == pytest.approx(DEFAULT.misread_p / 4 + DEFAULT.insertion_p)
    wild = {lay.count[int(t)]: chance[s] for s, t in enumerate(sites.target) if sites.kind[s] == WILD}
    assert wild[3] == pytest.approx(DEFAULT.wild_p / 4)
    assert wild[1] == pytest.approx(DEFAULT.wild_p)


def test_a_path_read_once_may_be_a_bad_insertion_and_the_jumper_is_none() -> None:
    rows = [(DESK, 14.2e6, "reference", 10.0), (DESK, 14.2e6, "blue 18", 7.0)]
    lay = lay_out(sheet_of(rows), blocks_of(sheet_of(rows)), DEFAULT)
    sites = sites_of(lay, DEFAULT)
    paths = [o.path for b in lay.blocks for o in b.observations]
    chance = {
        paths[int(t)]: 1 / (1 + np.exp(-sites.logit[0][s]))
        for s, t in enumerate(sites.target) if sites.kind[s] == MISREAD
    }  # fmt: skip
    assert chance[("blue 18",)] == pytest.approx(DEFAULT.misread_p + DEFAULT.insertion_p)
    assert chance[()] == pytest.approx(DEFAULT.misread_p)


@pytest.mark.parametrize("kind", [MISREAD, WILD, BREAK, BENT, WET, OTHER, LENGTH, SHARED_BEND])
def test_what_may_go_either_way_has_no_side(bench: tuple[Layout, Sites, Prior, Parts], kind: int) -> None:
    _, sites, _, _ = bench
    assert (sites.kind == kind).any()
    assert not sites.mean[sites.kind == kind].any()
    assert not sites.side[sites.kind == kind].any()


def test_equal_codes_of_a_path_are_one_observation_at_their_mean_time() -> None:
    shown = [("reference", 10.0), ("blue 7", 9.0), ("blue 18", 7.0), ("blue 7", 9.0), ("blue 7", 8.9), ("blue 7", 9.0)]
    (block,) = blocks_of(sheet_of([(DESK, 14.2e6, path, watts) for path, watts in shown]))
    seen = {(o.path, o.code): (o.rows, o.time) for o in block.observations}
    assert seen[("blue 7",), 9.0] == ([1, 3, 5], pytest.approx((1 + 3 + 5) / 3))
    assert seen[("blue 7",), 8.9] == ([4], 4)
    assert len(seen) == 4


@pytest.mark.parametrize("many", [1, 2, 7, 40])
def test_quantiles_between_two_draws_lie_on_a_straight_line(many: int) -> None:
    draws = np.random.default_rng(many).standard_normal((many, 3))
    np.testing.assert_allclose(low_middle_high(draws), np.quantile(draws, [0.025, 0.5, 0.975], axis=0))


def test_a_rival_of_twice_the_loss_lies_a_logarithm_of_two_above() -> None:
    thin, half = line_type("RG-59B/U"), line_type("RG-59B/U").law
    law = replace(half, k0_db_per_m=0.0, k1_db_per_m=0.02, k2_db_per_m=0.0)
    at = np.array([14.2e6, 144.3e6])
    assert rival_log(Piece("tv", 5.0, thin), "RG-59B/U", at) == 0.0
    ratio = thin.law.db_per_m(at) / law.db_per_m(at)
    found = rival_log(Piece("other", 5.0, replace(thin, law=law)), "RG-59B/U", at)
    assert found == pytest.approx(np.log(ratio).mean())
