"""A bench linearised at a point: what every explanation would gain, and how explanations overlap.

With V the covariance of the readings (own noise and prior together), e their departure from the prior mean and C the
directions of the explanations, keep ``G = Cᵀ V⁻¹ C`` and ``w = Cᵀ V⁻¹ e``. The evidence of any set of explanations
follows from small solves in G and w (the matrix determinant lemma; e.g. Harville, Matrix Algebra From a Statistician's
Perspective, 1997, section 18.1).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

import numpy as np

from linewright.core.arrays import Floats, distinct, log_normal_cdf
from linewright.core.frozen import dataclass
from linewright.inference.bench.curvature import Pattern
from linewright.inference.bench.design import Ints, Layout, LossBatch, Prior
from linewright.inference.bench.hypotheses import Sites
from linewright.inference.bench.noise import Weights

# A bench linearised at a point: what every explanation would gain, and how explanations overlap

ROOM = 256
"""For how many columns there is room at first."""


@dataclass(frozen=True, slots=True)
class Point:
    """The linearisation at ``x``: what readings should be, how far off, how they move; the cells' slopes, losses."""

    x: Floats
    expected_db: Floats
    residual_db: Floats
    jacobian: Floats
    law: Floats
    losses: LossBatch


WHOLE = 120
"""Up to so many features all bands are taken together."""


class Felt:
    """``FᵀWm`` of all directions m among the readings under every noise scale, kept by the bands they are felt on.

    With it ``kernel``, FᵀWF (scales, features, features), ``weighed``, W times the readings' departure (scales, n), and
    ``pull``, Fᵀ times that. Noise does not pass from band to band, so what moves readings of one band is felt through
    its features alone. The few directions that move readings of several stand apart.
    """

    def __init__(self, lay: Layout, sites: Sites, weights: Sequence[Weights], point: Point, departure: Floats) -> None:
        cells, blocks = len(lay.cells.fixed), len(lay.blocks)
        self._many, scales = cells + 2 * blocks, len(weights)
        bands = {of: p for p, of in enumerate(dict.fromkeys((b.frequency_hz, b.direct) for b in lay.blocks))}
        if self._many <= WHOLE:
            bands = dict.fromkeys(bands, 0)
        of_block = np.array([bands[b.frequency_hz, b.direct] for b in lay.blocks], dtype=np.int64)
        of_cell = np.array([bands[f, direct] for _, f, direct in lay.cells.fixed], dtype=np.int64)
        of_feature = np.concatenate([of_cell, of_block, of_block])
        parts = range(max(bands.values(), default=-1) + 1)
        self._features = [np.flatnonzero(of_feature == p) for p in parts]
        place, most = np.zeros(self._many, dtype=np.int64), max((len(f) for f in self._features), default=0)
        for features in self._features:
            place[features] = np.arange(len(features))
        at, exponent = np.arange(lay.n), point.losses.exponent[0]
        f = np.zeros((lay.n, most))
        f[at, place[lay.cell]] = -exponent
        f[at, place[cells + lay.block]] = 1.0
        f[at, place[cells + blocks + lay.block]] = -exponent * point.losses.cell_db[0, lay.cell]
        found = np.stack([w.of(np.concatenate([departure[:, None], f], axis=1)) for w in weights])
        self.weighed, wf = found[:, :, 0], found[:, :, 1:]
        self.kernel = np.zeros((scales, self._many, self._many))
        self.pull = np.zeros((scales, self._many))
        rows = [np.flatnonzero(of_block[lay.block] == p) for p in parts]
        for features, mine in zip(self._features, rows, strict=True):
            here = f[mine, : len(features)]
            self.kernel[:, features[:, None], features] = here.T @ wf[:, mine, : len(features)]
            self.pull[:, features] = self.weighed[:, mine] @ here
        low, high = sites.ends(of_block[lay.block])
        self._count, self._across = len(low), np.flatnonzero(low != high)
        self._groups = [np.flatnonzero((low == p) & (high == p)) for p in parts]
        summed = sites.summed(wf.transpose(0, 2, 1))
        self._within: list[Floats] = [
            summed[:, : len(features), groups] for features, groups in zip(self._features, self._groups, strict=True)
        ]
        self._between = np.zeros((scales, self._many, len(self._across)))
        for features, mine in zip(self._features, rows, strict=True):
            marks = sites.marks(self._across)[mine]
            self._between[:, features] = wf[:, mine, : len(features)].transpose(0, 2, 1) @ marks
        self._place = np.zeros(self._count, dtype=np.int64)
        for some in (*self._groups, self._across):
            self._place[some] = np.arange(len(some))
        self._part = np.where(low == high, low, -1)

    def columns(self, scale: int, which: Ints) -> Floats:
        """Return those of some directions, (features, len)."""
        out = np.zeros((self._many, len(which)))
        for p in distinct(self._part[which]).tolist():
            mine = np.flatnonzero(self._part[which] == p)
            if p < 0:
                out[:, mine] = self._between[scale][:, self._place[which[mine]]]
            else:
                out[self._features[p][:, None], mine] = self._within[p][scale][:, self._place[which[mine]]]
        return out

    def times(self, scale: int, rows: Floats) -> Floats:
        """Return ``rows`` (len, features) times those of all directions, (len, directions)."""
        if len(self._within) == 1:
            return np.asarray(rows @ self._within[0][scale])
        out = np.empty((len(rows), self._count))
        for features, groups, within in zip(self._features, self._groups, self._within, strict=True):
            out[:, groups] = rows[:, features] @ within[scale]
        out[:, self._across] = rows @ self._between[scale]
        return out

    def under(self, rows: Floats) -> Floats:
        """Return one row for each setting, two settings a scale, times those of its scale: (settings, directions)."""
        return np.concatenate([self.times(k, rows[2 * k : 2 * k + 2]) for k in range(len(self.kernel))])

    def squares(self, matrices: Floats) -> Floats:
        """Return ``fᵀMf`` of every direction's f, for a matrix of each setting, (settings, directions)."""
        out = np.empty((len(matrices), self._count))
        for features, groups, within in zip(self._features, self._groups, self._within, strict=True):
            here = np.repeat(within, 2, axis=0)
            out[:, groups] = (here * (matrices[:, features[:, None], features] @ here)).sum(axis=1)
        if len(self._across):
            here = np.repeat(self._between, 2, axis=0)
            out[:, self._across] = (here * (matrices @ here)).sum(axis=1)
        return out


def _and(v: Floats, more: float) -> Floats:
    """Return ``v`` (..., any) with one value more behind each row."""
    return np.concatenate([v, np.full((*v.shape[:-1], 1), more)], axis=-1)


class Gram:
    """G and w of one bench under every setting of noise scale and roughness; the settings are the first axis.

    Setting ``2 k + r`` is noise scale ``k`` with roughness ``r``. Roughness changes the prior alone: what the readings
    weigh is worked out once a scale. Behind the explanations stands one that moves nothing: it fills sets up to one
    size.

    With the Jacobian J = F B, where F says which features each reading feels (the loss of its cell, the level and the
    exponent of its block), W the inverse covariance of the readings' own noise and P that of the prior, let K = FᵀWF,
    Q = B P⁻¹ Bᵀ and X = (1 + K Q)⁻¹. Then V⁻¹ = W - W F Q X FᵀW and FᵀV⁻¹F = X K (Woodbury's identity; Harville, 1997,
    section 18.2): features are far fewer than unknowns and readings. Explanations that move the same readings, or the
    same unknown, have one column together.
    """

    def __init__(self, pattern: Pattern, sites: Sites, prior: Prior, weights: Sequence[Weights], point: Point) -> None:
        self.sites, self._weights, many = sites, weights, pattern.many
        self.logit = _and(np.stack([*sites.logit] * len(weights)), 0.0)
        self.variance, self.mean = _and(sites.variance, 1.0), _and(sites.mean, 0.0)
        self.side, self.inside = _and(sites.side, 0.0), _and(sites.inside, 0.0)
        departure = point.residual_db + point.jacobian @ (point.x - prior.mean)
        self._felt = felt = Felt(pattern.lay, sites, weights, point, departure)
        slopes = pattern.slopes(point.x[None], point.losses)
        q = pattern.spread(np.repeat(slopes, 2, axis=0), prior.covariance)
        grown = (felt.kernel[:, None] @ q).reshape(2 * len(weights), many, many) + np.eye(many)
        self._x: Floats = np.linalg.inv(grown).astype(np.float64, copy=False)
        self._gamma = (q @ self._x.reshape(len(weights), 2, many, many)).reshape(grown.shape)
        self._b = pattern.dense(slopes)[0][:, sites.moved]
        pull = np.repeat(felt.pull, 2, axis=0)
        inner = (self._gamma @ pull[:, :, None])[:, :, 0]
        logdet = np.repeat([w.logdet for w in weights], 2) + np.linalg.slogdet(grown)[1]
        self.evidence: Floats = -0.5 * (np.repeat(felt.weighed @ departure, 2) - (pull * inner).sum(axis=1) + logdet)
        wide = self._x @ np.repeat(felt.kernel, 2, axis=0)
        among = np.repeat(sites.summed(felt.weighed), 2, axis=0) - felt.under(inner)
        self.w = _and(np.concatenate([among, (self._x @ pull[:, :, None])[:, :, 0] @ self._b], axis=1), 0.0)
        self.column = np.append(sites.column, self.w.shape[1] - 1)
        own = np.repeat(np.stack([sites.own(w) for w in weights]), 2, axis=0)
        diagonal = [own - felt.squares(self._gamma), pattern.squares(slopes[0], wide)[:, sites.moved]]
        self.diagonal = _and(np.concatenate(diagonal, axis=1), 0.0)
        self._slot = np.full(self.w.shape, -1, dtype=np.int64)
        self._kept, self._used = np.empty((ROOM, self.w.shape[1])), 1
        self._slot[:, -1] = self._kept[0] = 0.0

    def __len__(self) -> int:
        return len(self.evidence)

    def _keep(self, settings: Ints, some: Ints) -> None:
        """Work out the columns of some directions, rising, under some settings, rising: (settings, len, directions)."""
        many, scales = len(self.sites.groups), distinct(settings // 2)
        data, unknown = some[some < many], self._b[:, some[some >= many] - many]
        here = self._used + np.arange(len(settings) * len(some)).reshape(len(settings), len(some))
        self._slot[settings[:, None], some], self._used = here, self._used + here.size
        if self._used > len(self._kept):
            self._kept = np.concatenate([self._kept, np.empty((self._used, self._kept.shape[1]))])
        marks = self.sites.marks(data)
        for k in scales.tolist():
            pull = np.concatenate([self._felt.columns(k, data), self._felt.kernel[k] @ unknown], axis=1)
            own = np.concatenate([self.sites.summed(self._weights[k].of(marks).T), self._felt.times(k, unknown.T)])
            for at, setting in zip(here[settings // 2 == k], settings[settings // 2 == k].tolist(), strict=True):
                self._kept[at, :many] = own - self._felt.times(k, (self._gamma[setting] @ pull).T)
                self._kept[at, many:-1] = (self._x[setting] @ pull).T @ self._b
                self._kept[at, -1] = 0.0

    def columns(self, settings: Ints, sets: Ints) -> Floats:
        """Return columns of G, (sets, members, directions): those of the members of each set, under its setting.

        They are worked out when they are first asked for: few of them ever are.
        """
        self._look_out(settings, sets)
        found: Floats = self._kept[self._slot[settings[:, None], self.column[sets]]]
        return found

    def _look_out(self, settings: Ints, sets: Ints) -> None:
        """Work out the columns of the members of sets that were not asked for yet."""
        asked = np.broadcast_to(settings[:, None], sets.shape), self.column[sets]
        if (fresh := self._slot[asked] < 0).any():
            self._keep(distinct(asked[0][fresh]), distinct(asked[1][fresh]))

    def kernel(self, settings: Ints, sets: Ints) -> Floats:
        """Return the entries of G among the members of each set, (sets, members, members), under its setting."""
        self._look_out(settings, sets)
        place = self.column[sets]
        found: Floats = self._kept[self._slot[settings[:, None], place][:, :, None], place[:, None]]
        return found

    def whole(self, setting: int, sites: Sequence[int]) -> Floats:
        """Return the columns of some explanations under one setting, (len, count)."""
        found: Floats = self.columns(np.array([setting]), np.array([sites]))[0][:, self.sites.column]
        return found


# What every explanation would gain a set of them: many sets at once, whatever their noise and roughness

Chosen = tuple[int, ...]
Key = tuple[int, Chosen]
"""Which setting of the hyperparameters, and the set."""


@dataclass(frozen=True, slots=True)
class Gains:
    """What adding each explanation to a set would gain in nats, and the conditional entries it comes from.

    ``a`` and ``b`` are G's diagonal and w given the set; of a member, given the others of the set. ``held`` is what
    each member gained over the set without it, in the order of the set.
    """

    gain: Floats
    a: Floats
    b: Floats
    evidence: float
    held: Floats


@dataclass(frozen=True, slots=True)
class Weighed:
    """The evidence of a set, and what each member gained over the set without it, in the order of the set."""

    evidence: float
    held: Floats


def gains(gram: Gram, keys: Sequence[Key]) -> list[Gains]:
    """Return the evidence of sets and the gain of adding every other explanation to each."""

    def alike(at: Ints, z: Ints) -> list[Gains]:
        return _gains(gram, _solved(gram, at, z))

    return _by_size(gram, keys, alike)


def gains_without(gram: Gram, keys: Sequence[tuple[int, Chosen, Sequence[int]]]) -> list[list[Gains]]:
    """Return the gains around every set that is left when a set, under its setting, loses the member at a place.

    What falls to the others of what a member explained follows from the solve of the whole set (the inverse of a
    matrix less one row and column; Harville, 1997, section 8.5).
    """
    whole = [(setting, chosen) for setting, chosen, _ in keys]
    found: list[list[Gains]] = [[] for _ in keys]
    for places in _sized(whole):
        which = [(i, k) for i, mine in enumerate(places) for k in keys[mine][2]]
        if not which:
            continue
        at, z = _arrays(gram, [whole[i] for i in places])
        each, member = np.array(which).T
        for (i, _), left in zip(which, _gains(gram, _less(gram, _solved(gram, at, z), each, member)), strict=True):
            found[places[i]].append(left)
    return found


def weighed(gram: Gram, keys: Sequence[Key]) -> list[Weighed]:
    """Return the evidence of sets alone: what others would gain them is not asked."""

    def alike(at: Ints, z: Ints) -> list[Weighed]:
        kernel, b = gram.kernel(at, z), gram.w[at[:, None], gram.column[z]]
        inverse, found, own = _inverted(kernel, b, gram.mean[z], 1.0 / gram.variance[z])
        evidence, held = _evidence(gram, at, z, (inverse.diagonal(axis1=1, axis2=2), found, own))
        return [Weighed(*of_one) for of_one in zip(evidence.tolist(), _trimmed(gram, z, held), strict=True)]

    return _by_size(gram, keys, alike)


Found = TypeVar("Found")


STEP = 8
"""Sets are filled up to a multiple of this size, so that many are solved at once."""


def _sized(keys: Sequence[Key]) -> Iterable[list[int]]:
    """Return the places of sets of about one size together."""
    sized: dict[int, list[int]] = defaultdict(list)
    for i, (_, chosen) in enumerate(keys):
        sized[len(chosen) // STEP].append(i)
    return sized.values()


def _arrays(gram: Gram, keys: Sequence[Key]) -> tuple[Ints, Ints]:
    """Return the settings and members of sets of about one size, filled up with what moves nothing."""
    nothing, most = len(gram.column) - 1, (len(keys[0][1]) // STEP + 1) * STEP
    members = [(*chosen, *[nothing] * (most - len(chosen))) for _, chosen in keys]
    return np.array([setting for setting, _ in keys]), np.array(members, dtype=np.int64)


def _trimmed(gram: Gram, z: Ints, held: Floats) -> list[Floats]:
    """Return what the members of each set hold, less what it was filled up with."""
    sizes = (z < len(gram.column) - 1).sum(axis=1).tolist()
    return [of_one[:size] for of_one, size in zip(held, sizes, strict=True)]


def _by_size(gram: Gram, keys: Sequence[Key], alike: Callable[[Ints, Ints], list[Found]]) -> list[Found]:
    """Return what ``alike`` finds of the sets, those of about one size at once."""
    found: dict[int, Found] = {}
    for places in _sized(keys):
        found.update(zip(places, alike(*_arrays(gram, [keys[i] for i in places])), strict=True))
    return [found[i] for i in range(len(keys))]


@dataclass(frozen=True, slots=True)
class _Solved:
    """Sets of one size under their settings, solved: G's diagonal and w given each, (sets, directions).

    With them the inverse of each set's kernel (sets, members, members), that times the columns of its members (sets,
    members, directions), the effects found, and what these add to the evidence.
    """

    at: Ints
    z: Ints
    a: Floats
    b: Floats
    inverse: Floats
    through: Floats
    effects: Floats
    own: Floats


def _solved(gram: Gram, at: Ints, z: Ints) -> _Solved:
    """Solve sets (sets, members) under their settings."""
    a, b = gram.diagonal[at], gram.w[at]
    columns, place = gram.columns(at, z), gram.column[z]
    row, inner = np.arange(len(z))[:, None], np.arange(z.shape[1])
    kernel = columns[row[:, :, None], inner[:, None], place[:, None]]
    inverse, found, own = _inverted(kernel, b[row, place], gram.mean[z], 1.0 / gram.variance[z])
    through = inverse @ columns
    b = b - (found[:, None] @ columns)[:, 0]
    a = a - np.einsum("smd,smd->sd", through, columns)
    return _Solved(at, z, a, b, inverse, through, found, own)


def _inverted(kernel: Floats, b: Floats, mean: Floats, precision: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the inverse of sets' kernels with the precisions of their effects, the effects, and their evidence."""
    inner = np.arange(kernel.shape[1])
    kernel[:, inner, inner] += precision
    inverse = np.linalg.inv(kernel).astype(np.float64, copy=False)
    pull = b + mean * precision
    found = (inverse @ pull[:, :, None])[:, :, 0]
    told = (pull * found - mean * mean * precision + np.log(precision)).sum(axis=1)
    return inverse, found, np.asarray(0.5 * (told + np.linalg.slogdet(inverse)[1]))


def _less(gram: Gram, whole: _Solved, each: Ints, member: Ints) -> _Solved:
    """Return some of the sets (drops) less one member each, its place in ``member`` (drops)."""
    many = whole.z.shape[1]
    stay = np.arange(many - 1) + (np.arange(many - 1) >= member[:, None])
    row = np.arange(len(each))[:, None]
    inverse, gone = whole.inverse[each], whole.effects[each, member]
    spread, across = inverse[row[:, 0], member, member], inverse[row, member[:, None], stay]
    s = whole.z[each, member]
    mean, precision = gram.mean[s], 1.0 / gram.variance[s]
    through = whole.through[each, member]
    share = gone / spread
    return _Solved(
        whole.at[each],
        whole.z[each[:, None], stay],
        whole.a[each] + through * through / spread[:, None],
        whole.b[each] + share[:, None] * through,
        inverse[row[:, :, None], stay[:, :, None], stay[:, None]]
        - across[:, :, None] * across[:, None] / spread[:, None, None],
        np.zeros((len(each), 0, 0)),
        whole.effects[each[:, None], stay] - share[:, None] * across,
        whole.own[each] - 0.5 * (share * gone - mean * mean * precision + np.log(precision) + np.log(spread)),
    )


def _evidence(gram: Gram, at: Ints, z: Ints, solved: tuple[Floats, Floats, Floats]) -> tuple[Floats, Floats]:
    """Return the evidence of sets and what each member holds, (sets, members), of variances, effects and their own."""
    spread, found, own = solved
    d, mean, logit = gram.variance[z], gram.mean[z], gram.logit[at[:, None], z]
    a, b = 1.0 / spread - 1.0 / d, found / spread - mean / d
    turned = _turned(a, b, d, mean, gram.side[z], gram.inside[z])
    return gram.evidence[at] + own + (logit + turned).sum(axis=1), _gain(logit, a, b, d, mean) + turned


def _gains(gram: Gram, solved: _Solved) -> list[Gains]:
    """Return the gains around solved sets."""
    at, z, logit = solved.at, solved.z, gram.logit[solved.at]
    variance, mean, side, inside = gram.variance, gram.mean, gram.side, gram.inside
    spread = solved.inverse.diagonal(axis1=1, axis2=2)
    evidence, held = _evidence(gram, at, z, (spread, solved.effects, solved.own))
    a, b, row = solved.a[:, gram.column], solved.b[:, gram.column], np.arange(len(z))[:, None]
    a[row, z] = 1.0 / spread - 1.0 / variance[z]
    b[row, z] = solved.effects / spread - mean[z] / variance[z]
    gain = _gain(logit, a, b, variance, mean)
    some = np.flatnonzero(side)
    gain[:, some] += _turned(a[:, some], b[:, some], variance[some], mean[some], side[some], inside[some])
    gain[row, z] = -np.inf
    found = gain[:, :-1], np.maximum(a[:, :-1], 0.0), b[:, :-1], evidence.tolist(), _trimmed(gram, z, held)
    return [Gains(*of_one) for of_one in zip(*found, strict=True)]


def _gain(logit: Floats, a: Floats, b: Floats, d: Floats, mean: Floats) -> Floats:
    """Return the log evidence gained by an effect ~ N(mean, d) whose conditional entries of G and w are a and b."""
    a = np.maximum(a, 0.0)
    grown = 1.0 + d * a
    out: Floats = logit - 0.5 * np.log(grown) + 0.5 * (b * b * d + 2.0 * b * mean - a * mean * mean) / grown
    return out


def one_sided(side: Floats, middle: Floats, spread: Floats, inside: Floats) -> Floats:
    """Return what an effect of one sign only gains, in nats, where N(middle, spread²) is found.

    Its prior, N(mean, variance), is cut off at 0 and made whole again, so the evidence is that of the whole normal
    distribution times Φ(middle / spread) / Φ(mean / √variance), with the signs turned where the effect is negative.
    ``inside`` is the log of the latter, ``Sites.inside``. 0 where ``side`` is 0.
    """
    if not side.any():
        return np.zeros(np.broadcast_shapes(side.shape, middle.shape))
    found: Floats = log_normal_cdf(side * middle / spread) - inside
    return np.where(side == 0.0, 0.0, found)


def _turned(a: Floats, b: Floats, d: Floats, mean: Floats, side: Floats, inside: Floats) -> Floats:
    """Return what one-sided effects gain over normal ones, from the conditional entries of G and w."""
    grown = 1.0 + d * np.maximum(a, 0.0)
    return one_sided(side, (b * d + mean) / grown, np.sqrt(d / grown), inside)
