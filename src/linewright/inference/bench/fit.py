"""Modes: the robust start, and the refit of chosen configurations by Gauss-Newton with their Laplace evidence."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.inference.bench.censored import WAKING_DB, WRONG_P, Bottom, bottom_of
from linewright.inference.bench.curvature import LOOSE, Bands, Covariance, Leap, Pattern
from linewright.inference.bench.design import (
    Layout,
    Prior,
    Spread,
    cell_slopes,
    expected_db,
    feelings,
    losses,
    prior_of,
    slopes,
)
from linewright.inference.bench.gains import Point, one_sided
from linewright.inference.bench.hypotheses import AGED, WET, Sites, sites_of
from linewright.inference.bench.noise import Parts, Weights
from linewright.inference.priors import Priors

LONGEST_STEP = 1.0
STEPS = 8
ROUNDS = 10
CAUTIOUS = (1.0, 1.0, 0.5, 0.25, 0.1, 0.03, 0.0, 0.0, 0.0, 0.0)
PLAIN = (0.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
"""Extra variance of every reading in the rounds of a robust start, dB²."""
CLOSE = 2e-3
"""A mode is found when no log or dB moves more than this."""
AT_ONCE = 4_000_000
"""Numbers of a Jacobian batch held at once."""


@dataclass(frozen=True)
class Problem:
    """A bench as the solver meets it: where everything stands, what may be the matter, and what is believed."""

    lay: Layout
    sites: Sites
    prior: Prior
    priors: Priors
    bottom: Bottom

    @cached_property
    def bands(self) -> Bands:
        """The bands that the layout's readings were taken on."""
        return Bands(self.lay)

    @cached_property
    def pattern(self) -> Pattern:
        """Which unknowns move which features."""
        return Pattern(self.lay)

    @cached_property
    def loosened(self) -> Pattern:
        """The same with the multipliers of the stocks' laws left free, as they are where the catalogue is left out."""
        return Pattern(self.lay, [*range(self.lay.growth.start, self.lay.wet.stop)])


def problem_of(lay: Layout, priors: Priors) -> Problem:
    """Return the problem a layout poses."""
    return Problem(lay, sites_of(lay, priors), prior_of(lay, priors), priors, bottom_of(lay))


def point_at(lay: Layout, x: Floats) -> Point:
    """Linearise at ``x`` (size)."""
    batch = x[None]
    got = losses(lay, batch)
    (expected,) = expected_db(lay, batch, got)
    law = cell_slopes(lay, batch, got)
    return Point(x, expected, lay.y_db - expected, slopes(lay, law, got)[0], law, got)


def _limited(lay: Layout, step: Floats) -> Floats:
    """Shorten a step so that no logarithm moves by more than ``LONGEST_STEP``; shape (c, size)."""
    bounded = np.r_[lay.level.stop : lay.pad.start, lay.own, lay.tilt]
    logs = np.abs(step[:, bounded]).max(axis=1, initial=0.0)
    out: Floats = step * np.minimum(1.0, LONGEST_STEP / np.maximum(logs, 1e-12))[:, None]
    return out


def robust_mode(problem: Problem, parts: Parts, cautious: bool) -> tuple[Point, Floats]:
    """Return a mode in which no single reading has much say, and how likely each reading is misread by it.

    Readings are reweighed by that chance, as in iteratively reweighted least squares. A cautious start first takes all
    readings as coarse, so that fine ones do not win by being fine.
    """
    lay, sites, prior, bottom = problem.lay, problem.sites, problem.prior, problem.bottom
    blur = CAUTIOUS if cautious else PLAIN
    covariance, mean = prior.covariance[[1]], prior.mean.copy()
    for s in np.flatnonzero((sites.kind == AGED) | (sites.kind == WET)):
        u = int(sites.unknown[s - sites.n_data])
        covariance.vary(0, u, float(sites.variance[s]))
        mean[u] += 0.5 * sites.mean[s]
    precision = covariance.inverse()
    wide = problem.priors.misread_db**2
    spread = parts.variance()
    doubt = np.zeros(lay.n)
    weights = parts.weights(1.0, np.full(lay.n, blur[0]))
    x, got = mean, losses(lay, mean[None])
    (expected,) = expected_db(lay, x[None], got)
    for step in range(ROUNDS):
        bands, pattern = problem.bands, problem.pattern
        moved = pattern.slopes(x[None], got)
        pull = bands.felt(got, weights.of((lay.y_db - expected)[:, None])[None])
        sharp = bands.weighed(bands.kernels(weights), got)
        if len(bottom.rows):
            edge = (3.0 * WAKING_DB, 1e-9) if step < ROUNDS // 2 else (WAKING_DB, WRONG_P)
            _, slope, curvature = bottom.terms(expected, *edge)
            low = feelings(lay, got, bottom.rows)
            sharp += (low * curvature[None, :, None]).transpose(0, 2, 1) @ low
            pull += low.transpose(0, 2, 1) @ slope[None, :, None]
        toward = pattern.back(moved, pull[:, :, 0]) + precision.times((mean - x)[None, :, None])[:, :, 0]
        (move,) = Leap.of(pattern, (covariance, np.zeros((1, 0))), moved, sharp).step(toward)
        x = x + _limited(lay, move[None])[0]
        got = losses(lay, x[None])
        (expected,) = expected_db(lay, x[None], got)
        if step > ROUNDS // 2 and np.abs(move).max(initial=0.0) < 0.02:
            break
        narrow = np.maximum(spread, 0.1**2) + blur[step]
        gain = 1.0 / narrow - 1.0 / (narrow + wide)
        odds = 0.5 * (lay.y_db - expected) ** 2 * gain - 0.5 * np.log((narrow + wide) / narrow)
        doubt = 1.0 / (1.0 + np.exp(-np.clip(odds + np.log(0.07), -50.0, 50.0)))
        trusted = (1.0 - doubt) / narrow + doubt / (narrow + wide)
        extra = np.maximum(1.0 / trusted - narrow, 0.0) + (blur[step + 1] if step + 1 < ROUNDS else 0.0)
        weights = parts.weights(1.0, extra)
    return point_at(lay, x), doubt


@dataclass(frozen=True, slots=True)
class Configuration:
    """Explanations switched on, and the priors they leave; ``loose`` lets every stock's law go where it likes."""

    scale: int
    rough: int
    chosen: tuple[int, ...]
    loose: bool = False


@dataclass(frozen=True, slots=True)
class Refits:
    """Refitted configurations: modes (c, size), covariances (c) and log evidences (c)."""

    mode: Floats
    covariance: list[Covariance]
    evidence: Floats


def _priors_with(sites: Sites, prior: Prior, some: list[Configuration]) -> tuple[Floats, Spread]:
    """Return means (c, size) and covariances of the unknowns' prior under configurations, none of them loose."""
    mean, covariance = np.repeat(prior.mean[None], len(some), axis=0), prior.covariance[[at.rough for at in some]]
    for i, at in enumerate(some):
        for s in at.chosen:
            if s >= sites.n_data:
                u = int(sites.unknown[s - sites.n_data])
                mean[i, u] += sites.mean[s]
                covariance.vary(i, u, float(sites.variance[s]))
    return mean, covariance


def refit(
    problem: Problem, weights: list[Weights], start: Floats, configurations: list[Configuration], steps: int = STEPS
) -> Refits:
    """Refit configurations by Gauss-Newton in at most so many steps, those of one noise scale together.

    They start from ``start``, one point for all (size) or one for each (c, size). The log evidence is
    Laplace's: the log posterior at the mode, with the log determinant of its curvature there.
    """
    lay, c = problem.lay, len(configurations)
    mode, evidence = np.empty((c, lay.size)), np.empty(c)
    covariance: dict[int, Covariance] = {}
    starts = np.broadcast_to(start, mode.shape)
    for scale in sorted({at.scale for at in configurations}):
        group = [i for i, at in enumerate(configurations) if at.scale == scale]
        room = max(1, AT_ONCE // max(1, lay.n * lay.size))
        for k in range(0, len(group), room):
            some = group[k : k + room]
            found = _refit_some(problem, weights[scale], starts[some], [configurations[i] for i in some], steps)
            mode[some], evidence[some] = found.mode, found.evidence
            covariance.update(zip(some, found.covariance, strict=True))
    return Refits(mode, [covariance[i] for i in range(c)], evidence)


def _refit_some(problem: Problem, weights: Weights, starts: Floats, some: list[Configuration], steps: int) -> Refits:
    lay, sites, bottom = problem.lay, problem.sites, problem.bottom
    c, n, pattern = len(some), lay.n, problem.loosened if some[0].loose else problem.pattern
    mean, covariance = _priors_with(sites, problem.prior, some)
    precision = covariance.inverse()
    precision.own[:, pattern.loose] *= LOOSE
    data = [[s for s in at.chosen if s < sites.n_data] for at in some]
    extra = max((len(d) for d in data), default=0)
    shocks, usual, variance = np.zeros((c, n, extra)), np.zeros((c, extra)), np.ones((c, extra))
    for i, chosen in enumerate(data):
        shocks[i, :, : len(chosen)] = sites.directions(chosen)
        usual[i, : len(chosen)] = sites.mean[chosen]
        variance[i, : len(chosen)] = sites.variance[chosen]
    centre = np.concatenate([mean, usual], axis=1)
    x = np.concatenate([starts, usual], axis=1)
    kernels, felt = problem.bands.kernels(weights), weights.of(shocks)

    def held(off: Floats) -> Floats:
        """Return the prior's precision times ``off``."""
        own = precision.times(off[:, : lay.size, None])[:, :, 0]
        return np.concatenate([own, off[:, lay.size :] / variance], axis=1)

    for _ in range(steps):
        moved, sharp, toward = _heard(problem, pattern, (weights, kernels), x, (shocks, felt))
        leap = Leap.of(pattern, (covariance, variance), moved, sharp)
        move = _limited(lay, leap.step(toward + held(centre - x)))
        x = x + move
        if np.abs(move).max(initial=0.0) < CLOSE:
            break
    residual = lay.y_db - expected_db(lay, x[:, : lay.size]) - np.einsum("cne,ce->cn", shocks, x[:, lay.size :])
    evidence: Floats = -0.5 * (
        np.einsum("cn,cn->c", residual, weights.of(residual[:, :, None])[:, :, 0])
        + ((x - centre) * held(x - centre)).sum(axis=1)
        + weights.logdet
        + leap.logdet()
    )
    if len(bottom.rows):
        evidence += bottom.terms(lay.y_db - residual)[0].sum(axis=1)
    for i, at in enumerate(some):
        evidence[i] += float(sites.logit[at.rough][list(at.chosen)].sum())
    whole = leap.inverses()
    for i, (at, chosen) in enumerate(zip(some, data, strict=True)):
        evidence[i] += _sided(problem, at, chosen, x[i], whole[i])
    return Refits(x[:, : lay.size], whole, evidence)


def _heard(
    problem: Problem,
    pattern: Pattern,
    weighing: tuple[Weights, list[Floats]],
    x: Floats,
    effects: tuple[Floats, Floats],
) -> tuple[Floats, Floats, Floats]:
    """Return what the readings say at ``x``: how their features move, what those weigh, and the pull (c, size + e).

    ``effects`` are the directions of the explanations among the readings, (c, n, e), and the same weighed: features
    too, behind the others.
    """
    (lay, bottom), (weights, kernels), (shocks, felt) = (problem.lay, problem.bottom), weighing, effects
    own, extra = slice(0, lay.size), slice(lay.size, x.shape[1])
    got = losses(lay, x[:, own])
    moved = pattern.slopes(x[:, own], got)
    residual = lay.y_db - expected_db(lay, x[:, own], got) - np.einsum("cne,ce->cn", shocks, x[:, extra])
    weighed = np.concatenate([weights.of(residual[:, :, None]), felt], axis=2)
    across = problem.bands.felt(got, weighed)
    many = across.shape[1]
    sharp = np.empty((len(x), many + shocks.shape[2], many + shocks.shape[2]))
    sharp[:, :many, :many] = problem.bands.weighed(kernels, got)
    sharp[:, :many, many:] = across[:, :, 1:]
    sharp[:, many:, :many] = across[:, :, 1:].transpose(0, 2, 1)
    sharp[:, many:, many:] = shocks.transpose(0, 2, 1) @ felt
    pull = np.concatenate([across[:, :, 0], np.einsum("cne,cn->ce", shocks, weighed[:, :, 0])], axis=1)
    if len(bottom.rows):
        _, slope, bend = bottom.terms(lay.y_db - residual)
        low = np.concatenate([feelings(lay, got, bottom.rows), shocks[:, bottom.rows]], axis=2)
        sharp += (low * bend[:, :, None]).transpose(0, 2, 1) @ low
        pull += np.einsum("crs,cr->cs", low, slope)
    toward = pattern.back(moved, pull[:, :many])
    return moved, sharp, np.concatenate([toward, pull[:, many:]], axis=1)


def _sided(problem: Problem, at: Configuration, data: list[int], x: Floats, covariance: Covariance) -> float:
    """Return what the one-sided explanations of a configuration gain over normal ones, where its fit came to rest.

    ``data`` are those among the readings, whose effects stand in ``x`` behind the unknowns, in that order.
    """
    lay, sites = problem.lay, problem.sites
    mine = [s for s in at.chosen if sites.side[s]]
    if not mine:
        return 0.0
    among = [s >= sites.n_data for s in mine]
    place = [
        int(sites.unknown[s - sites.n_data]) if unknown else lay.size + data.index(s)
        for s, unknown in zip(mine, among, strict=True)
    ]
    usual = np.array([problem.prior.mean[u] if unknown else 0.0 for u, unknown in zip(place, among, strict=True)])
    middle, spread = x[place] - usual, np.sqrt(covariance.variances(np.array(place)))
    return float(one_sided(sites.side[mine], middle, spread, sites.inside[mine]).sum())
