"""A bench linearised at a point: what every explanation would gain, and how explanations overlap.

With V the covariance of the readings (own noise and prior together), e their departure from the prior mean and C the
directions of the explanations, keep ``G = Cᵀ V⁻¹ C`` and ``w = Cᵀ V⁻¹ e``. The evidence of any set of explanations
follows from small solves in G and w (the matrix determinant lemma; e.g. Harville, Matrix Algebra From a Statistician's
Perspective, 1997, section 18.1).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from linewright.core.arrays import Floats, distinct, log_normal_cdf
from linewright.core.frozen import dataclass
from linewright.inference.bench.design import Ints, Layout, Losses, Prior, features, feelings
from linewright.inference.bench.hypotheses import Sites
from linewright.inference.bench.noise import Weights

# A bench linearised at a point: what every explanation would gain, and how explanations overlap

DENSE = 1200
"""Up to this many explanations the whole of G is kept; beyond, its columns are worked out as they are asked for."""
ROOM = 64
"""For how many columns there is room at first."""


@dataclass(frozen=True, slots=True)
class Point:
    """The linearisation at ``x``: what readings should be, how far off, how they move; the cells' slopes, losses."""

    x: Floats
    expected_db: Floats
    residual_db: Floats
    jacobian: Floats
    law: Floats
    losses: Losses


class Gram:
    """G and w of one bench under every setting of noise scale and roughness; the settings are the first axis.

    Setting ``2 k + r`` is noise scale ``k`` with roughness ``r``. Roughness changes the prior alone: what the readings
    weigh is worked out once a scale.

    With the Jacobian J = F B, where F says which features each reading feels (the loss of its cell, the level and the
    exponent of its block), W the inverse covariance of the readings' own noise and P that of the prior, let K = FᵀWF,
    Q = B P⁻¹ Bᵀ and X = (1 + K Q)⁻¹. Then V⁻¹ = W - W F Q X FᵀW and FᵀV⁻¹F = X K (Woodbury's identity; Harville, 1997,
    section 18.2): features are far fewer than unknowns and readings. Explanations that move the same readings, or the
    same unknown, have one column together.
    """

    def __init__(self, lay: Layout, sites: Sites, prior: Prior, weights: Sequence[Weights], point: Point) -> None:
        self.sites, self._lay, self._weights = sites, lay, weights
        self.logit = np.stack([*sites.logit] * len(weights))
        departure = point.residual_db + point.jacobian @ (point.x - prior.mean)
        f, b = feelings(lay, point.losses)[0], features(lay, point.law)[0]
        weighed = np.stack([w.of(np.concatenate([departure[:, None], f], axis=1)) for w in weights])
        we, wf = weighed[:, :, 0], weighed[:, :, 1:]
        self._k = f.T @ wf
        q = b @ prior.covariance.times(np.stack([b.T, b.T]))
        grown = (self._k[:, None] @ q).reshape(2 * len(weights), len(b), len(b)) + np.eye(len(b))
        self._x: Floats = np.linalg.inv(grown).astype(np.float64, copy=False)
        self._gamma = (q @ self._x.reshape(len(weights), 2, len(b), len(b))).reshape(grown.shape)
        self._b = b[:, sites.moved]
        self._felt = sites.summed(wf.transpose(0, 2, 1))
        pull = np.repeat(we @ f, 2, axis=0)
        inner = (self._gamma @ pull[:, :, None])[:, :, 0]
        logdet = np.repeat([w.logdet for w in weights], 2) + np.linalg.slogdet(grown)[1]
        self.evidence: Floats = -0.5 * (np.repeat(we @ departure, 2) - (pull * inner).sum(axis=1) + logdet)
        felt, wide = np.repeat(self._felt, 2, axis=0), self._x @ np.repeat(self._k, 2, axis=0)
        among = np.repeat(sites.summed(we), 2, axis=0) - (inner[:, None] @ felt)[:, 0]
        moved = (self._x @ pull[:, :, None])[:, :, 0] @ self._b
        self.w = np.concatenate([among, moved], axis=1)
        own = np.repeat(np.stack([sites.own(w) for w in weights]), 2, axis=0)
        diagonal = [own - (felt * (self._gamma @ felt)).sum(axis=1), (self._b * (wide @ self._b)).sum(axis=1)]
        self.diagonal: Floats = np.concatenate(diagonal, axis=1)
        self._slot = np.full(self.w.shape, -1, dtype=np.int64)
        self._kept, self._used = np.empty((self.w.size if sites.count <= DENSE else ROOM, self.w.shape[1])), 0
        if sites.count <= DENSE:
            for setting in range(len(self)):
                self._keep(setting, np.arange(self.w.shape[1]))

    def __len__(self) -> int:
        return len(self.evidence)

    def _keep(self, setting: int, some: Ints) -> None:
        """Work out the columns of some directions, rising, under one setting: (len, directions)."""
        k, many = setting // 2, len(self.sites.groups)
        data, unknown = some[some < many], self._b[:, some[some >= many] - many]
        felt = self._felt[k]
        pull = np.concatenate([felt[:, data], self._k[k] @ unknown], axis=1)
        own = np.concatenate([self.sites.summed(self._weights[k].of(self.sites.marks(data)).T), unknown.T @ felt])
        among = own - (self._gamma[setting] @ pull).T @ felt
        here = np.arange(self._used, self._used + len(some))
        self._slot[setting, some], self._used = here, self._used + len(some)
        if self._used > len(self._kept):
            self._kept = np.concatenate([self._kept, np.empty((self._used, len(among.T) + len(self._b.T)))])
        self._kept[here] = np.concatenate([among, (self._x[setting] @ pull).T @ self._b], axis=1)

    def columns(self, settings: Ints, sets: Ints) -> Floats:
        """Return columns of G, (sets, members, directions): those of the members of each set, under its setting.

        On a large bench they are worked out when they are first asked for: few of them ever are.
        """
        asked = np.broadcast_to(settings[:, None], sets.shape), self.sites.column[sets]
        if (fresh := self._slot[asked] < 0).any():
            for setting in distinct(asked[0][fresh]).tolist():
                self._keep(setting, distinct(asked[1][fresh & (asked[0] == setting)]))
        found: Floats = self._kept[self._slot[asked]]
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


def gains(gram: Gram, keys: Sequence[Key]) -> list[Gains]:
    """Return the evidence of sets and the gain of adding every other explanation to each."""
    sized: dict[int, list[int]] = defaultdict(list)
    for i, (_, chosen) in enumerate(keys):
        sized[len(chosen)].append(i)
    found: dict[int, Gains] = {}
    for places in sized.values():
        found.update(zip(places, _alike(gram, [keys[i] for i in places]), strict=True))
    return [found[i] for i in range(len(keys))]


def _alike(gram: Gram, keys: Sequence[Key]) -> list[Gains]:
    """Return the gains around sets of one size."""
    at = np.array([setting for setting, _ in keys])
    z = np.array([chosen for _, chosen in keys], dtype=np.int64)
    logit, variance, mean, side = gram.logit[at], gram.sites.variance, gram.sites.mean, gram.sites.side
    a, b, evidence, inside = gram.diagonal[at], gram.w[at], gram.evidence[at], gram.sites.inside
    held, column = np.zeros(z.shape), gram.sites.column
    if not z.size:
        a, b = a[:, column], b[:, column]
    else:
        a, b, own = _given(gram.columns(at, z), a, b, (z, column), (mean[z], 1.0 / variance[z]))
        row = np.arange(len(keys))[:, None]
        held = _gain(logit[row, z], a[row, z], b[row, z], variance[z], mean[z])
        turned = _turned(a[row, z], b[row, z], variance[z], mean[z], side[z], inside[z])
        evidence = evidence + own + (logit[row, z] + turned).sum(axis=1)
        held += turned
    gain = _gain(logit, a, b, variance, mean)
    some = np.flatnonzero(side)
    gain[:, some] += _turned(a[:, some], b[:, some], variance[some], mean[some], side[some], inside[some])
    if z.size:
        gain[row, z] = -np.inf
    a = np.maximum(a, 0.0)
    return [Gains(*of_one) for of_one in zip(gain, a, b, evidence.tolist(), held, strict=True)]


def _given(
    columns: Floats, a: Floats, b: Floats, members: tuple[Ints, Ints], effects: tuple[Floats, Floats]
) -> tuple[Floats, Floats, Floats]:
    """Return the diagonal of G and w given each set, and what its effects add to the evidence.

    ``columns`` are (sets, members, directions), ``members`` the sets and the direction of every explanation,
    ``effects`` the mean and precision of each member.
    """
    (z, column), (m, precision) = members, effects
    row, inner, at = np.arange(len(z))[:, None], np.arange(z.shape[1]), column[z]
    kernel = columns[row[:, :, None], inner[:, None], at[:, None]]
    kernel[:, inner, inner] += precision
    inverse = np.linalg.inv(kernel)
    pull = b[row, at] + m * precision
    found = (inverse @ pull[:, :, None])[:, :, 0]
    own: Floats = 0.5 * (
        ((pull * found) - m * m * precision + np.log(precision)).sum(axis=1) + np.linalg.slogdet(inverse)[1]
    )
    b = (b - (found[:, None] @ columns)[:, 0])[:, column]
    a = (a - ((inverse @ columns) * columns).sum(axis=1))[:, column]
    spread = inverse[:, inner, inner]
    a[row, z], b[row, z] = 1.0 / spread - precision, found / spread - m * precision
    return a, b, own


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
